"""Marks that are drawn or engraved, not cut: edge middles, and crosses where pins go."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..job.sections import RegistrationSettings, SheetSettings
from ..sheet.registration import pin_centres
from .stroke_font import letter_lines, text_width


def edge_marks(sheet: SheetSettings, length: float = 6.0) -> tuple[Floats, ...]:
    """Return lines that mark the middle of each edge of a sheet, from the edge inwards.

    A chalk line snapped across the wall through them finds the sheet's place again.

    >>> [line.tolist() for line in edge_marks(SheetSettings(width_mm=40, height_mm=20), 5)][0]
    [[20.0, 0.0], [20.0, 5.0]]
    """
    w, h = sheet.width_mm, sheet.height_mm
    length = min(length, w / 4, h / 4)
    return (
        np.array([[w / 2, 0], [w / 2, length]]),
        np.array([[w / 2, h], [w / 2, h - length]]),
        np.array([[0, h / 2], [length, h / 2]]),
        np.array([[w, h / 2], [w - length, h / 2]]),
    )


def pin_crosses(
    registration: RegistrationSettings, sheet: SheetSettings
) -> tuple[tuple[Floats, ...], tuple[Floats, ...]]:
    """Return a cross over each pin, and letters that say where it stands.

    Returns
    -------
    crosses, letters : tuple of (n, 2) arrays
        In mm on the sheet, for a drill template.
    """
    reach = registration.hole_diameter_mm * 0.8 + 2
    height = min(4.0, sheet.width_mm / 60)
    crosses: list[Floats] = []
    letters: list[Floats] = []
    for number, (x, y) in enumerate(pin_centres(registration, sheet), 1):
        crosses.append(np.array([[x - reach, y], [x + reach, y]]))
        crosses.append(np.array([[x, y - reach], [x, y + reach]]))
        text = f"{number}: {x:g}, {y:g}"
        wide = text_width(text, height)
        at_x = x + reach + 1 if x + reach + 1 + wide < sheet.width_mm else x - reach - 1 - wide
        at_y = y + 1 if y + 1 + height < sheet.height_mm else y - 1 - height
        letters += letter_lines(text, height, (at_x, at_y))
    return tuple(crosses), tuple(letters)
