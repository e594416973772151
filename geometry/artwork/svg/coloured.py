"""An SVG drawing as coloured shapes in painting order."""

from __future__ import annotations

from dataclasses import replace

import shapely.affinity

from ...finding import Finding
from ...tolerance import TOLERANCES, Tolerances
from ..coloured import ColouredDrawing, ScaleOf
from ..source import ArtworkSource
from .coats import coats
from .flattening import Flattening
from .read import open_drawing
from .state import Purpose

#: What is told where only the painted area is asked for, and does not hold here.
_FLATTENED = frozenset({"artwork.gradient", "artwork.pattern"})


def read_svg_colours(
    source: ArtworkSource,
    scale_of: ScaleOf,
    tolerances: Tolerances = TOLERANCES,
    flattening: Flattening | None = None,
) -> ColouredDrawing:
    """Read what an SVG drawing paints, each area with its colour.

    Parameters
    ----------
    source : ArtworkSource
        ``path``, and ``group`` for a part of the drawing.
    scale_of : callable
        From the page's size in mm to the factor on all lengths, so that curves are cut into chords
        for the size that is made.
    tolerances : Tolerances
        ``chord`` holds at the size that is made.
    flattening : Flattening, optional
        The usual one when None; ``hair`` holds at the size that is made.

    Returns
    -------
    ColouredDrawing

    Raises
    ------
    ArtworkError
        As of ``read_svg``.
    """
    flattening = flattening or Flattening()
    findings: list[Finding] = []
    # Of masks every line counts.
    walked = open_drawing(source, tolerances, findings, replace(flattening, hair=0.0))
    scale = scale_of(walked.page)
    walked.drawing.tolerances = replace(tolerances, chord=tolerances.chord / scale)
    items = walked.items(Purpose.PAINT)
    flattening = replace(flattening, hair=flattening.hair / scale)
    laid = coats(walked.drawing, walked.walk, items, flattening)
    findings += [
        f if f.place is None else replace(f, place=(f.place[0] * scale, f.place[1] * scale))
        for f in (*walked.drawing.findings, *laid.findings)
        if f.code not in _FLATTENED
    ]
    shapes = [
        replace(s, shape=shapely.affinity.scale(s.shape, scale, scale, origin=(0, 0)))
        for s in laid.shapes
    ]
    page = (walked.page[0] * scale, walked.page[1] * scale)
    return ColouredDrawing(tuple(shapes), page, scale, tuple(findings), laid.mixed)
