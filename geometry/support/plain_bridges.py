"""Plain shortest bridges, to compare with: worked out when a report asks, not by every build."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from shapely import Polygon

from ..planar.strips import straight_strips
from .constraints import Rules
from .gaps import Gaps
from .laying import Roots
from .selection import choose_bridges
from .visible_damage import DamageMap


@dataclass(frozen=True)
class PlainBridges:
    """Bridges that would be laid if only length counted, as wide and as firm as the others.

    Parameters
    ----------
    pieces : sequence of Polygon
        Frame and islands, nothing being laid.
    found : callable
        Gives the candidates, and where strips across them are rooted.
    rules : Rules
    damage_map : DamageMap
    """

    pieces: Sequence[Polygon]
    found: Callable[[], tuple[Gaps, Roots]]
    rules: Rules
    damage_map: DamageMap

    @cached_property
    def strips(self) -> tuple[Polygon, ...]:
        """The bridges' shapes."""
        gaps, roots = self.found()
        width = np.full(len(gaps), self.rules.width)
        cost = gaps.length * self.rules.width
        choice = choose_bridges(self.pieces, gaps, cost, width, self.rules)
        paths = roots.paths(gaps.take(choice.chosen))
        return tuple(straight_strips(paths, choice.width))

    @cached_property
    def damage(self) -> float:
        """Visible damage that they would do, in mm2 x Delta E (CIEDE2000)."""
        return float(self.damage_map.of(self.strips).damage.sum())
