"""Islands: pieces of a mesh that no face joins to the frame, so that they fall out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Indices
from ..errors import GeometryError
from ..planar.graph import connected_labels
from .edges import Edges, edges_of
from .solid import Mesh


@dataclass(frozen=True)
class Piece:
    """One connected piece of a mesh.

    Parameters
    ----------
    faces : int array
        Positions of its faces in the mesh.
    area_mm2 : float
        Area seen from above.
    volume_mm3 : float
        0 for an open mesh such as a flat plate.
    place : tuple of float
        x, y in mm of a point on the piece: the middle of its largest upward triangle.
    bounds : tuple of float
        Least x, least y, greatest x, greatest y in mm.
    """

    faces: Indices
    area_mm2: float
    volume_mm3: float
    place: tuple[float, float]
    bounds: tuple[float, float, float, float]


@dataclass(frozen=True)
class Pieces:
    """All pieces of a sheet's mesh: the frame, and what it does not hold."""

    frame: Piece
    islands: tuple[Piece, ...]


def face_labels(mesh: Mesh, edges: Edges | None = None) -> Indices:
    """Label the connected pieces of a mesh; faces are joined by edges, never by vertices.

    Where more than two faces meet at an edge (pieces that touch along it, or an edge welded by a
    file format), the faces are paired round the edge across the solid between them: solids that
    only touch stay apart.

    Parameters
    ----------
    mesh : Mesh
        Any triangle mesh, closed or open.
    edges : Edges, optional
        Its edges, where they are known already.

    Returns
    -------
    int array (faces,)
    """
    edges = edges or edges_of(mesh.faces, len(mesh.vertices))
    face = edges.corner // 3
    two = edges.start[edges.size == 2]
    links = [np.stack([face[two], face[two + 1]], axis=1)]
    many = edges.size > 2
    for at, n in zip(edges.start[many].tolist(), edges.size[many].tolist(), strict=True):
        links.append(_round_an_edge(mesh, edges.corner[at : at + n]))
    return connected_labels(len(mesh.faces), np.concatenate(links))


def _round_an_edge(mesh: Mesh, corners: Indices) -> Indices:
    """Return pairs of faces that bound the same solid at an edge of more than two faces."""
    face, corner = corners // 3, corners % 3
    tail = mesh.faces[face, corner]
    head = mesh.faces[face, (corner + 1) % 3]
    tip = mesh.vertices[mesh.faces[face, (corner + 2) % 3]]
    base, end = mesh.vertices[min(tail[0], head[0])], mesh.vertices[max(tail[0], head[0])]
    axis = end - base
    length = np.linalg.norm(axis)
    forward = tail < head
    all_joined = np.stack([face[:-1], face[1:]], axis=1)
    if length == 0 or forward.sum() * 2 != len(face):
        # Not the boundary of solids (a fin, or no direction to turn about): an edge joins.
        return all_joined
    axis = axis / length
    arm = tip - base
    arm = arm - np.outer(arm @ axis, axis)
    first = arm[0] / max(float(np.linalg.norm(arm[0])), 1e-300)
    angle = np.arctan2(arm @ np.cross(axis, first), arm @ first) % (2 * np.pi)
    # A face that runs along the axis has its solid on the side of falling angle: its outward
    # normal, axis x arm, points to rising angles. Equal angles: the closing face comes first.
    turn = np.lexsort((~forward, angle.round(9)))
    face, forward = face[turn], forward[turn]
    before = np.roll(face, 1)[forward]
    if np.roll(forward, 1)[forward].any():
        return all_joined
    return np.stack([before, face[forward]], axis=1)


def find_pieces(mesh: Mesh, edges: Edges | None = None) -> Pieces:
    """Find the frame and the islands of a sheet's mesh.

    Works on any mesh that lies flat (its thickness along z), also one edited by hand, closed or
    not. The frame is the piece with the largest bounding rectangle.

    Parameters
    ----------
    mesh : Mesh
    edges : Edges, optional
        Its edges, where they are known already.

    Returns
    -------
    Pieces
        Islands from the largest area to the smallest.

    Raises
    ------
    GeometryError
        The mesh has no faces, or a vertex that is not finite.

    Examples
    --------
    >>> from shapely import box
    >>> from sheetstack.geometry.mesh.solid import extrude
    >>> ring = box(0, 0, 9, 9).difference(box(2, 2, 7, 7)).union(box(4, 4, 5, 5))
    >>> [round(island.volume_mm3, 6) for island in find_pieces(extrude(ring, 2.0)).islands]
    [2.0]
    """
    if len(mesh.faces) == 0:
        raise GeometryError("The mesh has no faces, so that there is no sheet to check.")
    if not np.isfinite(mesh.vertices).all():
        raise GeometryError("The mesh has a vertex whose place is not a number.")
    labels = face_labels(mesh, edges)
    count = int(labels.max()) + 1
    # Measured from a corner of the mesh, not from the origin: no cancellation far out.
    columns = np.ascontiguousarray((mesh.vertices - mesh.vertices.min(axis=0)).T)
    (ax, bx, cx), (ay, by, cy), (az, bz, cz) = (
        [column[mesh.faces[:, k]] for k in range(3)] for column in columns
    )
    upward = ((bx - ax) * (cy - ay) - (by - ay) * (cx - ax)) / 2
    six_volumes = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
    above = np.bincount(labels, np.maximum(upward, 0), count)
    below = np.bincount(labels, np.maximum(-upward, 0), count)
    closed = np.isclose(above, below, rtol=1e-9, atol=0)
    volume = np.where(closed, np.abs(np.bincount(labels, six_volumes, count)) / 6, 0.0)
    order = np.argsort(labels, kind="stable") if count > 1 else np.arange(len(labels))
    start = np.searchsorted(labels[order], np.arange(count))
    low_x, low_y = (
        np.minimum.reduceat(np.minimum(np.minimum(a, b), c)[order], start)
        for a, b, c in ((ax, bx, cx), (ay, by, cy))
    )
    high_x, high_y = (
        np.maximum.reduceat(np.maximum(np.maximum(a, b), c)[order], start)
        for a, b, c in ((ax, bx, cx), (ay, by, cy))
    )
    corner_x, corner_y, _ = mesh.vertices.min(axis=0).tolist()
    pieces = []
    for label, faces in enumerate(np.split(order, start[1:])):
        x, y, _ = mesh.vertices[mesh.faces[faces[np.argmax(np.abs(upward[faces]))]]].mean(axis=0)
        pieces.append(
            Piece(
                faces=faces,
                area_mm2=float(max(above[label], below[label])),
                volume_mm3=float(volume[label]),
                place=(float(x), float(y)),
                bounds=(
                    corner_x + float(low_x[label]),
                    corner_y + float(low_y[label]),
                    corner_x + float(high_x[label]),
                    corner_y + float(high_y[label]),
                ),
            )
        )
    frame = max(pieces, key=_extent)
    islands = sorted((p for p in pieces if p is not frame), key=lambda p: (-p.area_mm2, p.place))
    return Pieces(frame, tuple(islands))


def _extent(piece: Piece) -> tuple[float, float]:
    x0, y0, x1, y1 = piece.bounds
    return (x1 - x0) * (y1 - y0), piece.area_mm2
