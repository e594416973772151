"""The spray schedule told: a page to read on the scaffold, and rows for a table program."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from ..fabricate.spray_schedule import SprayStep
from ..job.job import Job

HEAD = (
    *("step", "layer", "colour", "tile", "round", "starts", "ends", "touch dry", "paint ml"),
    *("mask", "pins", "waits for"),
)


def schedule_text(job: Job, steps: Sequence[SprayStep]) -> str:
    """Return the schedule as text.

    Parameters
    ----------
    job : Job
    steps : sequence of SprayStep
    """
    spray = job.spray
    lines = [f"Spray schedule: {job.title}", ""]
    for key, value, what in (
        ("touch_dry_min", spray.touch_dry_min, "dry to the touch after"),
        ("recoat_min", spray.recoat_min, "painted over no sooner than after"),
    ):
        lines.append(
            f"{what.capitalize()} {value:g} min ([spray] {key}, from the paint's data sheet)."
            if value is not None
            else f"ASKED FOR: [spray] {key}, from the paint's data sheet. No waiting is counted "
            "below: look and touch before you go on."
        )
    lines += [
        f"{spray.tile_min:g} min to hang, mask, spray and take off one tile ([spray] tile_min: "
        "common practice, no source).",
        "Colder or damper air dries more slowly: the data sheet has the last word.",
        "Times are hours:minutes from the first step. Tiles of one round do not touch: none is "
        "laid over wet paint.",
        "Mask: sides where the wall lies bare beside the tile; cover it with paper, taped.",
    ]
    layer = ""
    for step in steps:
        if step.layer != layer:
            layer = step.layer
            mine = [s for s in steps if s.layer == layer]
            low, high = (sum(s.paint_ml[k] for s in mine) for k in (0, 1))
            lines += [
                "",
                f"{layer}, colour {step.colour}: {len(mine)} to spray, "
                f"{sum(s.paint_mm2 for s in mine) / 1e6:.3f} m2, {low:.0f} to {high:.0f} ml",
                "  step  tile   round  start   end    dry    paint ml  mask, pins, waiting",
            ]
        notes = []
        if step.masked:
            notes.append("mask " + ", ".join(step.masked))
        if step.pins:
            notes.append("pins " + ", ".join(map(str, step.pins)))
        if step.waits_for:
            notes.append("waits for " + step.waits_for)
        times = "  ".join(_clock(t) for t in (step.starts_min, step.ends_min, step.dry_min))
        paint = f"{step.paint_ml[0]:.1f} to {step.paint_ml[1]:.1f}"
        lines.append(
            f"  {step.number:<5} {step.tile or 'whole':<7}{step.round:^5}  {times}  "
            f"{paint:<13} {'; '.join(notes)}".rstrip()
        )
    end = max((s.dry_min for s in steps), default=0.0)
    return "\n".join([*lines, "", f"All dry to the touch after {_clock(end)} hours.", ""])


def schedule_csv(steps: Sequence[SprayStep]) -> str:
    """Return the schedule as comma-separated values (RFC 4180), times in minutes."""
    text = io.StringIO()
    rows = csv.writer(text)
    rows.writerow(HEAD)
    for s in steps:
        paint = f"{s.paint_ml[0]:.2f} to {s.paint_ml[1]:.2f}"
        rows.writerow(
            (
                *(s.number, s.layer, s.colour, s.tile, s.round),
                *(f"{t:g}" for t in (s.starts_min, s.ends_min, s.dry_min)),
                *(paint, " ".join(s.masked), " ".join(map(str, s.pins)), s.waits_for),
            )
        )
    return text.getvalue()


def _clock(minutes: float) -> str:
    whole = round(minutes)
    return f"{whole // 60:>2}:{whole % 60:02d}"
