"""Edges between the cells of a partition, each with the cell on either side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..arrays import Floats, Indices
from .arrangement import Partition


@dataclass(frozen=True)
class CellEdges:
    """Straight edges between cells.

    Parameters
    ----------
    start, end : float64 array (n, 2)
        In mm.
    left, right : int64 array (n,)
        Cell on the left and on the right on the way from start to end; -1 outside the frame.
    vertices : int64 array (n, 2)
        Numbers of the end points: edges that meet share one.
    """

    start: Floats
    end: Floats
    left: Indices
    right: Indices
    vertices: Indices


def cell_edges(cells: Partition) -> CellEdges:
    """Return each edge between two cells, or between a cell and the outside, once.

    Parameters
    ----------
    cells : Partition

    Examples
    --------
    >>> from shapely import box
    >>> from .arrangement import partition
    >>> edges = cell_edges(partition([box(0, 0, 1, 1)], box(0, 0, 2, 1)))
    >>> len(edges.start), int(((edges.left >= 0) & (edges.right >= 0)).sum())
    (7, 1)
    """
    # Outer rings counter-clockwise and holes clockwise: a cell is on the left of its own edges.
    rings, cell = shapely.get_rings(shapely.orient_polygons(cells.cells), return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    first = np.flatnonzero(ring[1:] == ring[:-1])
    by = np.lexsort((points[:, 1], points[:, 0]))
    number = np.empty(len(points), np.int64)
    number[by] = np.cumsum((np.diff(points[by], axis=0, prepend=np.nan) != 0).any(axis=1)) - 1
    a, b, owner = number[first], number[first + 1], cell[ring[first]].astype(np.int64)
    forward = a < b
    key = np.minimum(a, b) * np.int64(number.max() + 1) + np.maximum(a, b)
    order = np.argsort(key, kind="stable")
    new = np.append(True, np.diff(key[order]) != 0)
    edge = np.empty(len(key), np.int64)
    edge[order] = np.cumsum(new) - 1
    left = np.full(int(new.sum()), -1)
    right = left.copy()
    left[edge[forward]] = owner[forward]
    right[edge[~forward]] = owner[~forward]
    some = order[new]
    tail = np.where(forward[some], first[some], first[some] + 1)
    head = np.where(forward[some], first[some] + 1, first[some])
    vertices = np.stack([number[tail], number[head]], axis=1)
    return CellEdges(points[tail], points[head], left, right, vertices)
