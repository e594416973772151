"""Checks of solids: closed, oriented and of their shape, as a reader of the file has them.

A file of triangles is read by welding corners with equal numbers. What counts is the mesh after
that: vertices rounded to the file's 32-bit floats, equal ones made one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from ..arrays import Indices
from ..errors import GeometryError
from ..finding import Finding, Severity
from ..tolerance import MERGE
from .edges import Edges, edges_of
from .islands import face_labels
from .solid import Mesh

#: Largest share by which the volume of a file may differ from that of the solid it holds: corners
#: on the grid are exact, those between (see ``triangulate``) move by a 32-bit float's rounding.
_VOLUME_SHARE = 1e-5

#: Code of the finding about a solid that is not sound.
LEAKS = "solid.leaks"


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
    return _welded(single.astype(np.float64), mesh.faces)


def euler_of_plate(shape: Polygon | MultiPolygon) -> int:
    """Return the Euler characteristic that a plate of this shape has: 2 a piece, -2 an opening.

    >>> euler_of_plate(shapely.box(0, 0, 3, 3).difference(shapely.box(1, 1, 2, 2)))
    0
    """
    parts = shapely.get_parts(shape)
    return 2 * len(parts) - 2 * int(shapely.get_num_interior_rings(parts).sum())


@dataclass(frozen=True)
class Wanted:
    """What the file of a solid has to hold.

    Parameters
    ----------
    euler : int
        The Euler characteristic that its shape has.
    volume_mm3 : float
    bodies : int
        Pieces that hang together by faces.
    """

    euler: int
    volume_mm3: float
    bodies: int


def wanted_of_plate(shape: Polygon | MultiPolygon, thickness: float) -> Wanted:
    """Return what the file of a flat sheet of a shape has to hold.

    >>> wanted_of_plate(shapely.box(0, 0, 3, 3), 0.5)
    Wanted(euler=2, volume_mm3=4.5, bodies=1)
    """
    return Wanted(
        euler_of_plate(shape), float(shape.area) * thickness, int(shapely.get_num_geometries(shape))
    )


def wanted_of_mesh(mesh: Mesh, euler: int) -> Wanted:
    """Return what the file of a mesh has to hold, its Euler characteristic known from elsewhere."""
    return Wanted(euler, volume(mesh), _bodies(mesh, None))


def faults_as_written(mesh: Mesh, wanted: Wanted) -> tuple[Soundness, str]:
    """Judge a solid in memory by what a reader would have of its file.

    Parameters, returns : see :func:`faults_of_read`.

    Examples
    --------
    >>> from sheetstack.geometry.mesh.solid import extrude
    >>> square = shapely.box(0, 0, 3, 3)
    >>> faults_as_written(extrude(square, 1.0), wanted_of_plate(square, 1.0))[1]
    ''
    """
    return faults_of_read(as_written(mesh), wanted)


def faults_of_read(read: Mesh, wanted: Wanted) -> tuple[Soundness, str]:
    """Judge a solid that was read from a file, corners with equal numbers welded.

    It is judged as it is, and once more with corners merged that are nearer than ``MERGE``, as
    many programs do it when they read.

    Parameters
    ----------
    read : Mesh
    wanted : Wanted

    Returns
    -------
    soundness : Soundness
        Of what was read.
    fault : str
        What is wrong, to follow "the solid"; empty for a sound one.
    """
    found, fault = _faults(read, wanted)
    if not fault:
        merged, fault = _faults(_merged(read), wanted)
        if fault:
            return merged, f"{fault} once corners nearer than {MERGE:g} mm are merged"
    return found, fault


def _faults(read: Mesh, wanted: Wanted) -> tuple[Soundness, str]:
    edges = edges_of(read.faces, len(read.vertices))
    found = soundness(read, edges)
    if not found.watertight:
        return found, "is not closed"
    if not found.oriented:
        return found, "has faces turned inside out"
    if found.euler != wanted.euler:
        pieces = f"Euler number {found.euler}, expected {wanted.euler}"
        return found, f"has not the openings of its sheet ({pieces})"
    bodies = _bodies(read, edges)
    if bodies != wanted.bodies:
        return found, f"falls into {bodies} bodies, expected {wanted.bodies}"
    got = volume(read)
    if abs(got - wanted.volume_mm3) > _VOLUME_SHARE * abs(wanted.volume_mm3):
        return found, f"has {got:.3f} mm3, expected {wanted.volume_mm3:.3f}"
    return found, ""


def _bodies(mesh: Mesh, edges: Edges | None) -> int:
    return len(np.unique(face_labels(mesh, edges)))


def _merged(mesh: Mesh) -> Mesh:
    """Return a mesh with corners merged that round to one point of a grid of ``MERGE``."""
    return _welded(np.rint(mesh.vertices / MERGE) * MERGE + 0.0, mesh.faces)


def _welded(points: NDArray[Any], faces: Indices) -> Mesh:
    """Make corners with equal numbers one; leave out faces that lose a side."""
    order = np.lexsort(points.T)
    ordered = points[order]
    first = np.ones(len(points), bool)
    first[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    index = np.empty(len(points), np.int64)
    index[order] = np.cumsum(first) - 1
    faces = index[faces]
    a, b, c = faces.T
    return Mesh(ordered[first].astype(np.float64), faces[(a != b) & (b != c) & (c != a)])


def leak_finding(fault: str, layer: str) -> Finding:
    """Return the finding that tells of a fault that was found in its file."""
    return Finding(
        LEAKS,
        Severity.SPOILS,
        f"The solid {fault}; please report the artwork as a fault of Sheetstack.",
        layer,
    )
