"""Winding numbers: how often outlines go round a point."""

from __future__ import annotations

import numpy as np
import shapely

from ..arrays import Floats, Indices

#: Up to so many pairs of a point and a segment every pair is looked at, which needs no tree.
_MOST_PAIRS = 4_000_000
#: Points whose rays are looked up in the tree at once, for the sake of memory.
_POINTS_AT_ONCE = 4096


def winding_numbers(points: Floats, start: Floats, end: Floats) -> Indices:
    """Return how often directed segments wind round each point.

    Parameters
    ----------
    points : ndarray, shape (m, 2)
    start, end : ndarray, shape (n, 2)
        The segments of closed outlines, in any order.

    Returns
    -------
    ndarray of int, shape (m,)
        Positive counter-clockwise. Counted by upward and downward crossings of the ray to the
        right (the crossing rule of SVG 1.1, section 11.3), half-open in y so that a vertex counts
        once.

    Examples
    --------
    >>> square = np.array([[0.0, 0], [2, 0], [2, 2], [0, 2], [0, 0]])
    >>> winding_numbers(np.array([[1.0, 1], [3, 1]]), square[:-1], square[1:]).tolist()
    [1, 0]
    """
    found = np.zeros(len(points), np.int64)
    slanted = start[:, 1] != end[:, 1]
    start, end = start[slanted], end[slanted]
    if len(points) == 0 or len(start) == 0:
        return found
    if len(points) * len(start) <= _MOST_PAIRS:
        which = np.repeat(np.arange(len(points)), len(start))
        segment = np.tile(np.arange(len(start)), len(points))
        _count_crossings(found, points, start, end, which, segment)
        return found
    # Many points and many segments: a tree finds the few segments that each ray can meet.
    tree = shapely.STRtree(
        shapely.box(
            np.minimum(start[:, 0], end[:, 0]),
            np.minimum(start[:, 1], end[:, 1]),
            np.maximum(start[:, 0], end[:, 0]),
            np.maximum(start[:, 1], end[:, 1]),
        )
    )
    right = float(max(start[:, 0].max(), end[:, 0].max(), points[:, 0].max())) + 1.0
    for low in range(0, len(points), _POINTS_AT_ONCE):
        some = points[low : low + _POINTS_AT_ONCE]
        rays = shapely.box(some[:, 0], some[:, 1], right, some[:, 1])
        which, segment = tree.query(rays)
        _count_crossings(found, points, start, end, which + low, segment)
    return found


def _count_crossings(
    found: Indices, points: Floats, start: Floats, end: Floats, which: Indices, segment: Indices
) -> None:
    x, y = points[which, 0], points[which, 1]
    a, b = start[segment], end[segment]
    up = (a[:, 1] <= y) & (b[:, 1] > y)
    down = (b[:, 1] <= y) & (a[:, 1] > y)
    left_of = (b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (x - a[:, 0]) * (b[:, 1] - a[:, 1])
    np.add.at(found, which[up & (left_of > 0)], 1)
    np.add.at(found, which[down & (left_of < 0)], -1)
