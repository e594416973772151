"""Coloured shapes: what a drawing paints, each area in its colour, one over the other.

Every other reader asks what is painted at all; here it matters in which colour, and what lies over
it. A shape has one flat colour: gradients are cut into a few steps when they are read.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from shapely import MultiPolygon

from ..finding import Finding

#: From the page's width and height in mm to the factor that the drawing is scaled by.
ScaleOf = Callable[[tuple[float, float]], float]


@dataclass(frozen=True, eq=False)
class ColouredShape:
    """One area in one colour.

    Parameters
    ----------
    shape : MultiPolygon
        In mm, y up, the origin at the page's lower left corner.
    rgb : tuple of float
        sRGB, 0 to 1.
    alpha : float
        1 hides what is below.
    groups : tuple of (int, float)
        Numbers and opacities of the groups round it that are laid down as one, outermost first.
    name : str
        What messages call the element that it comes from.
    layer : str
        Name of the group or layer that the artist put it in; empty where there is none.
    """

    shape: MultiPolygon
    rgb: tuple[float, float, float]
    alpha: float = 1.0
    groups: tuple[tuple[int, float], ...] = ()
    name: str = ""
    layer: str = ""


@dataclass(frozen=True, eq=False)
class ColouredDrawing:
    """A drawing as its coloured shapes.

    Parameters
    ----------
    shapes : tuple of ColouredShape
        In painting order: later ones lie over earlier ones.
    page : tuple of float
        Width and height in mm; nothing beyond it is seen.
    scale : float
        Factor between the file's own size and this one.
    findings : tuple of Finding
    gradients : bool
        Whether gradients or half transparent colours were made flat, so that the shapes show less
        than the drawing does.
    grain : float
        Outlines are known no better than to this, in mm: a pixel's side; 0 for a drawing.
    """

    shapes: tuple[ColouredShape, ...]
    page: tuple[float, float]
    scale: float
    findings: tuple[Finding, ...] = ()
    gradients: bool = False
    grain: float = 0.0
