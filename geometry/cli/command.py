"""One command of the command line: its words, its help and what it runs."""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from ..artwork.read import size_of
from ..build import Build, build
from ..errors import JobError
from ..job.job import Job
from ..job.load import load_job
from ..job.resize import job_on_sheets
from ..job.sections import LEAST_SIDE, MOST_SIDE
from ..progress import Progress
from ..threads import watched
from .meter import Meter

#: Exit codes of a command that has run.
CLEAN, SPOILT = 0, 1

Run = Callable[[argparse.Namespace, Meter], int]


def add_command(
    commands: Any, name: str, run: Run, *, summary: str, description: str, example: str
) -> argparse.ArgumentParser:
    """Add a command to the program and return its parser, for arguments of its own.

    Parameters
    ----------
    commands : subparsers of the program
    name : str
    run : callable
        Takes the chosen arguments and a meter, returns the exit code.
    summary : str
        A few words for the program's list of commands.
    description : str
        What it does and writes.
    example : str
        One line or more to type, shown in its help.
    """
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=summary,
        description=textwrap.fill(description, 78),
        epilog="example:\n" + textwrap.indent(example, "  "),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.set_defaults(run=run)
    return parser


def add_job(parser: argparse.ArgumentParser) -> None:
    """Let a command take a job file, and be told the size of its sheets (see ``sized_job``)."""
    parser.add_argument("job", metavar="JOB", type=Path, help="job file (TOML)")
    for side in ("width", "height"):
        parser.add_argument(
            f"--sheet-{side}-mm",
            metavar="MM",
            type=float,
            help=f"{side} of the sheets: the artwork is fitted to them in its shape, and the other "
            "side follows where it is not given; as the job says when absent",
        )


def sized_job(chosen: argparse.Namespace, progress: Progress) -> Job:
    """Return the job that a command was given, on sheets of the size that it was told.

    Raises
    ------
    JobError, ArtworkError
    Cancelled
    """
    job = load_job(chosen.job)
    width, height = chosen.sheet_width_mm, chosen.sheet_height_mm
    if width is None and height is None:
        return job
    for option, value in (("--sheet-width-mm", width), ("--sheet-height-mm", height)):
        if value is not None and not LEAST_SIDE <= value <= MOST_SIDE:
            raise JobError(f"{option} {value:g}: expected {LEAST_SIDE} to {MOST_SIDE} mm.")
    return job_on_sheets(job, size_of(job, progress), width, height)


def build_heard(job: Job, progress: Progress) -> Build:
    """Build a job so that Ctrl-C is heard at any moment, not at the next step only.

    Raises
    ------
    ArtworkError, GeometryError
    Cancelled
    """
    return watched(progress, partial(build, job))


def add_out(parser: argparse.ArgumentParser, beside: str) -> None:
    """Let a command be told a folder for its results.

    Parameters
    ----------
    parser : ArgumentParser
    beside : str
        Name of the folder beside the job file that is taken else.
    """
    parser.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        help=f"folder for the results; '{beside}' beside the job file when absent",
    )


def add_quiet(parser: argparse.ArgumentParser, what: str = "no progress, no table") -> None:
    """Let a command be told to say nothing."""
    parser.add_argument("-q", "--quiet", action="store_true", help=what)


def out_folder(chosen: argparse.Namespace, beside: str) -> Path:
    """Return the folder that results go to: the one named, else one beside the job file."""
    return chosen.out if chosen.out is not None else chosen.job.parent / beside
