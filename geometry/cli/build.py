"""The commands ``sheetstack build JOB`` and ``sheetstack check JOB``."""

from __future__ import annotations

import argparse
from typing import Any

import shapely

from ..build import Build
from ..errors import one_line
from ..progress import Progress
from ..report.build_files import write_outputs
from .command import add_command, add_job, add_out, add_quiet, build_heard, out_folder, sized_job
from .findings import print_findings, verdict
from .meter import Meter

#: Share of the work that building takes; writing takes the rest.
_BUILDING = 0.7
#: Share of it that measuring the artwork takes, where it is fitted to another size.
_SIZING = 0.05


def add_build_commands(commands: Any) -> None:
    """Add the commands to the program."""
    making = add_command(
        commands,
        "build",
        _run_build,
        summary="build the sheets and write everything",
        description=(
            "Build every sheet of a job: cut, find islands, bridge them, make the sheet solid, "
            "check it; then write an STL and a cut file for each layer, the pictures and the "
            "report. All files appear together at the end, or none."
        ),
        example="sheetstack build leaf.toml --out results",
    )
    add_job(making)
    add_quiet(making)
    add_out(making, "out")
    checking = add_command(
        commands,
        "check",
        _run_check,
        summary="build in memory and tell the findings; write nothing",
        description="Build every sheet of a job in memory and tell the findings; write nothing.",
        example='sheetstack check leaf.toml || echo "not ready to cut"',
    )
    add_job(checking)
    add_quiet(checking)


def _run_build(chosen: argparse.Namespace, meter: Meter) -> int:
    folder = out_folder(chosen, "out")
    progress = Progress(meter)
    job = sized_job(chosen, progress.part(0.0, _SIZING))
    built = build_heard(job, progress.part(_SIZING, _BUILDING))
    written = write_outputs(built, folder, progress.part(_BUILDING, 1.0))
    built = written.build
    meter.clear()
    if not chosen.quiet:
        _print_table(built)
        print(f"\n{len(written.files)} files written to {one_line(str(folder))}")
    return verdict(built.findings)


def _run_check(chosen: argparse.Namespace, meter: Meter) -> int:
    progress = Progress(meter)
    built = build_heard(sized_job(chosen, progress.part(0.0, _SIZING)), progress.part(_SIZING, 1.0))
    meter.clear()
    if not chosen.quiet:
        _print_table(built)
    return verdict(built.findings)


def _print_table(built: Build) -> None:
    print_findings(built.findings)
    width = max(5, *(len(layer.settings.name) for layer in built.layers))
    print(f"{'layer':<{width}}  openings  islands  bridges  left  sheet cm2  mass g  solid")
    for layer in built.layers:
        print(
            f"{layer.settings.name:<{width}}"
            f"{len(layer.sheet.openings.geoms):>10}"
            f"{len(layer.islands):>9}"
            f"{len(layer.bridges):>9}"
            f"{len(layer.islands_left):>6}"
            f"{shapely.area(layer.sheet.shape) / 100:>11.1f}"
            f"{layer.mass_g:>8.1f}"
            f"  {'LEAKS' if layer.fault else 'closed'}"
        )
