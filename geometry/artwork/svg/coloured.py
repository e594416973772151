"""An SVG drawing as coloured shapes in painting order."""

from __future__ import annotations

from dataclasses import replace

import shapely
import shapely.affinity
from shapely import MultiPolygon

from ...finding import Finding
from ...tolerance import TOLERANCES, Tolerances
from ..coloured import ColouredDrawing, ColouredShape, ScaleOf
from ..source import ArtworkSource
from .areas import areas_of_each
from .gradients import Gradient, flat_steps, gradient_of
from .read import open_drawing
from .state import Purpose

#: Flat steps that stand for a gradient.
GRADIENT_STEPS = 3
#: What is covered less than this (share) is not seen.
_UNSEEN = 0.02


def read_svg_colours(
    source: ArtworkSource,
    scale_of: ScaleOf,
    tolerances: Tolerances = TOLERANCES,
    steps: int = GRADIENT_STEPS,
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
    steps : int
        Most flat steps that stand for a gradient.

    Returns
    -------
    ColouredDrawing

    Raises
    ------
    ArtworkError
        As of ``read_svg``.
    """
    findings: list[Finding] = []
    walked = open_drawing(source, tolerances, findings)
    scale = scale_of(walked.page)
    finer = replace(tolerances, chord=tolerances.chord / scale)
    walked.drawing.tolerances = finer
    items = walked.items(Purpose.PAINT)
    shapes, repairs = areas_of_each(items, finer, str(source.path))
    found: list[ColouredShape] = []
    mixed = False
    for item, shape in zip(items, shapes, strict=True):
        coat = item.coat
        if shape.is_empty or coat is None:
            continue
        rgb, alpha = coat.paint.rgb or (0.0, 0.0, 0.0), coat.paint.alpha
        parts: list[tuple[MultiPolygon, tuple[float, ...]]] = [(shape, (*rgb, alpha))]
        if coat.paint.server:
            gradient = gradient_of(walked.drawing, item)
            if isinstance(gradient, Gradient):
                mixed = True
                parts = flat_steps(gradient, shape, steps, finer)
            elif gradient is not None:
                parts = [(shape, gradient)]
            elif walked.drawing.is_gradient(coat.paint.server):
                continue  # without stops it paints nothing
        for part, (red, green, blue, opaque) in parts:
            covers = opaque * coat.opacity
            if covers < _UNSEEN or part.is_empty:
                continue
            mixed = mixed or covers < 1 or bool(coat.groups)
            found.append(
                ColouredShape(
                    shapely.affinity.scale(part, scale, scale, origin=(0, 0)),
                    (red, green, blue),
                    covers,
                    coat.groups,
                    item.name,
                )
            )
    findings += [
        f if f.place is None else replace(f, place=(f.place[0] * scale, f.place[1] * scale))
        for f in (*walked.drawing.findings, *repairs)
        if f.code != "artwork.gradient"
    ]
    page = (walked.page[0] * scale, walked.page[1] * scale)
    return ColouredDrawing(tuple(found), page, scale, tuple(findings), mixed)
