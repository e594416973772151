"""The plane outline of a mesh: the edges round its flat top, and the area it covers from above."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Floats, ramp
from ..errors import GeometryError
from ..planar.medial_axis import segments_of
from ..planar.polygons import as_multipolygon
from ..tolerance import NOT_ZERO
from .edges import edges_of
from .solid import Mesh

#: A face counts as flat top where its upward share of the normal is above this.
FLAT = 0.99


def cap_outline(mesh: Mesh) -> Floats:
    """Return the edges round a mesh's upward faces as segments.

    Parameters
    ----------
    mesh : Mesh
        A plate lying flat, also one edited by hand.

    Returns
    -------
    float64 array (n, 2, 2)
        x, y of both ends in mm; each edge that bounds one upward face only.

    Examples
    --------
    >>> from shapely import box
    >>> from sheetstack.geometry.mesh.solid import extrude
    >>> outline = cap_outline(extrude(box(0, 0, 2, 3), 1.0))
    >>> float(np.linalg.norm(outline[:, 1] - outline[:, 0], axis=1).sum())
    10.0
    """
    if len(mesh.faces) == 0:
        return np.empty((0, 2, 2))
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    faces = mesh.faces[normal[:, 2] > FLAT * np.linalg.norm(normal, axis=1)]
    edges = edges_of(faces, len(mesh.vertices))
    single = edges.corner[edges.start[edges.size == 1]]
    ends = np.stack([faces.ravel()[single], faces[:, [1, 2, 0]].ravel()[single]], axis=1)
    outline: Floats = mesh.vertices[ends][:, :, :2]
    return outline


def shape_outline(shape: MultiPolygon) -> Floats:
    """Return the edges round a shape as segments, as ``cap_outline`` does of its extrusion.

    Parameters
    ----------
    shape : MultiPolygon

    Returns
    -------
    float64 array (n, 2, 2)
        x, y of both ends in mm.

    Examples
    --------
    >>> from shapely import MultiPolygon, box
    >>> shape_outline(MultiPolygon([box(0, 0, 2, 3)])).shape
    (4, 2, 2)
    """
    sides = segments_of(shapely.get_rings(shapely.get_parts(shape)))
    return np.stack([sides.start, sides.end], axis=1)


def flat_shape(mesh: Mesh) -> MultiPolygon:
    """Return the area that a mesh covers seen along z.

    Parameters
    ----------
    mesh : Mesh
        Closed or open; faces may be turned either way, walls and edge-on faces cover nothing.

    Raises
    ------
    GeometryError
        The mesh covers no area.

    Examples
    --------
    >>> from shapely import box
    >>> from sheetstack.geometry.mesh.solid import extrude
    >>> flat_shape(extrude(box(0, 0, 2, 3), 1.0)).area
    6.0
    """
    corners = mesh.vertices[mesh.faces][:, :, :2]
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    twice = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    # A closed mesh covers the same seen from below; half the faces do.
    side = twice > 0 if np.isclose(twice.sum(), 0, atol=1e-9 * np.abs(twice).sum()) else twice != 0
    if not side.any():
        raise GeometryError("The mesh covers no area seen from above.")
    closed = corners[side][:, [0, 1, 2, 0]]
    triangles = shapely.polygons(closed)
    return as_multipolygon(shapely.union_all(triangles))


def dashed(segments: Floats, dash: float) -> Floats:
    """Return every other piece of segments cut at a lattice of ``dash`` mm.

    The cuts lie where the longer coordinate crosses multiples of ``dash``, so that a curve of many
    short segments is dashed evenly.

    Parameters
    ----------
    segments : float64 array (n, 2, d)
    dash : float
        Length of a dash, and of a gap, in mm, along the axis that the segment follows most.

    Examples
    --------
    >>> dashed(np.array([[[0.0, 0.0], [4.0, 0.0]]]), 1.0).tolist()
    [[[0.0, 0.0], [1.0, 0.0]], [[2.0, 0.0], [3.0, 0.0]]]
    """
    start, end = segments[:, 0], segments[:, 1]
    along = np.abs(end - start).argmax(axis=1)
    rows = np.arange(len(segments))
    low = np.minimum(start[rows, along], end[rows, along])
    high = np.maximum(start[rows, along], end[rows, along])
    first = np.floor(low / dash).astype(np.int64)
    pieces = np.maximum(np.ceil(high / dash).astype(np.int64) - first, 1)
    row = np.repeat(rows, pieces)
    step = ramp(pieces) + first[row]
    kept = step % 2 == 0
    row, step = row[kept], step[kept]
    length = np.maximum(high - low, NOT_ZERO)[row]
    begin = (np.maximum(step * dash, low[row]) - low[row]) / length
    finish = (np.minimum((step + 1) * dash, high[row]) - low[row]) / length
    turned = start[row, along[row]] > end[row, along[row]]
    origin = np.where(turned[:, None], end[row], start[row])
    reach = np.where(turned[:, None], start[row] - end[row], end[row] - start[row])
    cut: Floats = np.stack(
        [origin + reach * begin[:, None], origin + reach * finish[:, None]], axis=1
    )
    return cut
