"""How a drawing is made flat: what gradients, patterns, masks and pictures in it become."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from shapely import MultiPolygon

#: Flat steps that stand for a gradient.
GRADIENT_STEPS = 3


@dataclass(frozen=True, eq=False)
class FlatPicture:
    """A picture within a drawing as areas of flat colour.

    Parameters
    ----------
    size : tuple of float
        Width and height in pixels.
    areas : tuple of (MultiPolygon, tuple of float)
        Disjoint, in pixels from the upper left corner, y down; each with its sRGB, 0 to 1.
    """

    size: tuple[float, float]
    areas: tuple[tuple[MultiPolygon, tuple[float, float, float]], ...]


#: From the bytes of a picture file to its areas; a ValueError says why there are none.
PictureReader = Callable[[bytes], FlatPicture]


@dataclass(frozen=True)
class Flattening:
    """How a drawing is made flat.

    Parameters
    ----------
    steps : int
        Most flat steps that stand for a gradient.
    picture : callable, optional
        Reads pictures; without it they are told and left out.
    hair : float
        Strokes that are less wide than this, in mm, are outlined roughly: flat ends, blunt corners.
    """

    steps: int = GRADIENT_STEPS
    picture: PictureReader | None = None
    hair: float = 0.0
