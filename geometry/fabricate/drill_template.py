"""The drill template: where the pins stand in wall or board, at true size."""

from __future__ import annotations

import numpy as np
import shapely

from ..job.job import Job
from ..sheet.registration import pins
from .cut_sheet import CutSheet
from .kerf import CutPath, CutPaths
from .marks import edge_marks, pin_crosses
from .stroke_font import letter_lines, text_width


def drill_template(job: Job) -> CutSheet | None:
    """Return the drill template of a job, or None where it has no pins.

    Pin holes are drawn as openings, each under a cross with its place from the lower left corner;
    the sheet's outline and the middles of its edges show how it lies.

    Parameters
    ----------
    job : Job
    """
    discs = pins(job.registration, job.sheet)
    if discs.is_empty:
        return None
    size = (job.sheet.width_mm, job.sheet.height_mm)
    none = np.empty((0, 2))
    outline = shapely.get_coordinates(shapely.box(0, 0, *size))[:-1]
    crosses, letters = pin_crosses(job.registration, job.sheet)
    text = f"pins {job.registration.hole_diameter_mm:g} mm - this side up"
    height = min(5.0, size[0] / 40)
    at = ((size[0] - text_width(text, height)) / 2, size[1] / 2)
    return CutSheet(
        "Drill template",
        size,
        CutPaths(
            tuple(CutPath(shapely.get_coordinates(d.exterior)[:-1], none) for d in discs.geoms),
            (CutPath(outline, none),),
            (),
        ),
        (*crosses, *edge_marks(job.sheet)),
        (*letters, *letter_lines(text, height, at)),
    )
