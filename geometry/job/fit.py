"""Size by words: a picture fitted to a sheet, or a sheet to a picture, keeping its shape."""

from __future__ import annotations

import math

from ..errors import JobError
from ..tolerance import TOLERANCES

#: Longer side of the sheets in mm where no size is given: that of A3 (ISO 216).
USUAL_SIDE_MM = 420.0


def fit_scale(
    size: tuple[float, float], width: float | None, height: float | None, margin: float
) -> float:
    """Return what a picture's lengths are multiplied by so that it fills a sheet.

    Parameters
    ----------
    size : tuple of float
        The picture's width and height, in any unit.
    width, height : float, optional
        Of the sheet in mm; where one is absent, it follows the picture. With neither, the longer
        side is ``USUAL_SIDE_MM``.
    margin : float
        Uncut edge in mm.

    Raises
    ------
    JobError
        The margin leaves no room.

    Examples
    --------
    >>> fit_scale((24, 12), 440.0, None, 20.0)
    16.666666666666668
    """
    edge = 2 * margin
    inner_width = (width or (math.inf if height else USUAL_SIDE_MM)) - edge
    inner_height = (height or (math.inf if width else USUAL_SIDE_MM)) - edge
    if min(inner_width, inner_height) <= 0:
        given = " x ".join(f"{v:g}" for v in (width, height) if v) or f"{USUAL_SIDE_MM:g}"
        raise JobError(
            f"margin_mm = {margin:g}: expected less than half of the sheet's {given} mm."
        )
    return min(inner_width / size[0], inner_height / size[1])


def fit_sheet(
    page: tuple[float, float], width: float | None, height: float | None, margin: float
) -> tuple[float, float]:
    """Return the size in mm of the sheet for a picture in mm that was fitted to it.

    Sheets that follow the picture are cut to whole millimetres.

    Parameters
    ----------
    page : tuple of float
        Width and height of the picture.
    width, height : float or None
        Stated size of the sheet; None where it follows the picture.
    margin : float
        Between picture and edge.

    Examples
    --------
    >>> fit_sheet((400.0, 199.2), 440.0, None, 20.0)
    (440.0, 240.0)
    """
    edge = 2 * margin - TOLERANCES.same_point
    return (
        float(width or math.ceil(page[0] + edge)),
        float(height or math.ceil(page[1] + edge)),
    )
