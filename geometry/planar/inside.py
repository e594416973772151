"""Which of many points lie inside which shapes, in time that grows little with their rings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Geometries


class Insides:
    """Shapes that are asked again and again which points lie inside them.

    GEOS asks all edges that reach across a point's own level, which are many where a shape has many
    rings. Here each ring is asked by itself, and only about the points within its box.

    Parameters
    ----------
    shapes : sequence of Polygon or MultiPolygon
        Valid, in any number.
    """

    def __init__(self, shapes: Sequence[Polygon | MultiPolygon]) -> None:
        self._count = len(shapes)
        parts, shape = shapely.get_parts(np.array(shapes, object), return_index=True)
        rings, part = shapely.get_rings(parts, return_index=True)
        self._owner = shape[part].astype(np.int64)
        # A point inside lies in one more outer ring than in holes, however they are nested.
        self._is_hole = np.diff(part, prepend=-1) == 0
        self._areas: Geometries = shapely.polygons(rings)
        shapely.prepare(self._areas)
        self._tree = shapely.STRtree(self._areas)

    def __call__(self, points: Floats) -> Bools:
        """Return which points (n, 2) lie inside which shapes, (n, shapes); none on their edges."""
        depth = np.zeros((len(points), self._count), np.int32)
        point, ring = self._tree.query(shapely.points(points))
        for holes, holds, step in (
            (False, shapely.contains_xy, 1),
            (True, shapely.intersects_xy, -1),
        ):
            asked = np.flatnonzero(self._is_hole[ring] == holes)
            within = holds(self._areas[ring[asked]], *points[point[asked]].T)
            found = asked[within]
            np.add.at(depth, (point[found], self._owner[ring[found]]), step)
        inside: Bools = depth > 0
        return inside


def points_inside(shapes: Sequence[Polygon | MultiPolygon], points: Floats) -> Bools:
    """Return which points lie inside which shapes; a point on a shape's edge does not.

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
    return Insides(shapes)(points)
