"""Lines by differences of Gaussians along the flow of a picture.

Across the flow a narrow Gaussian less a wide one tells what is darker than both of its sides;
the answers are then gathered along the flow, so that a lash, a brow's hairs or a crease comes out
as one stroke that fades at both ends, and a dot does not (Kang, Lee and Chui, "Coherent line
drawing", NPAR 2007; Winnemoeller, Kyprianidis and Olsen, "XDoG: an eXtended difference-of-Gaussians
compendium", Computers & Graphics 36, 2012, from whom the smoothed structure tensor is taken too).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..arrays import Floats, Indices, Plane
from .blur import blur
from .ridges import flow, gathered, sampled

# Of a line's width: the narrow Gaussian, and how many times wider the other is; 1.6 makes their
# difference nearest to a Laplacian (Marr and Hildreth 1980, as Kang et al. take it).
_NARROW, _WIDER = 0.4, 1.6
# Of a line's width: over which the flow agrees, and along which it is gathered.
_AGREED, _ALONG = 1.2, 2.2
# Differences under this (L*) are grain.
_GRAIN = np.float32(0.5)


def flow_difference(tone: Plane, width: float, step: Callable[[], None] = lambda: None) -> Plane:
    """Return how much darker each pixel is than its sides, gathered along the flow.

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
        In units of lightness: positive on dark lines, negative on light ones.

    Examples
    --------
    >>> tone = np.full((40, 40), 80, np.float32)
    >>> tone[:, 18:22] = 20
    >>> lines = flow_difference(tone, 4.0)
    >>> bool(lines[20, 20] > 5), bool(abs(lines[20, 5]) < 0.5)
    (True, True)
    """
    narrow = max(0.6, _NARROW * width)
    wide = _WIDER * narrow
    along_x, along_y = flow(blur(tone, 0.5 * narrow), _AGREED * width)
    step()
    rows, columns = tone.shape
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    reach = int(np.ceil(2.5 * wide))
    offsets = np.arange(-reach, reach + 1)
    weights = _gaussian(offsets, narrow) - _gaussian(offsets, wide)
    total = np.zeros_like(tone)
    for offset, weight in zip(offsets.tolist(), weights.tolist(), strict=True):
        aside = np.float32(offset)
        total += np.float32(weight) * sampled(tone, x - aside * along_y, y + aside * along_x)
        if offset % 4 == 0:
            step()
    lines = gathered(-total, along_x, along_y, _ALONG * width, step)
    faint: Plane = np.sign(lines) * np.maximum(np.abs(lines) - _GRAIN, 0)
    return faint


def _gaussian(offsets: Indices, sigma: float) -> Floats:
    weights = np.exp(-(offsets**2) / (2 * sigma**2))
    shares: Floats = weights / weights.sum()
    return shares
