"""Wearing back and widening, opening by opening: quick on sheets with thousands of openings.

The buffer of a whole sheet nodes all its edges at once; here each opening is widened by itself and
only those that then overlap are united.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Geometries
from .polygons import as_multipolygon
from .union import union_by_clusters

#: Edges are simplified by at most this share of the distance first: nothing that a distance for
#: ribs, labels or seams could tell.
_SIMPLIFY = 0.02


def filled(shape: MultiPolygon | Polygon) -> MultiPolygon:
    """Return a sheet without its openings: what its outer edges enclose."""
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
        found = list(as_multipolygon(filled(pieces).difference(pieces)).geoms)
    return np.array(found, object)


def widened(openings: Geometries, distance: float, quad_segs: int = 8) -> MultiPolygon:
    """Return openings grown by a distance in mm, round corners, united where they meet."""
    if len(openings) == 0:
        return MultiPolygon()
    smooth = shapely.simplify(openings, _SIMPLIFY * distance)
    return union_by_clusters(shapely.buffer(smooth, distance, quad_segs=quad_segs))


def worn(
    shape: MultiPolygon | Polygon, distance: float, openings: Geometries | None = None
) -> MultiPolygon:
    """Return what is left of a sheet when every edge is worn back by a distance.

    Parameters
    ----------
    shape : polygon or polygons
    distance : float
        In mm.
    openings : array of Polygon, optional
        The openings that matter; all of the sheet's when None.

    Examples
    --------
    >>> worn(shapely.box(0, 0, 10, 10), 1.0).area
    64.0
    """
    if openings is None:
        openings = openings_of(shape)
    inner = shapely.buffer(filled(shape), -distance, join_style="mitre")
    return as_multipolygon(inner.difference(widened(openings, distance)))
