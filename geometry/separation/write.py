"""The files of a separation, which appear together or not at all."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from ..files.batch import output_batch
from ..job.job import Job
from ..job.load import job_text
from ..progress import Progress
from ..tracing.as_made import AS_MADE
from ..tracing.hand_edits import digest
from ..tracing.job import DRAWING
from ..tracing.layered_svg import drawn_anew
from ..tracing.write import JOB, PREVIEW
from .job import separated_drawing, separated_job, separated_layers
from .order import Plan
from .preview import preview_picture
from .separate import Separation

ORDERS = "orders.json"


def write_separation(
    separation: Separation,
    folder: Path,
    title: str,
    progress: Progress | None = None,
    only: Sequence[str] = (),
    job: Job | None = None,
) -> tuple[str, ...]:
    """Write drawing, job, preview and the orders compared.

    Parameters
    ----------
    separation : Separation
    folder : Path
        Made when missing.
    title : str
        Of the job.
    progress : Progress, optional
    only : sequence of str
        Ids of the groups to draw anew; the others, and the job, are kept as they are. All, when
        empty.
    job : Job, optional
        The job to write; the separation's own when None.

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
    text = job_text(replace(job or separated_job(separation, title), folder=folder))
    drawing = separated_drawing(separation, title, digest(text)).encode()
    layers, height = separated_layers(separation), separation.page[1]
    drawing, made = drawn_anew(folder / DRAWING, JOB, drawing, layers, height, only, "drawing")
    with output_batch(folder, kind="layers") as batch:
        progress(0.0, f"writing {DRAWING}")
        batch.path(DRAWING, checked=True).write_bytes(drawing)
        if made is not None:
            batch.path(AS_MADE, checked=True).write_bytes(made)
        if only:
            batch.keep(JOB)
        else:
            batch.path(JOB, checked=True).write_text(text, encoding="utf-8")
        orders = json.dumps(order_table(separation), indent=1) + "\n"
        batch.path(ORDERS).write_text(orders, encoding="utf-8")
        progress(0.4, "drawing the preview")
        preview_picture(separation).save(batch.path(PREVIEW))
        return batch.names


def order_table(separation: Separation) -> dict[str, Any]:
    """Return what was chosen and what other orders would cost, as plain values."""

    def row(name: str, plan: Plan) -> dict[str, Any]:
        return {
            "what": name,
            "order": [separation.drawn_names[k] for k in plan.order],
            "islands": plan.islands,
            "spoiled_mm2": round(plan.spoiled, 1),
            "cut_mm": round(plan.cut),
            "cost": round(plan.cost, 1),
        }

    return {
        "ground": separation.ground,
        "exact": separation.exact,
        "chosen": row("the order chosen", separation.plan),
        "others": [row(name, plan) for name, plan in separation.others],
    }
