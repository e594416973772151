"""The command ``sheetstack proof JOB``: see the paint, the order and the drift before spraying."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import Any

from PIL import Image

from ..build import Build, build
from ..errors import one_line
from ..files.batch import Batch, output_batch
from ..files.png import write_png
from ..finding import Finding
from ..job.names import file_stem
from ..paint.drift import Drift, drift_findings, drift_of
from ..paint.overspray import shade_findings, soft_edge, soft_picture
from ..paint.register_margins import Trouble
from ..paint.spray_order import OrderAdvice, compare_orders
from ..paint.wall import Wall, colour_areas, painted_pixels, wall_of
from ..progress import Progress
from ..report.drift_picture import write_drift_picture
from ..report.order_picture import write_order_picture
from .command import add_command, add_job, add_out, add_quiet, out_folder, sized_job
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
            "Writes after-1-NAME.png and so on, soft.png, orders.png, drift.png and proof.txt. All "
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
    built = build(job, progress.part(0.05, 0.3))
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
    wall = wall_of(built, progress.part(0.0, 0.2))
    progress(0.2, "painting pass after pass")
    sheet = built.job.sheet
    frame = (sheet.width_mm, sheet.height_mm)
    scale = PIXELS / max(frame)
    for number, colours in enumerate(wall.passes()):
        name = "before" if number == 0 else f"after-{number}-{file_stem(wall.names[number - 1])}"
        pixels = painted_pixels(colour_areas(wall.cells, colours), frame, scale)
        write_png(batch.path(f"{name}.png"), Image.fromarray(pixels), scale)
    progress(0.4, "painting with soft edges")
    soft = Image.fromarray(soft_picture(built, PIXELS)[-1])
    write_png(batch.path("soft.png"), soft, scale)
    progress(0.6, "comparing spray orders")
    advice = compare_orders(wall)
    write_order_picture(batch.path("orders.png"), wall, advice)
    drift = drift_of(built, wall, progress.part(0.7, 0.95))
    write_drift_picture(batch.path("drift.png"), wall, drift)
    text = "\n".join(_text(built, wall, advice, drift)) + "\n"
    batch.path("proof.txt").write_text(text, encoding="utf-8")
    progress(1.0, "proof written")
    return text


def _text(built: Build, wall: Wall, advice: OrderAdvice, drift: Drift) -> Iterator[str]:
    yield f"{built.job.title}: proof"
    yield ""
    yield "Spray order"
    yield from (f"  {reason}" for reason in advice.reasons)
    yield "  The picture decides, and you: try what looks better on a piece of card first."
    yield ""
    yield f"Registration, for {drift.allowance.sentence()}"
    for layer, name in enumerate(drift.names):
        shift, turn = drift.layer_mm(layer), drift.layer_deg(layer)
        if shift is None or turn is None:
            yield f"  {name}: nothing within reach limits it."
        else:
            yield (f"  {name} alone: shows from {shift:.2f} mm or a turn of {turn:.2f} degrees on.")
    pairs = list(dict.fromkeys((m.lower, m.upper) for m in drift.margins))
    yield from (f"  {_pair_line(drift, lower, upper)}" for lower, upper in pairs)
    yield from _findings(drift_findings(drift))
    yield ""
    yield "Soft edges"
    edge = soft_edge(built.job.sheet.thickness_mm, built.job.spray)
    yield (
        f"  Where the sheet lifts by {built.job.spray.lift_mm:g} mm, paint creeps "
        f"{edge.creep_mm:.2f} mm under it; it is thinner up to {edge.shade_mm:.2f} mm inside "
        "openings."
    )
    yield from _findings(shade_findings(built))


def _pair_line(drift: Drift, lower: int, upper: int) -> str:
    """Return what a pair of layers stands, in one sentence."""
    said = []
    for trouble in Trouble:
        margins = [m for m in drift.pair(lower, upper) if m.trouble is trouble]
        if margins:
            least = min(margins, key=lambda m: m.width_mm)
            said.append(
                f"{trouble.value} from {least.width_mm:.2f} mm apart, first at "
                f"({least.place[0]:.1f}, {least.place[1]:.1f}) mm"
            )
    return f"{drift.names[upper]} and {drift.names[lower]}: {'; '.join(said)}."


def _findings(findings: tuple[Finding, ...]) -> Iterator[str]:
    yield from (f"  - {finding.sentence()}" for finding in findings)
