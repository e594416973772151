"""Outlines as the readers hand them over, and the arrays that geometry is done on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from ...arrays import Floats

Rule = Literal["nonzero", "evenodd"]


@dataclass(frozen=True, eq=False)
class Contour:
    """One outline of a shape.

    Parameters
    ----------
    points : ndarray of float64, shape (n, 2)
        Vertices in mm. The first may be repeated at the end.
    closed : bool
        Whether the drawing says that the last point is joined to the first.
    name : str
        What messages call it, for example ``path 'eye' (line 12)``.
    """

    points: Floats
    closed: bool = True
    name: str = ""


@dataclass(frozen=True, eq=False)
class Compound:
    """Outlines that are filled together under one rule: one element of a drawing.

    Parameters
    ----------
    contours : sequence of Contour
    rule : {"nonzero", "evenodd"}
    name : str
        What messages call it where a contour has no name of its own.
    keep_duplicates : bool
        Let the fill rule decide about an outline that occurs twice (as an SVG viewer does) instead
        of dropping the second.
    quiet : bool
        Tell of no repair: the outlines were made by a program that lets them cross (strokes).
    """

    contours: Sequence[Contour]
    rule: Rule = "nonzero"
    name: str = ""
    keep_duplicates: bool = False
    quiet: bool = False
