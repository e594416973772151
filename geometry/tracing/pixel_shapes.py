"""From pixels to shapes: outlines of marked pixels in mm, freed of specks and slivers."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Geometries
from ..artwork.fill.contour import Contour
from ..artwork.fill.fill import fill
from ..planar.contours import level_curves
from ..planar.polygons import as_multipolygon
from ..planar.raster import coverage
from .blur import blur

#: Pixels marked by half or more are inside.
_LEVEL = 0.5
#: Points of an outline that matter less than this share of a pixel are left out.
_SIMPLIFY = 0.05


def outline(marked: NDArray[Any], pixel: float, soften: float = 1.2) -> MultiPolygon:
    """Return the shapes of marked pixels, their staircase smoothed.

    Parameters
    ----------
    marked : bool or float array (rows, columns)
        How much of each pixel is marked, 0 to 1; row 0 at the top.
    pixel : float
        Side of a pixel in mm.
    soften : float
        Width of the smoothing in pixels.

    Returns
    -------
    MultiPolygon
        Valid, in mm, y up, origin at the picture's lower left corner.

    Examples
    --------
    >>> marked = np.zeros((20, 30), bool)
    >>> marked[5:15, 10:20] = True
    >>> round(outline(marked, 0.5).centroid.x, 6)
    7.5
    """
    rows, columns = marked.shape
    soft = blur(marked.astype(np.float32), soften)
    # The picture goes on beyond its edge, where the frame cuts the shapes, and ends there.
    around = np.pad(np.pad(soft, 1, mode="edge"), 1)
    contours = [
        Contour(np.column_stack([curve[:, 0] - 1.5, rows + 1.5 - curve[:, 1]]) * pixel)
        for curve in level_curves(around, _LEVEL)
    ]
    frame = shapely.box(0, 0, columns * pixel, rows * pixel)
    whole = fill(contours, "evenodd").shape.simplify(_SIMPLIFY * pixel)
    return as_multipolygon(shapely.make_valid(whole).intersection(frame))


def smoothed(shape: MultiPolygon, size: tuple[int, int], pixel: float) -> MultiPolygon:
    """Return the shape with the kinks gone that set operations leave, by about a pixel's width.

    Parameters
    ----------
    shape : MultiPolygon
    size : tuple of int
        Rows and columns of pixels of the page.
    pixel : float
    """
    rows, columns = size
    return outline(coverage(shape, (columns * pixel, rows * pixel), 1 / pixel), pixel)


def without_specks(
    shape: MultiPolygon, least: float, finer: float, fine: Bools, pixel: float
) -> MultiPolygon:
    """Return the shape without parts, and with no holes, under an area.

    Parameters
    ----------
    shape : MultiPolygon
    least : float
        Area in mm2.
    finer : float
        Area for those that lie in ``fine``.
    fine : bool array (rows, columns)
        Where detail is kept.
    pixel : float
        Side of a pixel in mm.
    """

    def small(rings: Geometries) -> Bools:
        solid = shapely.polygons(rings)
        place = shapely.get_coordinates(shapely.point_on_surface(solid))
        column = np.clip((place[:, 0] / pixel).astype(int), 0, fine.shape[1] - 1)
        row = np.clip(fine.shape[0] - 1 - (place[:, 1] / pixel).astype(int), 0, fine.shape[0] - 1)
        limit = np.where(fine[row, column], finer, least)
        result: Bools = shapely.area(solid) < limit
        return result

    parts = shapely.get_parts(shape)
    if not len(parts):
        return shape
    parts = parts[~small(shapely.get_exterior_ring(parts))]
    kept = []
    for part in parts:
        if part.interiors:
            holes = np.array(part.interiors, object)
            part = Polygon(part.exterior, holes[~small(holes)])
        kept.append(part)
    return MultiPolygon(kept)


def without_slivers(shape: MultiPolygon, width: float) -> MultiPolygon:
    """Return the shape without parts that are nowhere as wide as ``width``.

    >>> two = MultiPolygon([shapely.box(0, 0, 9, 1), shapely.box(0, 3, 9, 9)])
    >>> without_slivers(two, 1.5).bounds
    (0.0, 3.0, 9.0, 9.0)
    """
    parts = shapely.get_parts(shape)
    eroded = shapely.buffer(parts, -width / 2, join_style="mitre")
    return MultiPolygon(list(parts[~shapely.is_empty(eroded)]))
