"""The command ``sheetstack proof JOB``: see the paint, the order and the drift before spraying."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import Any

from PIL import Image

from ..build import Build
from ..errors import one_line
from ..files.batch import Batch, output_batch
from ..files.png import write_png
from ..finding import Finding
from ..job.names import DRIFT, file_stem
from ..paint.overspray import shade_findings, soft_edge, soft_picture
from ..paint.painting import Painting, painting_of
from ..paint.wall import painted_passes
from ..progress import Progress
from ..report.drift_picture import worst_place_picture, write_drift_picture
from ..report.order_picture import write_order_picture
from .command import add_command, add_job, add_out, add_quiet, build_heard, out_folder, sized_job
from .meter import Meter

#: Pixels of the pictures along the long side.
PIXELS = 1600


def add_proof_command(commands: Any) -> None:
    """Add the command to the program's subcommands."""
    parser = add_command(
        commands,
        "proof",
        _run,
        summary="see paint, spray order and drift before anything is sprayed",
        description=(
            "Simulate the spraying of a job: what is on the wall after each pass, with sharp and "
            "with soft edges; what other spray orders would paint; how far each sheet may drift. "
            "Writes after-1-NAME.png and so on, soft.png, orders.png, drift.png, worst.png (the "
            "worst place of register, with a circle) and proof.txt. All "
            "files appear together at the end, or none."
        ),
        example="sheetstack proof leaf.toml --out proof",
    )
    add_job(parser)
    add_out(parser, "proof")
    add_quiet(parser, "no progress, no text")


def _run(chosen: argparse.Namespace, meter: Meter) -> int:
    folder = out_folder(chosen, "proof")
    progress = Progress(meter)
    job = sized_job(chosen, progress.part(0.0, 0.05))
    built = build_heard(job, progress.part(0.05, 0.3))
    with output_batch(folder, kind="proof", job=built.job.title) as batch:
        text = write_proof(built, batch, progress.part(0.3, 1.0))
        count = len(batch.names)
    meter.clear()
    if not chosen.quiet:
        print(text)
        print(f"{count} files written to {one_line(str(folder))}")
    return 0


def write_proof(built: Build, batch: Batch, progress: Progress | None = None) -> str:
    """Write the proof of a built job into a batch of files.

    Parameters
    ----------
    built : Build
    batch : Batch
    progress : Progress, optional

    Returns
    -------
    str
        What ``proof.txt`` says.
    """
    progress = progress or Progress()
    painting = painting_of(built, progress.part(0.0, 0.4))
    wall, drift = painting.wall, painting.drift
    progress(0.4, "painting pass after pass")
    sheet = built.job.sheet
    frame = (sheet.width_mm, sheet.height_mm)
    scale = PIXELS / max(frame)
    pictures = painted_passes(wall.cells, wall.passes(), frame, scale)
    for number, pixels in enumerate(pictures):
        name = "before" if number == 0 else f"after-{number}-{file_stem(wall.names[number - 1])}"
        write_png(batch.path(f"{name}.png"), Image.fromarray(pixels), scale)
    progress(0.7, "painting with soft edges")
    soft = Image.fromarray(soft_picture(built, PIXELS)[-1])
    write_png(batch.path("soft.png"), soft, scale)
    progress(0.9, "drawing orders and drift")
    write_order_picture(batch.path("orders.png"), wall, painting.orders)
    write_drift_picture(batch.path(DRIFT), wall, drift)
    told = painting.register
    if told and told[0].place is not None:
        picture = worst_place_picture(wall, told[0].place, 2 * drift.allowance.drift_mm)
        write_png(batch.path("worst.png"), picture)
    text = "\n".join(_text(built, painting)) + "\n"
    batch.path("proof.txt").write_text(text, encoding="utf-8")
    progress(1.0, "proof written")
    return text


def _text(built: Build, painting: Painting) -> Iterator[str]:
    yield f"{built.job.title}: proof"
    yield ""
    yield "Spray order"
    yield from (f"  {reason}" for reason in painting.orders.reasons)
    yield "  The picture decides, and you: try what looks better on a piece of card first."
    yield ""
    yield f"Register, counting on {painting.drift.allowance.sentence()}; worst first"
    told = painting.register
    for number, finding in enumerate(told, 1):
        at = f" at ({finding.place[0]:.0f}, {finding.place[1]:.0f}) mm" if finding.place else ""
        yield f"  {number}.{at}: {finding.message}"
    if told and told[0].place is not None:
        yield "  The first place is shown in worst.png, with a circle."
    if not told:
        yield "  Nothing shows."
    yield from (f"  {line}" for line in _places_checked(built))
    yield ""
    yield "Soft edges"
    edge = soft_edge(built.job.sheet.thickness_mm, built.job.spray)
    yield (
        f"  Where the sheet lifts by {built.job.spray.lift_mm:g} mm, paint creeps "
        f"{edge.creep_mm:.2f} mm under it; it is thinner up to {edge.shade_mm:.2f} mm inside "
        "openings."
    )
    yield from _findings(shade_findings(built))


def _places_checked(built: Build) -> Iterator[str]:
    """Tell where a shift of a layer's artwork would not be found."""
    for layer in built.layers:
        if layer.artwork.witness == "page":
            yield (
                f"{layer.sheet.layer}: no marks and hardly an edge shared with the others. Its "
                "page or drawing is theirs; a shift in it cannot be found."
            )
        elif not layer.artwork.witness and len(built.layers) > 1:
            yield (
                f"{layer.sheet.layer}: not checkable. No marks, no edges shared with the others, "
                "no page of their size: draw two round marks on every layer."
            )


def _findings(findings: tuple[Finding, ...]) -> Iterator[str]:
    yield from (f"  - {finding.sentence()}" for finding in findings)
