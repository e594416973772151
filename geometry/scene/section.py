"""Section: a sheet cut through along a line, to look at its true thickness."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Floats
from ..mesh.solid import Mesh
from ..planar.polygons import as_multipolygon

#: Pieces of material shorter than this, in mm, are a touch of the line only.
LEAST = 1e-6
#: Cut faces stand this far (mm) before the cut, so that the end faces behind do not show through.
BEFORE = 1e-3


def cut_through(shape: MultiPolygon, y: float) -> Floats:
    """Return where a level line runs through a flat shape.

    Parameters
    ----------
    shape : MultiPolygon
        In mm.
    y : float
        Height of the line in mm.

    Returns
    -------
    float64 array (n, 2)
        Beginnings and ends in x, from left to right.

    Examples
    --------
    >>> from shapely import box
    >>> frame = box(0, 0, 10, 10).difference(box(2, 2, 8, 8))
    >>> cut_through(MultiPolygon([frame]), 5).tolist()
    [[0.0, 2.0], [8.0, 10.0]]
    """
    if shape.is_empty:
        return np.empty((0, 2))
    x0, _, x1, _ = shape.bounds
    line = shapely.linestrings([[x0 - 1, y], [x1 + 1, y]])
    parts = shapely.get_parts(shapely.intersection(shape, line))
    bounds = shapely.bounds(parts[shapely.length(parts) > LEAST])[:, [0, 2]]
    ordered: Floats = bounds[np.argsort(bounds[:, 0])]
    return ordered


def behind(shape: MultiPolygon, y: float) -> MultiPolygon:
    """Return the part of a flat shape above a level line: what stands behind the cut."""
    if shape.is_empty:
        return shape
    x0, y0, x1, y1 = shape.bounds
    if y >= y1:
        return MultiPolygon()
    return as_multipolygon(shapely.clip_by_rect(shape, x0 - 1, max(y, y0 - 1), x1 + 1, y1 + 1))


def cut_faces(spans: Floats, y: float, thickness: float) -> Mesh:
    """Return the upright faces where a level line cuts a sheet.

    Parameters
    ----------
    spans : float64 array (n, 2)
        From ``cut_through``: beginnings and ends in x, in mm.
    y : float
        Height of the line in mm; the faces stand a thousandth before it.
    thickness : float
        Of the sheet in mm.

    Returns
    -------
    Mesh
        A quad of two triangles for each span, facing down y.

    Examples
    --------
    >>> cut_faces(np.array([[0.0, 2.0], [8.0, 10.0]]), 5.0, 3.0).faces.tolist()
    [[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]]
    """
    spans = np.asarray(spans, np.float64).reshape(-1, 2)
    points = np.empty((len(spans), 4, 3))
    points[:, :, 0] = spans[:, [0, 1, 1, 0]]
    points[:, :, 1] = y - BEFORE
    points[:, :, 2] = (0.0, 0.0, thickness, thickness)
    first = 4 * np.arange(len(spans))[:, None, None]
    faces = (np.array([[0, 1, 2], [0, 2, 3]]) + first).reshape(-1, 3)
    return Mesh(points.reshape(-1, 3), faces)
