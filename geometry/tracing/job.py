"""The job of a tracing: the drawing's groups as layers, ready to be built."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from ..artwork.care import MOST_CARE
from ..job.job import Job
from ..job.names import file_stem
from ..job.processes import ProcessSettings
from ..job.sections import BridgeSettings, LayerSettings, RegistrationSettings, SheetSettings
from .faces import SIDES
from .features import care_of
from .layered_svg import DrawnLayer, Underlay, layered_svg
from .trace import Tracing

DRAWING, CARE = "layers.svg", "care.png"
# Holes and pegs of 5 mm, in margins that have room for them: common practice, no source.
_HOLE_MM, _ROOM_MM = 5.0, 16.0


def traced_job(tracing: Tracing, title: str) -> Job:
    """Return the job of a tracing, its artwork in ``DRAWING`` beside the job file."""
    settings = tracing.settings
    width, height = tracing.extent.sheet
    return Job(
        title=title,
        ground=tracing.ground,
        sheet=SheetSettings(
            width_mm=width,
            height_mm=height,
            margin_mm=settings.margin_mm,
            material=settings.material,
            thickness_mm=settings.sheet_material.thicknesses_mm[0],
        ),
        layers=tuple(
            LayerSettings(
                name=layer.role.name,
                role=layer.role.role,
                colour=layer.colour,
                artwork=DRAWING,
                group=file_stem(layer.role.name),
            )
            for layer in tracing.layers
        ),
        registration=usual_registration(settings.margin_mm),
        process=ProcessSettings(kind=settings.process),
        bridges=_bridges(tracing),
    )


def usual_registration(margin: float) -> RegistrationSettings:
    """Return holes in the middle of a margin (mm), where it has room for them."""
    if margin < _ROOM_MM:
        return RegistrationSettings()
    return RegistrationSettings(hole_diameter_mm=_HOLE_MM, inset_mm=margin / 2)


def _bridges(tracing: Tracing) -> BridgeSettings:
    """Return bridges that keep out of irises, and that cost more near the marks of a face."""
    if not tracing.known.faces:
        return BridgeSettings()
    extent = tracing.extent
    mm = extent.page[0] / tracing.picture.full[0]
    left = (extent.sheet[0] - extent.page[0]) / 2
    top = (extent.sheet[1] + extent.page[1]) / 2
    areas = []
    for face in tracing.known.faces:
        for side in SIDES:
            turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
            rim = face.iris_radius(side) * np.column_stack([np.cos(turn), np.sin(turn)])
            x, y = ((face[f"{side}_iris"][0] + rim) * mm).T
            places = zip((left + x).round(2).tolist(), (top - y).round(2).tolist(), strict=True)
            areas.append(tuple(places))
    return BridgeSettings(keep_free_areas_mm=tuple(areas), care=CARE)


def care_picture(tracing: Tracing) -> Image.Image:
    """Return how much worse a bridge is in each place, black as elsewhere, white eight times."""
    scale = tracing.picture.shape[1] / tracing.picture.full[0]
    care = care_of([face.scaled(scale) for face in tracing.known.faces], tracing.picture.shape)
    return Image.fromarray(np.rint((care - 1) * (255 / (MOST_CARE - 1))).astype(np.uint8))


def drawn_layers(tracing: Tracing) -> tuple[DrawnLayer, ...]:
    """Return the groups of the drawing that ``traced_job`` names."""
    return tuple(
        DrawnLayer(file_stem(layer.role.name), layer.role.name, layer.colour, layer.curves)
        for layer in tracing.layers
    )


def traced_drawing(tracing: Tracing, title: str, job_digest: str = "") -> str:
    """Return the text of the drawing that ``traced_job`` names.

    Parameters
    ----------
    tracing : Tracing
    title : str
        Of the SVG.
    job_digest : str
        What tells later whether the job file beside it was changed by hand; none when empty.
    """
    pixels = Image.fromarray(np.rint(tracing.picture.srgb * 255).astype(np.uint8))
    photo = io.BytesIO()
    pixels.save(photo, "JPEG", quality=80)
    return layered_svg(
        drawn_layers(tracing),
        tracing.extent.page,
        title,
        tracing.ground,
        f"Traced from {tracing.picture.name}; curves within {tracing.extent.tolerance:g} mm.",
        Underlay(photo.getvalue()),
        job_digest,
    )
