"""Parallel projections of a stack of sheets, standing upright or lying flat."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats


@dataclass(frozen=True)
class View:
    """A parallel projection of the stack.

    Parameters
    ----------
    x, y, z : float64 array (2,)
        Where one mm along the sheet's x, its y, and away from the wall goes in the picture, y up.
    towards_viewer : float64 array (3,)
        Unit vector in the sheet's frame.
    """

    x: Floats
    y: Floats
    z: Floats
    towards_viewer: Floats


def standing(turn: float, tilt: float) -> View:
    """Return the view of upright sheets from ``turn`` degrees to the left, ``tilt`` above.

    >>> standing(0, 0).x, standing(0, 0).towards_viewer
    (array([1., 0.]), array([-0.,  0.,  1.]))
    """
    a, b = math.radians(turn), math.radians(tilt)
    return View(
        np.array([math.cos(a), math.sin(b) * math.sin(a)]),
        np.array([0.0, math.cos(b)]),
        np.array([math.sin(a), -math.sin(b) * math.cos(a)]),
        np.array([-math.sin(a) * math.cos(b), math.sin(b), math.cos(a) * math.cos(b)]),
    )


def lying(turn: float, tilt: float) -> View:
    """Return the view of flat sheets from ``turn`` degrees to the left, ``tilt`` above."""
    a, b = math.radians(turn), math.radians(tilt)
    return View(
        np.array([math.cos(a), math.sin(b) * math.sin(a)]),
        np.array([-math.sin(a), math.sin(b) * math.cos(a)]),
        np.array([0.0, math.cos(b)]),
        np.array([-math.sin(a) * math.cos(b), -math.cos(a) * math.cos(b), math.sin(b)]),
    )
