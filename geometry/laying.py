"""Laying: strips taken out of a sheet's openings, and the core of the sheet that follows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from .core import Core, piece_of, union_by_clusters
from .gaps import Gaps
from .sheet import Sheet, as_multipolygon
from .strip import fillets, straight_strips
from .tiles import tiles

Floats = NDArray[np.float64]
Geometries = NDArray[np.object_]

#: The core is taken at this share of half the width: "just under half".
JUST_UNDER = 0.995


@dataclass(frozen=True)
class Strip:
    """A strip to be laid, or laid.

    Parameters
    ----------
    kind : str
        ``"bridge"`` or ``"neck"``.
    path : float64 array (k, 2)
        Middle line from root to root in mm.
    width : float
    gap : float
        Length of its way across the opening.
    state : str
        ``"automatic"`` or ``"locked"``.
    name : str
        Id, where it has one already.
    """

    kind: str
    path: Floats
    width: float
    gap: float = 0.0
    state: str = "automatic"
    name: str = ""


class Laying:
    """Openings that strips are taken out of.

    Parameters
    ----------
    sheet : Sheet
    width : float
        Least width of a bridge in mm: the core is the sheet worn back by just under half of it.
    fillet : float
        Radius of fillets in mm; 0 for none.
    """

    def __init__(self, sheet: Sheet, width: float, fillet: float = 0.0) -> None:
        self._sheet = sheet
        self._width = width
        self._fillet = fillet
        # Slits that open touching points belong to the openings here.
        self._openings = as_multipolygon(sheet.outline.difference(sheet.shape))
        self._core = Core(sheet.outline, width / 2 * JUST_UNDER)
        self._tiles = tiles(self._openings)
        self._tree = shapely.STRtree(self._tiles)
        self.strips: list[Strip] = []
        self.shapes: list[shapely.Geometry] = []
        self.covers: list[float] = []

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
        parts = shapely.get_parts(self._openings)
        by, touched = shapely.STRtree(parts).query(shapes, predicate="intersects")
        if self._fillet:
            shapes = self._filleted(shapes, parts, by, touched)
        which, tile = self._tree.query(shapes, predicate="intersects")
        area = shapely.area(shapely.intersection(shapes[which], self._tiles[tile]))
        self.covers += np.bincount(which, area, len(shapes)).tolist()
        self.shapes += shapes.tolist()
        self.strips += strips
        changed = np.unique(touched)
        cut = shapely.difference(parts[changed], union_by_clusters(shapes))
        kept = np.delete(parts, changed)
        left = [p for c in cut for p in as_multipolygon(c).geoms if not is_crumb(p, self._width)]
        self._openings = MultiPolygon([*kept, *left])

    def _filleted(
        self,
        shapes: Geometries,
        parts: Geometries,
        by: NDArray[np.int64],
        touched: NDArray[np.int64],
    ) -> Geometries:
        order = np.argsort(by, kind="stable")
        stops = np.cumsum(np.bincount(by, minlength=len(shapes)))[:-1]
        result = shapes.copy()
        for number, crossed in enumerate(np.split(touched[order], stops)):
            extra = fillets(shapes[number], parts[crossed], self._fillet)
            if extra:
                result[number] = shapely.union_all([shapes[number], *extra])
        return result

    def sheet(self) -> Sheet:
        """Return the sheet as it is now."""
        sheet = self._sheet
        shape = as_multipolygon(sheet.outline.difference(self._openings))
        openings = self._openings
        if not sheet.holes.is_empty:
            openings = as_multipolygon(openings.difference(sheet.holes))
        return Sheet(sheet.layer, sheet.outline, openings, sheet.holes, shape, sheet.thickness)


def is_crumb(opening: Polygon, width: float) -> bool:
    """Return whether a strip left so little of an opening that nothing could be cut there."""
    return opening.area < 0.01 * width * width or opening.buffer(-0.02 * width).is_empty


def rooted(gaps: Gaps, pieces: Sequence[Polygon], core: MultiPolygon) -> list[Floats]:
    """Return middle lines from core to core across each gap.

    A piece without a core, narrower than a bridge all over, is held at its widest place.

    Parameters
    ----------
    gaps : Gaps
        Between ``pieces``.
    pieces : sequence of Polygon
    core : MultiPolygon
        Core of the same sheet.

    Returns
    -------
    list of float64 array (4, 2)
    """
    array = np.asarray(pieces, object)
    cores = shapely.get_parts(core)
    home = piece_of(shapely.point_on_surface(cores), array)
    parts = tiles(core)
    part_home = piece_of(shapely.point_on_surface(parts), array)
    tree = shapely.STRtree(parts)
    ends = []
    for piece, at in ((gaps.pieces[:, 0], gaps.start), (gaps.pieces[:, 1], gaps.end)):
        points = shapely.points(at)
        roots = np.full(at.shape, np.nan)
        if len(parts):
            which, near = tree.query_nearest(points, all_matches=False)
            own = part_home[near] == piece[which]
            lines = shapely.shortest_line(parts[near[own]], points[which[own]])
            roots[which[own]] = shapely.get_coordinates(lines)[::2]
        # The nearest core is another piece's, or the piece has none.
        for number in np.flatnonzero(np.isnan(roots[:, 0])).tolist():
            mine = cores[home == piece[number]]
            if len(mine):
                nearest = mine[np.argmin(shapely.distance(mine, points[number]))]
                line = shapely.shortest_line(nearest, points[number])
                roots[number] = shapely.get_coordinates(line)[0]
            else:
                circle = shapely.maximum_inscribed_circle(array[piece[number]], 0.01)
                roots[number] = shapely.get_coordinates(circle)[0]
        ends.append(roots)
    return [
        np.stack([root_a, a, b, root_b])
        for root_a, a, b, root_b in zip(ends[0], gaps.start, gaps.end, ends[1], strict=True)
    ]
