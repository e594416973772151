"""Winding numbers: how often outlines go round a point."""

from __future__ import annotations

import numpy as np
import shapely

from ..arrays import Floats, Indices

#: Pairs of a point and a segment looked at in one go, for the sake of memory.
_MOST_PAIRS = 4_000_000


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
    if len(points) == 0 or len(start) == 0:
        return found
    if len(points) * len(start) <= _MOST_PAIRS:
        which = np.repeat(np.arange(len(points)), len(start))
        segment = np.tile(np.arange(len(start)), len(points))
        _count_crossings(found, points, start, end, which, segment)
        return found
    # Many points and many segments: a tree finds the few segments that each ray can meet. A ray
    # goes to the right or, where segments lie side by side rather than above each other, down.
    levels = [_beside(points[:, k], start[:, k], end[:, k]) for k in (1, 0)]
    pairs = levels[0]
    if levels[1].sum() < levels[0].sum():
        pairs = levels[1]
        points, start, end = (xy[:, ::-1] * (1.0, -1.0) for xy in (points, start, end))
    tree = shapely.STRtree(
        shapely.box(
            np.minimum(start[:, 0], end[:, 0]),
            np.minimum(start[:, 1], end[:, 1]),
            np.maximum(start[:, 0], end[:, 0]),
            np.maximum(start[:, 1], end[:, 1]),
        )
    )
    right = float(max(start[:, 0].max(), end[:, 0].max(), points[:, 0].max())) + 1.0
    total, low = np.cumsum(pairs), 0
    while low < len(points):
        before = total[low - 1] if low else 0
        stop = int(np.searchsorted(total, before + _MOST_PAIRS, side="right"))
        stop = max(stop, low + 1)
        some = points[low:stop]
        which, segment = tree.query(shapely.box(some[:, 0], some[:, 1], right, some[:, 1]))
        _count_crossings(found, points, start, end, which + low, segment)
        low = stop
    return found


def _beside(at: Floats, start: Floats, end: Floats) -> Indices:
    """Return how many segments reach across each level ``at``."""
    low, high = np.sort(np.minimum(start, end)), np.sort(np.maximum(start, end))
    across: Indices = np.searchsorted(low, at, side="right") - np.searchsorted(high, at)
    return across


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
