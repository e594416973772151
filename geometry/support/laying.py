"""Laying: strips taken out of a sheet's openings, and the core of the sheet that follows."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..planar.meeting import pairs_that_meet
from ..planar.morphology import ErodedSheet
from ..planar.polygons import as_multipolygon, piece_of
from ..planar.shapes_by_owner import united_by_owner, with_more
from ..planar.strips import fillet_windows, fillets, straight_strips, tapered_strips
from ..planar.subdivide import MOST_VERTICES, short_lines, small_parts
from ..planar.union import unite
from ..sheet.plate import cut_plate
from ..sheet.sheet import Sheet
from ..tolerance import NOT_ZERO
from .gaps import Gaps
from .teeth import Sides, Teeth

#: The core is taken at this share of half the width: "just under half".
JUST_UNDER = 0.995
#: A barred or bare spot counts from this share of the square of a bridge's width.
SPOT = 0.02
#: What is left of an opening is a crumb under this share of the width's square, or where nothing is
#: further from its edge than this share of the width.
_CRUMB, _CRUMB_DEPTH = 0.01, 0.02
#: How near, in widths, the middle of a piece is found.
_MIDDLE = 0.005
#: A piece too narrow for a core near a gap is rooted in within so many widths of it; nearer, while
#: the way there would lead over an opening.
_REACHES = (4.0, 2.0, 1.0, 0.5)
#: A way to a root may leave its piece by this share of the width; where it is not this much longer
#: than from the edge to the core, it cannot.
_OUTSIDE = 0.05


@dataclass(frozen=True)
class Strip:
    """A strip to be laid, or laid.

    Parameters
    ----------
    kind : str
        ``"bridge"``, ``"neck"`` or ``"mend"``.
    path : float64 array (k, 2)
        Middle line from root to root in mm.
    width : float
    gap : float
        Length of its way across the opening.
    state : str
        ``"automatic"`` or ``"locked"``.
    name : str
        Id, where it has one already.
    flare : tuple of float
        How much wider it is at the two edges of the opening than in its middle, as shares.
    """

    kind: str
    path: Floats
    width: float
    gap: float = 0.0
    state: str = "automatic"
    name: str = ""
    flare: tuple[float, float] = (0.0, 0.0)


class Laying:
    """Openings that strips are taken out of.

    Parameters
    ----------
    sheet : Sheet
    width : float
        Least width of a bridge in mm: the core is the sheet eroded by just under half of it.
    fillet : float
        Radius of fillets in mm; 0 for none.
    """

    def __init__(self, sheet: Sheet, width: float, fillet: float = 0.0) -> None:
        self._sheet = sheet
        self._width = width
        self._fillet = fillet
        # Slits that open touching points belong to the openings here.
        self._openings = as_multipolygon(sheet.outline.difference(sheet.shape))
        self._core = ErodedSheet(sheet.outline, width / 2 * JUST_UNDER)
        self._teeth = Teeth(self._openings, width)
        self.strips: list[Strip] = []
        self.shapes: list[shapely.Geometry] = []
        self.covers: list[float] = []

    def copy(self) -> Laying:
        """Return the same, to lay other strips on."""
        other = copy(self)
        other._core = self._core.copy()
        other.strips, other.shapes = list(self.strips), list(self.shapes)
        other.covers = list(self.covers)
        return other

    @property
    def layer(self) -> str:
        """Name of the sheet's layer."""
        return self._sheet.layer

    @property
    def openings(self) -> MultiPolygon:
        """What is left of the openings."""
        return self._openings

    def core(self) -> MultiPolygon:
        """Return the core of the sheet as it is now: its polygons are its pieces."""
        return self._core.of(self._openings)

    def lay(self, strips: Sequence[Strip]) -> None:
        """Take strips out of the openings; what they leave too small to cut is filled."""
        if not strips:
            return
        shapes = straight_strips([s.path for s in strips], np.array([s.width for s in strips]))
        tapered = np.flatnonzero([any(s.flare) for s in strips])
        if len(tapered):
            which = [strips[k] for k in tapered.tolist()]
            # Their paths lead from root to edge, across the opening, and from edge to root.
            flared = tapered_strips(
                [s.path[1:-1] for s in which],
                np.array([s.width for s in which]),
                np.array([s.flare for s in which]),
            )
            shapes[tapered] = shapely.union(shapes[tapered], flared)
        parts = shapely.get_parts(self._openings)
        touched, by = pairs_that_meet(parts, shapes)
        if self._fillet:
            shapes = self._filleted(shapes, parts, by, touched)
        shapes = self._teeth.filled(shapes, sides_of(strips))
        which, tile = self._teeth.tree.query(shapes, predicate="intersects")
        area = shapely.area(shapely.intersection(shapes[which], self._teeth.tiles[tile]))
        self.covers += np.bincount(which, area, len(shapes)).tolist()
        self.shapes += shapes.tolist()
        self.strips += strips
        changed = np.unique(touched)
        cut = _without(parts[changed], shapes)
        kept = np.delete(parts, changed)
        left = shapely.get_parts(shapely.get_parts(cut))
        left = left[shapely.get_dimensions(left) == 2]
        self._openings = MultiPolygon([*kept, *left[~_crumbs(left, self._width)]])

    def _filleted(
        self,
        shapes: Geometries,
        parts: Geometries,
        by: Indices,
        touched: Indices,
    ) -> Geometries:
        """Return shapes of strips with fillets in the corners beside them.

        Parameters
        ----------
        shapes : object array of Polygon
        parts : object array of Polygon
            The openings.
        by, touched : int array
            Strips, and openings that they cross.
        """
        # In small parts: one opening may have very many corners.
        crossed = np.unique(touched)
        tiles, of = small_parts(parts[crossed], MOST_VERTICES)
        windows = fillet_windows(shapes, self._fillet)
        strip, tile = shapely.STRtree(tiles).query(windows, predicate="intersects")
        number = strip * len(parts) + crossed[of[tile]]
        pairs = np.unique(by * len(parts) + touched)
        own = np.isin(number, pairs)
        strip, tile = strip[own], tile[own]
        seen = shapely.intersection(tiles[tile], windows[strip])
        near = united_by_owner(seen, np.searchsorted(pairs, number[own]), len(pairs))
        pair_strip = pairs // len(parts)
        found, pair = fillets(shapes[pair_strip], near, self._fillet)
        return with_more(shapes, found, pair_strip[pair])

    def sheet(self) -> Sheet:
        """Return the sheet as it is now."""
        sheet = self._sheet
        # Registration holes stay whole, whatever strip lies there.
        voids = shapely.union(self._openings, sheet.holes) if self.strips else self._openings
        plate = cut_plate(sheet.outline, voids, sheet.layer)
        openings = plate.voids
        if not sheet.holes.is_empty:
            openings = as_multipolygon(openings.difference(sheet.holes))
        return Sheet(
            sheet.layer, sheet.outline, openings, sheet.holes, plate.shape, sheet.thickness
        )


