"""Directed ways: candidates for bridges that run in a stated direction, and their square roots.

Lines in the direction are laid across each island, evenly about its middle. Where one leaves the
island it is a way to the first sheet that it meets. A bridge there is one straight bar: it is
carried on along its own line into the sheet on both sides until the sheet has its full width.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Geometries, Indices, ramp
from ..planar.polygons import largest_piece, piece_of
from .candidates import PARTS, Edges
from .corners import Corners
from .directions import Direction
from .gaps import Gaps, join_gaps

#: Lines across an island lie half a width apart, but so many at least and at most.
FEWEST_LINES, MOST_LINES = 9, 41
#: The same at most on sheets of more islands than ``MANY``.
MOST_QUICK_LINES, MANY = 15, 200
#: A root looks for its full width of sheet over so many widths.
ROOT_REACH = 6.0
#: A bridge at an island's end costs more than one at its middle by this share, all else alike.
OFF_MIDDLE = 0.1
#: Lines flush with corners are laid over an island, so many at most; and corners lie within so many
#: widths of it.
MOST_FLUSH, NEAR_CORNERS = 24, 8.0


def directed_ways(
    pieces: Sequence[Polygon], direction: Direction, width: float, reach: Floats, corners: Corners
) -> tuple[Gaps, Floats]:
    """Return ways in a stated direction from each island to the first sheet that they meet.

    Parameters
    ----------
    pieces : sequence of Polygon
        Of one sheet, disjoint, in mm.
    direction : Direction
        Stated; where it has a tolerance, ways at its limits are among the candidates.
    width : float
        Of a bridge, in mm.
    reach : float64 array (n,)
        Longest way from each piece, in mm.
    corners : Corners
        Some ways are laid so that bridges are flush with them.

    Returns
    -------
    gaps : Gaps
        Exactly in the direction: coordinates across it differ by rounding only.
    taste : float64 array (m,)
        Factor on the cost of each, 1 at an island's middle.
    """
    array = shapely.orient_polygons(np.asarray(pieces, object))
    frame = largest_piece(pieces)
    edges = Edges(*shapely.get_rings(array, return_index=True))
    turns = [0.0]
    if direction.tolerance_deg > 0:
        turns += [-direction.tolerance_deg, direction.tolerance_deg]
    found, taste = [], []
    for turn in turns:
        angle = np.radians(direction.angle_deg + turn)
        # Named directions are exact: no cosine of a right angle.
        way = np.round(np.array([np.cos(angle), np.sin(angle)]), 15)
        start, home, outward, off = _leavings(array, frame, way, width, corners)
        far = start + outward * reach[home][:, None]
        end, other = edges.first_hits(start, far)
        hit = (other >= 0) & (other != home)
        length = np.hypot(*(end[hit] - start[hit]).T)
        pairs = np.stack([home[hit], other[hit]], axis=1).astype(np.int64)
        found.append(Gaps(pairs, start[hit], end[hit], length))
        taste.append(1 + OFF_MIDDLE * off[hit] ** 2 + OFF_MIDDLE * (turn != 0))
    return join_gaps(found), np.concatenate(taste)


def _leavings(
    pieces: Geometries, frame: int, way: Floats, width: float, corners: Corners
) -> tuple[Floats, Indices, Floats, Floats]:
    """Return where lines along ``way`` leave the islands: points, islands, ways out, off-middle."""
    aside = np.array([-way[1], way[0]])
    most = MOST_LINES if len(pieces) <= MANY else MOST_QUICK_LINES
    island = np.delete(np.arange(len(pieces)), frame)
    ring, of = shapely.get_coordinates(shapely.get_exterior_ring(pieces[island]), return_index=True)
    if len(ring) == 0:
        return np.empty((0, 2)), np.empty(0, np.int64), np.empty((0, 2)), np.empty(0)
    across = ring @ aside
    first = np.flatnonzero(np.diff(of, prepend=-1))
    low, high = np.minimum.reduceat(across, first), np.maximum.reduceat(across, first)
    middle, half = (low + high) / 2, np.maximum((high - low - width) / 2, 0.0)
    count = np.clip(2 * np.round(2 * half / width) + 1, FEWEST_LINES, most).astype(int) | 1
    count[half == 0] = 1
    # Evenly over each island, and flush with corners.
    even = np.repeat(np.arange(len(island)), count)
    share = np.where(count[even] > 1, 2 * ramp(count) / np.maximum(count - 1, 1)[even] - 1, 0.0)
    own, flush = _flush(pieces[island], aside, width, corners, low, high)
    line_of = np.append(even, own)
    lines = np.append(middle[even] + half[even] * share, flush)
    off = np.abs((lines - middle[line_of]) / np.where(half > 0, half, 1.0)[line_of])
    # As each island has them: the even ones first.
    order = np.argsort(line_of, kind="stable")
    line_of, lines, off = line_of[order], lines[order], off[order]
    edge = np.flatnonzero(of[1:] == of[:-1])
    edge, line = _met(across, edge, of[edge], lines, line_of)
    before, after, at = across[edge], across[edge + 1], lines[line]
    # A ring runs counter-clockwise: where it goes to the left of the way, the way leaves.
    part = (at - before) / (after - before)
    points = ring[edge] + part[:, None] * (ring[edge + 1] - ring[edge])
    # Exactly on the line, so that the way is exactly in the direction.
    points = (points @ way)[:, None] * way + at[:, None] * aside
    sign = np.where(after > before, 1.0, -1.0)
    return points, island[line_of[line]].astype(np.int64), sign[:, None] * way, off[line]


def _met(
    across: Floats, edge: Indices, of: Indices, lines: Floats, line_of: Indices
) -> tuple[Indices, Indices]:
    """Return the edges of islands that lines over the same island meet, and these lines.

    Parameters
    ----------
    across : float64 array (p,)
        Where corners lie across the lines.
    edge : int array (e,)
        The first corner of each edge; the next is its second.
    of : int array (e,)
        The island of each.
    lines : float64 array (n,)
        Where lines lie.
    line_of : int array (n,)
        The island of each, rising.
    """
    # Lines of each island in order, so that those that an edge meets follow each other.
    order = np.lexsort((lines, line_of))
    sorted_ = lines[order]
    count = np.bincount(line_of, minlength=int(of.max(initial=-1)) + 1)
    begin = (np.cumsum(count) - count)[of]
    ends = np.sort(np.stack([across[edge], across[edge + 1]]), axis=0)
    first, stop = (_not_less(sorted_, begin, begin + count[of], value) for value in ends)
    hits = stop - first
    edge = np.repeat(edge, hits)
    line = order[np.repeat(first, hits) + ramp(hits)]
    by_line = np.lexsort((edge, line))
    return edge[by_line], line[by_line]


def _not_less(values: Floats, begin: Indices, stop: Indices, asked: Floats) -> Indices:
    """Return in stretches of values, each rising, the first place of one not less than asked."""
    low, high = begin.copy(), stop.copy()
    while (low < high).any():
        middle = (low + high) // 2
        less = np.zeros(len(low), bool)
        open_ = low < high
        less[open_] = values[middle[open_]] < asked[open_]
        low = np.where(less, middle + 1, low)
        high = np.where(open_ & ~less, middle, high)
    return low


def _flush(
    islands: Geometries, aside: Floats, width: float, corners: Corners, low: Floats, high: Floats
) -> tuple[Indices, Floats]:
    """Return where lines lie whose bridges are flush with corners on or near islands.

    Parameters
    ----------
    islands : object array of Polygon
    aside : float64 array (2,)
        Unit vector across the lines.
    width : float
    corners : Corners
    low, high : float64 array (n,)
        How far the islands reach across.

    Returns
    -------
    island : int array (k,)
        Rising.
    line : float64 array (k,)
        Of each island rising.
    """
    island, at = corners.near(islands, NEAR_CORNERS * width)
    island = np.tile(island, 2)
    line = np.append(at @ aside - width / 2, at @ aside + width / 2)
    kept = (line >= low[island] + width / 2) & (line <= high[island] - width / 2)
    island, line = np.unique(
        np.column_stack([island[kept], line[kept].round(9)]), axis=0
    ).T.reshape(2, -1)
    island = island.astype(np.int64)
    # Of very many, some all over the island.
    number = np.bincount(island, minlength=len(islands))
    begin, many = (np.cumsum(number) - number)[island], number[island] > MOST_FLUSH
    step = (number[island] - 1) / (MOST_FLUSH - 1)
    rank = np.arange(len(island)) - begin
    nearest = np.round(np.round(rank / np.maximum(step, 1.0)) * step)
    kept = ~many | (nearest == rank)
    return island[kept], line[kept]


class SquareRoots:
    """Finds where straight bridges are rooted: on their own line, where the sheet is wide enough.

    Parameters
    ----------
    pieces : sequence of Polygon
    core : MultiPolygon
        The same sheet eroded by just under half a bridge's width.
    width : float
        Of a bridge in mm.
    """

    def __init__(self, pieces: Sequence[Polygon], core: MultiPolygon, width: float) -> None:
        array = np.asarray(pieces, object)
        self._width = width
        self._rings, self._owner = shapely.get_rings(array, return_index=True)
        cores = shapely.get_parts(core)
        home = piece_of(shapely.point_on_surface(cores), array)
        self._core_rings, ring_core = shapely.get_rings(cores, return_index=True)
        self._core_owner = home[ring_core]

    @cached_property
    def _edges(self) -> Edges:
        return Edges(self._rings, self._owner)

    @cached_property
    def _core_edges(self) -> Edges:
        return Edges(self._core_rings, self._core_owner)

    def paths(self, gaps: Gaps) -> tuple[Floats, Bools]:
        """Return middle lines (m, 4, 2), each on one line, and whether both roots have full width.

        Where a piece is too narrow on the line, the root lies in the middle of what there is.
        """
        first, firm_first = self._roots(gaps.pieces[:, 0], gaps.start, gaps.start - gaps.end)
        second, firm_second = self._roots(gaps.pieces[:, 1], gaps.end, gaps.end - gaps.start)
        paths = np.stack([first, gaps.start, gaps.end, second], axis=1)
        return paths, firm_first & firm_second

    def _roots(self, piece: Indices, at: Floats, inward: Floats) -> tuple[Floats, Bools]:
        if len(at) == 0:
            return np.empty((0, 2)), np.empty(0, bool)
        inward = inward / np.hypot(*inward.T)[:, None]
        far = at + inward * ROOT_REACH * self._width
        root, firm = at.copy(), np.zeros(len(at), bool)
        room = np.full(len(at), np.inf)
        # A way is looked along until it meets its piece's core, or leaves the piece without.
        asked = np.arange(len(at))
        for low, high in pairwise((0.0, *PARTS)):
            depth, left = np.full(len(asked), np.inf), np.full(len(asked), np.inf)
            ways = at[asked], far[asked]
            which, place, core = self._core_edges.hits(*ways, low, high)
            own = core == piece[asked[which]]
            which, place = which[own], place[own]
            depth[which] = ((place - at[asked[which]]) * inward[asked[which]]).sum(axis=1)
            root[asked[which]] = place
            which, place, _ = self._edges.hits(*ways, low, high)
            left[which] = ((place - at[asked[which]]) * inward[asked[which]]).sum(axis=1)
            firm[asked] = depth < left
            room[asked] = left
            asked = asked[np.isinf(np.minimum(depth, left))]
        shallow = at + inward * np.minimum(room / 2, self._width)[:, None]
        return np.where(firm[:, None], root, shallow), firm
