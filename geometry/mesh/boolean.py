"""Union and difference of solids, by manifold3d, which gives closed solids for closed ones."""

from __future__ import annotations

import manifold3d
import numpy as np
from shapely import MultiPolygon, Polygon

from ..arrays import Floats
from ..errors import GeometryError
from ..tolerance import TOLERANCES
from .solid import Mesh, extrude

#: Volume of a piece that is nothing but rounding: a cube of 0.01 mm.
SLIVER_MM3 = 1e-6


def solid_of(mesh: Mesh) -> manifold3d.Manifold:
    """Return a closed mesh as a solid that can be added and subtracted.

    Raises
    ------
    GeometryError
        The mesh is not closed.

    Examples
    --------
    >>> from shapely import box
    >>> solid_of(extrude(box(0, 0, 2, 3), 0.5)).volume()
    3.0
    """
    if len(mesh.faces) == 0:
        return manifold3d.Manifold()
    # Copies: the library takes no read-only arrays.
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(mesh.vertices.copy(), mesh.faces.astype(np.uint64))
    )
    if solid.status() != manifold3d.Error.NoError:
        raise GeometryError(f"A solid that is not closed cannot be shaped ({solid.status().name}).")
    return solid


def block(region: Polygon | MultiPolygon, low: float, high: float) -> manifold3d.Manifold:
    """Return a flat region as a solid between two heights.

    Parameters
    ----------
    region : shapely Polygon or MultiPolygon
        Valid; empty gives an empty solid.
    low, high : float
        Heights of its flat sides in mm, ``low < high``.
    """
    if region.is_empty:
        return manifold3d.Manifold()
    mesh = extrude(region, high - low)
    return solid_of(Mesh(mesh.vertices + (0.0, 0.0, low), mesh.faces.copy()))


def without_slivers(solid: manifold3d.Manifold) -> manifold3d.Manifold:
    """Return a solid without pieces that rounding left: thinner than anything that can be made.

    Shapes that should end at the same line differ there by the last bits of their coordinates, so
    that their difference may leave a sliver of 1e-14 mm3 as a piece of its own.

    Examples
    --------
    >>> from shapely import box
    >>> plate = block(box(0, 0, 2, 3), 0.0, 0.5) + block(box(5, 0, 5.000001, 1), 0.0, 0.5)
    >>> len(plate.decompose()), len(without_slivers(plate).decompose())
    (2, 1)
    """
    pieces = solid.decompose()
    kept = [piece for piece in pieces if piece.volume() > SLIVER_MM3]
    return solid if len(kept) == len(pieces) else manifold3d.Manifold.compose(kept)


def mesh_of(solid: manifold3d.Manifold, planes: tuple[float, ...] = ()) -> Mesh:
    """Return a solid as a mesh.

    Parameters
    ----------
    solid : Manifold
    planes : tuple of float
        Heights that faces lie at: corners within a millionth of a millimetre are put there.
    """
    found = solid.to_mesh64()
    vertices: Floats = np.array(found.vert_properties, np.float64)[:, :3]
    for height in planes:
        near = np.abs(vertices[:, 2] - height) < TOLERANCES.same_point
        vertices[near, 2] = height
    return Mesh(vertices, np.array(found.tri_verts, np.int64))
