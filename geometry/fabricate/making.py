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
from ..threads import watched
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
    split: list[MadeSheet] = []
    count = len(sheets)
    for number, sheet in enumerate(sheets):
        progress(0.5 * number / count, f"{sheet.name}: fitting it to the bed")
        part = progress.part(0.5 * number / count, 0.5 * (number + 1) / count)
        with geos_told(f"Fitting {sheet.name} to the bed"):
            split.append(watched(part, partial(made_sheet, job, sheet, count)))
    pinning = progress.part(0.5, 0.6)
    with geos_told("Placing pins in the wall"):
        made, pins = watched(pinning, partial(with_wall_pins, split, job.tiles))
    pieces: list[tuple[CutSheet, ...]] = []
    for number, one in enumerate(made):
        part = progress.part(0.6 + 0.4 * number / count, 0.6 + 0.4 * (number + 1) / count)
        with geos_told(f"Laying the cuts of {one.sheet.name}"):
            pieces.append(cut_pieces(job, one, part) if wanted else ())
    return Making(made, tuple(pieces), pins)


def making_of_build(build: Build, progress: Progress | None = None) -> Making:
    """Return the making of a build's sheets; see :func:`making_of`."""
    return making_of(build.job, sheets_to_make(build), progress)
