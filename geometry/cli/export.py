"""The commands ``sheetstack export JOB`` and ``sheetstack kerf-strip``: files for the machine."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from ..cautions import cautions_text
from ..errors import JobError, one_line
from ..export import FORMATS, check_formats, export_build
from ..fabricate.kerf_test import GAP_KERFS, kerf_strip
from ..fabricate.making import making_of_build
from ..fabricate.stock import parts_of
from ..files.atomic import atomic
from ..files.batch import output_batch
from ..files.cut_dxf import cut_dxf
from ..files.cut_svg import cut_svg
from ..job.load import load_job
from ..progress import Progress
from ..report.estimate_text import estimate_text
from .command import add_command, add_job, add_out, add_quiet, build_heard, out_folder, sized_job
from .findings import print_findings, verdict
from .meter import Meter


def add_export_commands(commands: Any) -> None:
    """Add the commands to the program's subcommands."""
    exporting = add_command(
        commands,
        "export",
        _run_export,
        summary="write files for laser, printer or knife",
        description=(
            "Build a job and write its sheets for the machine that the job's [process] names: kerf "
            "taken off, split where they are bigger than the bed, with cautions and an estimate "
            "beside them. All files appear together at the end, or none."
        ),
        example=(
            "sheetstack export leaf.toml --format svg,dxf --nest\n"
            "sheetstack export leaf.toml --format pdf --patch all"
        ),
    )
    add_job(exporting)
    exporting.add_argument(
        "--format",
        metavar="LIST",
        default="svg",
        help=f"one or more of {','.join(FORMATS)}, with commas between; svg when absent",
    )
    add_out(exporting, "export")
    exporting.add_argument(
        "--nest", action="store_true", help="also lay all pieces together on stock sheets"
    )
    exporting.add_argument(
        "--nest-with",
        metavar="JOB",
        type=Path,
        nargs="+",
        default=[],
        help="other jobs of the same material whose pieces are nested with these",
    )
    exporting.add_argument(
        "--patch",
        metavar="LIST",
        default="",
        help="overlay patches for bridges: layer.bridge numbers like 2.7,2.9, or 'all'",
    )
    add_quiet(exporting)

    strip = add_command(
        commands,
        "kerf-strip",
        _run_kerf_strip,
        summary="write a test strip from which your laser's kerf is measured",
        description=(
            "Write kerf-strip.svg and kerf-strip.dxf. Cut it, push the ten pieces to one end of "
            f"their window and measure the gap: it is {GAP_KERFS} kerfs wide. Put the kerf into "
            "the job's [process] table as kerf_mm."
        ),
        example="sheetstack kerf-strip --out laser",
    )
    strip.add_argument("--out", metavar="DIR", type=Path, default=Path(), help="folder; here")
    add_quiet(strip, "say nothing")


def _run_export(chosen: argparse.Namespace, meter: Meter) -> int:
    formats = [word.strip().lower() for word in chosen.format.split(",") if word.strip()]
    check_formats(formats)
    folder = out_folder(chosen, "export")
    progress = Progress(meter)
    job = sized_job(chosen, progress.part(0.0, 0.05))
    built = build_heard(job, progress.part(0.05, 0.3))
    also = []
    for number, path in enumerate(chosen.nest_with):
        other = load_job(path)
        if (other.sheet.material, other.sheet.thickness_mm) != (
            job.sheet.material,
            job.sheet.thickness_mm,
        ):
            raise JobError(
                f"{path}: {other.sheet.thickness_mm:g} mm {other.sheet.material}: expected "
                f"{job.sheet.thickness_mm:g} mm {job.sheet.material}, as the job that it is nested "
                "with."
            )
        begin, stop = (0.3 + 0.2 * (number + k) / len(chosen.nest_with) for k in (0, 1))
        half = (begin + stop) / 2
        made = build_heard(other, progress.part(begin, half))
        also += parts_of(making_of_build(made, progress.part(half, stop)), other.title)
    written = export_build(
        built,
        formats,
        folder,
        nested=chosen.nest or bool(chosen.nest_with),
        also=also,
        patches=chosen.patch,
        progress=progress.part(0.5, 1.0),
    )
    meter.clear()
    findings = (*built.findings, *written.findings)
    if not chosen.quiet:
        print_findings(findings)
        if written.estimate is not None:
            table = estimate_text(written.estimate).split("\n\nAssumptions")[0]
            print(f"{table}\n")
        if written.used_share is not None:
            print(f"{written.used_share:.0%} of the stock sheets is used; see stock-plan.txt.")
        print(f"{len(written.files)} files written to {one_line(str(folder))}")
        print("Read cautions.txt before you cut, print or spray.")
    return verdict(findings)


def _run_kerf_strip(chosen: argparse.Namespace, meter: Meter) -> int:
    strip = kerf_strip()
    with output_batch(chosen.out, kind="kerf-strip") as batch:
        for name, text in (
            ("kerf-strip.svg", cut_svg(strip, title="Kerf strip")),
            ("kerf-strip.dxf", cut_dxf(strip, title="Kerf strip")),
        ):
            with atomic(batch.path(name), "w") as file:
                file.write(text)
    meter.clear()
    if not chosen.quiet:
        print(f"kerf-strip.svg and kerf-strip.dxf written to {one_line(str(chosen.out))}\n")
        print(cautions_text("laser"), end="")
    return 0
