"""SVG basic shapes as path segments (SVG 1.1, chapter 9)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...arrays import Floats
from .path import ARC, CLOSE, LINE, MOVE, PathData

_SWEEP = 2.0  # flags of an arc: small, drawn towards growing angles


def rectangle(x: float, y: float, width: float, height: float, rx: float, ry: float) -> PathData:
    """Return a rectangle; its corners are rounded where both radii are greater than zero.

    It starts after the first corner and goes round as SVG 1.1, section 9.2, says.
    """
    rx, ry = min(rx, width / 2), min(ry, height / 2)
    right, bottom = x + width, y + height
    if rx <= 0 or ry <= 0:
        return polyline(np.array([[x, y], [right, y], [right, bottom], [x, bottom]]), closed=True)
    steps = [
        (MOVE, (0, 0, 0, 0, x + rx, y)),
        (LINE, (0, 0, 0, 0, right - rx, y)),
        (ARC, (rx, ry, 0, _SWEEP, right, y + ry)),
        (LINE, (0, 0, 0, 0, right, bottom - ry)),
        (ARC, (rx, ry, 0, _SWEEP, right - rx, bottom)),
        (LINE, (0, 0, 0, 0, x + rx, bottom)),
        (ARC, (rx, ry, 0, _SWEEP, x, bottom - ry)),
        (LINE, (0, 0, 0, 0, x, y + ry)),
        (ARC, (rx, ry, 0, _SWEEP, x + rx, y)),
        (CLOSE, (0, 0, 0, 0, x + rx, y)),
    ]
    return _path(steps)


def ellipse(cx: float, cy: float, rx: float, ry: float) -> PathData:
    """Return an ellipse in four arcs from its rightmost point on."""
    steps = [
        (MOVE, (0, 0, 0, 0, cx + rx, cy)),
        (ARC, (rx, ry, 0, _SWEEP, cx, cy + ry)),
        (ARC, (rx, ry, 0, _SWEEP, cx - rx, cy)),
        (ARC, (rx, ry, 0, _SWEEP, cx, cy - ry)),
        (ARC, (rx, ry, 0, _SWEEP, cx + rx, cy)),
        (CLOSE, (0, 0, 0, 0, cx + rx, cy)),
    ]
    return _path(steps)


def polyline(points: Floats, *, closed: bool) -> PathData:
    """Return straight segments through points (n, 2)."""
    n = len(points)
    kind = np.full(n + closed, LINE, np.int8)
    rows = np.zeros((n + closed, 6))
    rows[:n, 4:] = points
    if n:
        kind[0] = MOVE
    if closed and n:
        kind[n] = CLOSE
        rows[n, 4:] = points[0]
    return PathData(kind, rows) if n else PathData(np.empty(0, np.int8), np.empty((0, 6)))


def _path(steps: Sequence[tuple[int, tuple[float, ...]]]) -> PathData:
    kinds, rows = zip(*steps, strict=True)
    return PathData(np.array(kinds, np.int8), np.array(rows, dtype=np.float64))
