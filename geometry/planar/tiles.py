"""Tiles: big polygons cut into small ones, so that a question about a spot costs the spot only."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Geometries

#: Polygons of more vertices are halved. Small tiles are quick to clip, few are quick to find.
MOST_VERTICES = 200


def tiles(shape: Polygon | MultiPolygon, most_vertices: int = MOST_VERTICES) -> Geometries:
    """Cut a shape into polygons of few vertices each that together cover it and share edges only.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        Valid.
    most_vertices : int

    Returns
    -------
    object array of Polygon

    Examples
    --------
    >>> disc = shapely.Point(0, 0).buffer(1, quad_segs=100)
    >>> parts = tiles(disc, most_vertices=50)
    >>> len(parts) > 4, bool(np.isclose(shapely.area(parts).sum(), disc.area))
    (True, True)
    """
    todo = [p for p in shapely.get_parts(shape) if not p.is_empty]
    done: list[Polygon] = []
    while todo:
        array = np.asarray(todo, object)
        counts = shapely.get_num_coordinates(array)
        bounds = shapely.bounds(array)
        todo = []
        for polygon, count, (x0, y0, x1, y1) in zip(
            array.tolist(), counts.tolist(), bounds.tolist(), strict=True
        ):
            # A tile that is not smaller than a micrometre has points to be parted.
            if count <= most_vertices or max(x1 - x0, y1 - y0) < 1e-3:
                done.append(polygon)
                continue
            if x1 - x0 > y1 - y0:
                middle = (x0 + x1) / 2
                halves = ((x0, y0, middle, y1), (middle, y0, x1, y1))
            else:
                middle = (y0 + y1) / 2
                halves = ((x0, y0, x1, middle), (x0, middle, x1, y1))
            for half in halves:
                part = shapely.clip_by_rect(polygon, *half)
                if not part.is_valid:  # rings that ran along the cut
                    part = shapely.intersection(polygon, shapely.box(*half))
                todo += [
                    p for p in shapely.get_parts(shapely.get_parts(part)) if isinstance(p, Polygon)
                ]
    return np.asarray(done, object)
