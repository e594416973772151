"""Letters of single strokes, for labels that are engraved, recessed or drawn.

Capitals, digits and a few signs, drawn here on a grid four wide and six high. Small letters are
shown as capitals; accents are left out, and what has no plain letter becomes a box.
"""

from __future__ import annotations

import unicodedata

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Floats
from ..planar.polygons import as_multipolygon

#: Height of a capital and width from letter to letter, in grid units.
CAP, ADVANCE = 6.0, 6.0

# Each stroke is a run of "xy" grid points; strokes are parted by a bar.
_GLYPHS = {
    " ": "",
    "A": "00 04 26 44 40|03 43",
    "B": "00 06 36 45 44 33 03|33 42 41 30 00",
    "C": "45 36 16 05 01 10 30 41",
    "D": "00 06 26 44 42 20 00",
    "E": "46 06 00 40|03 33",
    "F": "46 06 00|03 33",
    "G": "45 36 16 05 01 10 30 41 43 23",
    "H": "00 06|40 46|03 43",
    "I": "10 30|20 26|16 36",
    "J": "01 10 20 31 36",
    "K": "00 06|46 03 40",
    "L": "06 00 40",
    "M": "00 06 23 46 40",
    "N": "00 06 40 46",
    "O": "10 30 41 45 36 16 05 01 10",
    "P": "00 06 36 45 44 33 03",
    "Q": "10 30 41 45 36 16 05 01 10|22 40",
    "R": "00 06 36 45 44 33 03|23 40",
    "S": "45 36 16 05 04 13 33 42 41 30 10 01",
    "T": "06 46|26 20",
    "U": "06 01 10 30 41 46",
    "V": "06 20 46",
    "W": "06 10 23 30 46",
    "X": "00 46|06 40",
    "Y": "06 23 46|23 20",
    "Z": "06 46 00 40",
    "0": "10 30 41 45 36 16 05 01 10|11 35",
    "1": "05 26 20|00 40",
    "2": "05 16 36 45 44 00 40",
    "3": "05 16 36 45 44 33 42 41 30 10 01|33 13",
    "4": "30 36 02 42",
    "5": "46 06 03 33 42 41 30 10 01",
    "6": "45 36 16 05 01 10 30 41 42 33 03",
    "7": "06 46 10",
    "8": "13 04 05 16 36 45 44 33 13 02 01 10 30 41 42 33",
    "9": "01 10 30 41 45 36 16 05 04 13 43",
    "-": "13 33",
    "+": "13 33|22 24",
    ".": "20 21",
    ",": "21 10",
    ":": "21 22|24 25",
    "/": "00 46",
    "(": "36 25 21 30",
    ")": "16 25 21 10",
    "'": "26 24",
    "&": "40 05 16 25 01 10 20 42",
    "=": "02 42|04 44",
    "?": "05 16 36 45 44 23 22|20 21",
    "\u2191": "20 26|04 26 44",
    "\u25a1": "00 06 46 40 00",
}
_STROKES = {
    letter: tuple(
        np.array([[int(xy[0]), int(xy[1])] for xy in run.split()], float)
        for run in strokes.split("|")
        if run
    )
    for letter, strokes in _GLYPHS.items()
}


def letter_lines(
    text: str, height: float, at: tuple[float, float] = (0.0, 0.0), degrees: float = 0.0
) -> tuple[Floats, ...]:
    """Return a line of text as strokes.

    Parameters
    ----------
    text : str
    height : float
        Height of a capital in mm.
    at : tuple of float
        Lower left corner of the first letter in mm.
    degrees : float
        Turn about that corner, counter-clockwise.

    Returns
    -------
    tuple of float64 arrays (n, 2)

    Examples
    --------
    >>> [line.tolist() for line in letter_lines("L", 6.0, at=(1.0, 0.0))]
    [[[1.0, 6.0], [1.0, 0.0], [5.0, 0.0]]]
    """
    scale = height / CAP
    turn = np.deg2rad(degrees)
    c, s = np.cos(turn), np.sin(turn)
    lines = []
    for number, letter in enumerate(_plain(text)):
        for stroke in _STROKES.get(letter, _STROKES["\u25a1"]):
            points = (stroke + (number * ADVANCE, 0)) * scale
            lines.append(points @ np.array([[c, s], [-s, c]]) + at)
    return tuple(lines)


def text_width(text: str, height: float) -> float:
    """Return the width of a line of text in mm, from the first letter's left to the last's right.

    >>> text_width("AB", 6.0)
    10.0
    """
    count = len(_plain(text))
    return max(0.0, (count * ADVANCE - (ADVANCE - 4.0)) * height / CAP)


def letter_shapes(lines: tuple[Floats, ...], stroke: float) -> MultiPolygon:
    """Return strokes drawn with a round pen of width ``stroke`` mm as polygons."""
    drawn = [shapely.LineString(line) for line in lines]
    return as_multipolygon(shapely.union_all(shapely.buffer(drawn, stroke / 2, quad_segs=4)))


def _plain(text: str) -> str:
    taken_apart = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    return "".join(c for c in taken_apart if not unicodedata.combining(c)).upper()
