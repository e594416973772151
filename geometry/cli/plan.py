"""The command ``sheetstack plan JOB``: painting day on paper."""

from __future__ import annotations

import argparse
from typing import Any

from ..errors import one_line
from ..files.a4_pdf import checked_font
from ..files.batch import output_batch
from ..job.spray_log import log_beside, read_log, records
from ..progress import Progress
from ..report.plan_pdf import plan_pdf
from ..report.spray_plan import spray_plan
from ..report.studio import load_studio
from .command import add_command, add_job, add_out, add_quiet, build_heard, out_folder, sized_job
from .meter import Meter
from .offer import add_studio, tell_not_shown


def add_plan_command(commands: Any) -> None:
    """Add the command to the program's subcommands."""
    parser = add_command(
        commands,
        "plan",
        _run,
        summary="a plan for painting day, A4 in big letters",
        description=(
            "Write plan.pdf: what to have ready, then a page for each pass with the sheet, the "
            "wall after it, can, masking, coats, drying, how to lay the sheet and what to check "
            "before the next, each with a box to tick. Cans and the paint's data sheet stand in "
            "your own studio file: see 'sheetstack keys'. What the job's log tells of a sheet "
            "stands beside it."
        ),
        example="sheetstack plan leaf.toml --studio studio.toml",
    )
    add_job(parser)
    add_studio(parser)
    add_out(parser, "plan")
    add_quiet(parser, "no progress, no list")


def _run(chosen: argparse.Namespace, meter: Meter) -> int:
    studio = load_studio(chosen.studio, chosen.cans)
    if studio.font is not None:
        checked_font(studio.font)
    folder = out_folder(chosen, "plan")
    progress = Progress(meter)
    job = sized_job(chosen, progress.part(0.0, 0.05))
    built = build_heard(job, progress.part(0.05, 0.4))
    log = records(read_log(log_beside(chosen.job)), [layer.sheet.layer for layer in built.layers])
    plan = spray_plan(built, studio, progress.part(0.4, 0.9), log)
    with output_batch(folder, kind="plan", job=built.job.title) as batch:
        progress(0.9, "writing the plan")
        paper = plan_pdf(plan, studio.font)
        batch.path("plan.pdf").write_bytes(paper.pdf)
    meter.clear()
    if not chosen.quiet:
        print(f"plan.pdf written to {one_line(str(folder))}: {len(plan.steps)} passes")
    tell_not_shown(paper, "plan.pdf")
    return 0
