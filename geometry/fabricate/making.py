"""The making of a job: every sheet split, marked and turned into paths, worked out once for all.

Files, estimate, layouts and assembly plans are told from this one value, so that they agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..build import Build
from ..job.job import Job
from ..progress import Progress
from .cut_sheet import CutSheet
from .pieces import MadeSheet, SheetToMake, cut_pieces, made_sheet, sheets_to_make


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
    """

    sheets: tuple[MadeSheet, ...]
    pieces: tuple[tuple[CutSheet, ...], ...]

    @property
    def all_pieces(self) -> list[CutSheet]:
        """Pieces of all sheets."""
        return [piece for pieces in self.pieces for piece in pieces]


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
        The bed is too small.
    Cancelled
    """
    progress = progress or Progress()
    wanted = job.made_by.kind != "printer" if cut is None else cut
    made: list[MadeSheet] = []
    pieces: list[tuple[CutSheet, ...]] = []
    for number, sheet in enumerate(sheets):
        stretch = progress.part(number / len(sheets), (number + 1) / len(sheets))
        stretch(0.0, f"{sheet.name}: fitting it to the bed")
        one = made_sheet(job, sheet)
        stretch(0.5, f"{sheet.name}: cut paths")
        made.append(one)
        pieces.append(cut_pieces(job, one) if wanted else ())
    return Making(tuple(made), tuple(pieces))


def making_of_build(build: Build, progress: Progress | None = None) -> Making:
    """Return the making of a build's sheets; see :func:`making_of`."""
    return making_of(build.job, sheets_to_make(build), progress)
