"""The wall plan: what is chalked and drilled on the wall, all measured from one corner.

The datum is the picture's lower left corner. A rectangle on a wall is checked by its two diagonals:
they are as long as each other only when it is square (Pythagoras).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..job.job import Job
from ..sheet.registration import pin_centres
from .wall_pins import WallPin


@dataclass(frozen=True)
class ChalkLine:
    """A straight line snapped across the wall, from ``start`` to ``end`` in mm."""

    name: str
    start: tuple[float, float]
    end: tuple[float, float]

    @property
    def length(self) -> float:
        """Length in mm."""
        return math.dist(self.start, self.end)


@dataclass(frozen=True)
class WallPlan:
    """Lines and holes; lengths in mm, x right and y up from the datum.

    Parameters
    ----------
    size : tuple of float
        Of the picture.
    lines : tuple of ChalkLine
        The rectangle's sides, its diagonals, then a grid of upright and lying lines.
    holes : tuple of (name, (x, y), diameter, note)
    """

    size: tuple[float, float]
    lines: tuple[ChalkLine, ...]
    holes: tuple[tuple[str, tuple[float, float], float, str], ...]

    @property
    def diagonal(self) -> float:
        """What both diagonals must measure."""
        return math.hypot(*self.size)


def wall_plan(job: Job, pins: tuple[WallPin, ...], pitch: float = 1000.0) -> WallPlan:
    """Return the plan of a job's wall.

    Parameters
    ----------
    job : Job
    pins : tuple of WallPin
    pitch : float
        Distance of the grid's chalk lines in mm.

    Examples
    --------
    >>> from sheetstack.geometry.job.load import parse_job
    >>> layer = '[[layers]]\\nname = "A"\\ncolour = "#000000"\\nartwork = "a.svg"\\n'
    >>> job = parse_job('title = "T"\\n[sheet]\\nwidth_mm = 4000\\nheight_mm = 3000\\n' + layer)
    >>> plan = wall_plan(job, ())
    >>> plan.diagonal, [line.name for line in plan.lines[4:8]]
    (5000.0, ['diagonal 1', 'diagonal 2', 'upright 1000', 'upright 2000'])
    """
    w, h = job.sheet.width_mm, job.sheet.height_mm
    lines = [
        ChalkLine("base", (0, 0), (w, 0)),
        ChalkLine("left side", (0, 0), (0, h)),
        ChalkLine("top", (0, h), (w, h)),
        ChalkLine("right side", (w, 0), (w, h)),
        ChalkLine("diagonal 1", (0, 0), (w, h)),
        ChalkLine("diagonal 2", (w, 0), (0, h)),
    ]
    for k in range(1, math.ceil(w / pitch)):
        lines.append(ChalkLine(f"upright {k * pitch:g}", (k * pitch, 0), (k * pitch, h)))
    for k in range(1, math.ceil(h / pitch)):
        lines.append(ChalkLine(f"lying {k * pitch:g}", (0, k * pitch), (w, k * pitch)))
    holes = []
    if job.registration.hole_diameter_mm > 0:
        for number, at in enumerate(pin_centres(job.registration, job.sheet), 1):
            place = (float(at[0]), float(at[1]))
            holes.append((f"R{number}", place, job.registration.hole_diameter_mm, ""))
    for pin in pins:
        note = f"pulled for {', '.join(pin.pulled_for)}" if pin.pulled_for else ""
        holes.append((f"P{pin.number}", pin.at, pin.diameter, note))
    return WallPlan((w, h), tuple(lines), tuple(holes))
