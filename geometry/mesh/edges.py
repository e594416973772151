"""Edges of a triangle mesh: which corners of which faces lie along each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Indices
from ..errors import GeometryError


@dataclass(frozen=True)
class Edges:
    """Every edge with its faces.

    Parameters
    ----------
    corner : int array (3 * faces,)
        Corners of faces, sorted by edge. Corner ``c`` belongs to face ``c // 3`` and stands for the
        side from that face's vertex ``c % 3`` to the next one.
    start : int array (edges,)
        Where each edge's corners begin.
    size : int array (edges,)
        How many faces meet at each edge.
    forward : bool array (3 * faces,)
        Whether the side runs from the smaller vertex index to the larger one.
    """

    corner: Indices
    start: Indices
    size: Indices
    forward: Bools


def edges_of(faces: Indices, vertex_count: int) -> Edges:
    """Return the edges of a mesh.

    Parameters
    ----------
    faces : int array (m, 3)
    vertex_count : int

    Raises
    ------
    GeometryError
        A face names a vertex that does not exist.

    Examples
    --------
    >>> edges_of(np.array([[0, 1, 2], [2, 1, 3]]), 4).size.tolist()
    [1, 1, 2, 1, 1]
    """
    if len(faces) and (faces.min() < 0 or faces.max() >= vertex_count):
        raise GeometryError("The mesh has a face that names a vertex which does not exist.")
    tail = np.ascontiguousarray(faces).ravel()
    head = faces[:, [1, 2, 0]].ravel()
    key = np.minimum(tail, head) * vertex_count + np.maximum(tail, head)
    corner = np.argsort(key)
    key = key[corner]
    start = np.flatnonzero(np.append(True, key[1:] != key[:-1])) if len(key) else corner[:0]
    return Edges(corner, start, np.diff(np.append(start, len(key))), (tail < head)[corner])
