"""Registration: features at the same place on every sheet and on the wall.

Holes or notches lie so that a sheet that is turned or flipped does not fit on the pins.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon

from ..finding import Finding, Severity
from ..job.sections import RegistrationSettings, SheetSettings

#: Segments a quarter circle: a chord of a 10 mm hole is off by less than 0.002 mm.
QUARTER_SEGMENTS = 32
#: A turned sheet still goes onto the pins when its holes lie off by less than this share of the
#: diameter: common practice is a clearance of a few per cent, so this is far on the safe side.
_FITS_SHARE = 0.25


def pin_centres(
    registration: RegistrationSettings, sheet: SheetSettings
) -> tuple[tuple[float, float], ...]:
    """Return the centres of the pins in mm, from the sheet's lower left corner.

    Without centres of the job's own there are three. Holes: lower left, lower right, and upper
    left, the right one moved in by half the inset. Notches: in the left edge at a third of its
    height, in the right one above its middle, in the lower one at a third of its width; with no
    notch in the upper edge. Turned or flipped, a sheet no longer fits on the pins.
    """
    if registration.hole_diameter_mm == 0:
        return ()
    own = registration.holes_mm
    d = registration.inset_mm
    width, height = sheet.width_mm, sheet.height_mm
    if registration.feature == "notches":
        return ((0.0, height / 3), (width, height / 2 + d), (width / 3, 0.0), *own)
    return own or ((d, d), (width - 1.5 * d, d), (d, height - d))


def turning_centre(registration: RegistrationSettings, sheet: SheetSettings) -> tuple[float, float]:
    """Return the point that a sheet turns about in register: the middle of its pins.

    Without pins it is the middle of the sheet, for marks at the edges' middles are laid on lines.

    >>> turning_centre(RegistrationSettings(), SheetSettings(width_mm=100, height_mm=60))
    (50.0, 30.0)
    """
    centres = pin_centres(registration, sheet)
    if not centres:
        return sheet.width_mm / 2, sheet.height_mm / 2
    x, y = np.mean(centres, axis=0).tolist()
    return x, y


def pins(registration: RegistrationSettings, sheet: SheetSettings) -> MultiPolygon:
    """Return the pins as whole discs in mm; those of notches stand half outside the sheet."""
    centres = pin_centres(registration, sheet)
    if not centres:
        return MultiPolygon()
    discs = shapely.buffer(
        shapely.points(centres), registration.hole_diameter_mm / 2, quad_segs=QUARTER_SEGMENTS
    )
    return MultiPolygon(list(discs))


def holes(registration: RegistrationSettings, sheet: SheetSettings) -> MultiPolygon:
    """Return what registration takes out of a sheet, as polygons in mm: holes, or half holes.

    Holes that do not lie within the sheet are left out, and told by ``registration_findings``.
    """
    discs = pins(registration, sheet)
    if registration.feature == "holes":
        centres = pin_centres(registration, sheet)
        fits = [_within(at, registration, sheet) for at in centres]
        return MultiPolygon([d for d, fit in zip(discs.geoms, fits, strict=True) if fit])
    plate = shapely.box(0, 0, sheet.width_mm, sheet.height_mm)
    return MultiPolygon([disc.intersection(plate) for disc in discs.geoms])


def wrong_ways_that_fit(
    registration: RegistrationSettings, sheet: SheetSettings
) -> tuple[str, ...]:
    """Return the ways of laying a sheet wrongly in which it still goes onto the pins.

    >>> square = SheetSettings(width_mm=100, height_mm=100)
    >>> wrong_ways_that_fit(RegistrationSettings(hole_diameter_mm=5), square)
    ()
    >>> two = RegistrationSettings(hole_diameter_mm=5, holes_mm=((10, 50), (90, 50)))
    >>> wrong_ways_that_fit(two, square)
    ('turned by half', 'flipped left to right', 'flipped top to bottom')
    """
    pins = np.array(pin_centres(registration, sheet)).reshape(-1, 2)
    if len(pins) == 0:
        return ()
    middle = np.array([sheet.width_mm, sheet.height_mm]) / 2
    ways = {
        "turned by half": [[-1, 0], [0, -1]],
        "flipped left to right": [[-1, 0], [0, 1]],
        "flipped top to bottom": [[1, 0], [0, -1]],
    }
    if sheet.width_mm == sheet.height_mm:
        ways |= {
            "turned by a quarter": [[0, 1], [-1, 0]],
            "flipped over a diagonal": [[0, 1], [1, 0]],
            "flipped over the other diagonal": [[0, -1], [-1, 0]],
        }
    near = _FITS_SHARE * registration.hole_diameter_mm
    found = []
    for name, matrix in ways.items():
        moved = (pins - middle) @ np.array(matrix, float) + middle
        apart = np.hypot(*(moved[:, None] - pins[None]).transpose(2, 0, 1))
        if (apart.min(axis=0) <= near).all():
            found.append(name)
    return tuple(found)


def _within(
    centre: tuple[float, float], registration: RegistrationSettings, sheet: SheetSettings
) -> bool:
    x, y = centre
    nearest = min(x, y, sheet.width_mm - x, sheet.height_mm - y)
    return registration.hole_diameter_mm / 2 < nearest


def _off_the_sheet(
    pins: tuple[tuple[float, float], ...],
    registration: RegistrationSettings,
    sheet: SheetSettings,
) -> list[Finding]:
    """Return a finding for each hole that runs over an edge of the sheet, or lies beyond it."""
    if registration.feature != "holes":
        return []
    told = []
    for x, y in pins:
        if _within((x, y), registration, sheet):
            continue
        told.append(
            Finding(
                "registration.hole-off-sheet",
                Severity.SPOILS,
                f"A registration hole of {registration.hole_diameter_mm:g} mm about "
                f"({x:g}, {y:g}) mm does not lie within the sheet of {sheet.width_mm:g} x "
                f"{sheet.height_mm:g} mm and is left out; change "
                f"{'holes_mm' if registration.holes_mm else 'inset_mm'} or hole_diameter_mm.",
                place=(min(max(x, 0.0), sheet.width_mm), min(max(y, 0.0), sheet.height_mm)),
            )
        )
    return told


def registration_findings(
    registration: RegistrationSettings, sheet: SheetSettings
) -> tuple[Finding, ...]:
    """Tell where the pins let a sheet be laid wrongly, and holes that the sheet has no room for."""
    pins = pin_centres(registration, sheet)
    found = _off_the_sheet(pins, registration, sheet)
    if len(pins) == 1:
        found.append(
            Finding(
                "registration.turns",
                Severity.WARNING,
                "One registration hole lets the sheet turn about its pin; set two or three.",
                place=pins[0],
            )
        )
    ways = () if found else wrong_ways_that_fit(registration, sheet)
    if len(pins) > 1 and ways:
        found.append(
            Finding(
                "registration.fits-wrongly",
                Severity.WARNING,
                f"The registration holes fit also when the sheet is {' or '.join(ways)}; move one "
                f"hole by at least {registration.hole_diameter_mm:g} mm.",
            )
        )
    return tuple(found)
