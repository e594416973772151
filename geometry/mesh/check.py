"""Checks of solids: closed, oriented and of their shape, as a reader of the file has them.

A file of triangles is read by welding corners with equal numbers. What counts is the mesh after
that: vertices rounded to the file's 32-bit floats, equal ones made one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Indices
from ..errors import GeometryError
from ..finding import Finding, Severity
from .edges import Edges, edges_of
from .solid import Mesh

#: Largest share by which the volume of a file may differ from that of the solid it holds: corners
#: on the grid are exact, those between (see ``triangulate``) move by a 32-bit float's rounding.
_VOLUME_SHARE = 1e-5


@dataclass(frozen=True)
class Soundness:
    """What a mesh's edges say about it.

    Parameters
    ----------
    watertight : bool
        Every edge is shared by exactly two faces.
    oriented : bool
        The two faces of every edge run along it in opposite directions.
    euler : int
        Vertices - edges + faces, over used vertices; a plate with h openings has 2 - 2h.
    """

    watertight: bool
    oriented: bool
    euler: int


def soundness(mesh: Mesh, edges: Edges | None = None) -> Soundness:
    """Return whether a mesh is closed and consistently oriented, and its Euler characteristic.

    Parameters
    ----------
    mesh : Mesh
    edges : Edges, optional
        Its edges, where they are known already.

    Examples
    --------
    >>> from shapely import box
    >>> from sheetstack.geometry.mesh.solid import extrude
    >>> soundness(extrude(box(0, 0, 3, 3).difference(box(1, 1, 2, 2)), 1.0))
    Soundness(watertight=True, oriented=True, euler=0)
    """
    edges = edges or edges_of(mesh.faces, len(mesh.vertices))
    watertight = bool((edges.size == 2).all())
    turns = np.where(edges.forward, 1, -1)
    oriented = not len(turns) or bool((np.add.reduceat(turns, edges.start) == 0).all())
    used = np.zeros(len(mesh.vertices), bool)
    used[mesh.faces.ravel()] = True
    euler = int(np.count_nonzero(used)) - len(edges.start) + len(mesh.faces)
    return Soundness(watertight, oriented, euler)


def volume(mesh: Mesh) -> float:
    """Return the signed volume in mm3: sum of tetrahedra to one vertex (divergence theorem).

    Positive for a closed mesh whose normals point outwards.
    """
    if len(mesh.faces) == 0:
        return 0.0
    # Measured from a corner of the mesh, not from the origin: no cancellation far out.
    a, b, c = (mesh.vertices[mesh.faces[:, k]] - mesh.vertices.min(axis=0) for k in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def as_written(mesh: Mesh) -> Mesh:
    """Return what a reader has of a mesh's file: 32-bit corners, equal ones welded.

    Faces of which two corners became one are left out, as they are in the file.

    Parameters
    ----------
    mesh : Mesh

    Returns
    -------
    Mesh
        Vertices in another order; each a 32-bit float.

    Raises
    ------
    GeometryError
        A coordinate is not finite, or beyond a 32-bit float.

    Examples
    --------
    >>> corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 1 + 1e-9, 0]]
    >>> len(as_written(Mesh(np.array(corners), np.array([[0, 1, 2], [0, 2, 3]]))).faces)
    1
    """
    if not np.all(np.abs(mesh.vertices) < np.finfo(np.float32).max):  # False for NaN too
        raise GeometryError("The mesh has a coordinate that is not a finite number.")
    single = mesh.vertices.astype(np.float32) + np.float32(0)  # no negative zero
    order = np.lexsort(single.T)
    ordered = single[order]
    first = np.ones(len(single), bool)
    first[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    index = np.empty(len(single), np.int64)
    index[order] = np.cumsum(first) - 1
    faces: Indices = index[mesh.faces]
    a, b, c = faces.T
    faces = faces[(a != b) & (b != c) & (c != a)]
    return Mesh(ordered[first].astype(np.float64), faces)


def euler_of_plate(shape: Polygon | MultiPolygon) -> int:
    """Return the Euler characteristic that a plate of this shape has: 2 a piece, -2 an opening.

    >>> euler_of_plate(shapely.box(0, 0, 3, 3).difference(shapely.box(1, 1, 2, 2)))
    0
    """
    parts = shapely.get_parts(shape)
    return 2 * len(parts) - 2 * int(shapely.get_num_interior_rings(parts).sum())


def faults_as_written(mesh: Mesh, euler: int, volume_mm3: float) -> tuple[Soundness, str]:
    """Judge a solid by what a reader has of its file.

    Parameters
    ----------
    mesh : Mesh
    euler : int
        The Euler characteristic that its shape has.
    volume_mm3 : float
        The volume that it has.

    Returns
    -------
    soundness : Soundness
        Of the file.
    fault : str
        What is wrong, to follow "the solid"; empty for a sound one.

    Examples
    --------
    >>> from sheetstack.geometry.mesh.solid import extrude
    >>> faults_as_written(extrude(shapely.box(0, 0, 3, 3), 1.0), 2, 9.0)[1]
    ''
    """
    written = as_written(mesh)
    found = soundness(written)
    if not found.watertight:
        return found, "is not closed"
    if not found.oriented:
        return found, "has faces turned inside out"
    if found.euler != euler:
        pieces = f"Euler number {found.euler}, expected {euler}"
        return found, f"has not the openings of its sheet ({pieces})"
    got = volume(written)
    if abs(got - volume_mm3) > _VOLUME_SHARE * abs(volume_mm3):
        return found, f"has {got:.3f} mm3, expected {volume_mm3:.3f}"
    return found, ""


def leak_finding(fault: str, layer: str) -> Finding:
    """Return the finding that tells of a fault which ``faults_as_written`` found."""
    return Finding(
        "solid.leaks",
        Severity.SPOILS,
        f"The solid {fault}; please report the artwork as a fault of Sheetstack.",
        layer,
    )
