"""Warping: a flat picture seen through a homography, every pixel an average of what it shows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from .homography import mapped, scale_at

Raster = NDArray[np.float32]

#: Pixels of a photo that are worked on at a time, so that big photos need little memory.
_AT_ONCE = 400_000


def warped(raster: Raster, to_raster: Floats, window: tuple[int, int, int, int]) -> Raster:
    """Return a raster as the pixels of a photo's window see it.

    Parameters
    ----------
    raster : float32 array (rows, columns, channels)
        0 beyond its edges.
    to_raster : float64 array (3, 3)
        Homography from the photo's pixels to the raster's, whole numbers at corners of pixels.
    window : tuple of int
        First column and row of the photo, then those past the last.

    Returns
    -------
    float32 array (rows, columns, channels)

    Notes
    -----
    The raster is halved again and again (each pixel the mean of four). A photo's pixel that shows
    w pixels of the raster along the longer way takes its value between the two halvings next to
    log2 w, in each between the four nearest pixels (trilinear filtering; Williams, Pyramidal
    Parametrics, 1983, from memory).

    Examples
    --------
    >>> chart = np.ones((4, 4, 1), np.float32)
    >>> warped(chart, np.diag([2.0, 2.0, 1.0]), (0, 0, 3, 1))[0, :, 0].tolist()[0]
    1.0
    """
    left, top, right, bottom = window
    levels = [np.pad(raster, ((1, 1), (1, 1), (0, 0)))]
    while min(levels[-1].shape[:2]) > 4:
        levels.append(np.pad(_halved(levels[-1][1:-1, 1:-1]), ((1, 1), (1, 1), (0, 0))))
    out = np.empty((bottom - top, right - left, raster.shape[2]), np.float32)
    x = np.arange(left, right) + 0.5
    step = max(1, _AT_ONCE // max(1, right - left))
    for first in range(top, bottom, step):
        y = np.arange(first, min(first + step, bottom)) + 0.5
        points = np.stack(np.broadcast_arrays(x[None, :], y[:, None]), axis=2).reshape(-1, 2)
        seen = mapped(to_raster, points)
        # What lies beyond the wall's horizon is nowhere on it.
        before = np.isfinite(seen).all(axis=1)
        seen = np.where(before[:, None], seen, -1e9)
        wide = np.maximum(np.nan_to_num(scale_at(to_raster, points)[:, 0], posinf=1e9), 1.0)
        level = np.minimum(np.log2(wide), len(levels) - 1)
        values = _between(levels, seen, level)
        out[first - top : first - top + len(y)] = values.reshape(len(y), right - left, -1)
    return out


def _halved(raster: Raster) -> Raster:
    rows, columns = raster.shape[:2]
    even = np.pad(raster, ((0, rows % 2), (0, columns % 2), (0, 0)))
    found: Raster = (
        even[::2, ::2] + even[1::2, ::2] + even[::2, 1::2] + even[1::2, 1::2]
    ) * np.float32(0.25)
    return found


def _between(levels: list[Raster], seen: Floats, level: Floats) -> Raster:
    out = np.zeros((len(seen), levels[0].shape[2]), np.float32)
    lower = np.floor(level).astype(np.int64)
    share = (level - lower).astype(np.float32)
    for number in range(len(levels)):
        for which, weight in (
            (lower == number, 1 - share),
            ((lower + 1 == number) & (share > 0), share),
        ):
            if which.any():
                out[which] += weight[which, None] * _sampled(levels[number], seen[which], number)
    return out


def _sampled(padded: Raster, seen: Floats, number: int) -> Raster:
    """Return the values at places given in pixels of the unhalved raster."""
    rows, columns = padded.shape[:2]
    x = np.clip(seen[:, 0] / 2**number + 0.5, 0, columns - 1.001)
    y = np.clip(seen[:, 1] / 2**number + 0.5, 0, rows - 1.001)
    i, j = np.floor(x).astype(np.int64), np.floor(y).astype(np.int64)
    fx, fy = (x - i).astype(np.float32)[:, None], (y - j).astype(np.float32)[:, None]
    above = padded[j, i] * (1 - fx) + padded[j, i + 1] * fx
    below = padded[j + 1, i] * (1 - fx) + padded[j + 1, i + 1] * fx
    found: Raster = above * (1 - fy) + below * fy
    return found
