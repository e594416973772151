"""The layers as they were made, kept beside the artist's drawing: they tell edits from rewriting.

Drawing programs and optimisers write the same shapes in other words: shorter numbers, relative
commands, transforms carried out, paint moved to another element. What counts is what is painted and
in which colour.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

from ..artwork.coloured import ColouredShape
from ..artwork.source import ArtworkSource
from ..artwork.svg.coloured import read_svg_colours
from ..colour import hex_from_srgb
from ..errors import ArtworkError
from ..planar.union import unite
from ..tolerance import TOLERANCES

#: The hidden file that keeps them.
AS_MADE = ".layers-as-made.svg"
#: Outlines less than this (mm) apart are the same: optimisers round to four or five digits, and no
#: hand cuts closer.
_SAME = 0.1
#: Curves are compared by chords this near (mm), for programs part them elsewhere.
_CHORD = 0.01
#: The groups of our own drawings that are never cut.
_NEVER_CUT = re.compile(rb' *<g id="(photo|seams)".*?\n  </g>\n', re.DOTALL)


def as_made(drawing: bytes) -> bytes:
    """Return a drawing of ours without what is never cut: the picture below and the seams."""
    return _NEVER_CUT.sub(b"", drawing)


def is_as_made(path: Path, made: Path, group: str) -> bool:
    """Return whether a group of a drawing paints the same, in the same colours, as when made.

    Parameters
    ----------
    path : Path
        The artist's drawing.
    made : Path
        The layers as they were made.
    group : str
        Its id.
    """
    try:
        (own, own_paint), (old, old_paint) = (_painted(p, group) for p in (path, made))
    except ArtworkError:
        return False
    if own_paint != old_paint:
        return False
    apart = shapely.get_parts(shapely.symmetric_difference(own, old))
    apart = apart[shapely.area(apart) > TOLERANCES.least_area]
    return bool(shapely.is_empty(shapely.buffer(apart, -_SAME / 2, quad_segs=1)).all())


def _painted(path: Path, group: str) -> tuple[shapely.Geometry, frozenset[tuple[str, float]]]:
    """Return what a group paints, and the colours with their opacities."""
    fine = replace(TOLERANCES, chord=_CHORD)
    drawing = read_svg_colours(ArtworkSource(path, group=group), lambda page: 1.0, fine)
    shapes = [shape for shape in drawing.shapes if not shape.shape.is_empty]
    parts = shapely.get_parts(np.array([shape.shape for shape in shapes], object))
    paint = frozenset((hex_from_srgb(shape.rgb), _opacity(shape)) for shape in shapes)
    return unite(parts), paint


def _opacity(shape: ColouredShape) -> float:
    return round(shape.alpha * math.prod(alpha for _, alpha in shape.groups), 2)
