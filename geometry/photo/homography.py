"""Homographies: how a flat wall and its photo correspond, point by point."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..errors import GeometryError

#: A corner's triangle below this share of the whole's squared size counts as three points in line.
_FLAT = 1e-6


def homography(source: ArrayLike, target: ArrayLike) -> Floats:
    """Return the projective map that carries points of one plane onto those of another.

    Parameters
    ----------
    source, target : array_like (n, 2)
        Four points or more, no three of the first four in line; with more, the least squares fit.

    Returns
    -------
    float64 array (3, 3)
        Its last element is 1 where that can be.

    Raises
    ------
    GeometryError
        Fewer than four points, or points that fix no map.

    Notes
    -----
    Direct linear transform with both sets moved to their centre and scaled (Hartley and Zisserman,
    Multiple View Geometry in Computer Vision, 2nd edition, algorithm 4.2; from memory).

    Examples
    --------
    >>> h = homography([(0, 0), (1, 0), (1, 1), (0, 1)], [(2, 2), (4, 2), (4, 6), (2, 6)])
    >>> mapped(h, [(0.5, 0.5)]).round(9).tolist()
    [[3.0, 4.0]]
    """
    a, b = np.asarray(source, np.float64), np.asarray(target, np.float64)
    if a.shape != b.shape or a.ndim != 2 or a.shape[1] != 2 or len(a) < 4:
        raise GeometryError(f"Expected four pairs of points or more, found {len(a)} and {len(b)}.")
    if _degenerate(a) or _degenerate(b):
        raise GeometryError("Expected four corners, found three of them in one line.")
    from_a, from_b = _centred(a), _centred(b)
    x, y = mapped(from_a, a).T
    u, v = mapped(from_b, b).T
    one, none = np.ones_like(x), np.zeros_like(x)
    rows = np.concatenate(
        [
            np.stack([x, y, one, none, none, none, -u * x, -u * y, -u], axis=1),
            np.stack([none, none, none, x, y, one, -v * x, -v * y, -v], axis=1),
        ]
    )
    flat = np.linalg.svd(rows, full_matrices=True)[2][-1]
    found: Floats = np.linalg.inv(from_b) @ flat.reshape(3, 3) @ from_a
    last = found[2, 2]
    return found / (last if abs(last) > 1e-12 * np.abs(found).max() else np.linalg.norm(found))


def mapped(h: ArrayLike, points: ArrayLike) -> Floats:
    """Return points (n, 2) carried by a homography; one on its vanishing line comes out infinite.

    >>> mapped(np.diag([2.0, 2.0, 1.0]), [(1, 3)]).tolist()
    [[2.0, 6.0]]
    """
    xy = np.asarray(points, np.float64).reshape(-1, 2)
    whole = np.column_stack([xy, np.ones(len(xy))]) @ np.asarray(h, np.float64).T
    with np.errstate(divide="ignore", invalid="ignore"):
        found: Floats = whole[:, :2] / whole[:, 2:]
    return found


def scale_at(h: ArrayLike, points: ArrayLike) -> Floats:
    """Return how many units of the target one unit of the source takes up at points, (n, 2).

    The two numbers are the singular values of the map's derivative there, the larger first.

    >>> scale_at(np.diag([2.0, 3.0, 1.0]), [(0, 0)]).round(9).tolist()
    [[3.0, 2.0]]
    """
    h = np.asarray(h, np.float64)
    xy = np.asarray(points, np.float64).reshape(-1, 2)
    whole = np.column_stack([xy, np.ones(len(xy))]) @ h.T
    w = whole[:, 2, None]
    value = whole[:, :2] / w
    slope = (h[None, :2, :2] - value[:, :, None] * h[None, None, 2, :2]) / w[:, :, None]
    # Singular values of 2 x 2 matrices by the sum of squares and the determinant.
    squares = (slope**2).sum(axis=(1, 2))
    area = np.abs(slope[:, 0, 0] * slope[:, 1, 1] - slope[:, 0, 1] * slope[:, 1, 0])
    apart = np.sqrt(np.maximum(squares**2 - 4 * area**2, 0))
    large = np.sqrt((squares + apart) / 2)
    found: Floats = np.stack([large, area / np.maximum(large, 1e-300)], axis=1)
    return found


def _centred(points: Floats) -> Floats:
    middle = points.mean(axis=0)
    size = np.hypot(*(points - middle).T).mean()
    s = np.sqrt(2) / max(float(size), 1e-300)
    return np.array([[s, 0, -s * middle[0]], [0, s, -s * middle[1]], [0, 0, 1.0]])


def _degenerate(points: Floats) -> bool:
    corners = points[:4]
    size = float(np.ptp(points, axis=0).max())
    if not np.isfinite(points).all() or size <= 0:
        return True
    for left_out in range(4):
        (x0, y0), (x1, y1), (x2, y2) = np.delete(corners, left_out, axis=0)
        if abs((x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)) < _FLAT * size**2:
            return True
    return False
