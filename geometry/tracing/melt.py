"""Melting: what is small and faint runs into its surroundings, and outlines stay where tone turns.

Total variation (``flatten``), its weight chosen so that a thing of a stated size and contrast is
just kept, its outline made cheap along the picture's own edges.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Plane
from ..progress import Progress
from .blur import blur
from .total_variation import flatten

#: What differs by this much (L*, or as much in colour) from its surroundings is worth a shape.
CONTRAST = 15.0
#: Edges steeper than this (L* across a stroke) hold outlines fast.
EDGE = 12.0
#: What outline costs along the steepest of edges, as a share of what it costs elsewhere.
LEAST_COST = 0.25
#: No blur is narrower than this, in pixels: narrower ones leave the staircase of the pixels.
LEAST_BLUR = 0.8
#: Things of a smaller radius than this, in pixels, are of one pixel at most.
LEAST_RADIUS = 0.25


def melted(tones: Plane, radius: Plane, scale: float, progress: Progress) -> Plane:
    """Return tones with small and faint things melted away.

    Parameters
    ----------
    tones : float32 array (rows, columns)
        In L*, or as far from a colour as that.
    radius : float32 array (rows, columns)
        A disc of this radius in pixels, of the least contrast, is just kept.
    scale : float
        Standard deviation in pixels of the blur behind which edges are looked for; raised to
        ``LEAST_BLUR``.
    progress : Progress

    Examples
    --------
    >>> tones = np.zeros((40, 40), np.float32)
    >>> tones[4:6, 4:6] = tones[14:34, 14:34] = 30
    >>> left = melted(tones, np.full_like(tones, 3), 1.0, Progress())
    >>> bool(left[:8, :8].max() < 15), bool(left[20:28, 20:28].min() > 25)
    (True, True)
    """
    faith = np.float32(2 / CONTRAST) / np.maximum(radius, np.float32(LEAST_RADIUS))
    weight = np.asarray(faith, np.float32)
    scale = max(LEAST_BLUR, scale)
    across, along = np.gradient(blur(tones, scale))
    edge = np.hypot(across, along) * np.float32(2 * scale / EDGE)
    cost = np.maximum(np.float32(LEAST_COST), 1 / (1 + edge**2)).astype(np.float32)
    return flatten(tones, weight, cost, lambda: progress(0.5, "melting small things"))
