"""Which of many points lie inside which shapes, in time that grows little with their rings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Geometries, Indices


def points_inside(shapes: Sequence[Polygon | MultiPolygon], points: Floats) -> Bools:
    """Return which points lie inside which shapes; a point on a shape's edge does not.

    GEOS asks all edges that reach across a point's own level, which are many where a shape has many
    rings. Here each ring is asked by itself, and only about the points within its box.

    Parameters
    ----------
    shapes : sequence of Polygon or MultiPolygon
        Valid, in any number.
    points : float64 array (n, 2)

    Returns
    -------
    bool array (n, shapes)

    Examples
    --------
    >>> ring = shapely.box(0, 0, 4, 4) - shapely.box(1, 1, 3, 3)
    >>> points_inside([ring], np.array([[0.5, 0.5], [2, 2], [1, 2], [9, 9]])).tolist()
    [[True], [False], [False], [False]]
    """
    inside = np.zeros((len(points), len(shapes)), bool)
    if not inside.size:
        return inside
    cloud = shapely.points(points)
    tree = shapely.STRtree(cloud)
    about = shapely.box(*shapely.total_bounds(cloud))
    near = shapely.intersects(about, shapely.box(*shapely.bounds(np.array(shapes, object)).T))
    for number, shape in enumerate(shapes):
        if not near[number]:
            continue
        rings, part = shapely.get_rings(shapely.get_parts(shape), return_index=True)
        is_hole = np.diff(part, prepend=-1) == 0
        # A point inside lies in one more outer ring than in holes, however they are nested.
        outer = _held(tree, points, rings[~is_hole], shapely.contains_xy)
        holes = _held(tree, points, rings[is_hole], shapely.intersects_xy)
        inside[:, number] = outer > holes
    return inside


def _held(
    tree: shapely.STRtree, points: Floats, rings: Geometries, holds: Callable[..., Any]
) -> Indices:
    """Return how many of the rings hold each point."""
    areas = shapely.polygons(rings)
    shapely.prepare(areas)
    ring, point = tree.query(areas)
    within = holds(areas[ring], *points[point].T)
    return np.bincount(point[within], minlength=len(points))
