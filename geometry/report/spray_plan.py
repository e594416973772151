"""The spray plan: what to do on painting day, pass by pass, gathered from a built job."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ..build import Build
from ..fabricate.estimate import estimate
from ..fabricate.paint_needs import LayerPaint, cans_needed, layer_paints
from ..job.sections import RegistrationSettings
from ..job.spray_log import SheetRecord
from ..paint.drift import Drift
from ..paint.painting import painting_of
from ..paint.register_margins import Margin
from ..paint.wall import Wall
from ..progress import Progress
from .studio import PaintSettings, Studio


@dataclass(frozen=True)
class SprayStep:
    """One pass.

    Parameters
    ----------
    number : int
        From 1.
    sheet, colour : str
    paint : LayerPaint
    can : str
        What to take, in words.
    place : tuple of str
        How to lay the sheet.
    spray : tuple of str
        Masking, coats, drying.
    check : tuple of str
        What to look at before the next sheet.
    worst : Margin or None
        Where the register to the sheets before is tightest.
    """

    number: int
    sheet: str
    colour: str
    paint: LayerPaint
    can: str
    place: tuple[str, ...]
    spray: tuple[str, ...]
    check: tuple[str, ...]
    worst: Margin | None


@dataclass(frozen=True)
class SprayPlan:
    """A whole day.

    Parameters
    ----------
    build : Build
    wall : Wall
    steps : tuple of SprayStep
    ready : tuple of (str, tuple of str)
        Headings and what to have ready under each.
    limits : tuple of str
        Weather that the paint stands, from its data sheet.
    """

    build: Build
    wall: Wall
    steps: tuple[SprayStep, ...]
    ready: tuple[tuple[str, tuple[str, ...]], ...]
    limits: tuple[str, ...]


def spray_plan(
    build: Build,
    studio: Studio,
    progress: Progress | None = None,
    log: Sequence[SheetRecord] = (),
) -> SprayPlan:
    """Return the plan of a built job.

    Parameters
    ----------
    build : Build
    studio : Studio
        Cans, data sheet, tools.
    progress : Progress, optional
    log : sequence of SheetRecord, optional
        What the job's log tells of its sheets.
    """
    progress = progress or Progress()
    painting = painting_of(build, progress.part(0.0, 0.9))
    wall, drift = painting.wall, painting.drift
    paints = layer_paints(build, estimate(build), studio.cans, painting.orders.given.coverings)
    steps = tuple(
        _step(build, number, paint, drift, studio.paint) for number, paint in enumerate(paints)
    )
    return SprayPlan(build, wall, steps, _ready(build, paints, studio, log), _limits(studio.paint))


def mask_reach(build: Build, paint: PaintSettings) -> float:
    """Return how far past the sheet's edge the wall must be masked, in mm.

    The spray cone held over the artwork's edge, less the sheet's margin, unless it is told.
    """
    if paint.mask_reach_mm is not None:
        return paint.mask_reach_mm
    spray = build.job.spray
    slope = math.tan(math.radians(spray.cone_deg / 2)) + math.tan(math.radians(spray.angle_deg))
    return max(0.0, spray.stand_off_mm * slope - build.job.sheet.margin_mm)


def _step(
    build: Build, number: int, paint: LayerPaint, drift: Drift, told: PaintSettings
) -> SprayStep:
    layer = build.layers[number]
    mine = [m for m in drift.margins if m.upper == number]
    worst = mine[0] if mine else None
    return SprayStep(
        number + 1,
        layer.sheet.layer,
        layer.settings.colour,
        paint,
        _can(paint),
        _placing(build, number, drift, worst),
        _spraying(build, paint, told),
        _checks(build, number, worst, drift.names, told),
        worst,
    )


def _can(paint: LayerPaint) -> str:
    can = paint.match.can
    if can is None or paint.match.missing:
        return f"colour {paint.match.colour} ({paint.match.words})"
    return f"{can.name} {can.code}".strip() + f", {paint.match.words}"


def _placing(build: Build, number: int, drift: Drift, worst: Margin | None) -> tuple[str, ...]:
    registration = build.job.registration
    said = [f"Number {number + 1} and 'this side up' towards you, arrow up."]
    said.append(_pins(registration, build, number))
    if number == 0:
        return tuple(said)
    alone = drift.layer_mm(number)
    least = f"; {alone:.1f} mm off begins to show" if alone and alone >= 0.05 else ""
    if alone is not None and not least:
        least = "; edges that meet show any shift"
    said.append(f"Lay it within {registration.drift_mm:g} mm of its place{least}.")
    if worst is not None:
        said.append(
            f"Tightest {worst.place[0]:.0f} mm from the left, {worst.place[1]:.0f} mm up (circle)."
        )
    return tuple(said)


def _pins(registration: RegistrationSettings, build: Build, number: int) -> str:
    holes = len(build.layers[0].sheet.holes.geoms)
    if number == 0:
        if holes:
            return f"Level it, and set the {holes} pins by it: all other sheets hang on them."
        if registration.marks:
            return "Level it, and mark its crosses on the wall: all other sheets lie on them."
        return "Level it, and draw its outline on the wall: all other sheets keep to it."
    if holes:
        how = "Push the notches against" if registration.feature == "notches" else "Hang it on"
        return f"{how} the {holes} pins of {registration.hole_diameter_mm:g} mm."
    if registration.marks:
        return "Lay its crosses on those on the wall."
    return "No pins, no marks: keep to the outline drawn on the wall."


def _spraying(build: Build, paint: LayerPaint, told: PaintSettings) -> tuple[str, ...]:
    reach = mask_reach(build, told)
    said = [
        f"Mask {reach:.0f} mm round the sheet."
        if reach >= 1
        else "The sheet's margin is enough of a mask.",
        f"{paint.coats} thin {'coat' if paint.coats == 1 else 'coats'}, the can square to the "
        f"wall, {build.job.spray.stand_off_mm / 10:g} cm away; about {paint.ml:.0f} ml.",
    ]
    if paint.lighter_over:
        said.append(f"Lighter than {', '.join(paint.lighter_over)} below: one coat more.")
    if paint.coats > 1:
        said.append(
            f"Wait {told.recoat_min:g} min between coats."
            if told.recoat_min
            else "Between coats wait as the can's data sheet says."
        )
    return tuple(said)


def _checks(
    build: Build, number: int, worst: Margin | None, names: Sequence[str], told: PaintSettings
) -> tuple[str, ...]:
    said = ["Sheet lifted straight off, its back wiped."]
    if worst is not None:
        said.append(f"At the circle: {worst.trouble.value}, against {names[worst.lower]}?")
    bare = sum(b.visible_mm2 >= 1 for b in build.layers[number].bridges if b.kind == "bridge")
    if bare:
        said.append(f"{bare} bridges stay to be seen: touch up by hand, or leave them.")
    if number + 1 < len(build.layers):
        said.append(
            f"Dry to the touch ({told.touch_dry_min:g} min by the data sheet) before the next."
            if told.touch_dry_min
            else "Dry to the touch, as the data sheet says, before the next."
        )
    else:
        said.append("Masking off, photo taken, log written.")
    return tuple(said)


def _ready(
    build: Build, paints: Sequence[LayerPaint], studio: Studio, log: Sequence[SheetRecord]
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    remarks = {record.sheet: f"; {record.remark()}" for record in log if record.remark()}
    sheets = tuple(
        f"{number} {layer.sheet.layer}, {layer.mass_g:.0f} g{remarks.get(layer.sheet.layer, '')}"
        for number, layer in enumerate(build.layers, 1)
    )
    cans = []
    for row in cans_needed(paints):
        can = row.match.can
        name = (
            f"colour {row.match.colour}"
            if can is None or row.match.missing
            else (f"{can.name} {can.code}".strip())
        )
        cans.append(f"{row.cans} x {name}, {row.ml:.0f} ml")
    tools = tuple(line for line in studio.paint.tools.splitlines() if line.strip())
    wear = tuple(line for line in studio.paint.wear.splitlines() if line.strip())
    return (
        ("Permission", (f"Have it with you: {studio.offer.permission}",)),
        ("Sheets", sheets),
        ("Cans", tuple(cans)),
        ("Tools", tools),
        ("Wear", wear),
    )


def _limits(paint: PaintSettings) -> tuple[str, ...]:
    said = []
    if paint.least_c is not None or paint.most_c is not None:
        low = "" if paint.least_c is None else f"from {paint.least_c:g} "
        high = "" if paint.most_c is None else f"to {paint.most_c:g} "
        said.append(f"{low}{high}degrees C, air and wall".strip())
    if paint.most_humidity is not None:
        said.append(f"humidity to {paint.most_humidity:g} %")
    if paint.most_wind_ms is not None:
        said.append(f"wind to {paint.most_wind_ms:g} m/s")
    if not said:
        said.append("not told: read temperature, humidity and wind on the paint's data sheet")
    return tuple(said)
