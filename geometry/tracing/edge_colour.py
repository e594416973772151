"""The subject's own colour along its outline, with the backdrop's share taken out.

Where the mask of a subject is soft, as round hair, its outermost pixels are mixtures: a share of
the subject's colour and the rest of what lies behind (Porter and Duff, "Compositing digital
images", SIGGRAPH 1984). Painted as they are they leave a rim of a third colour all round.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Plane
from .blur import blur

# Within about ``reach`` of a straight outline the blurred step lies between this and 1 less this.
_SURE = 0.97
# So much of a pixel's neighbourhood must be surely subject, and surely backdrop, for a mixture of
# the two to be told.
_SEEN = 0.01
# Subject and backdrop that differ by less than this (Delta E) are not told apart, and a pixel that
# lies further than this from every mixture of theirs is of a colour of its own.
_ALIKE, _ASIDE = 6.0, 10.0


def own_colours(lab: Plane, subject: Bools, reach: float) -> Plane:
    """Return the picture with the backdrop's share taken out of the subject's edge.

    Parameters
    ----------
    lab : float32 array (rows, columns, 3)
        CIELAB.
    subject : bool array (rows, columns)
    reach : float
        How far from the outline pixels may be mixtures, in pixels.

    Returns
    -------
    float32 array (rows, columns, 3)
        The same farther than that from the outline. Just beyond the outline the subject's colour
        goes on.

    Examples
    --------
    >>> lab = np.zeros((20, 40, 3), np.float32)
    >>> lab[..., 0] = np.clip(np.arange(40) - 15, 0, 10) * 8  # 0 to 80 over ten pixels
    >>> own_colours(lab, np.arange(40)[None] >= np.full((20, 1), 20), 6.0)[10, 20:26:2, 0].round()
    array([80., 80., 80.], dtype=float32)
    """
    soft = blur(subject.astype(np.float32), reach / 2)
    inner, outer = soft > _SURE, soft < 1 - _SURE
    fronts, backs = (blur(sure.astype(np.float32), reach) for sure in (inner, outer))
    result = lab.copy()
    edge = ~inner & (fronts > _SEEN)
    within, beyond = edge & subject & (backs > _SEEN), edge & ~subject
    front, back = (
        np.stack([blur(lab[..., k] * sure, reach) for k in range(3)], axis=2)
        for sure in (inner, outer)
    )
    result[beyond] = front[beyond] / fronts[beyond, None]
    own = lab[within]
    behind = back[within] / backs[within, None]
    step = front[within] / fronts[within, None] - behind
    away = (step**2).sum(axis=1)
    along = ((own - behind) * step).sum(axis=1)
    # What is lighter, or darker, than both is no mixture either.
    aside = own - behind - np.clip(along / np.maximum(away, 1e-6), 0, 1)[:, None] * step
    told = np.exp(-(aside**2).sum(axis=1) / np.float32(2 * _ASIDE**2))
    # Of what is not told apart nothing is taken out.
    share = np.clip((along + _ALIKE**2) / (away + _ALIKE**2), 0, 1)
    result[within] = own + (told * (1 - share))[:, None] * step
    return result
