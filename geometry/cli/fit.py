"""The command ``sheetstack fit JOB``: what sizes near the job's own would take."""

from __future__ import annotations

import argparse
from typing import Any

from ..errors import JobError
from ..fabricate.near_sizes import near_sizes, near_sizes_text
from ..files.atomic import atomic
from ..files.batch import output_batch
from ..files.near_sizes_svg import near_sizes_svg
from ..job.load import load_job
from ..progress import Progress
from .command import CLEAN, add_command, add_job, add_out, add_quiet, build_heard, out_folder
from .meter import Meter


def add_fit_command(commands: Any) -> None:
    """Add the command to the program's subcommands."""
    parser = add_command(
        commands,
        "fit",
        _run,
        summary="tell how many tiles and stock sheets near sizes need",
        description=(
            "Tell, for sizes near the job's own, how many tiles and stock sheets each needs and "
            "which openings get too narrow, the cheapest first; write fit.txt and fit.svg."
        ),
        example="sheetstack fit wall.toml --within 8",
    )
    add_job(parser)
    parser.add_argument(
        "--within",
        metavar="PERCENT",
        type=float,
        default=10.0,
        help="how much smaller or bigger it may be, 1 to 50; 10 when absent",
    )
    add_out(parser, "fit")
    add_quiet(parser)


def _run(chosen: argparse.Namespace, meter: Meter) -> int:
    if not 1 <= chosen.within <= 50:
        raise JobError(f"--within {chosen.within:g}: expected 1 to 50 per cent.")
    job = load_job(chosen.job)
    progress = Progress(meter)
    built = build_heard(job, progress.part(0.0, 0.8))
    sizes = near_sizes(built, chosen.within / 100, progress.part(0.8, 1.0))
    text = near_sizes_text(job.title, sizes, job.estimate.currency)
    folder = out_folder(chosen, "fit")
    with output_batch(folder, kind="fit", job=job.title) as batch:
        for name, content in (
            ("fit.txt", text),
            ("fit.svg", near_sizes_svg(job.title, sizes)),
        ):
            with atomic(batch.path(name), "w") as file:
                file.write(content)
    meter.clear()
    if not chosen.quiet:
        print(text, end="")
    return CLEAN
