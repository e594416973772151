"""What stands beside a mock-up to tell its size: a figure cut from card, or a rule."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from shapely import MultiPolygon, Point

from ..files.picture_text import lettering
from ..planar.polygons import as_multipolygon

#: Height of the figure in mm: a grown person.
HEIGHT = 1700.0
#: Width of a rule in mm, and lengths that are made.
RULE_WIDTH = 32.0
RULE_LENGTHS = (200.0, 300.0, 500.0, 1000.0)
_WOOD, _INK = "#e3c48f", "#2a2420"


def figure(height: float = HEIGHT) -> MultiPolygon:
    """Return a standing person as a flat shape, feet on y = 0, centred on x = 0.

    Parameters
    ----------
    height : float
        In mm.

    Examples
    --------
    >>> low_x, low_y, high_x, high_y = figure(1700).bounds
    >>> round(low_y), round(high_y)
    (0, 1700)
    """

    def limb(points: list[tuple[float, float]], widths: list[float]) -> shapely.Geometry:
        parts = []
        for (a, b), (u, v) in zip(pairwise(points), pairwise(widths), strict=True):
            ends = [Point(a).buffer(u / 2), Point(b).buffer(v / 2)]
            parts.append(shapely.convex_hull(shapely.union_all(ends)))
        return shapely.union_all(parts)

    # Drawn for a height of 100: head, neck, trunk, arms, legs in a relaxed stride.
    parts = [
        shapely.affinity.scale(Point(0.6, 93.9).buffer(6.1), 0.76, 1.0),
        limb([(0.3, 88), (0, 80)], [4.2, 5.5]),
        limb([(0, 80.5), (-7.4, 77.6)], [5, 4.4]),
        limb([(0, 80.5), (7.4, 77.6)], [5, 4.4]),
        limb([(0, 77), (0, 62), (0, 50)], [14.5, 10.5, 13]),
        limb([(-7.6, 77.4), (-10.4, 62), (-10.0, 46)], [4.6, 3.8, 3]),
        limb([(7.6, 77.4), (10.8, 63), (9.6, 47.5)], [4.6, 3.8, 3]),
        limb([(-3.7, 51), (-5.2, 27), (-6.4, 3.4)], [7.6, 5.6, 3.4]),
        limb([(3.7, 51), (5.0, 27), (7.6, 3.6)], [7.6, 5.6, 3.4]),
        limb([(-6.3, 2.2), (-9.6, 1.2)], [4.4, 2.4]),
        limb([(7.6, 2.2), (11.4, 1.2)], [4.4, 2.4]),
    ]
    body = shapely.union_all(parts).buffer(0.8).buffer(-1.6).buffer(0.8)
    low_x, low_y, high_x, high_y = body.bounds
    factor = height / (high_y - low_y)
    moved = shapely.transform(body, lambda xy: (xy - ((low_x + high_x) / 2, low_y)) * factor)
    return as_multipolygon(moved)


def rule_length(height_mm: float) -> float:
    """Return the length of rule that suits a picture: the longest that is not higher than it.

    >>> rule_length(460), rule_length(120)
    (300.0, 200.0)
    """
    fitting = [length for length in RULE_LENGTHS if length <= height_mm]
    return fitting[-1] if fitting else RULE_LENGTHS[0]


def rule_picture(length: float, pixels_per_mm: float = 4.0) -> NDArray[np.uint8]:
    """Return the face of an upright wooden rule, zero at its lower end.

    Parameters
    ----------
    length : float
        In mm.
    pixels_per_mm : float

    Returns
    -------
    uint8 array (rows, columns, 3)
        sRGB, top row first; a tick each mm, longer each 5 and 10, numbered in cm.
    """
    rows, columns = round(length * pixels_per_mm), round(RULE_WIDTH * pixels_per_mm)
    image = Image.new("RGB", (columns, rows), _WOOD)
    pen = ImageDraw.Draw(image)
    thin = max(1, round(pixels_per_mm / 4))
    for mm in range(1, round(length)):
        y = rows - mm * pixels_per_mm
        long = 13 if mm % 10 == 0 else 8 if mm % 5 == 0 else 4.5
        pen.line((0, y, long * pixels_per_mm, y), _INK, thin + (mm % 10 == 0))
        if mm % 10 == 0 and mm < length - 4:
            text, font = lettering(str(mm // 10), round(8 * pixels_per_mm))
            pen.text((15.5 * pixels_per_mm, y), text, _INK, font, anchor="lm")
    return np.asarray(image)
