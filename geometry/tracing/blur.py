"""Soft blurs by running sums, whose cost does not depend on their width."""

from __future__ import annotations

import numpy as np

from ..arrays import Plane


def blur(plane: Plane, sigma: float) -> Plane:
    """Return the plane blurred by three boxes, nearly a Gaussian of ``sigma`` pixels.

    Box widths after Kovesi, "Fast almost-Gaussian filtering", DICTA 2010. Beyond the edge the
    outermost pixels go on.

    Examples
    --------
    >>> step = np.repeat(np.float32([[0, 1]]), 8, axis=1)
    >>> blur(step, 1.5).round(2)[0, 6:10]
    array([0.15, 0.37, 0.63, 0.85], dtype=float32)
    """
    if sigma <= 0:
        return plane.copy()
    ideal = np.sqrt(12 * sigma**2 / 3 + 1)
    narrow = max(1, int(ideal) - (1 - int(ideal) % 2))
    count = round((12 * sigma**2 - 3 * narrow**2 - 12 * narrow - 9) / (-4 * narrow - 4))
    count = min(max(count, 0), 3)
    for number in range(3):
        radius = ((narrow if number < count else narrow + 2) - 1) // 2
        plane = _box(_box(plane, radius).T, radius).T
    return np.ascontiguousarray(plane)


def blur_within(plane: Plane, share: Plane, sigma: float) -> Plane:
    """Return the blur of those pixels that count; ``share`` says how much each does, 0 to 1.

    Where nothing near counts the result is the mean of all that count.

    Parameters
    ----------
    plane, share : float32 array (rows, columns)
    sigma : float
        Standard deviation of the Gaussian in pixels.
    """
    total = float(share.sum(dtype=np.float64))
    mean = float((plane * share).sum(dtype=np.float64)) / max(total, 1e-9)
    weight = blur(share, sigma) + np.float32(1e-4)
    result: Plane = (blur(plane * share, sigma) + np.float32(1e-4 * mean)) / weight
    return result


def _box(plane: Plane, radius: int) -> Plane:
    """Mean over 2 radius + 1 pixels along the first axis."""
    if radius == 0:
        return plane
    padded = np.pad(plane, ((radius + 1, radius), (0, 0)), mode="edge")
    # Running sums of float32 would drift over thousands of rows.
    sums = np.cumsum(padded, axis=0, dtype=np.float64)
    width = 2 * radius + 1
    return ((sums[width:] - sums[:-width]) / width).astype(np.float32)
