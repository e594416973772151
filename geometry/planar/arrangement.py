"""Arrangements: edges cut where they cross, the faces between them, and what each face lies in.

All edges are noded together once, the faces are the polygons that they bound, and a face is
labelled by a point inside it: by its winding number where the edges are one shape's outlines
(``arrange``), or by the regions that it lies in (``partition``). Every later question (the finished
picture for any spray order, what a bridge leaves bare, how much paint lies where) is then a matter
of cells and sets of layers, and no edge is computed twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..errors import GeometryError
from ..progress import Progress
from ..tolerance import TOLERANCES, Tolerances
from .polygons import as_multipolygon
from .winding import winding_numbers

#: Odd numbers that mix the bits of coordinates: any would do.
_MIX = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0xD6E8FEB86659FD93], np.uint64)

#: Edges are looked at so many at a time where it is asked what hides them.
_RUN = 8


@dataclass(frozen=True)
class Partition:
    """Cells that fill a frame without gap or overlap.

    Parameters
    ----------
    frame : Polygon
        What the cells fill, in mm.
    cells : object array (n,) of Polygon
        Neighbours share their edges' vertices exactly.
    inside : bool array (n, regions)
        Which of the regions each cell is inside of, in the order they were given.
    areas : float64 array (n,)
        In mm2.
    """

    frame: Polygon
    cells: NDArray[Any]
    inside: Bools
    areas: Floats

    def sets(self) -> tuple[Bools, Indices, Floats]:
        """Return the sets of regions that occur.

        Returns
        -------
        sets : bool array (m, regions)
        set_of : int64 array (n,)
            Number of each cell's set.
        areas : float64 array (m,)
            Area of each set in mm2.
        """
        sets, set_of = distinct_sets(self.inside)
        areas: Floats = np.bincount(set_of, self.areas, len(sets)).astype(np.float64)
        return sets, set_of, areas

    def shape(self, chosen: Bools) -> MultiPolygon:
        """Return the chosen cells as one shape, borders between them taken away.

        Parameters
        ----------
        chosen : bool array (n,)
        """
        if not chosen.any():
            return MultiPolygon()
        return as_multipolygon(shapely.coverage_union_all(self.cells[chosen]))


def distinct_sets(inside: Bools) -> tuple[Bools, Indices]:
    """Return the rows that occur in a table of bits, in order, and the number of each row's.

    >>> distinct_sets(np.array([[True, False], [False, True], [True, False]]))[1].tolist()
    [1, 0, 1]
    """
    # Bits packed to one key a row sort in the order of the rows, and much faster.
    packed = np.ascontiguousarray(np.packbits(inside, axis=1))
    if packed.shape[1] == 0:
        packed = np.zeros((len(packed), 1), np.uint8)
    if packed.shape[1] == 1:
        is_used = np.bincount(packed[:, 0], minlength=1) > 0
        number = (np.cumsum(is_used) - 1)[packed[:, 0]]
        first = np.empty(int(is_used.sum()), np.int64)
        first[number[::-1]] = np.arange(len(packed))[::-1]
        return inside[first], number
    key = packed.view(np.dtype((np.void, packed.shape[1]))).reshape(-1)
    _, first, number = np.unique(key, return_index=True, return_inverse=True)
    sets: Bools = inside[first]
    return sets, number.reshape(-1).astype(np.int64)


def arrange(rings: Geometries, tolerances: Tolerances) -> tuple[Geometries, Indices, Floats]:
    """Cut rings at their crossings into faces, each with its winding number.

    Parameters
    ----------
    rings : object array of LinearRing
    tolerances : Tolerances

    Returns
    -------
    faces : object array (n,) of Polygon
    winding : int array (n,)
        How often the rings, and they alone, go round each face.
    crossings : float64 array (k, 2)
        Where rings cross or touch themselves or each other.

    Examples
    --------
    >>> bow = shapely.linearrings([[0, 0], [2, 2], [2, 0], [0, 2]])
    >>> faces, winding, crossings = arrange(np.array([bow]), TOLERANCES)
    >>> sorted(winding.tolist()), crossings.tolist()
    ([-1, 1], [[1.0, 1.0]])
    """
    edges = _noded(rings, tolerances.grid)
    faces = _faces(edges)
    xy, index = shapely.get_coordinates(rings, return_index=True)
    within = index[1:] == index[:-1]
    inner = shapely.get_coordinates(shapely.point_on_surface(faces)).reshape(-1, 2)
    winding = winding_numbers(inner, xy[:-1][within], xy[1:][within])
    ends = np.concatenate([shapely.get_point(edges, 0), shapely.get_point(edges, -1)])
    nodes, degree = np.unique(shapely.get_coordinates(ends), axis=0, return_counts=True)
    return faces, winding, nodes[degree > 2]


def partition(
    regions: Sequence[Polygon | MultiPolygon],
    frame: Polygon,
    progress: Progress | None = None,
    grid: float = TOLERANCES.grid,
    covers: Bools | None = None,
) -> Partition:
    """Cut a frame along the edges of all regions.

    Parameters
    ----------
    regions : sequence of Polygon or MultiPolygon
        Valid, in mm, in any number; what lies outside the frame is left out.
    frame : Polygon
    progress : Progress, optional
    grid : float
        Vertices are rounded to it, in mm.
    covers : bool array (regions,), optional
        Which of them hide all before them: edges under one are left out as far as that is easily
        found, and of the regions before it only some are told in the cells there.

    Returns
    -------
    Partition

    Raises
    ------
    GeometryError
        The frame has no area.

    Examples
    --------
    >>> from shapely import box
    >>> parts = partition([box(0, 0, 6, 4), box(4, 0, 10, 4)], box(0, 0, 10, 10))
    >>> for in_first, in_second, area in zip(*parts.inside.T.tolist(), parts.areas.tolist()):
    ...     print(in_first, in_second, area)
    True False 16.0
    True True 8.0
    False True 16.0
    False False 60.0
    """
    progress = progress or Progress()
    if frame.is_empty or not frame.area > 0:
        raise GeometryError("A partition needs a frame with an area.")
    progress(0.0, "cutting along all edges")
    clipped = [_within(region, frame) for region in regions]
    parts, owner = shapely.get_parts(np.array(clipped, object), return_index=True)
    rings, of = shapely.get_rings(parts, return_index=True)
    if covers is not None and covers.any():
        rings = _not_covered(rings, owner[of], parts[covers[owner]], owner[covers[owner]])
    edges = _noded(lines_once(np.append(shapely.get_rings(frame), rings)), grid)
    progress(0.5, "finding cells")
    faces = _faces(edges)
    # Faces outside a frame with holes of its own.
    points = shapely.point_on_surface(faces)
    if len(shapely.get_rings(frame)) > 1:
        shapely.prepare(frame)
        held = shapely.contains_xy(frame, shapely.get_x(points), shapely.get_y(points))
        faces, points = faces[held], points[held]
    progress(0.8, "sorting cells by layer")
    inside = np.zeros((len(faces), len(clipped)), bool)
    # One tree of the cells' points, asked by each region: regions may be as many as cells.
    which, held_by = shapely.STRtree(points).query(parts, predicate="contains")[::-1]
    inside[which, owner[held_by]] = True
    # In a steady order: by row of pixels of their lower left corners, as one reads a map.
    corner = np.round(shapely.bounds(faces)[:, :2], 6)
    order = np.lexsort((corner[:, 1], corner[:, 0], ~inside.any(axis=1)))
    faces, inside = faces[order], inside[order]
    areas = shapely.area(faces)
    for array in (inside, areas):
        array.setflags(write=False)
    progress(1.0, "cells found")
    return Partition(frame, faces, inside, areas)


def _not_covered(
    rings: Geometries, owner: Indices, covers: Geometries, cover_owner: Indices
) -> Geometries:
    """Return lines along rings, without such as lie wholly within what covers them.

    Parameters
    ----------
    rings : object array (n,) of LinearRing
    owner : int array (n,)
    covers : object array (m,) of Polygon
    cover_owner : int array (m,)
        One covers the rings of lower numbers.
    """
    points, ring = shapely.get_coordinates(rings, return_index=True)
    first = np.append(True, ring[1:] != ring[:-1])
    place = np.arange(len(ring)) - np.flatnonzero(first)[ring]
    # A point where one line ends and the next begins stands in both.
    seam = (place % _RUN == 0) & ~first & ~np.append(first[1:], True)
    twice = np.repeat(np.arange(len(ring)), 1 + seam)
    begins = np.append(True, twice[1:] == twice[:-1]) | first[twice]
    lines = shapely.linestrings(points[twice], indices=np.cumsum(begins) - 1)
    line_owner = owner[ring[twice[begins]]]
    cover, line = shapely.STRtree(lines).query(covers)
    box, within = shapely.bounds(lines)[line], shapely.bounds(covers)[cover]
    asked = cover_owner[cover] > line_owner[line]
    asked &= (box[:, :2] > within[:, :2]).all(axis=1) & (box[:, 2:] < within[:, 2:]).all(axis=1)
    # The largest first, of each line one at a time: most of what is hidden is hidden by that.
    by = np.lexsort((-shapely.area(covers)[cover[asked]], line[asked]))
    cover, line = cover[asked][by], line[asked][by]
    shapely.prepare(covers)
    hidden = np.zeros(len(lines), bool)
    while len(line):
        new = np.append(True, line[1:] != line[:-1])
        found = shapely.contains_properly(covers[cover[new]], lines[line[new]])
        hidden[line[new][found]] = True
        left = ~new & ~hidden[line]
        cover, line = cover[left], line[left]
    return lines[~hidden]


def merge_faces(faces: Geometries, tolerances: Tolerances) -> Geometries:
    """Return faces of one arrangement as polygons, the edges between them taken away.

    Parameters
    ----------
    faces : object array of Polygon
    tolerances : Tolerances

    Returns
    -------
    object array of Polygon
        Disjoint; they touch at points at most.
    """
    merged = shapely.coverage_union_all(faces)
    if not shapely.is_valid(merged):
        merged = shapely.union_all(faces, grid_size=tolerances.grid)
    parts = shapely.get_parts(merged)
    polygons: Geometries = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]
    return polygons


def lines_once(rings: Geometries) -> Geometries:
    """Return the lines that rings draw, without the edges that an earlier one drew already.

    Openings are for the most part the artwork's own outlines, and what is drawn twice costs GEOS
    three times the work. Edges are told apart by a number made of their ends: two that happen to
    share it stay as they are.
    """
    points, ring = shapely.get_coordinates(rings, return_index=True)
    first = np.flatnonzero(ring[1:] == ring[:-1])
    bits = points.view(np.uint64)
    mixed = (bits[:, 0] * _MIX[0]) ^ (bits[:, 1] * _MIX[1])
    mixed ^= mixed >> np.uint64(29)
    mixed *= _MIX[2]
    key = mixed[first] + mixed[first + 1]  # either way round
    by = np.argsort(key, kind="stable")
    edge = first[by]
    ends = np.stack([points[edge], points[edge + 1]], axis=1)
    as_before = (ends[1:] == ends[:-1]).all(axis=(1, 2))
    as_before |= (ends[1:] == ends[:-1, ::-1]).all(axis=(1, 2))
    if not as_before.any():
        return rings
    kept = np.ones(len(first), bool)
    kept[by[1:][as_before]] = False
    # Runs of edges that are kept, each from ring to ring or gap to gap.
    start, of = first[kept], ring[first[kept]]
    new = (np.diff(start, prepend=-2) != 1) | (np.diff(of, prepend=-1) != 0)
    begins = np.flatnonzero(new)
    lengths = np.diff(np.append(begins, len(start))) + 1
    run = np.repeat(np.arange(len(begins)), lengths)
    step = np.arange(len(run)) - np.repeat(np.cumsum(lengths) - lengths, lengths)
    lines: Geometries = shapely.linestrings(points[start[begins][run] + step], indices=run)
    return lines


def _noded(lines: Geometries, grid: float) -> Geometries:
    """Return the edges that lines and rings are cut into where they cross, as LineStrings."""
    edges = shapely.get_parts(shapely.union_all(lines, grid_size=grid))
    cut: Geometries = edges[shapely.get_type_id(edges) == shapely.GeometryType.LINESTRING]
    return cut


def _faces(edges: Geometries) -> Geometries:
    faces: Geometries = shapely.get_parts(shapely.polygonize(edges))
    return faces


def _within(region: Polygon | MultiPolygon, frame: Polygon) -> shapely.Geometry:
    """Return the part of a region inside the frame; as it is where none lies outside."""
    x0, y0, x1, y1 = frame.bounds
    a0, b0, a1, b1 = region.bounds if not region.is_empty else frame.bounds
    box_frame = frame.area == (x1 - x0) * (y1 - y0)
    if box_frame and x0 <= a0 and y0 <= b0 and a1 <= x1 and b1 <= y1:
        return region
    return as_multipolygon(shapely.intersection(region, frame))
