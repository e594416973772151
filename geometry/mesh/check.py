"""Checks of a mesh: is it closed, turned outwards, of which topology; and its volume."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .edges import Edges, edges_of
from .solid import Mesh


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
