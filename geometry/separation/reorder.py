"""A job's layers in the spray order that costs least, painting the picture that they paint now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from shapely import MultiPolygon
from shapely.affinity import translate

from ..artwork.coloured import ColouredDrawing, ColouredShape
from ..artwork.read import LayerDrawing, read_all
from ..colour import hides, lab_from_srgb, srgb_from_hex
from ..errors import JobError
from ..finding import Finding, Severity
from ..job.edit import rebased
from ..job.job import Job
from ..job.names import file_stem
from ..job.sections import LayerSettings
from ..progress import Progress
from ..sheet.sheet import artwork_shift, place_artworks
from ..tracing.job import DRAWING
from .cans import Palette
from .extents import Sheets
from .losses import lost_findings
from .order import alternatives, best_plan
from .regions import BARE, regions_of
from .seen import seen_of
from .separate import (
    SeparatedLayer,
    Separation,
    differences,
    lay_out,
    order_of_sight,
)
from .settings import SeparationSettings

# Specks under this (mm2) go with the cut and are no islands.
_SPECK = 0.05


@dataclass(frozen=True)
class Outlay:
    """What cutting some layers takes.

    Parameters
    ----------
    islands : int
        Pieces of the sheets that would fall out without bridges.
    cut : float
        Length of cut in mm.
    """

    islands: int
    cut: float


@dataclass(frozen=True, eq=False)
class Reordered:
    """A job's layers in another order.

    Parameters
    ----------
    separation : Separation
        On a page as large as the sheet.
    job : Job
        The job as it was, with its layers in the new order and their artwork in ``DRAWING``.
    before, after : Outlay
        Of the layers as they were and as they are.
    """

    separation: Separation
    job: Job
    before: Outlay
    after: Outlay


def reordered(job: Job, folder: Path, progress: Progress | None = None) -> Reordered:
    """Find the spray order and the extents of a job's layers that cost least.

    Parameters
    ----------
    job : Job
    folder : Path
        Where the new job is going to lie.
    progress : Progress, optional

    Raises
    ------
    ArtworkError
        Artwork cannot be read.
    JobError
        A layer lets what is below show through, so that it cannot change its place; or there is
        but one layer.
    GeometryError
        No layer has anything to paint.
    Cancelled
    """
    progress = progress or Progress()
    if len(job.layers) < 2:
        raise JobError("--reorder: the job has but one layer.")
    for layer in job.layers:
        if not hides(layer.opacity):
            raise JobError(
                f"--reorder: layer '{layer.name}' has opacity = {layer.opacity:g} and lets what is "
                "below show through; only layers that hide it can change places."
            )
    drawings = read_all(job, progress.part(0.0, 0.2))
    shapes = _placed(job, drawings)
    page = (job.sheet.width_mm, job.sheet.height_mm)
    drawing = ColouredDrawing(
        tuple(
            ColouredShape(shape, _rgb(layer.colour), layer=layer.name)
            for shape, layer in zip(shapes, job.layers, strict=True)
        ),
        page,
        1.0,
    )
    settings = _settings(job)
    seen = seen_of(drawing, progress.part(0.2, 0.4))
    colours = (*(layer.colour for layer in job.layers), job.ground)
    regions, lost = regions_of(
        seen.cells, seen.top, seen.painted, differences(colours), settings.least / 2
    )
    lightness = lab_from_srgb(np.array([srgb_from_hex(c) for c in colours]))[:, 0].tolist()
    sheets = Sheets(
        regions,
        regions.label.tolist(),
        settings.least_bridge,
        settings.trap_mm,
        dict(enumerate(lightness)),
    )
    drawn = [k for k in order_of_sight(seen.top, seen.top) if k in sheets.layers]
    plan, exact = best_plan(sheets, drawn, progress.part(0.4, 0.7))
    can_of = {k: k for k in sheets.layers}
    names = tuple(layer.name for layer in job.layers)
    progress(0.7, "drawing the layers")
    layers = lay_out(sheets, plan, colours, can_of, names, settings)
    painted = seen.top != BARE
    separation = Separation(
        settings,
        Path(),
        seen,
        regions,
        Palette(colours[:-1], seen.top[painted], np.zeros(int(painted.sum()))),
        layers,
        job.ground,
        page,
        page,
        sheets,
        can_of,
        plan,
        exact,
        tuple(alternatives(sheets, plan, drawn)),
        tuple(drawn),
        names,
        (*_hidden_findings(job, drawn), *lost_findings(settings.least, lost)),
    )
    frame = shapely.box(0, 0, *page)
    return Reordered(
        separation,
        _job(job, folder, separation, layers, drawings),
        _outlay([s for s in shapes if not s.is_empty], frame),
        _outlay([layer.shape for layer in layers], frame),
    )


def _rgb(colour: str) -> tuple[float, float, float]:
    red, green, blue = srgb_from_hex(colour).tolist()
    return red, green, blue


def _placed(job: Job, drawings: Sequence[LayerDrawing]) -> list[MultiPolygon]:
    """Return the layers' artwork in the sheet's frame."""
    named = [
        (layer.name, drawing.artwork) for layer, drawing in zip(job.layers, drawings, strict=True)
    ]
    return [placed.shape for placed in place_artworks(named, job.sheet)]


def _settings(job: Job) -> SeparationSettings:
    trap = job.registration.trap_mm or SeparationSettings().trap_mm
    return SeparationSettings(
        ground=job.ground,
        sheet_width_mm=job.sheet.width_mm,
        sheet_height_mm=job.sheet.height_mm,
        margin_mm=0.0,
        least_mm=job.material.least_opening(job.made_by.kind),
        least_bridge_mm=job.bridge_width,
        trap_mm=trap,
    )


def _hidden_findings(job: Job, shown: Sequence[int]) -> list[Finding]:
    return [
        Finding(
            "separation.hidden-layer",
            Severity.NOTE,
            "Later layers paint over all of it; it was left out.",
            layer.name,
        )
        for number, layer in enumerate(job.layers)
        if number not in shown
    ]


def _job(
    job: Job,
    folder: Path,
    separation: Separation,
    layers: Sequence[SeparatedLayer],
    drawings: Sequence[LayerDrawing],
) -> Job:
    """Return the job with its layers in the new order and their artwork in one drawing."""
    moved = rebased(job, folder)
    dx, dy = artwork_shift([d.artwork for d in drawings], job.sheet)
    plain = {
        name: LayerSettings(name="", colour="#000000", artwork="").__dict__[name]
        for name in ("scale", "pixel_mm", "painted", "threshold", "smooth_mm", "simplify_mm")
        + ("bridges_group", "text", "font")
    }
    rows = []
    for number, layer in zip(separation.plan.order, layers, strict=True):
        old = moved.layers[number]
        lines = [translate(shapely.LineString(b), dx, dy) for b in drawings[number].bridges]
        own = tuple(tuple((round(x, 3), round(y, 3)) for x, y in line.coords) for line in lines)
        rows.append(
            replace(
                old,
                **plain,
                artwork=DRAWING,
                group=file_stem(layer.name),
                bridges_mm=(*old.bridges_mm, *own),
            )
        )
    return replace(
        moved,
        layers=tuple(rows),
        sheet=replace(job.sheet, placement="centre", fit="as drawn", fit_mm=()),
        registration=replace(job.registration, trap_mm=0.0),
    )


def _outlay(shapes: Sequence[MultiPolygon], frame: shapely.Polygon) -> Outlay:
    islands, cut = 0, 0.0
    for shape in shapes:
        sheet = shapely.difference(frame, shape)
        islands += int((shapely.area(shapely.get_parts(sheet)) > _SPECK).sum()) - 1
        cut += float(shape.length)
    return Outlay(max(0, islands), cut)
