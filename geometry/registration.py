"""Registration: features at the same place on every sheet and on the wall."""

from __future__ import annotations

import shapely
from shapely import MultiPolygon

from .job import RegistrationSettings, SheetSettings

#: Segments a quarter circle: a chord of a 10 mm hole is off by less than 0.002 mm.
QUARTER_SEGMENTS = 32


def hole_centres(
    registration: RegistrationSettings, sheet: SheetSettings
) -> tuple[tuple[float, float], ...]:
    """Return the centres of the registration holes in mm, from the sheet's lower left corner.

    Without centres of the job's own there are three: lower left, lower right, and upper left, the
    right one moved in by half the inset. Turned or flipped, a sheet no longer fits on the pins.
    """
    if registration.hole_diameter_mm == 0:
        return ()
    if registration.holes_mm:
        return registration.holes_mm
    d = registration.inset_mm
    return (
        (d, d),
        (sheet.width_mm - 1.5 * d, d),
        (d, sheet.height_mm - d),
    )


def holes(registration: RegistrationSettings, sheet: SheetSettings) -> MultiPolygon:
    """Return the registration holes as polygons in mm."""
    centres = hole_centres(registration, sheet)
    if not centres:
        return MultiPolygon()
    discs = shapely.buffer(
        shapely.points(centres), registration.hole_diameter_mm / 2, quad_segs=QUARTER_SEGMENTS
    )
    return MultiPolygon(list(discs))
