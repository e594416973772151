"""Winding numbers, and outlines cut into faces that each have one."""

from __future__ import annotations

import numpy as np
import shapely

from ..arrays import Floats, Geometries, Indices
from ..tolerance import Tolerances


def winding_numbers(points: Floats, start: Floats, end: Floats) -> Indices:
    """Return how often directed segments wind round each point.

    Parameters
    ----------
    points : ndarray, shape (m, 2)
    start, end : ndarray, shape (n, 2)
        The segments of closed outlines, in any order.

    Returns
    -------
    ndarray of int, shape (m,)
        Positive counter-clockwise. Counted by upward and downward crossings of the ray to the
        right (the crossing rule of SVG 1.1, section 11.3), half-open in y so that a vertex counts
        once.
    """
    found = np.zeros(len(points), np.int64)
    slanted = start[:, 1] != end[:, 1]
    start, end = start[slanted], end[slanted]
    if len(points) == 0 or len(start) == 0:
        return found
    if len(points) * len(start) <= 4_000_000:
        which = np.repeat(np.arange(len(points)), len(start))
        segment = np.tile(np.arange(len(start)), len(points))
        _count_crossings(found, points, start, end, which, segment)
        return found
    # Many points and many segments: a tree finds the few segments that each ray can meet.
    tree = shapely.STRtree(
        shapely.box(
            np.minimum(start[:, 0], end[:, 0]),
            np.minimum(start[:, 1], end[:, 1]),
            np.maximum(start[:, 0], end[:, 0]),
            np.maximum(start[:, 1], end[:, 1]),
        )
    )
    right = float(max(start[:, 0].max(), end[:, 0].max(), points[:, 0].max())) + 1.0
    for low in range(0, len(points), 4096):
        some = points[low : low + 4096]
        rays = shapely.box(some[:, 0], some[:, 1], right, some[:, 1])
        which, segment = tree.query(rays)
        _count_crossings(found, points, start, end, which + low, segment)
    return found


def _count_crossings(
    found: Indices, points: Floats, start: Floats, end: Floats, which: Indices, segment: Indices
) -> None:
    x, y = points[which, 0], points[which, 1]
    a, b = start[segment], end[segment]
    up = (a[:, 1] <= y) & (b[:, 1] > y)
    down = (b[:, 1] <= y) & (a[:, 1] > y)
    left_of = (b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (x - a[:, 0]) * (b[:, 1] - a[:, 1])
    np.add.at(found, which[up & (left_of > 0)], 1)
    np.add.at(found, which[down & (left_of < 0)], -1)


def snap_grid(tolerances: Tolerances) -> float:
    """Return the grid that crossings are rounded to: ten times finer than ``same_point``.

    Snap rounding (Hobby 1999) is safe for any input. Without a grid GEOS (3.14, by Shapely 2.2)
    was seen to lose a whole triangle from the union of five nearly collinear polygons.
    """
    return tolerances.same_point / 10


def arrange(rings: Geometries, tolerances: Tolerances) -> tuple[Geometries, Indices, Floats]:
    """Cut rings at their crossings: faces, the winding number of each, and the crossing points.

    Winding numbers are those of the rings alone.
    """
    edges = shapely.get_parts(shapely.union_all(rings, grid_size=snap_grid(tolerances)))
    edges = edges[shapely.get_type_id(edges) == shapely.GeometryType.LINESTRING]
    faces = shapely.get_parts(shapely.polygonize(edges))
    xy, index = shapely.get_coordinates(rings, return_index=True)
    within = index[1:] == index[:-1]
    inner = shapely.get_coordinates(shapely.point_on_surface(faces)).reshape(-1, 2)
    weight = winding_numbers(inner, xy[:-1][within], xy[1:][within])
    ends = np.concatenate([shapely.get_point(edges, 0), shapely.get_point(edges, -1)])
    nodes, degree = np.unique(shapely.get_coordinates(ends), axis=0, return_counts=True)
    return faces, weight, nodes[degree > 2]
