"""Solids: a flat sheet extruded to its exact thickness, as a closed mesh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import MultiPolygon, Polygon

from ..arrays import Floats, Indices
from ..errors import GeometryError
from ..progress import Progress
from .triangulate import triangulate


@dataclass(frozen=True)
class Mesh:
    """A triangle mesh.

    Parameters
    ----------
    vertices : float64 array (n, 3)
        In mm.
    faces : int64 array (m, 3)
        Indices into ``vertices``, counter-clockwise seen from outside.
    """

    vertices: Floats
    faces: Indices

    def __post_init__(self) -> None:
        self.vertices.setflags(write=False)
        self.faces.setflags(write=False)


def extrude(
    region: Polygon | MultiPolygon, thickness: float, progress: Progress | None = None
) -> Mesh:
    """Extrude a flat region from z = 0 to z = ``thickness``.

    Each edge is shared by two faces, normals point outwards, and z takes just the two values.
    Rings that touch at a point keep vertices of their own, so the mesh is edge-manifold by index.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        Valid, in mm.
    thickness : float
        In mm, positive.
    progress : Progress, optional

    Returns
    -------
    Mesh
        Bottom vertices first, then the top vertices in the same order. Volume = area x thickness.

    Raises
    ------
    GeometryError
        ``thickness`` is not positive and finite, or the region is invalid.

    Examples
    --------
    >>> from shapely import box
    >>> from sheetstack.geometry.mesh.check import volume
    >>> mesh = extrude(box(0, 0, 2, 3), 0.5)
    >>> mesh.vertices.shape, mesh.faces.shape, volume(mesh)
    ((8, 3), (12, 3), 3.0)
    """
    if not (np.isfinite(thickness) and thickness > 0):
        raise GeometryError(f"A sheet's thickness must be above 0 mm, found {thickness}.")
    flat = triangulate(region, progress)
    n = len(flat.points)
    vertices = np.empty((2 * n, 3))
    vertices[:n, :2] = vertices[n:, :2] = flat.points
    vertices[:n, 2], vertices[n:, 2] = 0.0, thickness
    here, there = np.arange(n), flat.following
    caps = len(flat.triangles)
    walls = 2 * caps
    faces = np.empty((walls + 2 * n, 3), np.int64)
    faces[:caps] = flat.triangles + n
    faces[caps:walls] = flat.triangles[:, ::-1]
    # The region lies on the left of the way round, so (here, there, up) faces outwards.
    faces[walls : walls + n] = np.stack([here, there, there + n], axis=1)
    faces[walls + n :] = np.stack([here, there + n, here + n], axis=1)
    return Mesh(vertices, faces)
