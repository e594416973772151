"""A job on sheets of another size, its artwork fitted to them."""

from __future__ import annotations

from dataclasses import replace

from ..errors import JobError
from .check import check_job
from .fit import fit_scale, fit_sheet
from .job import Job


def job_on_sheets(
    job: Job, artwork: tuple[float, float], width: float | None, height: float | None
) -> Job:
    """Return a job whose artwork fills sheets of a stated size.

    Parameters
    ----------
    job : Job
    artwork : tuple of float
        Width and height in mm of its artwork as drawn.
    width, height : float, optional
        Of the sheets in mm; where one is absent it follows the artwork's shape.

    Raises
    ------
    JobError
        The margin leaves no room, or the job names places on its sheets, which another size moves.
    """
    margin = job.sheet.margin_mm
    scale = fit_scale(artwork, width, height, margin)
    page = (artwork[0] * scale, artwork[1] * scale)
    sheet_width, sheet_height = fit_sheet(page, width, height, margin)
    if (sheet_width, sheet_height) != (job.sheet.width_mm, job.sheet.height_mm):
        _refuse_places(job)
    sheet = replace(job.sheet, width_mm=sheet_width, height_mm=sheet_height, fit="sheet", fit_mm=())
    resized = replace(job, sheet=sheet, settled=())
    check_job(resized)
    return resized


def _refuse_places(job: Job) -> None:
    """Refuse a job that names places on its sheets."""
    places = {
        "[[bridge]]": job.bridges_by_hand,
        "[[area]]": job.areas,
        "[bridges]: keep_free_mm": job.bridges.keep_free_mm,
        "[bridges]: keep_free_areas_mm": job.bridges.keep_free_areas_mm,
        "[registration]: holes_mm": job.registration.holes_mm,
    }
    for layer in job.layers:
        places[f"layer '{layer.name}': bridges_mm"] = layer.bridges_mm
        places[f"layer '{layer.name}': mend_mm"] = layer.mend_mm
        places[f"layer '{layer.name}': keep_mm"] = layer.keep_mm
        if layer.text:
            places[f"layer '{layer.name}': text"] = (layer.text,)
    named = next((name for name, value in places.items() if value), None)
    if named is not None:
        raise JobError(
            f"{named} names places on sheets of {job.sheet.width_mm:g} x {job.sheet.height_mm:g} "
            "mm, which another size would move; change width_mm, height_mm and the places in the "
            "job file, with fit = 'sheet'."
        )
