"""A tool's whole path over one piece: its strokes in their order, and the ways between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from ..job.processes import Process
from .cut_sheet import CutSheet
from .motion import motion_seconds


@dataclass(frozen=True)
class ToolPath:
    """Lengths in mm and counts of a path; they add up over pieces.

    Parameters
    ----------
    cut : float
        Of all cuts, run-ins counted.
    run_in : float
        The part of it that runs over waste.
    engraved : float
        Of lines that do not go through the sheet.
    travel : float
        From each stroke's end to the next one's beginning.
    pierces : int
        Cuts begun.
    """

    cut: float = 0.0
    run_in: float = 0.0
    engraved: float = 0.0
    travel: float = 0.0
    pierces: int = 0

    def __add__(self, other: ToolPath) -> ToolPath:
        return ToolPath(
            self.cut + other.cut,
            self.run_in + other.run_in,
            self.engraved + other.engraved,
            self.travel + other.travel,
            self.pierces + other.pierces,
        )


def tool_path(sheet: CutSheet) -> ToolPath:
    """Return what a cutter's file of a piece holds."""
    strokes = sheet.strokes
    ways = [stroke.way for stroke in strokes]
    lengths = [_length(way) for way in ways]
    between = [ways[k][:1] - ways[k - 1][-1:] for k in range(1, len(ways))]
    return ToolPath(
        cut=sum(n for n, s in zip(lengths, strokes, strict=True) if s.cuts),
        run_in=sum(s.run_in for s in strokes if s.cuts),
        engraved=sum(n for n, s in zip(lengths, strokes, strict=True) if not s.cuts),
        travel=float(np.hypot(*np.concatenate(between).T).sum()) if between else 0.0,
        pierces=sum(s.cuts for s in strokes),
    )


def tool_seconds(sheet: CutSheet, process: Process) -> tuple[float, float]:
    """Return the least and the most time in seconds that a piece takes.

    The two differ where a hand cuts, whose speed has a range.

    Parameters
    ----------
    sheet : CutSheet
    process : Process
    """
    strokes = sheet.strokes
    if not strokes:
        return 0.0, 0.0
    ways = [stroke.way for stroke in strokes]
    counts = np.array([len(way) for way in ways])
    points = np.concatenate(ways)
    ends = np.cumsum(counts)
    stops = np.zeros(len(points), np.bool_)
    stops[ends - 1] = True
    stops[ends - counts] = True
    cuts = np.array([stroke.cuts for stroke in strokes])
    pierced = float(cuts.sum()) * process.pierce_s
    found = []
    for speed in (process.speed_mm_s, process.slowest_mm_s or process.speed_mm_s):
        speeds = np.repeat(np.where(cuts, speed, process.engrave_mm_s), counts)[:-1]
        speeds[ends[:-1] - 1] = process.travel_mm_s
        seconds = motion_seconds(points, speeds, stops, process.acceleration_mm_s2)
        found.append(seconds + pierced)
    return found[0], found[1]


def _length(way: Floats) -> float:
    return float(np.hypot(*np.diff(way, axis=0).T).sum())
