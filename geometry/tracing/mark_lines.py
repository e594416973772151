"""Lines of a face drawn whole: from its marks to the darkest way beside them.

Marks lie a pixel or two off, and the line between the lips is dark at its corners and faint in its
middle: cut by tones alone it comes apart. So each such line is drawn from end to end along the
darkest way near its marks, found by dynamic programming as seams and snakes are (Amini, Weymouth
and Jain, "Using dynamic programming for solving variational problems in vision", IEEE Trans.
Pattern Analysis and Machine Intelligence 12, 1990).
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Plane
from ..tolerance import NOT_ZERO

# Places along a line and across it.
_ALONG, _ACROSS = 33, 13
# What a way pays (L*) for leaving the marks by its whole reach, and for a step of its whole reach
# from one place to the next.
_AWAY, _BENT = 4.0, 60.0


def darkest_way(tone: Plane, line: Floats, reach: float) -> tuple[Floats, Floats]:
    """Return the darkest smooth way along a line, and how much darker it is than its sides.

    Parameters
    ----------
    tone : float32 array (rows, columns)
        Lightness, softened to the width of the line.
    line : float64 array (n, 2)
        Marks in pixels, x and y, (0, 0) the corner of the first pixel.
    reach : float
        How far off the marks, in pixels, the way may run.

    Returns
    -------
    way : float64 array (33, 2)
        In pixels.
    darker : float64 array (33,)
        L* between each place and the lighter of its sides; negative where it is lighter.

    Examples
    --------
    >>> tone = np.full((40, 60), 80, np.float32)
    >>> tone[20] = 20
    >>> way, darker = darkest_way(tone, np.array([[10.0, 18.5], [50.0, 18.5]]), 4.0)
    >>> bool(np.abs(way[4:-4, 1] - 20.5).max() < 0.7), bool(darker.min() > 40)
    (True, True)
    """
    middle, aside = _even(line)
    offsets = np.linspace(-reach, reach, _ACROSS)
    seen = _seen(tone, middle[:, None] + offsets[None, :, None] * aside[:, None])
    cost = seen + _AWAY * (offsets / reach) ** 2
    # From place to place: a step costs its square.
    step = _BENT * (np.subtract.outer(offsets, offsets) / (2 * reach)) ** 2
    total, came = cost[0], []
    for place in cost[1:]:
        whole = total[None] + step
        came.append(whole.argmin(axis=1))
        total = whole.min(axis=1) + place
    at = [int(total.argmin())]
    for back in reversed(came):
        at.append(int(back[at[-1]]))
    chosen = np.array(at[::-1])
    way = middle + offsets[chosen, None] * aside
    sides = [_seen(tone, (way + sign * 1.5 * reach * aside)[:, None])[:, 0] for sign in (-1, 1)]
    here = seen[np.arange(len(chosen)), chosen]
    return way, np.maximum(*sides) - here


def _even(line: Floats) -> tuple[Floats, Floats]:
    """Return even places along a line, and at each the direction to its side."""
    size = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(size)])
    wanted = np.linspace(0, along[-1], _ALONG)
    places = np.column_stack([np.interp(wanted, along, line[:, k]) for k in (0, 1)])
    way = np.gradient(places, axis=0)
    way /= np.maximum(np.hypot(*way.T), NOT_ZERO)[:, None]
    return places, np.column_stack([-way[:, 1], way[:, 0]])


def _seen(plane: Plane, places: Floats) -> Floats:
    """Return the plane at places between pixels."""
    rows, columns = plane.shape
    x = np.clip(places[..., 0] - 0.5, 0, columns - 1.001)
    y = np.clip(places[..., 1] - 0.5, 0, rows - 1.001)
    left, top = x.astype(np.intp), y.astype(np.intp)
    u, v = x - left, y - top
    upper = plane[top, left] * (1 - u) + plane[top, left + 1] * u
    lower = plane[top + 1, left] * (1 - u) + plane[top + 1, left + 1] * u
    return np.asarray(upper * (1 - v) + lower * v, np.float64)
