"""Places for bridges: all candidates of a sheet with their costs, in the directions asked for.

Where a direction is stated, ways in that direction stand in for all others. Another way is kept
there only where an island could not be joined without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Bools, Floats
from ..planar.graph import spanning_forest
from .candidates import CLOSE, MANY, QUICK, best_by_sector, crossings
from .constraints import Rules
from .corners import Corners
from .cost import Prices
from .directed_ways import SquareRoots, directed_ways
from .gaps import Gaps, join_gaps
from .laying import JUST_UNDER

#: Ways in a stated direction reach so many shortest gaps of their island, and so many widths more.
REACH_GAPS, REACH_WIDTHS = 6.0, 12.0
#: A bridge costs more by this share of the squared tangents of its slants to the edges that it
#: meets: one that is square to them looks drawn.
SLANTED = 0.5
#: A bridge costs more by this share of its disorder (see ``Corners``), all else alike.
UNTIDY = 0.6
#: Cost of a bridge with a root narrower than itself, as a multiple.
UNROOTED = 10.0


@dataclass(frozen=True)
class Places:
    """Candidates for bridges.

    Parameters
    ----------
    gaps : Gaps
    cost : float64 array (m,)
    straight : bool array (m,)
        Which are rooted on their own line (see ``SquareRoots``).
    leaning : bool array (m,)
        Which run another way than was stated for their place.
    plain : Gaps
        Candidates as if no direction were stated, for comparison.
    """

    gaps: Gaps
    cost: Floats
    straight: Bools
    leaning: Bools
    plain: Gaps


def find_places(
    pieces: Sequence[Polygon],
    tree: Gaps,
    square: SquareRoots,
    prices: Prices,
    rules: Rules,
) -> Places:
    """Return the candidates for a sheet's bridges; any island can be joined by them.

    Parameters
    ----------
    pieces : sequence of Polygon
    tree : Gaps
        Shortest gaps that join all pieces.
    square : SquareRoots
        Finds where bridges in a stated direction are rooted.
    prices : Prices
    rules : Rules
    """
    plain = tree
    if not prices.uniform or rules.loads is not None:
        plain = crossings(pieces, tree, rules.width, None if prices.uniform else prices.rough)
    directions = rules.directions
    cost = prices.exact(plain)
    none = np.zeros(len(plain), bool)
    if not directions.any_stated or len(pieces) < 2:
        return Places(plain, cost, none, none, plain)
    drawn = _Drawn(pieces, square, prices, rules)
    directed, directed_cost = _directed(pieces, tree, drawn, rules)
    # Those of the others that happen to run as stated are judged as these are.
    upright = np.flatnonzero(directions.stated(plain) & ~directions.leaning(plain))
    cost[upright] = drawn.cost(plain.take(upright))
    gaps = join_gaps([plain, directed])
    cost = np.append(cost, directed_cost)
    leaning = directions.leaning(gaps)
    straight = directions.stated(gaps) & ~leaning
    # Only those that an island cannot do without: they cost more than all others.
    needed = np.zeros(len(gaps), bool)
    needed[spanning_forest(len(pieces), gaps.pieces, cost)] = True
    kept = ~leaning | needed
    return Places(gaps.take(kept), cost[kept], straight[kept], leaning[kept], plain)


class _Drawn:
    """What bridges in a stated direction cost: those that look drawn cost least."""

    def __init__(
        self, pieces: Sequence[Polygon], square: SquareRoots, prices: Prices, rules: Rules
    ) -> None:
        self._prices, self._width, self._roots = prices, rules.width, square
        rings, owner = shapely.get_rings(np.asarray(pieces, object), return_index=True)
        self.corners = Corners(rings, owner, rules.width)

    def cost(self, gaps: Gaps) -> Floats:
        """Return the cost of straight bridges, each rooted on its own line."""
        paths, firm = self._roots.paths(gaps)
        # Square to an edge, a root of full width lies half a width inside it.
        depth = np.hypot(*np.moveaxis(paths[:, [1, 2]] - paths[:, [0, 3]], -1, 0))
        slant = np.maximum((depth / (self._width / 2 * JUST_UNDER)) ** 2 - 1, 0).sum(axis=1)
        taste = 1 + SLANTED * np.where(firm, slant, 0.0)
        taste *= 1 + UNTIDY * self.corners.disorder(gaps)
        # One that finds no sheet of full width on its line is a last resort.
        cost: Floats = self._prices.exact(gaps, paths[:, [0, 3]]) * taste
        return cost * np.where(firm, 1.0, UNROOTED)


def _directed(
    pieces: Sequence[Polygon], tree: Gaps, drawn: _Drawn, rules: Rules
) -> tuple[Gaps, Floats]:
    """Return the best ways in stated directions, each in its area, with their costs."""
    directions = rules.directions
    reach = np.zeros(len(pieces))
    np.maximum.at(reach, tree.pieces.ravel(), np.repeat(tree.length, 2))
    reach = REACH_GAPS * reach + REACH_WIDTHS * rules.width
    effort = CLOSE if len(pieces) <= MANY else QUICK
    array = np.asarray(pieces, object)
    found, costs = [], []
    for direction in {d for d in directions.all if d.stated}:
        gaps, taste = directed_ways(pieces, direction, rules.width, reach, drawn.corners)
        wanted = np.array([d == direction for d in directions.all])[directions.at(gaps)]
        gaps, taste = gaps.take(wanted), taste[wanted]
        cost = drawn.cost(gaps) * taste
        best = best_by_sector(gaps, array, cost, effort.sectors)
        found.append(gaps.take(best))
        costs.append(cost[best])
    return join_gaps(found), np.concatenate(costs)
