"""Prices: what a bridge costs, so that the cheapest set is the one that an artist would lay."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Floats, Geometries
from ..planar.bar_areas import BarAreas
from ..planar.subdivide import small_polygons
from ..tolerance import NOT_ZERO
from .constraints import Rules
from .gaps import Gaps
from .visible_damage import DamageMap

#: What a mm2 of bridge costs on top of the colour difference that it shows. A difference of 1 is
#: just seen: hidden bridges are short too, and a little more damage buys much less length.
HIDDEN = 1.0
#: What a mm2 costs where bridges must not lie: more than any difference, so that such places are
#: used only where an island cannot be held otherwise.
BARRED = 1e5
#: Points along a gap at which the rough cost looks.
LOOK_UPS = 4
#: What a mm2 costs more that runs another way than was stated: more than any difference with all
#: care, and less than a place where none may lie.
LEANING = 1e4
#: Cost of a bridge square to the long axis of a very long island, as a multiple, where bridges
#: shall run along the drawing.
ACROSS = 4.0


class Prices:
    """Costs of gaps as bridges of one width.

    Cost = (visible damage + area), in mm2 x Delta E, with surcharges for barred places and for
    ways across the drawing. Where the shortest bridges are asked for, cost is length.

    Parameters
    ----------
    pieces : sequence of Polygon
        Pieces of the sheet.
    rules : Rules
    damage : DamageMap, optional
        All places are alike when None.
    """

    def __init__(
        self, pieces: Sequence[Polygon], rules: Rules, damage: DamageMap | None = None
    ) -> None:
        self._rules = rules
        self._damage = None if rules.shortest else damage
        self._barred = small_polygons(rules.barred)
        self._barred_tree = shapely.STRtree(self._barred)
        self._barred_areas = BarAreas(self._barred)
        self._directions = rules.directions
        self._axis = _long_axes(pieces) if self._directions.any_drawn else None

    @property
    def uniform(self) -> bool:
        """Whether all places are alike, so that cost grows with length."""
        even = self._damage is None or self._damage.uniform
        if self._directions.any_stated:
            return False
        return even and len(self._barred) == 0 and self._axis is None

    def rough(self, gaps: Gaps) -> Floats:
        """Return a quick cost from a few points on each gap's middle line."""
        share = (np.arange(LOOK_UPS) + 0.5) / LOOK_UPS
        points = (
            gaps.start[:, None] + (gaps.end - gaps.start)[:, None] * share[None, :, None]
        ).reshape(-1, 2)
        price = np.full(len(points), HIDDEN)
        if self._damage is not None:
            price += self._damage.at(points)
        if len(self._barred):
            hit, _ = self._barred_tree.query(shapely.points(points), predicate="intersects")
            price[hit] += BARRED
        mean = price.reshape(-1, LOOK_UPS).mean(axis=1)
        return gaps.length * self._rules.width * (mean * self._across(gaps) + self._leaning(gaps))

    def exact(self, gaps: Gaps, roots: Floats | None = None) -> Floats:
        """Return the cost of each gap's strip.

        Parameters
        ----------
        gaps : Gaps
        roots : float64 array (n, 2, 2), optional
            Where the strips end, when they reach further than the gaps.
        """
        area = gaps.length * self._rules.width
        cost = area * HIDDEN
        lean = area * self._leaning(gaps)
        if self._damage is None and len(self._barred) == 0:
            return cost * self._across(gaps) + lean
        ends = np.stack([gaps.start, gaps.end], axis=1) if roots is None else roots
        bars = ends[:, 0], ends[:, 1], self._rules.width
        if self._damage is not None:
            cost = cost + self._damage.of_bars(*bars).price
        cost = cost * self._across(gaps)
        which, _, area = self._barred_areas.of(*bars)
        return cost + lean + BARRED * np.bincount(which, area, len(gaps))

    def of_strips(self, strips: Geometries, length: Floats) -> Floats:
        """Return the cost of strips of any shape, whichever way they run.

        Parameters
        ----------
        strips : object array of Polygon
        length : float64 array (n,)
            Of each one's way from sheet to sheet, in mm.
        """
        cost = length * self._rules.width * HIDDEN + BARRED * self.barred_area(strips)
        if self._damage is None:
            return cost
        priced: Floats = cost + self._damage.of(strips).price
        return priced

    def barred_area(self, strips: Geometries) -> Floats:
        """Return how much of each strip lies where none may, in mm2."""
        if len(self._barred) == 0:
            return np.zeros(len(strips))
        which, tile = self._barred_tree.query(strips, predicate="intersects")
        area = shapely.area(shapely.intersection(strips[which], self._barred[tile]))
        barred: Floats = np.bincount(which, area, len(strips)).astype(np.float64)
        return barred

    def _leaning(self, gaps: Gaps) -> Floats:
        if not self._directions.any_stated:
            return np.zeros(len(gaps))
        return np.where(self._directions.leaning(gaps), LEANING, 0.0)

    def _across(self, gaps: Gaps) -> Floats:
        if self._axis is None:
            return np.ones(len(gaps))
        way = (gaps.end - gaps.start) / np.maximum(gaps.length, NOT_ZERO)[:, None]
        # The longer drawn of the two pieces gives the direction.
        first, second = self._axis[gaps.pieces[:, 0]], self._axis[gaps.pieces[:, 1]]
        longer = (np.hypot(*first.T) >= np.hypot(*second.T))[:, None]
        axis = np.where(longer, first, second)
        size = np.hypot(*axis.T)
        aside = size - (way * axis).sum(axis=1) ** 2 / np.maximum(size, NOT_ZERO)
        return 1 + (ACROSS - 1) * np.where(self._directions.along_drawing(gaps), aside, 0.0)


def _long_axes(pieces: Sequence[Polygon]) -> Floats:
    """Return each piece's long axis; its length, 0 to 1, tells how long drawn the piece is."""
    boxes = shapely.oriented_envelope(np.asarray(pieces, object))
    axes = np.zeros((len(pieces), 2))
    for number, rectangle in enumerate(boxes):
        if isinstance(rectangle, Polygon):
            a, b = np.diff(shapely.get_coordinates(rectangle)[:3], axis=0)
            long, short = (a, b) if np.hypot(*a) >= np.hypot(*b) else (b, a)
            length = float(np.hypot(*long))
            axes[number] = long / length * (1 - float(np.hypot(*short)) / length)
    # The frame has no direction of its own.
    bounds = shapely.bounds(np.asarray(pieces, object))
    axes[np.argmax((bounds[:, 2] - bounds[:, 0]) * (bounds[:, 3] - bounds[:, 1]))] = 0
    return axes
