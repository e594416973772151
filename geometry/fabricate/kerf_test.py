"""The kerf strip: a small test piece from which a machine's kerf is measured with a calliper.

A window is cut out and parted into ten pieces by nine single cuts. The window comes out one kerf
longer than drawn, each piece one kerf shorter: pushed together at one end the ten pieces leave a
gap of eleven kerfs.
"""

from __future__ import annotations

import numpy as np

from .cut_sheet import CutSheet
from .kerf import CutPath, CutPaths
from .stroke_font import letter_lines

PIECES = 10
#: Width and height of one piece, and of the strip round them, in mm.
PIECE, EDGE = (10.0, 20.0), 10.0
#: Kerfs in the gap: one of the window and one of each piece.
GAP_KERFS = PIECES + 1


def kerf_of_gap(gap_mm: float) -> float:
    """Return the kerf that a measured gap means.

    >>> round(kerf_of_gap(1.65), 3)
    0.15
    """
    return gap_mm / GAP_KERFS


def kerf_strip() -> CutSheet:
    """Return the test strip, drawn without any kerf taken off.

    Returns
    -------
    CutSheet
        Nine single cuts, the window, then the strip's outline; engraved is how to read it.
    """
    wide, high = PIECES * PIECE[0], PIECE[1]
    left, low = EDGE, EDGE + 8.0
    none = np.empty((0, 2))
    bars = [
        CutPath(
            np.array([[left + k * PIECE[0], low], [left + k * PIECE[0], low + high]]), none, False
        )
        for k in range(1, PIECES)
    ]
    # Begun in the middle of a long side, off the corners that are measured.
    window = np.array(
        [
            [left + wide / 2, low],
            [left, low],
            [left, low + high],
            [left + wide, low + high],
            [left + wide, low],
        ]
    )
    size = (wide + 2 * EDGE, high + low + EDGE)
    outline = np.array([[size[0] / 2, 0], [size[0], 0], size, [0, size[1]], [0, 0]], float)
    text = f"push left, measure gap - kerf = gap / {GAP_KERFS}"
    return CutSheet(
        "Kerf strip",
        size,
        CutPaths((*bars, CutPath(window, none)), (CutPath(outline, none),), ()),
        letter_lines(text, 2.4, (left, EDGE / 2)),
    )
