"""Where a label fits on a sheet: a line of text on solid sheet, as near an edge as can be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Floats
from ..tolerance import ROUNDING
from .stroke_font import letter_lines, text_width

#: Steps along and away from an edge at which a label is tried, in heights of its letters.
_STEP = 0.5
#: Places looked at in one go, first and later: as a rule one of the first is free.
_AT_FIRST, _AT_ONCE = 8, 200


@dataclass(frozen=True)
class PlacedLabel:
    """A label that fits.

    Parameters
    ----------
    text : str
    height : float
        Height of capitals in mm.
    lines : tuple of (n, 2) arrays
        Its strokes on the sheet, in mm.
    box : Polygon
        What it covers.
    """

    text: str
    height: float
    lines: tuple[Floats, ...]
    box: Polygon


def place_label(
    text: str,
    free: Polygon | MultiPolygon,
    *,
    height: float,
    least_height: float = 2.0,
    clearance: float = 1.0,
) -> PlacedLabel | None:
    """Put a line of text where the sheet is solid.

    Tried along the lower edge, the upper edge, and upwards along left and right ones, from the
    edges inwards; where nothing is free the letters get smaller.

    Parameters
    ----------
    text : str
    free : polygon or polygons
        Where the label may lie.
    height, least_height : float
        Height of capitals in mm, wanted and at least.
    clearance : float
        Least distance in mm from the text to the edge of ``free``.

    Returns
    -------
    PlacedLabel or None
        None where the text fits nowhere.

    Examples
    --------
    >>> label = place_label("1", shapely.box(0, 0, 50, 20), height=4.0)
    >>> label.box.bounds
    (1.0, 1.0, 3.6666666666666665, 5.0)
    """
    if free.is_empty or not text:
        return None
    shapely.prepare(free)
    size = height
    while size >= least_height - ROUNDING:
        found = _place(text, free, size, clearance)
        if found is not None:
            return found
        size *= 0.75
    return None


def _first_within(corners: Floats, size: tuple[float, float], free: shapely.Geometry) -> int | None:
    """Return the first box that lies within ``free``, by lower left corners and their size."""
    start, count = 0, _AT_FIRST
    while start < len(corners):
        x, y = corners[start : start + count].T
        fits = np.flatnonzero(shapely.covers(free, shapely.box(x, y, x + size[0], y + size[1])))
        if len(fits):
            return start + int(fits[0])
        start, count = start + count, min(5 * count, _AT_ONCE)
    return None


def _place(
    text: str, free: Polygon | MultiPolygon, height: float, clearance: float
) -> PlacedLabel | None:
    x0, y0, x1, y1 = free.bounds
    wide = text_width(text, height)
    step = _STEP * height
    for upright in (False, True):
        run, rise = (height, wide) if upright else (wide, height)
        if run + 2 * clearance > x1 - x0 or rise + 2 * clearance > y1 - y0:
            continue
        xs = np.arange(x0 + clearance, x1 - clearance - run + ROUNDING, step)
        ys = np.arange(y0 + clearance, y1 - clearance - rise + ROUNDING, step)
        grid_x, grid_y = (g.ravel() for g in np.meshgrid(xs, ys))
        # Nearest to an edge first: lower or left edge before upper or right one.
        depth = (
            np.minimum(grid_x - x0, x1 - grid_x - run)
            if upright
            else np.minimum(grid_y - y0, y1 - grid_y - rise)
        )
        order = np.lexsort((grid_x, grid_y, np.round(depth, 6)))
        # A few thousand tries are plenty; each is one prepared look-up.
        order = order[:6000]
        corners = np.stack([grid_x[order], grid_y[order]], axis=1) - clearance
        first = _first_within(corners, (run + 2 * clearance, rise + 2 * clearance), free)
        if first is not None:
            k = order[first]
            x, y = float(grid_x[k]), float(grid_y[k])
            at = (x + height, y) if upright else (x, y)
            lines = letter_lines(text, height, at, 90.0 if upright else 0.0)
            return PlacedLabel(text, height, lines, shapely.box(x, y, x + run, y + rise))
    return None
