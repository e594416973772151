"""Where the picture counts: areas that keep detail, and the background that is left to the wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Indices
from ..colour import ciede2000, lab_from_srgb
from ..errors import JobError
from ..planar.graph import connected_labels
from .picture import Picture

Box = tuple[float, float, float, float]

# Width of the border that the background is known by, as a share of the longer side.
_BORDER = 0.008
_ROWS = 64
# A backdrop is plain when nearly the whole border is part of it, when it is neither a rim nor
# nearly everything, and when a much stricter look finds nearly as much of it.
_BORDER_SHARE, _LEAST_SHARE, _MOST_SHARE = 0.9, 0.1, 0.9
_STRICTER, _STEADY = 0.6, 0.85
# The border is looked at in blocks of this share of the longer side. A step between two of them by
# so many times the difference allowed is where something begins that the border cuts off: 2.5 times
# and more on twelve public portraits, 1.5 on coins before a backdrop that goes from dark to light.
_BLOCK, _STEP = 1 / 16, 1.75


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
    """Return the background: what looks like the border beside it and joins the border.

    Each pixel is compared with the border straight left, right, above and below it, so that a
    background which goes from light to dark is followed.

    Parameters
    ----------
    picture : Picture
    difference : float
        CIEDE2000 difference to the nearest of the four that is still background.

    Returns
    -------
    bool array (rows, columns)
        Pixels that look the same but are enclosed by the subject are not background.
    """
    lab = lab_from_srgb(picture.srgb)
    rows, columns = picture.shape
    width = max(1, round(_BORDER * max(rows, columns)))
    across = [_calm(lab[:, :width].mean(axis=1)), _calm(lab[:, -width:].mean(axis=1))]
    along = [_calm(lab[:width].mean(axis=0)), _calm(lab[-width:].mean(axis=0))]
    alike = np.empty((rows, columns), bool)
    for top in range(0, rows, _ROWS):  # a few rows at a time: the formula needs much room
        part = slice(top, top + _ROWS)
        apart = [ciede2000(lab[part], side[part, None]) for side in across]
        apart += [ciede2000(lab[part], side[None]) for side in along]
        alike[part] = np.min(apart, axis=0) <= difference
    return joined_to_border(alike)


@dataclass(frozen=True)
class Backdrop:
    """How well the subject can be told from what is behind it.

    Parameters
    ----------
    share : float
        Of the picture that looks like its border and joins it, 0 to 1.
    stricter : float
        The same where only 0.6 of the difference is allowed.
    border : float
        Share of the border that belongs to it.
    step : float
        The greatest CIEDE2000 difference between neighbouring blocks of the border.
    even : bool
        Whether the border has no such step; where one is, something that the border cuts off (a
        bust, a table) begins, and a flood eats it.
    """

    share: float
    stricter: float
    border: float
    step: float
    even: bool

    @property
    def steady(self) -> bool:
        """Whether what is background hardly depends on the difference allowed."""
        return self.stricter >= _STEADY * self.share

    @property
    def plain(self) -> bool:
        """Whether the subject surely stands apart."""
        whole = self.even and self.border >= _BORDER_SHARE
        return whole and self.steady and _LEAST_SHARE <= self.share <= _MOST_SHARE


def backdrop_of(picture: Picture, difference: float) -> Backdrop:
    """Return how well the subject of a picture can be told from its backdrop.

    Parameters
    ----------
    picture : Picture
        A small one will do.
    difference : float
        As for :func:`flooded_from_border`.
    """
    found = flooded_from_border(picture, difference)
    stricter = flooded_from_border(picture, _STRICTER * difference)
    rim = np.concatenate([found[0], found[-1], found[1:-1, 0], found[1:-1, -1]])
    step = _border_step(picture)
    even = step <= _STEP * difference
    return Backdrop(float(found.mean()), float(stricter.mean()), float(rim.mean()), step, even)


def _border_step(picture: Picture) -> float:
    """Return the greatest difference between neighbouring blocks along the border."""
    lab = lab_from_srgb(picture.srgb)
    longer = max(picture.shape)
    width, block = max(1, round(_BORDER * longer)), max(2, round(_BLOCK * longer))
    sides = (
        lab[:width].mean(axis=0),
        lab[:, -width:].mean(axis=1),
        lab[-width:].mean(axis=0)[::-1],
        lab[:, :width].mean(axis=1)[::-1],
    )
    blocks = np.array(
        [
            np.median(part, axis=0)
            for side in sides
            for part in np.array_split(side, max(1, round(len(side) / block)))
        ]
    )
    return float(ciede2000(blocks, np.roll(blocks, 1, axis=0)).max())


def _calm(line: Floats) -> Floats:
    """Return a row of colours without its specks: each the median of its neighbourhood."""
    reach = max(1, len(line) // 100)
    padded = np.pad(line, ((reach, reach), (0, 0)), mode="edge")
    views = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1, axis=0)
    median: Floats = np.median(views, axis=-1)
    return median


def joined_to_border(marked: Bools) -> Bools:
    """Return the marked pixels that hang together, side by side, with one on the border.

    >>> marked = np.zeros((5, 5), bool)
    >>> marked[0, 1] = marked[1, 1] = marked[3, 3] = True
    >>> int(joined_to_border(marked).sum())
    2
    """
    if not marked.any():
        return marked.copy()
    part = parts_of(marked)
    border = np.zeros(marked.shape, bool)
    border[[0, -1]] = border[:, [0, -1]] = True
    reached = np.zeros(int(part.max()) + 1, bool)
    reached[part[border & marked]] = True
    return marked & reached[part]


def parts_of(marked: Bools) -> Indices:
    """Return which part, of pixels that hang together side by side, each marked pixel is of.

    Parameters
    ----------
    marked : bool array (rows, columns)

    Returns
    -------
    int array (rows, columns)
        0, 1, ... in marked pixels, and -1 in all others.

    Examples
    --------
    >>> parts_of(np.array([[True, False, True], [True, False, False]])).tolist()
    [[0, -1, 1], [0, -1, -1]]
    """
    rows, columns = marked.shape
    # One node a run of marked pixels in a row, which keeps the graph small.
    edges = np.diff(np.pad(marked, ((0, 0), (1, 0))).astype(np.int8), axis=1) == 1
    run = np.cumsum(edges.ravel()).reshape(rows, columns) - 1
    both = marked[1:] & marked[:-1]
    links = np.unique(np.stack([run[:-1][both], run[1:][both]], axis=1), axis=0)
    labels = connected_labels(int(edges.sum()), links)
    parts = np.full(marked.shape, -1, np.int64)
    parts[marked] = labels[run[marked]]
    return parts
