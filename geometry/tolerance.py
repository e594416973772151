"""Every tolerance of the geometry, each with its reason. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Tolerances:
    """Lengths below which two things count as the same.

    Parameters
    ----------
    chord : float
        Largest distance between a curve and the chord that stands for it. 0.05 mm is finer than
        a knife or a laser beam is wide.
    join : float
        Ends of open paths this near are joined: drawing programs round to about 0.01 mm.
    same_point : float
        Consecutive points this near are one point.
    least_area : float
        Rings under this area (mm2) are specks that no tool can cut.
    pinch : float
        Half the width of the slit that parts sheet where it touches itself at a point only.
    """

    chord: float = 0.05
    join: float = 0.02
    same_point: float = 1e-6
    least_area: float = 1e-3
    pinch: float = 0.01


TOLERANCES = Tolerances()
