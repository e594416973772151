"""Directed ways: candidates for bridges that run in a stated direction, and their square roots.

Lines in the direction are laid across each island, evenly about its middle. Where one leaves the
island it is a way to the first sheet that it meets. A bridge there is one straight bar: it is
carried on along its own line into the sheet on both sides until the sheet has its full width.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..planar.polygons import largest_piece, piece_of
from .candidates import Edges
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
    starts, homes, outs, offs = [], [], [], []
    for island in range(len(pieces)):
        if island == frame:
            continue
        ring = shapely.get_coordinates(shapely.get_exterior_ring(pieces[island]))
        across = ring @ aside
        low, high = across.min(), across.max()
        middle, half = (low + high) / 2, max((high - low - width) / 2, 0.0)
        count = int(np.clip(2 * round(2 * half / width) + 1, FEWEST_LINES, most))
        share = np.linspace(-1, 1, count | 1) if half else np.zeros(1)
        lines = np.append(middle + half * share, _flush(pieces[island], aside, width, corners))
        share = (lines - middle) / (half or 1.0)
        before, after = across[:-1], across[1:]
        # A ring runs counter-clockwise: where it goes to the left of the way, the way leaves.
        line, edge = np.nonzero(
            (before <= lines[:, None]) & (after > lines[:, None])
            | (after <= lines[:, None]) & (before > lines[:, None])
        )
        part = (lines[line] - before[edge]) / (after[edge] - before[edge])
        points = ring[edge] + part[:, None] * (ring[edge + 1] - ring[edge])
        # Exactly on the line, so that the way is exactly in the direction.
        points = (points @ way)[:, None] * way + lines[line][:, None] * aside
        sign = np.where(after[edge] > before[edge], 1.0, -1.0)
        starts.append(points)
        homes.append(np.full(len(points), island))
        outs.append(sign[:, None] * way)
        offs.append(np.abs(share[line]))
    if not starts:
        return np.empty((0, 2)), np.empty(0, np.int64), np.empty((0, 2)), np.empty(0)
    return (
        np.concatenate(starts),
        np.concatenate(homes).astype(np.int64),
        np.concatenate(outs),
        np.concatenate(offs),
    )


def _flush(island: Polygon, aside: Floats, width: float, corners: Corners) -> Floats:
    """Return where lines lie whose bridges are flush with corners on or near an island."""
    across = shapely.get_coordinates(island.exterior) @ aside
    low, high = across.min(), across.max()
    near = corners.near(island, NEAR_CORNERS * width) @ aside
    lines = np.append(near - width / 2, near + width / 2)
    lines = np.unique(lines[(lines >= low + width / 2) & (lines <= high - width / 2)].round(9))
    # Of very many, some all over the island.
    kept = np.linspace(0, len(lines) - 1, MOST_FLUSH).round().astype(int)
    return lines if len(lines) <= MOST_FLUSH else lines[kept]


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
        out, left = self._edges.first_hits(at, far)
        root, core = self._core_edges.first_hits(at, far)
        depth = ((root - at) * inward).sum(axis=1)
        room = np.where(left >= 0, ((out - at) * inward).sum(axis=1), np.inf)
        firm = (core == piece) & (depth < room)
        shallow = at + inward * np.minimum(room / 2, self._width)[:, None]
        return np.where(firm[:, None], root, shallow), firm
