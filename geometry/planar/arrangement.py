"""Partition: the sheet cut along every edge of every layer, so that each cell is painted as one.

All layers' edges are noded together once and the faces between them found. Every later question
(the finished picture for any spray order, what a bridge leaves bare, how much paint lies where) is
then a matter of cells and sets of layers, and no edge is computed twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Indices
from ..errors import GeometryError
from ..progress import Progress
from .polygons import as_multipolygon

#: Crossings of edges are rounded to this grid, in mm: far below any tool, far above
#: the rounding of a float at the far end of a sheet. Edges nearer than that become one.
GRID = 1e-7


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
        sets, set_of = np.unique(self.inside, axis=0, return_inverse=True)
        set_of = set_of.reshape(-1).astype(np.int64)
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


def partition(
    regions: Sequence[Polygon | MultiPolygon],
    frame: Polygon,
    progress: Progress | None = None,
    grid: float = GRID,
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
    lines = shapely.boundary(np.array([frame, *clipped], object))
    noded = shapely.union_all(lines, grid_size=grid)
    progress(0.5, "finding cells")
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    # Faces outside a frame with holes of its own.
    points = shapely.point_on_surface(faces)
    if len(shapely.get_rings(frame)) > 1:
        shapely.prepare(frame)
        held = shapely.contains_xy(frame, shapely.get_x(points), shapely.get_y(points))
        faces, points = faces[held], points[held]
    progress(0.8, "sorting cells by layer")
    inside = np.zeros((len(faces), len(clipped)), bool)
    for k, region in enumerate(clipped):
        parts = shapely.get_parts(region)
        if len(parts):
            which, _ = shapely.STRtree(parts).query(points, predicate="within")
            inside[which, k] = True
    # In a steady order: by row of pixels of their lower left corners, as one reads a map.
    corner = np.round(shapely.bounds(faces)[:, :2], 6)
    order = np.lexsort((corner[:, 1], corner[:, 0], ~inside.any(axis=1)))
    faces, inside = faces[order], inside[order]
    areas = shapely.area(faces)
    for array in (inside, areas):
        array.setflags(write=False)
    progress(1.0, "cells found")
    return Partition(frame, faces, inside, areas)


def _within(region: Polygon | MultiPolygon, frame: Polygon) -> shapely.Geometry:
    """Return the part of a region inside the frame; as it is where none lies outside."""
    x0, y0, x1, y1 = frame.bounds
    a0, b0, a1, b1 = region.bounds if not region.is_empty else frame.bounds
    box_frame = frame.area == (x1 - x0) * (y1 - y0)
    if box_frame and x0 <= a0 and y0 <= b0 and a1 <= x1 and b1 <= y1:
        return region
    return as_multipolygon(shapely.intersection(region, frame))
