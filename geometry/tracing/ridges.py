"""Lines: where a picture is darker, or lighter, than both of its sides.

Tones alone give patches; lashes, the rim of an eye, creases, hair and stripes are lines, and an
artist draws them in the shadow even where the tone around them is light. A line is told from the
edge of a patch by its two sides: across a line both are lighter, across an edge only one is.

The evidence is gathered along the flow of the picture, so that a line of fur or a lash comes out
as one stroke and not as a row of dots (after the flow-based difference of Gaussians: Kang, Lee
and Chui, "Coherent line drawing", NPAR 2007; and its use for sharpening before a threshold:
Winnemoeller, Kyprianidis and Olsen, "XDoG: an eXtended difference-of-Gaussians compendium",
Computers & Graphics 36, 2012).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..arrays import Plane
from .blur import blur

# In widths of a line: how far off its sides are looked at, and how far along it is gathered.
_ASIDE, _ALONG = 0.9, 2.0
# Directions are taken over this many widths, so that the hairs of a coat agree.
_AGREED = 1.2
# A width is this many standard deviations of the blur that takes in what is finer.
_BLUR = 0.4
# No pixel counts for more than this (L*): a strong dot is not drawn out into a line.
_STRONG = np.float32(12.0)
# A place of little evidence may borrow from its neighbours this many times its own.
_STEADIED = np.float32(3.0)


def line_evidence(tone: Plane, width: float, step: Callable[[], None] = lambda: None) -> Plane:
    """Return how much darker each pixel is than both of its sides.

    Parameters
    ----------
    tone : float32 array (rows, columns)
        Lightness.
    width : float
        Width in pixels of the lines that are looked for.
    step : callable
        Called now and then; may raise ``Cancelled``.

    Returns
    -------
    float32 array (rows, columns)
        In units of lightness: positive on dark lines, negative on light ones, 0 on flat tones and
        along the edges of patches.

    Examples
    --------
    >>> tone = np.full((40, 40), 80, np.float32)
    >>> tone[:, 18:22] = 20
    >>> evidence = line_evidence(tone, 4.0)
    >>> bool(evidence[20, 20] > 10), bool(abs(evidence[20, 5]) < 1)
    (True, True)
    """
    soft = blur(tone, _BLUR * width)
    along_x, along_y = flow(soft, _AGREED * width)
    step()
    aside = np.float32(_ASIDE * width)
    rows, columns = tone.shape
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    left = sampled(soft, x - aside * along_y, y + aside * along_x)
    right = sampled(soft, x + aside * along_y, y - aside * along_x)
    step()
    darker = np.maximum(np.minimum(left, right) - soft, 0)
    lighter = np.maximum(soft - np.maximum(left, right), 0)
    here = np.clip(darker - lighter, -_STRONG, _STRONG)
    evidence = gathered(here, along_x, along_y, _ALONG * width, step)
    # Neighbours steady a line, yet neither string dots together nor turn a dark one light.
    most = _STEADIED * np.abs(here)
    return np.where(here * evidence < 0, np.float32(0), np.clip(evidence, -most, most))


def flow(soft: Plane, sigma: float) -> tuple[Plane, Plane]:
    """Return the direction, a unit vector's x and y, along which the picture changes least.

    Parameters
    ----------
    soft : float32 array (rows, columns)
    sigma : float
        Pixels over which the direction is agreed upon.

    Notes
    -----
    The minor eigenvector of the structure tensor smoothed over ``sigma``; its sign means nothing.

    Examples
    --------
    >>> stripes = np.repeat(np.sin(np.arange(30, dtype=np.float32))[:, None], 30, axis=1)
    >>> x, y = flow(stripes, 2.0)
    >>> bool(abs(x[15, 15]) > 0.99)
    True
    """
    down, across = (np.asarray(slope, np.float32) for slope in np.gradient(soft))
    xx, yy = blur(across * across, sigma), blur(down * down, sigma)
    xy = blur(across * down, sigma)
    steepest = np.arctan2(2 * xy, xx - yy) / 2
    return -np.sin(steepest), np.cos(steepest)


def sampled(plane: Plane, x: Plane, y: Plane) -> Plane:
    """Return the plane's values at the pixels nearest to places.

    Parameters
    ----------
    plane : float32 array (rows, columns)
    x, y : float32 array, any shape
        Columns and rows; what lies beyond the plane takes the value at its border.
    """
    rows, columns = plane.shape
    row = np.clip(np.rint(y), 0, rows - 1).astype(np.intp)
    column = np.clip(np.rint(x), 0, columns - 1).astype(np.intp)
    values: Plane = plane.ravel()[row * columns + column]
    return values


def gathered(
    plane: Plane, along_x: Plane, along_y: Plane, reach: float, step: Callable[[], None]
) -> Plane:
    """Return the plane's mean along the flow, weighted by a Gaussian.

    Parameters
    ----------
    plane : float32 array (rows, columns)
    along_x, along_y : float32 array (rows, columns)
        Unit vectors of the flow at each pixel.
    reach : float
        How far to go each way in pixels: two standard deviations of the Gaussian.
    step : callable
        Called before each step of a pixel; may raise to end the work.
    """
    rows, columns = plane.shape
    total, weights = plane.copy(), 1.0
    for way in (1, -1):
        y, x = np.mgrid[:rows, :columns].astype(np.float32)
        ahead_x, ahead_y = np.float32(way) * along_x, np.float32(way) * along_y
        for far in range(1, max(1, round(reach)) + 1):
            step()
            x += ahead_x
            y += ahead_y
            weight = np.exp(-2 * (far / reach) ** 2)
            total += np.float32(weight) * sampled(plane, x, y)
            weights += weight
            next_x, next_y = sampled(along_x, x, y), sampled(along_y, x, y)
            # The flow's sign means nothing: on, never back.
            turn = np.where(next_x * ahead_x + next_y * ahead_y < 0, -1, 1).astype(np.float32)
            ahead_x, ahead_y = next_x * turn, next_y * turn
    result: Plane = total / np.float32(weights)
    return result
