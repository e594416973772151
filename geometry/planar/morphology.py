"""Erosion and dilation of sheets, and openings and closings made of the two.

The buffer of a whole sheet nodes all its edges at once, which is slow where a sheet has thousands
of openings; here each opening is dilated by itself and only those that then overlap are united.
"""

from __future__ import annotations

from copy import copy

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Geometries
from ..threads import map_geometries
from .polygons import as_multipolygon
from .union import unite

#: Segments a quarter circle of the rounds that an eroded corner gets. The rounds are drawn outside
#: the true arc (see ``_reach``), so that the eroded sheet is never larger than the exact one.
QUARTER_SEGMENTS = 16

#: Edges are simplified by at most this share of the distance before they are dilated: nothing that
#: a distance for ribs, labels or seams could tell.
_SIMPLIFY = 0.02

#: Corners stay corners when shapes are opened or closed, unless they are needles.
_MITRE_LIMIT = 2.5


def without_openings(shape: MultiPolygon | Polygon) -> MultiPolygon:
    """Return a sheet without its openings: what its outer edges enclose.

    >>> plate = shapely.box(0, 0, 9, 9).difference(shapely.box(2, 2, 4, 4))
    >>> without_openings(plate).area
    81.0
    """
    exteriors = [Polygon(p.exterior) for p in as_multipolygon(shape).geoms]
    if len(exteriors) < 2:
        return MultiPolygon(exteriors)
    return as_multipolygon(shapely.union_all(exteriors))


def openings_of(shape: MultiPolygon | Polygon) -> Geometries:
    """Return the openings of a sheet as an array of polygons.

    >>> openings_of(shapely.box(0, 0, 9, 9).difference(shapely.box(2, 2, 4, 4)))[0].area
    4.0
    """
    pieces = as_multipolygon(shape)
    if len(pieces.geoms) == 1:
        found = [Polygon(ring) for ring in pieces.geoms[0].interiors]
    else:
        found = list(as_multipolygon(without_openings(pieces).difference(pieces)).geoms)
    return np.array(found, object)


def dilate(openings: Geometries, distance: float, quad_segs: int = 8) -> MultiPolygon:
    """Return openings grown by a distance, with round corners, united where they meet.

    Parameters
    ----------
    openings : object array of Polygon
    distance : float
        In mm.
    quad_segs : int
        Segments a quarter circle of the round corners.

    Returns
    -------
    MultiPolygon
        Points of an opening that matter less than 2 % of the distance are left out.
    """
    if len(openings) == 0:
        return MultiPolygon()
    smooth = shapely.simplify(openings, _SIMPLIFY * distance)
    return unite(shapely.buffer(smooth, distance, quad_segs=quad_segs))


def erode(
    shape: MultiPolygon | Polygon, distance: float, openings: Geometries | None = None
) -> MultiPolygon:
    """Return what is left of a sheet when every edge is moved inwards by a distance.

    Parameters
    ----------
    shape : polygon or polygons
    distance : float
        In mm.
    openings : array of Polygon, optional
        The openings that matter; all of the sheet's when None.

    Returns
    -------
    MultiPolygon
        As exact as :func:`dilate` is.

    Examples
    --------
    >>> erode(shapely.box(0, 0, 10, 10), 1.0).area
    64.0
    """
    if openings is None:
        openings = openings_of(shape)
    inner = shapely.buffer(without_openings(shape), -distance, join_style="mitre")
    return as_multipolygon(inner.difference(dilate(openings, distance)))


def open_shape(shape: MultiPolygon, width: float) -> MultiPolygon:
    """Return a shape without what is narrower than ``width``: its morphological opening.

    Parameters
    ----------
    shape : MultiPolygon
    width : float
        In mm.

    Returns
    -------
    MultiPolygon
        Within the shape; corners stay pointed.

    Examples
    --------
    >>> key = as_multipolygon(shapely.union(shapely.box(0, 0, 4, 4), shapely.box(4, 1, 9, 2)))
    >>> open_shape(key, 1.5).bounds
    (0.0, 0.0, 4.0, 4.0)
    """
    eroded = _offset(shape, -width / 2)
    return as_multipolygon(_offset(eroded, width / 2).intersection(shape))


def close_shape(shape: MultiPolygon, width: float) -> MultiPolygon:
    """Return a shape with gaps narrower than ``width`` filled: its morphological closing.

    Parameters
    ----------
    shape : MultiPolygon
    width : float
        In mm.

    Returns
    -------
    MultiPolygon
        Covers the shape; corners stay pointed.

    Examples
    --------
    >>> two = as_multipolygon(shapely.union(shapely.box(0, 0, 4, 4), shapely.box(5, 0, 9, 4)))
    >>> close_shape(two, 1.5).area
    36.0
    """
    dilated = _offset(shape, width / 2)
    return as_multipolygon(_offset(dilated, -width / 2).union(shape))


def _offset(shape: shapely.Geometry, distance: float) -> shapely.Geometry:
    return shape.buffer(distance, join_style="mitre", mitre_limit=_MITRE_LIMIT)


class ErodedSheet:
    """The erosion of one outline with changing openings; openings that stay are dilated only once.

    Strips of sheet narrower than twice the radius vanish, so that a sheet whose erosion is one
    piece holds together at that width everywhere it has to.

    Parameters
    ----------
    outline : Polygon
        Outer edge of the sheet in mm.
    radius : float
        How far every edge is moved inwards, in mm.
    """

    def __init__(self, outline: Polygon, radius: float) -> None:
        self._inner = outline.buffer(-radius, join_style="mitre")
        self._radius = radius
        self._dilated: dict[bytes, Polygon] = {}
        self._last: tuple[MultiPolygon, MultiPolygon] | None = None

    def copy(self) -> ErodedSheet:
        """Return the same, to be used beside this one."""
        return copy(self)

    def of(self, openings: MultiPolygon) -> MultiPolygon:
        """Return the erosion of the outline minus ``openings``: its polygons are its pieces."""
        if self._last is None or self._last[0] is not openings:
            self._last = openings, self._eroded(openings)
        return self._last[1]

    def _eroded(self, openings: MultiPolygon) -> MultiPolygon:
        parts = shapely.get_parts(openings)
        keys = list(shapely.to_wkb(parts))
        new = np.array([key not in self._dilated for key in keys], bool)
        reach = _reach(self._radius)
        wide = map_geometries(
            shapely.buffer, parts[new], distance=reach, quad_segs=QUARTER_SEGMENTS
        )
        fresh = iter(wide)
        self._dilated = {
            key: next(fresh) if is_new else self._dilated[key]
            for key, is_new in zip(keys, new.tolist(), strict=True)
        }
        if not keys:
            return as_multipolygon(self._inner)
        gone = unite(np.array(list(self._dilated.values()), object))
        return as_multipolygon(self._inner.difference(gone))


def _reach(distance: float) -> float:
    # A polygon whose corners lie on the arc cuts inside it by the factor cos(step / 2).
    return distance / float(np.cos(np.pi / 4 / QUARTER_SEGMENTS))
