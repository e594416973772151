"""The job of a tracing: the drawing's groups as layers, ready to be built."""

from __future__ import annotations

from ..job.job import Job
from ..job.names import file_stem
from ..job.processes import ProcessSettings
from ..job.sections import LayerSettings, RegistrationSettings, SheetSettings
from .layered_svg import DrawnLayer, layered_svg
from .trace import Tracing

DRAWING = "layers.svg"
# Holes and pegs of 5 mm, in margins that have room for them: common practice, no source.
_HOLE_MM, _ROOM_MM = 5.0, 16.0


def traced_job(tracing: Tracing, title: str) -> Job:
    """Return the job of a tracing, its artwork in ``DRAWING`` beside the job file."""
    settings = tracing.settings
    width, height = tracing.extent.sheet
    margin = settings.margin_mm
    registration = (
        RegistrationSettings(hole_diameter_mm=_HOLE_MM, inset_mm=margin / 2)
        if margin >= _ROOM_MM
        else RegistrationSettings()
    )
    return Job(
        title=title,
        ground=tracing.ground,
        sheet=SheetSettings(
            width_mm=width,
            height_mm=height,
            margin_mm=margin,
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
        registration=registration,
        process=ProcessSettings(kind=settings.process),
    )


def traced_drawing(tracing: Tracing, title: str) -> str:
    """Return the text of the drawing that ``traced_job`` names."""
    return layered_svg(
        [
            DrawnLayer(file_stem(layer.role.name), layer.role.name, layer.colour, layer.curves)
            for layer in tracing.layers
        ],
        tracing.extent.page,
        title,
        tracing.ground,
        f"Traced from {tracing.picture.name}; curves within {tracing.extent.tolerance:g} mm.",
    )