def sides_of(strips: Sequence[Strip]) -> Sides:
    """Return how the sides of strips run; paths across one opening lead from root to root."""
    one_gap = np.array(
        [s.kind == "bridge" and s.state == "automatic" and len(s.path) >= 4 for s in strips]
    )
    ways = [s.path[1:-1] if one else s.path for s, one in zip(strips, one_gap, strict=True)]
    points, size = np.concatenate(ways), np.array([len(way) for way in ways])
    of, last = np.repeat(np.arange(len(ways)), size), np.cumsum(size) - 1
    ends = np.stack([points[last - size + 1], points[last]], axis=1)
    roots = np.array([[s.path[0], s.path[-1]] for s in strips])
    along = ends[:, 1] - ends[:, 0]
    along /= np.maximum(np.hypot(*along.T), NOT_ZERO)[:, None]
    aside = np.stack([-along[:, 1], along[:, 0]], axis=1)
    bend, turn = np.zeros(len(ways)), np.zeros(len(ways))
    np.maximum.at(bend, of, np.abs(((points - ends[of, 0]) * aside[of]).sum(axis=1)))
    step = np.flatnonzero(of[1:] == of[:-1])
    way = points[step + 1] - points[step]
    off, on = ((way * unit[of[step]]).sum(axis=1) for unit in (aside, along))
    np.maximum.at(turn, of[step], np.abs(np.arctan2(off, on)))
    return Sides(
        ends,
        np.hypot(*np.moveaxis(roots - ends, -1, 0)),
        np.array([s.width for s in strips]),
        np.array([max(s.flare) for s in strips]),
        bend,
        turn,
        one_gap,
    )


def _without(parts: Geometries, shapes: Geometries) -> Geometries:
    """Return each part less the shapes, of which a part meets few."""
    joined = shapely.get_parts(unite(shapes))
    part, shape = pairs_that_meet(parts, joined)
    meeting = shapely.multipolygons(joined[shape], indices=part, out=np.full(len(parts), None))
    cut: Geometries = shapely.difference(parts, meeting)
    return cut


