"""About how often lines cross, told beforehand: what an arrangement of them would cost."""

from __future__ import annotations

import numpy as np
import shapely

from ..arrays import Floats, Geometries

#: Edges that are looked at; all of them where there are not more.
SAMPLE = 64


def about_crossings(lines: Geometries) -> int:
    """Estimate how often the edges of some lines cross each other or themselves.

    Parameters
    ----------
    lines : object array of LineString or LinearRing

    Returns
    -------
    int
        From edges at even steps among all: exact where there are ``SAMPLE`` at most. What only
        touches does not count.

    Examples
    --------
    >>> about_crossings(np.array([shapely.linearrings([[0, 0], [2, 2], [2, 0], [0, 2]])]))
    1
    """
    xy, line = shapely.get_coordinates(lines, return_index=True)
    within = line[1:] == line[:-1]
    start, end = xy[:-1][within], xy[1:][within]
    count = len(start)
    if count == 0:
        return 0
    some = np.unique(np.linspace(0, count - 1, SAMPLE).astype(np.int64))
    low, high = np.minimum(start, end), np.maximum(start, end)
    found = 0
    for edge in some.tolist():
        near = (low[:, 0] <= high[edge, 0]) & (high[:, 0] >= low[edge, 0])
        near &= (low[:, 1] <= high[edge, 1]) & (high[:, 1] >= low[edge, 1])
        a, b, c, d = start[edge], end[edge], start[near], end[near]
        apart = _side(a, b, c) * _side(a, b, d) < 0
        found += int((apart & (_side(c, d, a) * _side(c, d, b) < 0)).sum())
    # Each crossing is seen from both of its edges.
    return round(found / len(some) * count / 2)


def _side(start: Floats, end: Floats, point: Floats) -> Floats:
    """Return the sign of the side of a line on which points lie: 1 left, -1 right, 0 on it."""
    way, to = end - start, point - start
    side: Floats = np.sign(way[..., 0] * to[..., 1] - way[..., 1] * to[..., 0])
    return side
