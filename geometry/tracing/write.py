"""The files of a tracing, which appear together or not at all."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from ..files.atomic import output_batch
from ..job.load import job_text
from ..progress import Progress
from .contact_sheet import histogram_picture, preview_picture, sweep_picture
from .job import DRAWING, traced_drawing, traced_job
from .trace import Tracing
from .trials import Trial

JOB, PREVIEW, HISTOGRAM, SCORE, SWEEP = (
    "job.toml",
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
) -> tuple[str, ...]:
    """Write drawing, job, preview, histogram, score and, with trials, the sweep.

    Parameters
    ----------
    tracing : Tracing
    folder : Path
        Made when missing.
    title : str
        Of the job.
    trials : sequence of Trial
    progress : Progress, optional

    Returns
    -------
    tuple of str
        Names of the files.

    Raises
    ------
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
    with output_batch(folder) as batch:
        progress(0.0, f"writing {DRAWING}")
        batch.path(DRAWING).write_text(traced_drawing(tracing, title), encoding="utf-8")
        batch.path(JOB).write_text(job_text(job), encoding="utf-8")
        batch.path(SCORE).write_text(json.dumps(score, indent=1) + "\n", encoding="utf-8")
        progress(0.3, "drawing the preview")
        preview_picture(tracing).save(batch.path(PREVIEW))
        progress(0.6, "drawing the histogram")
        histogram_picture(tracing).save(batch.path(HISTOGRAM))
        if trials:
            progress(0.8, "drawing the sweep")
            sweep_picture(tracing, trials).save(batch.path(SWEEP))
        return batch.names
