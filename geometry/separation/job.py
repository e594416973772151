"""The job and the drawing of a separation, in the form that a tracing's have."""

from __future__ import annotations

import numpy as np
import shapely

from ..job.job import Job
from ..job.names import file_stem
from ..job.processes import ProcessSettings
from ..job.sections import LayerSettings, SheetSettings
from ..planar.arrangement import lines_once
from ..tracing.job import DRAWING, usual_registration
from ..tracing.layered_svg import DrawnLayer, Seams, Underlay, layered_svg
from .separate import Separation

#: Media types of the pictures that lie under the layers.
_KINDS = {
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
}


def separated_job(separation: Separation, title: str) -> Job:
    """Return the job of a separation, its artwork in ``DRAWING`` beside the job file."""
    settings = separation.settings
    width, height = separation.sheet
    return Job(
        title=title,
        ground=separation.ground,
        sheet=SheetSettings(
            width_mm=width,
            height_mm=height,
            margin_mm=settings.margin_mm,
            material=settings.material,
            thickness_mm=settings.sheet_material.thicknesses_mm[0],
        ),
        layers=tuple(
            LayerSettings(
                name=layer.name,
                colour=layer.colour,
                artwork=DRAWING,
                group=file_stem(layer.name),
            )
            for layer in separation.layers
        ),
        registration=usual_registration(settings.margin_mm),
        process=ProcessSettings(kind=settings.process),
    )


def separated_layers(separation: Separation) -> tuple[DrawnLayer, ...]:
    """Return the groups of the drawing that ``separated_job`` names."""
    return tuple(
        DrawnLayer(file_stem(layer.name), layer.name, layer.colour, layer.curves)
        for layer in separation.layers
    )


def separated_drawing(separation: Separation, title: str, job_digest: str = "") -> str:
    """Return the text of the drawing: its layers over the original, seams over all.

    Parameters
    ----------
    separation : Separation
    title : str
        Of the SVG.
    job_digest : str
        What tells later whether the job file beside it was changed by hand; none when empty.
    """
    source = separation.source
    underlay = None
    kind = _KINDS.get(source.suffix.lower())
    if kind is not None and source.is_file():
        underlay = Underlay(source.read_bytes(), kind, label="Original, never cut")
    trap = separation.settings.trap_mm
    tolerance = separation.settings.tolerance(separation.page)
    of_what = f"Separated from {source.name}" if source.name else "Put in another spray order"
    return layered_svg(
        separated_layers(separation),
        separation.page,
        title,
        separation.ground,
        f"{of_what}; curves within {tolerance:g} mm. Layers "
        f"run {trap:g} mm under later ones: the seams show where one ends for the eye.",
        underlay,
        job_digest,
        Seams(_seams(separation)),
    )


def _seams(separation: Separation) -> tuple[shapely.Geometry, ...]:
    """Return the lines where two colours meet, each once."""
    seen = np.array([layer.seen for layer in separation.layers], object)
    edges = lines_once(shapely.get_rings(shapely.get_parts(seen)))
    lines = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(edges)))
    thin = shapely.simplify(lines, separation.settings.tolerance(separation.page))
    return tuple(shapely.get_coordinates(line) for line in thin)
