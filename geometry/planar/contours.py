"""Closed curves along which an image has a given level, by marching squares.

Every square of four neighbouring pixel centres is crossed by the curve according to which of the
four lie inside (Lorensen and Cline 1987, in the plane). Where two opposite corners are inside, the
level of the square's saddle point decides whether they are joined (Nielson and Hamann 1991, the
asymptotic decider); at a tie they stay apart. Curves therefore never cross or touch.

scikit-image's ``find_contours`` does the same with one fixed choice at saddles; this one needs no
image as 64-bit floats, finds the curves of 100 megapixels in bounded memory, and spares the
Blender add-on that library. The tests compare the two.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..arrays import Bools, Floats, Indices

# Corners of a square: a top left, b top right, c bottom right, d bottom left (8, 4, 2, 1).
# Sides: 0 top, 1 right, 2 bottom, 3 left. For each code the side where a curve enters the square
# and the side where it leaves, its inside on the left as the picture is seen.
_TOP, _RIGHT, _BOTTOM, _LEFT = range(4)
_CROSSINGS: dict[int, tuple[tuple[int, int], ...]] = {
    0b0001: ((_BOTTOM, _LEFT),),
    0b0010: ((_RIGHT, _BOTTOM),),
    0b0011: ((_RIGHT, _LEFT),),
    0b0100: ((_TOP, _RIGHT),),
    0b0101: ((_TOP, _RIGHT), (_BOTTOM, _LEFT)),
    0b0110: ((_TOP, _BOTTOM),),
    0b0111: ((_TOP, _LEFT),),
    0b1000: ((_LEFT, _TOP),),
    0b1001: ((_BOTTOM, _TOP),),
    0b1010: ((_LEFT, _TOP), (_RIGHT, _BOTTOM)),
    0b1011: ((_RIGHT, _TOP),),
    0b1100: ((_LEFT, _RIGHT),),
    0b1101: ((_BOTTOM, _RIGHT),),
    0b1110: ((_LEFT, _BOTTOM),),
    # The two saddles again, their inside corners joined.
    0b10101: ((_TOP, _LEFT), (_BOTTOM, _RIGHT)),
    0b11010: ((_RIGHT, _TOP), (_LEFT, _BOTTOM)),
}

# A crossing keeps this far, in pixels, from pixel centres: at a pixel of exactly the level several
# curves would otherwise meet in one point.
_LEAST_STEP = 1e-3


def level_curves(values: NDArray[np.float32], level: float) -> list[Floats]:
    """Trace the closed curves around all pixels of at least a level.

    Parameters
    ----------
    values : (rows, columns) array
        The outermost rows and columns must lie below the level, so that every curve closes.
    level : float

    Returns
    -------
    list of (n, 2) arrays
        Closed curves, the first point not repeated, as x, y in pixels with the origin at the top
        left pixel's centre and y DOWN. As the picture is seen, curves turn counter-clockwise
        around pixels inside and clockwise around holes; so with y turned up, areas of outer curves
        are positive. No two curves touch.

    Raises
    ------
    ValueError
        A pixel on the image's edge is not below the level.

    Examples
    --------
    >>> image = np.zeros((3, 3), np.float32)
    >>> image[1, 1] = 1
    >>> [curve.tolist() for curve in level_curves(image, 0.5)]
    [[[1.0, 0.5], [0.5, 1.0], [1.0, 1.5], [1.5, 1.0]]]
    """
    inside = values >= level
    if inside[[0, -1]].any() or inside[:, [0, -1]].any():
        raise ValueError("level_curves: the image's edge must lie below the level")
    ones = inside.view(np.uint8)
    code = np.uint8(8) * ones[:-1, :-1]
    code += np.uint8(4) * ones[:-1, 1:]
    code += np.uint8(2) * ones[1:, 1:]
    code += ones[1:, :-1]
    rows, columns = np.nonzero((code != 0) & (code != 15))
    codes = code[rows, columns]
    del code, inside, ones  # whole images
    if not len(rows):
        return []
    codes[_saddle_joins(values, level, rows, columns, codes)] |= 16
    starts, ends = _segments(rows, columns, codes, values.shape[1])
    order = np.argsort(starts)
    keys = starts[order]
    # Each crossed side is the end of one segment and the start of one other: a permutation.
    following = np.searchsorted(keys, ends[order])
    points = _crossing_points(values, level, keys)
    return [points[cycle] for cycle in _cycles(following)]


def _saddle_joins(
    values: NDArray[np.float32],
    level: float,
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
    codes: NDArray[np.uint8],
) -> Bools:
    saddles = (codes == 0b1010) | (codes == 0b0101)
    r, c = rows[saddles], columns[saddles]
    a, b, cc, d = (
        values[r + down, c + right].astype(np.float64) - level
        for down, right in ((0, 0), (0, 1), (1, 1), (1, 0))
    )
    # The bilinear surface has the level (ac - bd) / (a + c - b - d) at its saddle point.
    product = a * cc - b * d
    joins = np.zeros(len(codes), dtype=bool)
    joins[saddles] = np.where(codes[saddles] == 0b1010, product > 0, product < 0)
    return joins


def _segments(
    rows: NDArray[np.intp], columns: NDArray[np.intp], codes: NDArray[np.uint8], width: int
) -> tuple[Indices, Indices]:
    """Return for each segment the keys of the sides where it starts and ends.

    A side's key is twice the flat index of its first pixel, plus one when it runs downwards.
    """
    entries = np.full((2, 32), -1, dtype=np.int8)
    exits = np.full((2, 32), -1, dtype=np.int8)
    for code, crossings in _CROSSINGS.items():
        for which, (entry, exit_) in enumerate(crossings):
            entries[which, code], exits[which, code] = entry, exit_
    first = 2 * (rows.astype(np.int64) * width + columns)
    offsets = np.array([0, 3, 2 * width, 1])  # top, right, bottom, left
    starts, ends = [], []
    for which in range(2):
        crossed = entries[which, codes] >= 0
        starts.append(first[crossed] + offsets[entries[which, codes[crossed]]])
        ends.append(first[crossed] + offsets[exits[which, codes[crossed]]])
    return np.concatenate(starts), np.concatenate(ends)


def _crossing_points(values: NDArray[np.float32], level: float, keys: Indices) -> Floats:
    downwards = (keys & 1).astype(bool)
    row, column = np.divmod(keys >> 1, values.shape[1])
    here = values[row, column].astype(np.float64)
    there = values[row + downwards, column + ~downwards].astype(np.float64)
    step = np.clip((level - here) / (there - here), _LEAST_STEP, 1 - _LEAST_STEP)
    return np.column_stack(
        [column + np.where(downwards, 0, step), row + np.where(downwards, step, 0)]
    )


def _cycles(following: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """Split a permutation into its cycles, each starting at its lowest index."""
    next_one: list[int] = following.tolist()
    seen = bytearray(len(next_one))
    cycles: list[NDArray[np.intp]] = []
    for start in range(len(next_one)):
        if seen[start]:
            continue
        cycle: list[int] = []
        index = start
        while not seen[index]:
            seen[index] = 1
            cycle.append(index)
            index = next_one[index]
        cycles.append(np.array(cycle, dtype=np.intp))
    return cycles
