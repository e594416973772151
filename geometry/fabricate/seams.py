"""Seams: the cheapest ways through a sheet that is split, found like a path over hills.

What is dear is told by ``seam_cost``. Seams across the whole sheet make columns; each column is
then split by seams of its own, so that no four tiles meet in a point.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString, Polygon

from ..arrays import Floats, Indices
from ..progress import Progress
from ..tolerance import ROUNDING
from .seam_cost import SeamCost
from .tile_grid import AxisSplit, TileGrid

#: Cost of each millimetre that a seam moves sideways.
SIDEWAYS = 1.5
#: Cost of a millimetre away from the middle, for each row: where all else is equal, tiles come out
#: alike.
OFF_MIDDLE = 1e-3
#: Points of the grid on which one seam is sought, at most.
MOST_POINTS = 30_000
#: Seams wander so far (mm) in their bands at most; so many bands are tried for each.
_MOST_WANDER, _MOST_BANDS = 12.0, 40
#: No part gets smaller than this share of the smallest that is meant.
_LEAST_SHARE = 0.5
#: Points of which the cost is held at the same time: more are slower, and a wall's take a gigabyte.
_COSTS_AT_ONCE = 1_000_000
#: Sums of lengths differ by less than this (mm).
_HAIR = 1e-6


@dataclass(frozen=True)
class SeamPlan:
    """Seams of one sheet as polylines (n, 2) in mm.

    Parameters
    ----------
    columns : tuple of float64 array
        Upright, from left to right.
    rows : tuple of tuple of float64 array
        For each column, lying, from below to above.
    cost : float
        Of all seams together.
    crosses_narrow : int
        How many seams cross a bridge or neck.
    """

    columns: tuple[Floats, ...]
    rows: tuple[tuple[Floats, ...], ...]
    cost: float
    crosses_narrow: int

    @property
    def count(self) -> int:
        """Number of tiles."""
        return sum(len(r) + 1 for r in self.rows)


def plan_seams(
    outline: Polygon, grid: TileGrid, cost_at: SeamCost, progress: Progress | None = None
) -> SeamPlan:
    """Return the seams that split an upright rectangle.

    Parameters
    ----------
    outline : Polygon
    grid : TileGrid
        Of each axis, a later way is taken where the earlier ones cross a bridge and it does not.
    cost_at : SeamCost
    progress : Progress, optional
        May raise ``Cancelled``.
    """
    progress = progress or Progress()
    x0, y0, x1, y1 = outline.bounds
    progress(0.0, "columns of tiles")
    columns, cost = _seams_across((x0, x1), (y0, y1), grid.columns, cost_at, True)
    edges = [
        np.array([[x0, y0], [x0, y1]]),
        *columns,
        np.array([[x1, y0], [x1, y1]]),
    ]
    rows = []
    for number, (left, right) in enumerate(pairwise(edges), 1):
        progress(number / len(edges), f"rows of tiles in column {number}")
        across = (float(left[:, 0].min()), float(right[:, 0].max()))
        seams, more = _seams_across((y0, y1), across, grid.rows, cost_at, False)
        rows.append(seams)
        cost += more
    lines = [LineString(s) for s in (*columns, *(r for row in rows for r in row))]
    crossed = sum(bool(cost_at.narrow_crossed(line)) for line in lines)
    return SeamPlan(columns, tuple(rows), cost, crossed)


def _seams_across(
    span: tuple[float, float],
    along: tuple[float, float],
    ways: Sequence[AxisSplit],
    cost_at: SeamCost,
    upright: bool,
) -> tuple[tuple[Floats, ...], float]:
    """Return the seams of the way that crosses the fewest bridges, the first of equals."""
    best: tuple[int, tuple[Floats, ...], float] | None = None
    for way in ways:
        if not way.seams:
            return (), 0.0
        bands, wander = _bands(way, span)
        ridges = _Ways(np.concatenate(bands), wander, along, cost_at, upright)
        usual = [np.abs(b - span[0] - at) for b, at in zip(bands, way.seams, strict=True)]
        prices = ridges.cost + OFF_MIDDLE * len(ridges) * np.concatenate(usual)
        chosen, cost = _chain(bands, prices, way, span, wander)
        seams = tuple(_simplified(ridges.line(k), 1.5 * ridges.step, cost_at) for k in chosen)
        crossed = sum(len(cost_at.narrow_crossed(LineString(seam))) for seam in seams)
        if best is None or crossed < best[0]:
            best = crossed, seams, cost
        if crossed == 0:
            break
    assert best is not None
    return best[1:]


def _bands(way: AxisSplit, span: tuple[float, float]) -> tuple[list[Floats], float]:
    """Return for each seam the middles of bands in which it is sought, and half their width.

    Half of the slack goes to the bands' width, half to their places: as far as they may lie for
    all parts to keep their limits.
    """
    low, high = span
    wander = min(max(way.slack, 0.0) / 4, _MOST_WANDER)
    limits = np.array(way.limits) - 2 * wander
    # At the outer edges nothing wanders.
    limits[[0, -1]] += wander
    furthest = low + np.cumsum(limits)[:-1]
    nearest = high - np.cumsum(limits[::-1])[::-1][1:]
    least = _least_part(way) + 2 * wander
    k = np.arange(1, len(way.seams) + 1)
    furthest = np.minimum(furthest, high - (len(k) - k + 1) * least)
    nearest = np.maximum(nearest, low + k * least)
    bands = []
    for usual, a, b in zip(low + np.array(way.seams), nearest, furthest, strict=True):
        count = min(math.ceil((b - a) / max(wander, ROUNDING)), _MOST_BANDS) + 1
        places = np.linspace(a, b, count) if b - a > _HAIR else np.array([(a + b) / 2])
        bands.append(np.unique(np.append(places, np.clip(usual, a, b))) if b > a else places)
    return bands, wander


def _least_part(way: AxisSplit) -> float:
    return min(way.boxes) * _LEAST_SHARE


def _chain(
    bands: Sequence[Floats],
    cost: Floats,
    way: AxisSplit,
    span: tuple[float, float],
    wander: float,
) -> tuple[list[int], float]:
    """Return one band for each seam, so that all parts keep their limits at the least cost."""
    low, high = span
    least = _least_part(way)
    starts = np.cumsum([0, *(len(b) for b in bands)])
    total = cost[: starts[1]] + np.where(
        bands[0] - low <= way.limits[0] - wander + _HAIR, 0, np.inf
    )
    came: list[Indices] = []
    for k in range(1, len(bands)):
        part = bands[k][:, None] - bands[k - 1][None, :]
        ok = (part <= way.limits[k] - 2 * wander + _HAIR) & (part >= least + 2 * wander - _HAIR)
        reached = np.where(ok, total[None, :], np.inf)
        came.append(np.argmin(reached, axis=1))
        total = reached.min(axis=1) + cost[starts[k] : starts[k + 1]]
    total = total + np.where(high - bands[-1] <= way.limits[-1] - wander + _HAIR, 0, np.inf)
    at = int(np.argmin(total))
    best = float(total[at])
    chosen = [at]
    for before in reversed(came):
        chosen.append(int(before[chosen[-1]]))
    return [int(starts[k]) + at for k, at in enumerate(reversed(chosen))], best


class _Ways:
    """The cheapest way along each of several bands, by dynamic programming row after row.

    Parameters
    ----------
    middles : float64 array (n,)
        Of the bands, in mm.
    wander : float
        Half the bands' width.
    along : tuple of float
        From where to where they run.
    cost_at : SeamCost
    upright : bool

    Attributes
    ----------
    cost : float64 array (n,)
    step : float
        Of the grid, in mm.
    """

    def __init__(
        self,
        middles: Floats,
        wander: float,
        along: tuple[float, float],
        cost_at: SeamCost,
        upright: bool,
    ) -> None:
        length = along[1] - along[0]
        finest = min(1.0, length / 100)
        self.step = max(finest, math.sqrt(length * max(2 * wander, 1.0) / MOST_POINTS))
        rows = max(2, round(length / self.step) + 1)
        self._t = np.linspace(along[0], along[1], rows)
        wide = int(wander / self.step)
        off = np.arange(-wide, wide + 1) * self.step
        self._s = middles[:, None] + off
        self._upright = upright
        usual = OFF_MIDDLE * np.abs(off)

        def cost_of(block: Floats) -> Floats:
            t, s = block[:, None, None], self._s[None, :, :]
            return (cost_at(s, t) if upright else cost_at(t, s)) * (self._t[1] - self._t[0]) + usual

        aside = SIDEWAYS * self.step
        self._came = np.zeros((rows, *self._s.shape), np.int8)
        # A column of infinity to both sides: no way leads out of a band.
        padded = np.full((len(middles), len(off) + 2), np.inf)
        total = padded[:, 1:-1]
        # Some rows at a time: the cost of all of them is a gigabyte on a large wall.
        at_once = max(1, _COSTS_AT_ONCE // self._s.size)
        for row in range(rows):
            if row % at_once == 0:
                costs = cost_of(self._t[row : row + at_once])
            cost = costs[row % at_once]
            if row == 0:
                total[:] = cost
                continue
            least = total.copy()
            for way, side in ((-1, padded[:, :-2]), (1, padded[:, 2:])):
                moved = side + aside
                better = moved < least
                np.copyto(least, moved, where=better)
                np.copyto(self._came[row], way, where=better)
            total[:] = least + cost
        self._end = np.argmin(total, axis=1)
        self.cost: Floats = total[np.arange(len(middles)), self._end]

    def __len__(self) -> int:
        """Number of rows."""
        return len(self._t)

    def line(self, band: int) -> LineString:
        """Return the way along one band."""
        rows = len(self._t)
        at, way = int(self._end[band]), np.empty(rows, np.int64)
        for row in range(rows - 1, -1, -1):
            way[row] = at
            at += int(self._came[row, band, at])
        across = self._s[band, way]
        return LineString(
            np.stack([across, self._t] if self._upright else [self._t, across], axis=1)
        )


def _simplified(line: LineString, by: float, cost_at: SeamCost) -> Floats:
    """Return a seam's corners, without its steps where that brings it onto no bridge."""
    simple = line.simplify(by)
    narrow = sum(part.length for part in cost_at.narrow_crossed(simple))
    if narrow > 0 and narrow > ROUNDING + sum(part.length for part in cost_at.narrow_crossed(line)):
        simple = line.simplify(ROUNDING)
    found: Floats = shapely.get_coordinates(simple)
    return found