def _crumbs(openings: Geometries, width: float) -> Bools:
    """Return of which openings a strip left so little that nothing could be cut there."""
    deep = shapely.buffer(openings, -_CRUMB_DEPTH * width)
    crumbs: Bools = (shapely.area(openings) < _CRUMB * width * width) | shapely.is_empty(deep)
    return crumbs


def _near_part(piece: Polygon, point: shapely.Point, reach: float) -> Polygon:
    """Return the part of a piece within reach of a point, the one next to it; else all of it."""
    x0, y0, x1, y1 = piece.bounds
    if max(x1 - x0, y1 - y0) <= reach:
        return piece
    parts = as_multipolygon(piece.intersection(point.buffer(reach, quad_segs=4))).geoms
    return min(parts, key=point.distance, default=piece)


class Roots:
    """Finds where strips across gaps are rooted: in the core of the pieces on either side.

    Parameters
    ----------
    pieces : sequence of Polygon
    core : MultiPolygon
        Core of the same sheet.
    width : float
        Of a bridge, in mm.
    """

    def __init__(self, pieces: Sequence[Polygon], core: MultiPolygon, width: float) -> None:
        self._width = width
        self._pieces = np.asarray(pieces, object)
        self._cores = shapely.get_parts(core)
        self._home = piece_of(shapely.point_on_surface(self._cores), self._pieces)
        # Points to be rooted lie outside the core, so that its nearest point is on an edge.
        rings, owner = shapely.get_rings(self._cores, return_index=True)
        self._lines, ring = short_lines(rings)
        self._line_home = self._home[owner[ring]]
        self._tree = shapely.STRtree(self._lines)

    def paths(self, gaps: Gaps) -> list[Floats]:
        """Return middle lines from core to core across each gap, arrays (4, 2).

        A piece without a core, narrower than a bridge all over, is held at its widest place within
        reach of the gap; so is one whose core lies beyond an opening, since a bridge over that
        would be longer than its gap says.
        """
        first = self._roots(gaps.pieces[:, 0], gaps.start)
        second = self._roots(gaps.pieces[:, 1], gaps.end)
        return list(np.stack([first, gaps.start, gaps.end, second], axis=1))

    def _roots(self, piece: Indices, at: Floats) -> Floats:
        # Many lines that are tried for one bridge have an end in common.
        order = np.lexsort((at[:, 1], at[:, 0], piece))
        rows = np.column_stack([piece, at])[order]
        first = np.append(True, (rows[1:] != rows[:-1]).any(axis=1))[: len(rows)]
        once = self._roots_of(piece[order[first]], at[order[first]])
        roots = np.empty_like(at)
        roots[order] = once[np.cumsum(first) - 1]
        return roots

    def _roots_of(self, piece: Indices, at: Floats) -> Floats:
        points = shapely.points(at)
        roots = np.full(at.shape, np.nan)
        if len(self._lines) and len(at):
            which, near = self._tree.query_nearest(points, all_matches=False)
            own = self._line_home[near] == piece[which]
            lines = shapely.shortest_line(self._lines[near[own]], points[which[own]])
            roots[which[own]] = shapely.get_coordinates(lines)[::2]
        # The nearest core is another piece's, or the piece has none.
        for number in np.flatnonzero(np.isnan(roots[:, 0])).tolist():
            mine = self._cores[self._home == piece[number]]
            if len(mine):
                nearest = mine[np.argmin(shapely.distance(mine, points[number]))]
                line = shapely.shortest_line(nearest, points[number])
                roots[number] = shapely.get_coordinates(line)[0]
        length = np.hypot(*(roots - at).T)
        far = ~(length < (JUST_UNDER / 2 + _OUTSIDE) * self._width)
        for number in np.flatnonzero(far).tolist():
            whole = self._pieces[piece[number]]
            if np.isnan(length[number]) or self._leaves(whole, at[number], roots[number]):
                roots[number] = self._widest_near(whole, at[number])
        return roots

    def _widest_near(self, piece: Polygon, at: Floats) -> Floats:
        """Return the widest place of a piece within reach of a point, and straight from there."""
        point, place = shapely.Point(at), at
        for reach in _REACHES:
            near_by = _near_part(piece, point, reach * self._width)
            line = shapely.maximum_inscribed_circle(near_by, _MIDDLE * self._width)
            place = shapely.get_coordinates(line)[0]
            if not self._leaves(piece, at, place):
                break
        return place

    def _leaves(self, piece: Polygon, at: Floats, root: Floats) -> bool:
        way = shapely.LineString([at, root])
        return bool(way.difference(piece).length > _OUTSIDE * self._width)
