"""Seams: the cheapest ways through a sheet that is split, found like a path over hills.

Solid sheet and openings cost little, edges more, bridges and necks so much that a seam crosses one
only where nothing else is left. Seams across the whole sheet make columns; each column is then
split by seams of its own, so that no four tiles meet in a point.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from ..arrays import Floats
from ..errors import GeometryError
from ..planar.morphology import dilate, openings_of, without_openings
from ..planar.polygons import as_multipolygon
from ..planar.union import unite
from ..tolerance import ROUNDING

#: Cost of a millimetre of seam on plain ground, beside an edge, and on a bridge or neck.
PLAIN, EDGE, NARROW = 1.0, 4.0, 400.0
#: A seam nearer than this (mm) to an edge runs beside it.
BESIDE = 1.5
#: Cost of each millimetre that a seam moves sideways.
SIDEWAYS = 1.5
#: Cost of a millimetre away from the middle, for each row: where all else is equal, tiles come out
#: alike.
OFF_MIDDLE = 1e-3
#: Points of the grid on which one seam is sought, at most.
MOST_POINTS = 30_000
#: More columns or rows than this on one sheet are a slip of the keyboard.
MOST_PARTS = 400
#: How far (mm) seams of full tiles may wander, and how deep, in joints, the last tile must be.
FULL_SLACK, _LEAST_REST = 12.0, 5.0
#: Bridges and necks are sought wider by this (mm), so that a seam keeps clear of their sides.
CLEAR_OF_NARROW = 0.5
#: Eroded a little more than dilated: else rounding fills each corner of an opening.
_BACK = 1.02
#: A part under this share of the square of ``narrow`` is a corner that rounding left over.
_LEAST_PART = 0.05


class SeamCost:
    """What a millimetre of seam costs at each place of a sheet.

    Parameters
    ----------
    shape : MultiPolygon
        The sheet.
    narrow : float
        Sheet narrower than this (mm) is a bridge or neck.
    """

    def __init__(self, shape: MultiPolygon, narrow: float) -> None:
        self.narrow = thin_sheet(shape, narrow)
        shapely.prepare(self.narrow)
        rings = shapely.get_rings(shapely.get_parts(shape))
        points, ring = shapely.get_coordinates(rings, return_index=True)
        same = ring[1:] == ring[:-1]
        steps = np.stack([points[:-1][same], points[1:][same]], axis=1)
        self._edges = shapely.STRtree(shapely.linestrings(steps))

    def __call__(self, x: Floats, y: Floats) -> Floats:
        """Return the cost at places of any shape, in mm."""
        found = np.full(x.shape, PLAIN)
        grid = shapely.points(x.ravel(), y.ravel())
        near, _ = self._edges.query(grid, predicate="dwithin", distance=BESIDE)
        found.ravel()[np.unique(near)] = EDGE
        if not self.narrow.is_empty:
            found[shapely.contains_xy(self.narrow, x, y)] = NARROW
        return found


def thin_sheet(shape: MultiPolygon, narrow: float) -> MultiPolygon:
    """Return bridges and necks: what a closing by a disc of diameter ``narrow`` adds to openings.

    The outside counts as an opening, so that necks along the outer edge are found too.

    Parameters
    ----------
    shape : MultiPolygon
    narrow : float
        In mm.
    """
    whole = without_openings(shape)
    outside = as_multipolygon(shapely.buffer(whole, 2 * narrow).difference(whole))
    openings = np.append(openings_of(shape), shapely.get_parts(outside))
    closed = shapely.buffer(
        shapely.get_parts(dilate(openings, narrow / 2)), -narrow / 2 * _BACK, quad_segs=8
    )
    at, inside = shapely.STRtree(openings).query(closed, predicate="intersects")
    order = np.argsort(at, kind="stable")
    at, inside = at[order], inside[order]
    starts = np.searchsorted(at, np.arange(len(closed) + 1))
    thin: list[Polygon] = []
    for k, area in enumerate(closed):
        members = openings[inside[starts[k] : starts[k + 1]]]
        rest = area.difference(shapely.multipolygons(members))
        thin += [p for p in as_multipolygon(rest).geoms if p.area > _LEAST_PART * narrow * narrow]
    if not thin:
        return MultiPolygon()
    grown = unite(shapely.buffer(np.array(thin, object), CLEAR_OF_NARROW))
    return as_multipolygon(grown.intersection(whole))


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
    outline: Polygon,
    room: tuple[float, float],
    reach: float,
    cost_at: SeamCost,
    full: bool = False,
) -> SeamPlan:
    """Return the seams that split an upright rectangle into tiles that fit a room.

    Parameters
    ----------
    outline : Polygon
    room : tuple of float
        Width and height of the largest tile in mm.
    reach : float
        How far joints reach beyond a seam in mm.
    cost_at : SeamCost
    full : bool
        Tiles nearly as big as the room, and the rest in the last row and column: small ones share
        a blank of stock. Else all alike.

    Raises
    ------
    GeometryError
        The sheet would be split into very many tiles.
    """
    x0, y0, x1, y1 = outline.bounds
    columns, cost = _seams_across((x0, x1), (y0, y1), room[0], reach, cost_at, True, full)
    edges = [
        np.array([[x0, y0], [x0, y1]]),
        *columns,
        np.array([[x1, y0], [x1, y1]]),
    ]
    rows = []
    for left, right in pairwise(edges):
        across = (float(left[:, 0].min()), float(right[:, 0].max()))
        seams, more = _seams_across((y0, y1), across, room[1], reach, cost_at, False, full)
        rows.append(seams)
        cost += more
    lines = [LineString(s) for s in (*columns, *(r for row in rows for r in row))]
    crossed = sum(int(line.intersects(cost_at.narrow)) for line in lines)
    return SeamPlan(columns, tuple(rows), cost, crossed)


def least_parts(length: float, room: float, reach: float) -> int:
    """Return into how many parts a length is split at least: parts leave ``reach`` for joints.

    >>> least_parts(3000, 594, 5), least_parts(2880, 594, 5), least_parts(594, 594, 5)
    (6, 5, 1)
    """
    if length <= room + 1e-6:
        return 1
    return max(2, math.ceil(length / (room - reach) - ROUNDING))


def _seams_across(
    span: tuple[float, float],
    along: tuple[float, float],
    room: float,
    reach: float,
    cost_at: SeamCost,
    upright: bool,
    full: bool,
) -> tuple[tuple[Floats, ...], float]:
    """Return the seams that split ``span`` into parts that fit ``room``, and their cost.

    Where there are seams, parts leave ``reach`` free for the joints. One part more than needed
    is tried where the fewest seams would cross a bridge.
    """
    low, high = span
    length = high - low
    if length <= room + 1e-6:
        return (), 0.0
    limit = room - reach
    least = least_parts(length, room, reach)
    if least > MOST_PARTS:
        raise GeometryError(
            f"A sheet of {length:g} mm would be split into {least} parts, too "
            f"many to be meant; check the sizes of sheet and bed."
        )
    best: tuple[tuple[Floats, ...], float] | None = None
    pitch = limit - FULL_SLACK
    rest = length - (least - 1) * pitch
    if full and _LEAST_REST * reach < rest <= limit:
        found = [
            _cheapest_way(low + k * pitch, FULL_SLACK / 2, along, cost_at, upright)
            for k in range(1, least)
        ]
        return tuple(seam for seam, _ in found), sum(cost for _, cost in found)
    for count in (least, least + 1):
        slack = limit - length / count
        half = slack if count == 2 else slack / 2
        seams, cost = [], 0.0
        for k in range(1, count):
            centre = low + k * length / count
            seam, more = _cheapest_way(centre, half, along, cost_at, upright)
            seams.append(seam)
            cost += more
        if best is None or cost < best[1] - NARROW:
            best = tuple(seams), cost
        if cost < NARROW:
            break
    assert best is not None
    return best


def _cheapest_way(
    centre: float, half: float, along: tuple[float, float], cost_at: SeamCost, upright: bool
) -> tuple[Floats, float]:
    """Return the cheapest way along a band, by dynamic programming row after row."""
    length = along[1] - along[0]
    half = max(half, 0.0)
    finest = min(1.0, length / 100)
    step = max(finest, math.sqrt(length * max(2 * half, 1.0) / MOST_POINTS))
    rows = max(2, round(length / step) + 1)
    t = np.linspace(along[0], along[1], rows)
    wide = int(half / step)
    s = centre + np.arange(-wide, wide + 1) * step
    grid_t, grid_s = np.meshgrid(t, s, indexing="ij")
    cost = (cost_at(grid_s, grid_t) if upright else cost_at(grid_t, grid_s)) * (t[1] - t[0])
    cost += OFF_MIDDLE * np.abs(s - centre)[None, :]
    total = cost[0].copy()
    came = np.zeros((rows, len(s)), np.int8)
    aside = SIDEWAYS * step
    for row in range(1, rows):
        from_left = np.append(np.inf, total[:-1]) + aside
        from_right = np.append(total[1:], np.inf) + aside
        options = np.stack([total, from_left, from_right])
        choice = np.argmin(options, axis=0)
        came[row] = np.array([0, -1, 1], np.int8)[choice]
        total = options[choice, np.arange(len(s))] + cost[row]
    at = int(np.argmin(total))
    best = float(total[at])
    way = np.empty(rows, np.int64)
    for row in range(rows - 1, -1, -1):
        way[row] = at
        at += int(came[row, at])
    points = np.stack([s[way], t] if upright else [t, s[way]], axis=1)
    line = LineString(points)
    simple = line.simplify(1.5 * step)
    if (
        simple.intersection(cost_at.narrow).length
        > line.intersection(cost_at.narrow).length + ROUNDING
    ):
        simple = line.simplify(1e-9)
    found: Floats = shapely.get_coordinates(simple)
    return found, best
