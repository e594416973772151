"""The flat shape of any mesh: what it covers seen from above."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon

from ..errors import GeometryError
from ..planar.polygons import as_multipolygon
from .solid import Mesh


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
