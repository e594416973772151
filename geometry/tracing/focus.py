"""Where the picture counts: areas that keep detail, and the background that is left to the wall."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ..colour import ciede2000, lab_from_srgb
from ..connectivity import connected_labels
from ..errors import JobError
from .image import Picture

Bools = NDArray[np.bool_]
Box = tuple[float, float, float, float]

# Colours that the border is described with, and the share of it that one must hold to count.
_BORDER_COLOURS = 8
_LEAST_SHARE = 0.04


def box_marks(boxes: Sequence[Box], picture: Picture) -> Bools:
    """Return which pixels lie in rectangles.

    Parameters
    ----------
    boxes : sequence of (x, y, width, height)
        In pixels of the picture in its file, from its top left corner, y down.
    picture : Picture

    Returns
    -------
    bool array (rows, columns)
        At working size.

    Raises
    ------
    JobError
        A rectangle has no size or lies outside the picture.
    """
    rows, columns = picture.shape
    width, height = picture.full
    marks = np.zeros((rows, columns), bool)
    for x, y, w, h in boxes:
        if not (w > 0 and h > 0 and x + w > 0 and y + h > 0 and x < width and y < height):
            raise JobError(
                f"focus = {x:g},{y:g},{w:g},{h:g}: expected x,y,width,height of a rectangle on the "
                f"picture's {width} x {height} pixels."
            )
        left, right = (round(v / width * columns) for v in (max(x, 0), x + w))
        top, bottom = (round(v / height * rows) for v in (max(y, 0), y + h))
        marks[top : max(bottom, top + 1), left : max(right, left + 1)] = True
    return marks


def flooded_from_border(picture: Picture, difference: float) -> Bools:
    """Return the background: what looks like the border and joins it.

    Parameters
    ----------
    picture : Picture
    difference : float
        CIEDE2000 difference to one of the border's main colours that is still background.

    Returns
    -------
    bool array (rows, columns)
        Pixels that look the same but are enclosed by the subject are not background.
    """
    srgb = picture.srgb
    edge = np.concatenate([srgb[0], srgb[-1], srgb[:, 0], srgb[:, -1]])
    strip = Image.fromarray(np.rint(edge[None] * 255).astype(np.uint8))
    few = strip.quantize(_BORDER_COLOURS, Image.Quantize.MEDIANCUT)
    index = np.asarray(few).ravel()
    groups = [edge[index == k] for k in np.unique(index)]
    main = np.array([g.mean(axis=0) for g in groups if len(g) >= _LEAST_SHARE * len(edge)])
    # Each different colour is looked at once; 64 levels a channel are enough to tell them apart.
    level = np.rint(srgb * 63).astype(np.int64)
    code = (level[..., 0] * 64 + level[..., 1]) * 64 + level[..., 2]
    codes, where = np.unique(code, return_inverse=True)
    colours = np.stack([codes // 4096, codes // 64 % 64, codes % 64], axis=1) / 63
    apart = ciede2000(lab_from_srgb(colours)[:, None], lab_from_srgb(main)[None]).min(axis=1)
    alike = (apart <= difference)[where.reshape(code.shape)]
    return joined_to_border(alike)


def joined_to_border(marked: Bools) -> Bools:
    """Return the marked pixels that hang together, side by side, with one on the border.

    >>> marked = np.zeros((5, 5), bool)
    >>> marked[0, 1] = marked[1, 1] = marked[3, 3] = True
    >>> joined_to_border(marked).sum()
    2
    """
    rows, columns = marked.shape
    # One node a run of marked pixels in a row, which keeps the graph small.
    edges = np.diff(np.pad(marked, ((0, 0), (1, 0))).astype(np.int8), axis=1) == 1
    run = np.cumsum(edges.ravel()).reshape(rows, columns) - 1
    count = int(edges.sum())
    if not count:
        return marked.copy()
    both = marked[1:] & marked[:-1]
    links = np.unique(np.stack([run[:-1][both], run[1:][both]], axis=1), axis=0)
    labels = connected_labels(count, links)
    border = np.zeros((rows, columns), bool)
    border[[0, -1]] = border[:, [0, -1]] = True
    reached = np.zeros(int(labels.max()) + 1, bool)
    reached[labels[run[border & marked]]] = True
    joined = np.zeros((rows, columns), bool)
    joined[marked] = reached[labels[run[marked]]]
    return joined
