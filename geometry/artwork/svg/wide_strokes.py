"""Wide strokes: curves whose stroke is filled by the standard and shown with a hole elsewhere.

SVG 2, 13.5.6, "Computing the shape of the stroke", counts all points within half the width of the
line, seen across it. Round a curve that the pen is wider than, the middle is one of them. Programs
that draw a stroke as an outer and an inner outline turn the inner one inside out there and leave it
open: resvg, librsvg, Cairo, Skia and Chromium did when tried, MuPDF in part.
"""

from __future__ import annotations

import numpy as np
import shapely

from ...arrays import Floats
from ...finding import Finding, Severity, area_words
from .path import Polylines
from .stroke import Pen

#: A line of fewer points is no curve.
LEAST_POINTS = 8
#: A line that turns further at a point, in radians, has a corner: there programs fill alike.
CORNER = 0.8
#: Smaller holes than this, in mm2, nobody misses.
LEAST_HOLE = 0.05


def shown_as_hole(lines: Polylines, k: int, pen: Pen) -> Floats | None:
    """Return the ring that some programs leave open in a stroke; None where there is none.

    Parameters
    ----------
    lines : Polylines
    k : int
        Which of them.
    pen : Pen
    """
    half, points = pen.width / 2, lines.points[lines.first[k] : lines.first[k + 1]]
    if not lines.closed[k] or pen.dashes or len(points) < LEAST_POINTS:
        return None
    step = np.diff(points, axis=0, append=points[:1])
    moves = np.hypot(*step.T) > 0
    points, step = points[moves], step[moves]
    if len(points) < LEAST_POINTS:
        return None
    ring = shapely.Polygon(points)
    # A disc of the area by the length fits into any ring.
    if half < ring.area / ring.length or not ring.is_valid or not ring.buffer(-half).is_empty:
        return None
    go = step / np.hypot(*step.T)[:, None]
    come = np.roll(go, 1, axis=0)
    if ((go * come).sum(axis=1) < np.cos(CORNER)).any():
        return None
    way = (go + come) / np.hypot(*(go + come).T)[:, None]
    inwards = np.stack([-way[:, 1], way[:, 0]], axis=1) * (1 if ring.exterior.is_ccw else -1)
    return np.asarray(points + half * inwards)


def wide_stroke(name: str, hole: Floats, what: str) -> list[Finding]:
    """Tell of a stroke that is filled here and shown with a hole elsewhere.

    Parameters
    ----------
    name : str
        Of the element.
    hole : float64 array (n, 2)
        In mm.
    what : str
        Start of the sentence.
    """
    shape = shapely.make_valid(shapely.Polygon(hole))  # it may cross itself
    if shape.area < LEAST_HOLE:
        return []
    middle = shape.centroid
    return [
        Finding(
            "artwork.wide-stroke",
            Severity.WARNING,
            f"{what}: the stroke of {name} is wider than what it runs round. It is filled, as the "
            f"SVG standard has it; many programs show a hole of {area_words(shape.area)} there. If "
            "the hole is wanted, draw it as a shape.",
            place=(middle.x, middle.y),
        )
    ]
