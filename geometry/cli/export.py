"""The commands ``sheetstack export JOB`` and ``sheetstack kerf-strip``: files for the machine."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any, Protocol

from ..build import build
from ..cautions import cautions_text
from ..export import FORMATS, check_formats, export_build
from ..fabricate.estimate import estimate
from ..fabricate.kerf_test import GAP_KERFS, kerf_strip
from ..files.atomic import atomic, output_batch
from ..files.cut_dxf import cut_sheet_dxf
from ..files.cut_svg import cut_sheet_svg
from ..finding import Severity
from ..job.load import load_job
from ..progress import Progress
from ..report.estimate_text import estimate_text

_MARKS = {Severity.NOTE: "note", Severity.WARNING: "look", Severity.SPOILS: "SPOILS"}


class Meter(Protocol):
    """What shows progress on the terminal."""

    def __call__(self, share: float, what: str) -> None:
        """Show the share done, 0 to 1."""

    def clear(self) -> None:
        """Take the line away."""


def add_export_commands(commands: Any) -> None:
    """Add the commands to the program's subcommands."""
    exporting = commands.add_parser(
        "export",
        help="write files for laser, printer or knife",
        description=(
            "Build a job and write its sheets for the machine that the job's [process] names: kerf "
            "taken off, split where they are bigger than the bed, with cautions and an estimate "
            "beside them. All files appear together at the end, or none."
        ),
    )
    exporting.add_argument("job", metavar="JOB", type=Path, help="job file (TOML)")
    exporting.add_argument(
        "--format",
        metavar="LIST",
        default="svg",
        help=f"one or more of {','.join(FORMATS)}, with commas between; svg when absent",
    )
    exporting.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        help="folder for the results; 'export' beside the job file when absent",
    )
    exporting.add_argument(
        "--nest", action="store_true", help="also lay all pieces together on stock sheets"
    )
    exporting.add_argument(
        "--patch",
        metavar="LIST",
        default="",
        help="overlay patches for bridges: layer.bridge numbers like 2.7,2.9, or 'all'",
    )
    exporting.add_argument("-q", "--quiet", action="store_true", help="no progress, no table")
    exporting.set_defaults(run=_run_export)

    strip = commands.add_parser(
        "kerf-strip",
        help="write a test strip from which your laser's kerf is measured",
        description=(
            "Write kerf-strip.svg and kerf-strip.dxf. Cut it, push the ten pieces to one end of "
            f"their window and measure the gap: it is {GAP_KERFS} kerfs wide. Put the kerf into "
            "the job's [process] table as kerf_mm."
        ),
    )
    strip.add_argument("--out", metavar="DIR", type=Path, default=Path(), help="folder; here")
    strip.add_argument("-q", "--quiet", action="store_true", help="say nothing")
    strip.set_defaults(run=_run_kerf_strip)


def _run_export(chosen: argparse.Namespace, meter: Meter) -> int:
    formats = [word.strip().lower() for word in chosen.format.split(",") if word.strip()]
    check_formats(formats)
    job = load_job(chosen.job)
    folder = chosen.out if chosen.out is not None else chosen.job.parent / "export"
    progress = Progress(meter)
    built = build(job, progress.part(0.0, 0.5))
    written = export_build(
        built,
        formats,
        folder,
        nested=chosen.nest,
        patches=chosen.patch,
        progress=progress.part(0.5, 1.0),
    )
    meter.clear()
    findings = sorted((*built.findings, *written.findings), key=lambda f: -f.severity)
    if not chosen.quiet:
        for finding in findings:
            print(f"{_MARKS[finding.severity]:>6}  {finding.sentence()}")
        table = estimate_text(estimate(built)).split("\n\nAssumptions")[0]
        print(f"\n{table}\n")
        if written.used_share is not None:
            print(f"{written.used_share:.0%} of the stock sheets is used.")
        print(f"{len(written.files)} files written to {folder}")
        print("Read cautions.txt before you cut, print or spray.")
    return 1 if any(f.severity is Severity.SPOILS for f in findings) else 0


def _run_kerf_strip(chosen: argparse.Namespace, meter: Meter) -> int:
    strip = kerf_strip()
    with output_batch(chosen.out) as batch:
        for name, text in (
            ("kerf-strip.svg", cut_sheet_svg(strip, title="Kerf strip")),
            ("kerf-strip.dxf", cut_sheet_dxf(strip, title="Kerf strip")),
        ):
            with atomic(batch.path(name), "w") as file:
                file.write(text)
    meter.clear()
    if not chosen.quiet:
        print(f"kerf-strip.svg and kerf-strip.dxf written to {chosen.out}\n")
        print(cautions_text("laser"), end="")
    return 0
