"""Structural similarity of two pictures: whether the same shapes are seen in both."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..errors import GeometryError

_SIGMA = 1.5
_RADIUS = 5
_K1, _K2 = 0.01, 0.03


def structural_similarity(first: ArrayLike, second: ArrayLike, span: float = 1.0) -> float:
    """Return the mean structural similarity (SSIM) of two grey pictures.

    Parameters
    ----------
    first, second : array_like (rows, columns)
        Of one shape, at least 11 pixels a side.
    span : float
        Difference between the greatest and the least value possible.

    Returns
    -------
    float
        1 for equal pictures, about 0 for unrelated ones.

    Raises
    ------
    GeometryError
        Shapes differ or are too small.

    Notes
    -----
    Wang, Bovik, Sheikh and Simoncelli, "Image quality assessment: from error visibility to
    structural similarity", IEEE Trans. Image Processing 13, 2004: a Gaussian window of 11 x 11
    pixels and 1.5 pixels' width, K1 = 0.01, K2 = 0.03; windows that reach over the edge are left
    out.

    Examples
    --------
    >>> ramp = np.add.outer(np.arange(20), np.arange(20)) / 40
    >>> structural_similarity(ramp, ramp)
    1.0
    """
    x, y = np.asarray(first, np.float64), np.asarray(second, np.float64)
    if x.shape != y.shape or x.ndim != 2 or min(x.shape) < 2 * _RADIUS + 1:
        raise GeometryError(
            f"Pictures of {x.shape} and {y.shape} cannot be compared; expected one shape of at "
            f"least {2 * _RADIUS + 1} pixels a side."
        )
    mx, my = _window(x), _window(y)
    vx, vy = _window(x * x) - mx * mx, _window(y * y) - my * my
    vxy = _window(x * y) - mx * my
    c1, c2 = (_K1 * span) ** 2, (_K2 * span) ** 2
    top = (2 * mx * my + c1) * (2 * vxy + c2)
    bottom = (mx * mx + my * my + c1) * (vx + vy + c2)
    return float((top / bottom).mean())


def _window(values: Floats) -> Floats:
    at = np.arange(-_RADIUS, _RADIUS + 1)
    weight = np.exp(-(at**2) / (2 * _SIGMA**2))
    weight /= weight.sum()
    for _ in range(2):
        views = np.lib.stride_tricks.sliding_window_view(values, len(at), axis=0)
        values = (views @ weight).T
    return values
