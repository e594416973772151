"""The files of a tracing, which appear together or not at all."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from ..files.batch import output_batch
from ..job.load import job_text
from ..progress import Progress
from .as_made import AS_MADE
from .contact_sheet import histogram_picture, preview_picture, sweep_picture
from .hand_edits import digest
from .job import CARE, DRAWING, care_picture, drawn_layers, traced_drawing, traced_job
from .layered_svg import drawn_anew
from .marks_file import marks_text
from .trace import Tracing
from .trials import Trial

JOB, MARKS, PREVIEW, HISTOGRAM, SCORE, SWEEP = (
    "job.toml",
    "marks.toml",
    "preview.png",
    "histogram.png",
    "score.json",
    "sweep.png",
)


def write_tracing(
    tracing: Tracing,
    folder: Path,
    title: str,
    trials: Sequence[Trial] = (),
    progress: Progress | None = None,
    only: Sequence[str] = (),
) -> tuple[str, ...]:
    """Write drawing, job, preview, histogram, score and, with trials, the sweep.

    Where faces or an outline are known, their marks and the care that bridges must take are written
    too.

    Parameters
    ----------
    tracing : Tracing
    folder : Path
        Made when missing.
    title : str
        Of the job.
    trials : sequence of Trial
    progress : Progress, optional
    only : sequence of str
        Ids of the groups to trace anew; the others, and the job, are kept as they are. All, when
        empty.

    Returns
    -------
    tuple of str
        Names of the files.

    Raises
    ------
    JobError
        Something that would be written anew was changed by hand; see ``check_untouched``.
    WriteError, Cancelled
        Nothing has changed then.
    """
    progress = progress or Progress()
    job = replace(traced_job(tracing, title), folder=folder)
    score = {
        "title": title,
        "ground": tracing.ground,
        "cuts": [round(c, 2) for c in tracing.cuts],
        "tolerance_mm": tracing.extent.tolerance,
        **tracing.score.as_table(),
        "sweep": [{"detail": t.detail, **t.tracing.score.as_table()} for t in trials],
    }
    if not trials:
        del score["sweep"]
    text = job_text(job)
    drawing = traced_drawing(tracing, title, digest(text)).encode()
    layers, height = drawn_layers(tracing), tracing.extent.page[1]
    drawing, made = drawn_anew(folder / DRAWING, JOB, drawing, layers, height, only, "tracing")
    with output_batch(folder, kind="layers") as batch:
        progress(0.0, f"writing {DRAWING}")
        batch.path(DRAWING, checked=True).write_bytes(drawing)
        if made is not None:
            batch.path(AS_MADE, checked=True).write_bytes(made)
        if only:
            batch.keep(JOB)
        else:
            batch.path(JOB, checked=True).write_text(text, encoding="utf-8")
        if tracing.known.known and not _is_own(tracing.settings.marks, folder / MARKS):
            marks = marks_text(tracing.known, tracing.picture.full, MARKS)
            batch.path(MARKS).write_text(marks, encoding="utf-8")
        else:
            batch.keep(MARKS)
        if tracing.known.faces:
            care_picture(tracing).save(batch.path(CARE))
        batch.path(SCORE).write_text(json.dumps(score, indent=1) + "\n", encoding="utf-8")
        progress(0.3, "drawing the preview")
        preview_picture(tracing).save(batch.path(PREVIEW))
        progress(0.6, "drawing the histogram")
        histogram_picture(tracing).save(batch.path(HISTOGRAM))
        if trials:
            progress(0.8, "drawing the sweep")
            sweep_picture(tracing, trials).save(batch.path(SWEEP))
        return batch.names


def _is_own(marks: str, beside: Path) -> bool:
    """Return whether the marks were read from the file that would be written: it stays as it is."""
    return bool(marks) and beside.exists() and Path(marks).resolve() == beside.resolve()
