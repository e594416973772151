"""Rings cut into short lines, shapes into small polygons, so that an index finds the near ones."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.errors import GEOSException

from ..arrays import Geometries, Indices, ramp

#: Segments a short line.
SEGMENTS = 8

#: Polygons of more vertices are halved. Small ones are quick to clip, few are quick to find.
MOST_VERTICES = 200

#: A polygon of no more than this across, in mm, is not halved again, however many its vertices.
LEAST_SIZE = 1e-3


def short_lines(rings: Geometries) -> tuple[Geometries, Indices]:
    """Cut rings into lines of a few segments each.

    Parameters
    ----------
    rings : object array of LinearRing

    Returns
    -------
    lines : object array of LineString
        Neighbours share their end points.
    ring : int array
        The ring that each line is part of.

    Examples
    --------
    >>> lines, ring = short_lines(shapely.get_rings(shapely.Point(0, 0).buffer(1, quad_segs=4)))
    >>> len(lines), ring.tolist()
    (2, [0, 0])
    """
    points, ring = shapely.get_coordinates(rings, return_index=True)
    first = np.flatnonzero(np.append(True, ring[1:] != ring[:-1])[: len(ring)])
    last = np.append(first[1:], len(ring)) - 1
    step = np.arange(len(ring)) - first[ring]
    start = np.flatnonzero((step % SEGMENTS == 0) & (np.arange(len(ring)) != last[ring]))
    stop = np.minimum(start + SEGMENTS, last[ring[start]])
    size = stop - start + 1
    line = np.repeat(np.arange(len(start)), size)
    within = ramp(size)
    lines: Geometries = shapely.linestrings(points[start[line] + within], indices=line)
    return lines, ring[start]


def small_polygons(shape: Polygon | MultiPolygon, most_vertices: int = MOST_VERTICES) -> Geometries:
    """Cut a shape into polygons of few vertices each that together cover it and share edges only.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        Valid.
    most_vertices : int
        Parts of more vertices are halved.

    Returns
    -------
    object array of Polygon

    Examples
    --------
    >>> disc = shapely.Point(0, 0).buffer(1, quad_segs=100)
    >>> parts = small_polygons(disc, most_vertices=50)
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
            if count <= most_vertices or max(x1 - x0, y1 - y0) < LEAST_SIZE:
                done.append(polygon)
                continue
            if x1 - x0 > y1 - y0:
                middle = (x0 + x1) / 2
                halves = ((x0, y0, middle, y1), (middle, y0, x1, y1))
            else:
                middle = (y0 + y1) / 2
                halves = ((x0, y0, x1, middle), (x0, middle, x1, y1))
            for half in halves:
                part = _clipped(polygon, half)
                todo += [
                    p for p in shapely.get_parts(shapely.get_parts(part)) if isinstance(p, Polygon)
                ]
    return np.asarray(done, object)


def small_parts(shapes: Geometries, most_vertices: int) -> tuple[Geometries, Indices]:
    """Cut shapes into parts of few vertices each, so that an index by boxes tells them apart.

    The boxes of rings in rings overlap by the hundred; those of their parts do not.

    Parameters
    ----------
    shapes : object array
        Polygons are cut where they have more vertices; anything else stays whole.
    most_vertices : int

    Returns
    -------
    parts : object array
    owner : int array
        The shape that each is part of.

    Examples
    --------
    >>> ring = shapely.Point(0, 0).buffer(9).difference(shapely.Point(0, 0).buffer(8))
    >>> parts, owner = small_parts(np.array([shapely.Point(0, 0), ring]), 40)
    >>> len(parts) > 4, sorted(set(owner.tolist()))
    (True, [0, 1])
    """
    many = shapely.get_num_coordinates(shapes) > most_vertices
    many &= shapely.get_dimensions(shapes) == 2
    if not many.any():
        return shapes, np.arange(len(shapes))
    cut = [small_polygons(shape, most_vertices) for shape in shapes[many]]
    owner = np.repeat(np.flatnonzero(many), [len(parts) for parts in cut])
    return np.concatenate([shapes[~many], *cut]), np.append(np.flatnonzero(~many), owner)


def _clipped(polygon: Polygon, half: tuple[float, float, float, float]) -> shapely.Geometry:
    """Return the part of a polygon in a rectangle."""
    try:
        part = shapely.clip_by_rect(polygon, *half)
        if part.is_valid:
            return part
    except GEOSException:
        pass
    # The quick clip does not node: it fails on rings that run along the cut or barely cross it.
    return shapely.intersection(polygon, shapely.box(*half))
