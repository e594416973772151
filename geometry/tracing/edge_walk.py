"""A rough outline drawn to the edge beside it, by random walks.

From each pixel of doubt a walker sets out and prefers steps between pixels of like colour; the
pixel belongs to the subject when the walker more probably comes upon the subject first (Grady,
"Random walks for image segmentation", IEEE Trans. Pattern Analysis and Machine Intelligence 28,
2006). The probabilities solve a Laplace equation on the pixels, here by conjugate gradients on
arrays.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Plane
from .blur import blur

# Within about ``doubt`` of a straight outline the blurred step lies between this and 1 less this.
_SURE = 0.97
#: How strongly a step between colours is avoided, in units of the mean squared step.
_AVOIDED = 2.0
_LEAST_STEP = np.float32(1e-4)
_STEPS, _EXACT = 400, 1e-3


def drawn_to_edge(srgb: Plane, inside: Bools, doubt: float) -> Bools:
    """Return the subject with its outline drawn to the edges of the picture.

    Parameters
    ----------
    srgb : float32 array (rows, columns, 3)
    inside : bool array (rows, columns)
        The subject, roughly.
    doubt : float
        How far off the edge the rough outline may lie, in pixels.

    Returns
    -------
    bool array (rows, columns)
        The same as ``inside`` farther than that from its outline.

    Examples
    --------
    >>> picture = np.zeros((30, 40, 3), np.float32)
    >>> picture[:, 20:] = 1
    >>> rough = np.zeros((30, 40), bool)
    >>> rough[:, 18:] = True
    >>> int(drawn_to_edge(picture, rough, 6)[15].argmax())
    20
    """
    soft = blur(inside.astype(np.float32), doubt / 2)
    sure_in, sure_out = soft > _SURE, soft < 1 - _SURE
    if not sure_in.any() or not sure_out.any():
        return inside.copy()
    return walked(srgb, sure_in, sure_out) > 0.5


def walked(srgb: Plane, sure_in: Bools, sure_out: Bools) -> Plane:
    """Return the probability that a walker from each pixel comes upon the subject first.

    Parameters
    ----------
    srgb : float32 array (rows, columns, 3)
    sure_in, sure_out : bool array (rows, columns)
        Where walks end, in the subject and outside it.

    Returns
    -------
    float32 array (rows, columns)
    """
    down = _ease(np.diff(srgb, axis=0))
    across = _ease(np.diff(srgb, axis=1))
    free = ~(sure_in | sure_out)
    share = sure_in.astype(np.float32)
    weight = _sums(down, across)

    def spread(plane: Plane) -> Plane:
        out = weight * plane
        out[:-1] -= down * plane[1:]
        out[1:] -= down * plane[:-1]
        out[:, :-1] -= across * plane[:, 1:]
        out[:, 1:] -= across * plane[:, :-1]
        out[~free] = 0
        return out

    # Jacobi-preconditioned conjugate gradients on the free pixels.
    x = share.copy()
    x[free] = np.float32(0.5)
    rest = -spread(x)
    scaled = np.where(free, rest / weight, np.float32(0))
    way = scaled.copy()
    energy = first = float((rest * scaled).sum())
    for _ in range(_STEPS):
        if energy <= _EXACT**2 * first or energy <= 0:
            break
        moved = spread(way)
        size = np.float32(energy / float((way * moved).sum()))
        x += size * way
        rest -= size * moved
        scaled = np.where(free, rest / weight, np.float32(0))
        now = float((rest * scaled).sum())
        way = scaled + np.float32(now / energy) * way
        energy = now
    return x


def _ease(step: Plane) -> Plane:
    square = (step**2).sum(axis=2)
    mean = max(float(square.mean()), 1e-9)
    ease: Plane = np.exp(np.float32(-_AVOIDED / mean) * square) + _LEAST_STEP
    return ease


def _sums(down: Plane, across: Plane) -> Plane:
    total = np.zeros((across.shape[0], down.shape[1]), np.float32)
    total[:-1] += down
    total[1:] += down
    total[:, :-1] += across
    total[:, 1:] += across
    return total
