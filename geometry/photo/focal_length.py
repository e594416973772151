"""Focal length: what a photo's EXIF data say of the lens, in pixels of the photo."""

from __future__ import annotations

import math
import warnings
from pathlib import Path

from PIL import Image

#: Diagonal of a 36 x 24 mm frame, that 35 mm equivalents are told for (CIPA DCG-001; from memory).
DIAGONAL_35 = math.hypot(36.0, 24.0)
#: Of the main camera of a usual phone, where nothing else is known (common practice, no source).
USUAL_35 = 26.0
#: Exif 2.32, 4.6.5: tags of the lens and of the sensor's pixels.
_FOCAL, _FOCAL_35, _X_RESOLUTION, _RESOLUTION_UNIT, _WIDTH, _EXIF = (
    0x920A,
    0xA405,
    0xA20E,
    0xA210,
    0xA002,
    0x8769,
)
#: FocalPlaneResolutionUnit in mm.
_UNITS = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}


def focal_from_35(equivalent_mm: float, width: int, height: int) -> float:
    """Return a focal length in pixels from its 35 mm equivalent, by the diagonals.

    Parameters
    ----------
    equivalent_mm : float
    width, height : int
        Of the picture, in pixels.

    Examples
    --------
    >>> round(focal_from_35(43.2666, 4000, 3000))
    5000
    """
    return equivalent_mm / DIAGONAL_35 * math.hypot(width, height)


def exif_focal(path: Path) -> float | None:
    """Return the focal length of a photo in its pixels, None where the file does not tell it.

    Parameters
    ----------
    path : Path
        An image file that Pillow opens.

    Notes
    -----
    FocalLengthIn35mmFilm by the diagonals; else FocalLength times FocalPlaneXResolution, brought
    from the camera's pixels (PixelXDimension) to those of the file. Both hold for the whole frame:
    a photo that was cropped has lost what they refer to.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with Image.open(path) as image:
            tags = image.getexif().get_ifd(_EXIF)
            width, height = image.size
    equivalent = _number(tags.get(_FOCAL_35))
    if equivalent:
        return focal_from_35(equivalent, width, height)
    focal, dense = _number(tags.get(_FOCAL)), _number(tags.get(_X_RESOLUTION))
    unit = _UNITS.get(int(_number(tags.get(_RESOLUTION_UNIT)) or 2))
    if not (focal and dense and unit):
        return None
    taken = _number(tags.get(_WIDTH)) or width
    return focal / unit * dense * width / taken


def _number(value: object) -> float | None:
    """Return a tag as a number above 0; a damaged one is as good as none."""
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None
