"""The making of a job: every sheet split, marked and turned into paths, worked out once for all.

Files, estimate, layouts and assembly plans are told from this one value, so that they agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from ..build import Build
from ..geos_fault import geos_told
from ..job.job import Job
from ..progress import Progress
from ..threads import side_by_side, watched
from .cut_sheet import CutSheet
from .pieces import MadeSheet, SheetToMake, cut_pieces, made_sheet, sheets_to_make
from .wall_pins import WallPin, with_wall_pins


@dataclass(frozen=True)
class Making:
    """All sheets of a job as they are made.

    Parameters
    ----------
    sheets : tuple of MadeSheet
        In spray order.
    pieces : tuple of tuple of CutSheet
        For each sheet, its pieces to cut, in the order of its tiles; empty where a printer makes
        them.
    pins : tuple of WallPin
        One pattern for all layers.
    """

    sheets: tuple[MadeSheet, ...]
    pieces: tuple[tuple[CutSheet, ...], ...]
    pins: tuple[WallPin, ...] = ()


def making_of(
    job: Job,
    sheets: Sequence[SheetToMake],
    progress: Progress | None = None,
    *,
    cut: bool | None = None,
) -> Making:
    """Split, mark and label the sheets of a job.

    Parameters
    ----------
    job : Job
    sheets : sequence of SheetToMake
    progress : Progress, optional
        May raise ``Cancelled``.
    cut : bool, optional
        Whether paths for a cutter are wanted; by the job's process when None.

    Raises
    ------
    GeometryError
        The bed is too small, or a sheet cannot be worked out.
    Cancelled
    """
    progress = progress or Progress()
    wanted = job.made_by.kind != "printer" if cut is None else cut
    count = len(sheets)

    def fitted(sheet: SheetToMake, part: Progress) -> MadeSheet:
        with geos_told(f"Fitting {sheet.name} to the bed"):
            return made_sheet(job, sheet, count, part)

    def cut_up(one: MadeSheet, part: Progress) -> tuple[CutSheet, ...]:
        with geos_told(f"Laying the cuts of {one.sheet.name}"):
            return cut_pieces(job, one, part)

    split = watched(progress.part(0.0, 0.5), partial(side_by_side, fitted, sheets))
    pinning = progress.part(0.5, 0.6)
    with geos_told("Placing pins in the wall"):
        made, pins = watched(pinning, partial(with_wall_pins, split, job.tiles))
    pieces: list[tuple[CutSheet, ...]] = [()] * count
    if wanted:
        pieces = watched(progress.part(0.6, 1.0), partial(side_by_side, cut_up, made))
    return Making(made, tuple(pieces), pins)


def making_of_build(build: Build, progress: Progress | None = None) -> Making:
    """Return the making of a build's sheets; see :func:`making_of`."""
    return making_of(build.job, sheets_to_make(build), progress)
