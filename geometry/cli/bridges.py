"""The command ``sheetstack bridges JOB``: the same job under several styles of bridges."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from typing import Any

from ..errors import one_line
from ..files.batch import Batch, output_batch
from ..files.png import write_png
from ..job.load import load_job
from ..progress import Progress
from ..report.bridge_styles import StyledBuild, styled_builds
from ..report.bridge_styles_picture import bridge_styles_picture
from .command import CLEAN, add_command, add_job, add_out, add_quiet, out_folder
from .meter import Meter


def add_bridges_command(commands: Any) -> None:
    """Add the command to the program's subcommands."""
    parser = add_command(
        commands,
        "bridges",
        _run,
        summary="show the same job under several styles of bridges, to choose from",
        description=(
            "Build a job under each style of bridges: least visible, along the drawing, vertical, "
            "horizontal, shortest, curved and tapered along the flow of the drawing, and its own "
            "where it has another. Writes bridges.png, the painted pictures side by side with "
            "visible damage, number of bridges and weakest island, and bridges.txt with the keys "
            "that make each."
        ),
        example="sheetstack bridges sign.toml --out styles",
    )
    add_job(parser)
    add_out(parser, "bridges")
    add_quiet(parser, "no progress, no text")


def _run(chosen: argparse.Namespace, meter: Meter) -> int:
    folder = out_folder(chosen, "bridges")
    progress = Progress(meter)
    job = load_job(chosen.job)
    styles = styled_builds(job, progress.part(0.0, 0.9))
    with output_batch(folder, kind="bridges", job=job.title) as batch:
        text = write_styles(styles, batch)
        count = len(batch.names)
    meter.clear()
    if not chosen.quiet:
        print(text, end="")
        print(f"{count} files written to {one_line(str(folder))}")
    return CLEAN


def write_styles(styles: Sequence[StyledBuild], batch: Batch) -> str:
    """Write the comparison into a batch of files and return what ``bridges.txt`` says."""
    write_png(batch.path("bridges.png"), bridge_styles_picture(styles))
    text = "\n".join(_text(styles)) + "\n"
    batch.path("bridges.txt").write_text(text, encoding="utf-8")
    return text


def _text(styles: Sequence[StyledBuild]) -> Iterator[str]:
    yield f"{styles[0].built.job.title}: bridges in {len(styles)} styles"
    yield "Visible damage is in mm2 x Delta E (CIEDE2000); each sheet is solved as one whole."
    for style in styles:
        yield ""
        first, *more = style.lines()
        yield first
        yield from (f"  {line}" for line in more)
        if style.keys:
            yield "  [bridges]  " + "  ".join(f'{key} = "{value}"' for key, value in style.keys)
