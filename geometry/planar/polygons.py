"""Polygons: what a shape is made of, where its rings touch, and which piece of it is the frame."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Geometries, Indices


def as_multipolygon(geometry: shapely.Geometry) -> MultiPolygon:
    """Return the polygons of any geometry; points and lines, which have no area, are left out.

    >>> as_multipolygon(shapely.box(0, 0, 1, 1)).area
    1.0
    """
    parts = shapely.get_parts(shapely.get_parts(geometry))
    polygons = [p for p in parts if isinstance(p, Polygon) and not p.is_empty]
    return MultiPolygon(polygons)


def touching_points(shape: MultiPolygon) -> Floats:
    """Return the points where rings of a valid shape touch, as an array (n, 2).

    Overlay results are noded, so that rings which touch share a vertex there.

    >>> two = as_multipolygon(shapely.union_all([shapely.box(0, 0, 1, 1), shapely.box(1, 1, 2, 2)]))
    >>> touching_points(two)
    array([[1., 1.]])
    """
    rings = shapely.get_rings(shapely.get_parts(shape))
    points, ring = shapely.get_coordinates(rings, return_index=True)
    closing = np.append(ring[1:] != ring[:-1], True) if len(ring) else np.empty(0, bool)
    points = points[~closing]
    order = np.lexsort(points.T)
    points = points[order]
    same = (points[1:] == points[:-1]).all(axis=1) if len(points) else np.empty(0, bool)
    found: Floats = np.unique(points[1:][same], axis=0)
    return found


def largest_piece(pieces: Sequence[Polygon]) -> int:
    """Return which piece is the frame of a sheet: that with the largest bounding rectangle."""
    x0, y0, x1, y1 = shapely.bounds(np.asarray(pieces, object)).T
    return int(np.argmax((x1 - x0) * (y1 - y0)))


def piece_of(points: Geometries, pieces: Geometries) -> Indices:
    """Return for each point the piece that it lies in, -1 where none.

    >>> piece_of(shapely.points([[5, 1], [9, 9]]), shapely.box([0, 4], 0, [2, 6], 2)).tolist()
    [1, -1]
    """
    home = np.full(len(points), -1)
    which, found = shapely.STRtree(pieces).query(points, predicate="intersects")
    home[which] = found
    return home


def with_holes_filled(polygons: Geometries, shapes: Geometries) -> tuple[Geometries, Bools]:
    """Take away the holes of polygons that shapes cover.

    Parameters
    ----------
    polygons : object array (n,) of Polygon
    shapes : object array (m,) of Polygon
        No larger than the hole that they fill, but for a hair.

    Returns
    -------
    polygons : object array (n,) of Polygon
    filled : bool array (m,)
        Which shapes cover a hole.

    Examples
    --------
    >>> ring = shapely.box(0, 0, 9, 9) - shapely.box(2, 2, 3, 3)
    >>> whole, filled = with_holes_filled(np.array([ring]), shapely.box(2, 2, [3, 2.5], 3))
    >>> whole[0].area, filled.tolist()
    (81.0, [True, False])
    """
    rings, owner = shapely.get_rings(polygons, return_index=True)
    inner = np.flatnonzero(np.diff(owner, prepend=-1) == 0)
    holes = shapely.polygons(rings[inner])
    shape, hole = shapely.STRtree(holes).query(shapes, predicate="covers")
    filled = np.zeros(len(shapes), bool)
    filled[shape] = True
    if not len(hole):
        return polygons, filled
    kept = np.ones(len(rings), bool)
    kept[inner[hole]] = False
    return shapely.polygons(rings[kept], indices=owner[kept]), filled


def without_specks(polygons: Geometries, least_area: float) -> tuple[Geometries, Bools]:
    """Leave out polygons, and holes of polygons, that are smaller than an area.

    Parameters
    ----------
    polygons : object array (n,) of Polygon
    least_area : float
        In mm2.

    Returns
    -------
    polygons : object array of Polygon
    kept : bool array (n,)
        Which of the polygons are left.

    Examples
    --------
    >>> left, kept = without_specks(shapely.box(0, 0, np.array([1, 9]), 1), 2.0)
    >>> kept.tolist(), left[0].area
    ([False, True], 9.0)
    """
    kept: Bools = shapely.area(polygons) >= least_area
    cleaned = polygons[kept]
    for index in np.flatnonzero(shapely.get_num_interior_rings(cleaned) > 0):
        rings = shapely.get_rings(cleaned[index])
        big = shapely.area(shapely.polygons(rings)) >= least_area
        if not big.all():
            cleaned[index] = shapely.polygons(rings[0], rings[1:][big[1:]])
    return cleaned, kept


def without_spikes(polygon: Polygon, width: float) -> Polygon:
    """Return a polygon without spikes that are thinner than a width all along.

    Differences of shapes whose edges run along each other leave such spikes; a tool that goes
    round one leaves a nub.

    Parameters
    ----------
    polygon : Polygon
        Valid.
    width : float
        In mm.

    Examples
    --------
    >>> nub = Polygon([(0, 0), (4, 0), (4, 2), (0, 2), (-0.05, 2.0001), (0, 1.9999)])
    >>> without_spikes(nub, 1e-3).bounds
    (0.0, 0.0, 4.0, 2.0)
    """
    rings = [_without_spikes(ring, width) for ring in shapely.get_rings(polygon)]
    return Polygon(rings[0], rings[1:])


def _without_spikes(ring: shapely.LinearRing, width: float) -> Floats:
    points: Floats = shapely.get_coordinates(ring)[:-1]
    while len(points) > 3:
        back, on = np.roll(points, 1, axis=0) - points, np.roll(points, -1, axis=0) - points
        shorter = np.minimum(np.hypot(*back.T), np.hypot(*on.T))
        longer = np.maximum(np.hypot(*back.T), np.hypot(*on.T))
        # How far the end of the shorter side lies from the longer one.
        apart = np.abs(back[:, 0] * on[:, 1] - back[:, 1] * on[:, 0]) / longer
        spike = ((back * on).sum(axis=1) > 0) & (apart < width) & (shorter > width)
        if not spike.any():
            break
        # One at a time: its neighbours are other corners then.
        points = np.delete(points, int(spike.argmax()), axis=0)
    return points
