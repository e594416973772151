"""How much stock pieces need at least, whatever nests them.

Pieces stay a gap apart and off the edge, so that they may be grown by half the gap and the blank
shrunk by the edge less half the gap: what is grown does not overlap. Bin packing by area alone is
then easier than nesting, and any lower bound of the former holds for the latter. Used is L2 of
Martello and Toth ("Lower bounds and reduction procedures for the bin packing problem", 1990):
pieces of more than half a blank never share one, and the small ones fill at best what those leave.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Floats
from ..tolerance import ROUNDING
from .blanks import BlankRules
from .guillotine import GuillotinePlan


def least_stock(shapes: Sequence[MultiPolygon], rules: BlankRules) -> int:
    """Return a number of stock sheets that no nesting can go below.

    Parameters
    ----------
    shapes : sequence of MultiPolygon
        Pieces that fit the blanks, in mm.
    rules : BlankRules
        Of several kinds of stock, the biggest blank and the kind that gives most of them count.
    """
    if not shapes or not any(plan.blanks for plan in rules.plans):
        return 0
    areas = grown_areas(shapes, rules.gap, rules.turned)
    per_stock = max(sum(_rooms(plan, rules)) for plan in rules.plans)
    by_area = math.ceil(float(areas.sum()) / per_stock - ROUNDING)
    each = max(len(plan.blanks) for plan in rules.plans)
    return max(by_area, math.ceil(least_blanks(shapes, rules) / each))


def least_blanks(shapes: Sequence[MultiPolygon], rules: BlankRules) -> int:
    """Return a number of blanks that no nesting can go below; see :func:`least_stock`."""
    rooms = [room for plan in rules.plans for room in _rooms(plan, rules)]
    if not rooms or not shapes:
        return 0
    return least_bins(grown_areas(shapes, rules.gap, rules.turned) / max(rooms))


def _rooms(plan: GuillotinePlan, rules: BlankRules) -> list[float]:
    """Return the areas that grown pieces have on the blanks of a plan, in mm2."""
    # A piece keeps the edge; its grown outline may come half a gap nearer.
    shrink = 2 * rules.edge - rules.gap
    return [max(w - shrink, 0.0) * max(h - shrink, 0.0) for _, _, w, h in plan.blanks]


def grown_areas(shapes: Sequence[MultiPolygon], gap: float, turned: bool = True) -> Floats:
    """Return the area that each piece keeps from all others, in mm2.

    Its own, half the gap round it, and holes that no other piece goes into.

    Parameters
    ----------
    shapes : sequence of MultiPolygon
    gap : float
        Least distance between pieces in mm.
    turned : bool
        Whether pieces may be turned by a quarter.

    Examples
    --------
    >>> frame = shapely.box(0, 0, 9, 9).difference(shapely.box(1, 1, 8, 8))
    >>> grown_areas([MultiPolygon([frame])] * 2, 0.0).tolist()
    [81.0, 81.0]
    """
    grown = shapely.buffer(np.asarray(shapes, object), gap / 2, quad_segs=4)
    bounds = shapely.bounds(grown)
    sizes = np.stack([bounds[:, 2] - bounds[:, 0], bounds[:, 3] - bounds[:, 1]], axis=1)
    areas: Floats = shapely.area(grown)
    for k, shape in enumerate(grown):
        others = np.delete(sizes, k, axis=0)
        smallest = np.delete(areas, k).min() if len(areas) > 1 else math.inf
        for part in shapely.get_parts(shape):
            for ring in part.interiors:
                hole = Polygon(ring)
                x0, y0, x1, y1 = hole.bounds
                fits = (others <= (x1 - x0, y1 - y0)).all(axis=1)
                if turned:
                    fits |= (others <= (y1 - y0, x1 - x0)).all(axis=1)
                if hole.area < smallest or not fits.any():
                    areas[k] += hole.area
    return areas


def least_bins(sizes: Floats) -> int:
    """Return how many bins of size 1 things need at least: the bound L2.

    >>> least_bins(np.array([0.6, 0.6, 0.6, 0.3, 0.3])), least_bins(np.array([0.7, 0.7, 0.4]))
    (3, 3)
    """
    best = math.ceil(float(sizes.sum()) - ROUNDING)
    big = sizes[sizes > 0.5 + ROUNDING]
    small = sizes[sizes <= 0.5 + ROUNDING]
    for least in [0.0, *np.unique(small).tolist()]:
        # Too big to share with any of the small ones that count.
        alone = int((big > 1 - least + ROUNDING).sum())
        shared = big[big <= 1 - least + ROUNDING]
        rest = float(small[small >= least].sum()) - (len(shared) - float(shared.sum()))
        best = max(best, alone + len(shared) + max(0, math.ceil(rest - ROUNDING)))
    return best
