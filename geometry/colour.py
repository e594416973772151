"""Colours: from sRGB to linear light and to CIELAB, and how different two colours look.

Light mixes linearly and eyes do not, so the sRGB curve is undone at one place only: here.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .arrays import Floats
from .errors import GeometryError

#: Opacity from which on a paint hides what lies under it: a difference of a twentieth is lost in
#: the unevenness of a sprayed coat (common practice, no source).
HIDES = 0.95
_HEX = re.compile(r"#(?:[0-9a-fA-F]{3}){1,2}\Z")

#: Linear sRGB to CIE XYZ for the white point D65 (IEC 61966-2-1).
_XYZ_FROM_RGB = np.array(
    [
        [0.4124, 0.3576, 0.1805],
        [0.2126, 0.7152, 0.0722],
        [0.0193, 0.1192, 0.9505],
    ]
)
#: White of that matrix, so that sRGB white is exactly L* = 100, a* = b* = 0.
_WHITE = _XYZ_FROM_RGB.sum(axis=1)
#: Where CIELAB's cube root gives way to a straight line: (6/29)^3 and its slope (CIE 15).
_KNEE = (6 / 29) ** 3
_SLOPE = (29 / 6) ** 2 / 3


def srgb_from_hex(colour: str) -> Floats:
    """Return the sRGB values, 0 to 1, of a colour like ``"#a0522d"``.

    Raises
    ------
    GeometryError
        The text is no such colour.

    Examples
    --------
    >>> srgb_from_hex("#ff0033")
    array([1. , 0. , 0.2])
    """
    if not _HEX.match(colour):
        raise GeometryError(f"'{colour}': expected a colour like '#a0522d'.")
    full = long_hex(colour)
    return np.array([int(full[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0


def long_hex(colour: str) -> str:
    """Return a colour of three or six digits with six, in lower case (CSS Color 3, section 4.2.1).

    >>> long_hex("#0AF")
    '#00aaff'
    """
    digits = colour[1:].lower()
    return "#" + ("".join(d + d for d in digits) if len(digits) == 3 else digits)


def hex_from_srgb(srgb: ArrayLike) -> str:
    """Return sRGB values, 0 to 1, as a colour like ``"#a0522d"``; values beyond are clipped.

    >>> hex_from_srgb([1.0, 0.0, 0.2])
    '#ff0033'
    """
    r, g, b = np.rint(np.clip(np.asarray(srgb, np.float64), 0, 1) * 255).astype(int).tolist()
    return f"#{r:02x}{g:02x}{b:02x}"


def source_over(below: ArrayLike, colour: ArrayLike, alpha: ArrayLike) -> NDArray[Any]:
    """Return a colour laid over an opaque one.

    Parameters
    ----------
    below, colour : array_like (..., 3)
        In the same kind of values: sRGB as drawing programs composite, linear light where the edge
        of a coat mixes with its neighbour within a pixel.
    alpha : array_like (...)
        Opacity of the colour times the share of the place that it covers, 0 to 1.

    Returns
    -------
    array (..., 3)
        Exactly ``colour`` where alpha is 1, exactly ``below`` where it is 0.

    Notes
    -----
    W3C Compositing and Blending Level 1, 5.1: co = cs x as + cb x ab x (1 - as), with ab = 1.

    Examples
    --------
    >>> source_over([1, 1, 1], [0, 0.5, 1], 0.5)
    array([0.5 , 0.75, 1.  ])
    """
    share = np.asarray(alpha)[..., None]
    over: NDArray[Any] = np.asarray(colour) * share + np.asarray(below) * (1 - share)
    return over


def hides(opacity: float) -> bool:
    """Tell whether a paint of an opacity hides what it is sprayed over, to the eye.

    >>> hides(1.0), hides(0.5)
    (True, False)
    """
    return opacity >= HIDES


def linear_from_srgb(srgb: ArrayLike) -> Floats:
    """Return linear light, 0 to 1, of sRGB values, 0 to 1 (IEC 61966-2-1).

    >>> linear_from_srgb([0.0, 0.5, 1.0]).round(4)
    array([0.   , 0.214, 1.   ])
    """
    s = np.asarray(srgb, np.float64)
    # The power is taken of the upper part only; below it would be of negative numbers.
    bright = ((np.maximum(s, 0.04045) + 0.055) / 1.055) ** 2.4
    return np.where(s <= 0.04045, s / 12.92, bright)


def srgb_from_linear(linear: ArrayLike) -> Floats:
    """Return sRGB values, 0 to 1, of linear light: the reverse of ``linear_from_srgb``."""
    c = np.asarray(linear, np.float64)
    bright = 1.055 * np.maximum(c, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(c <= 0.0031308, 12.92 * c, bright)


def lab_from_srgb(srgb: ArrayLike) -> Floats:
    """Return CIELAB coordinates of sRGB colours, for the white point D65 and the 2 degree eye.

    Parameters
    ----------
    srgb : array_like (..., 3)
        0 to 1.

    Returns
    -------
    float64 array (..., 3)
        L*, 0 to 100, a*, b* (CIE 15:2004).

    Examples
    --------
    >>> lab_from_srgb([1.0, 1.0, 1.0]).round(6) + 0.0
    array([100.,   0.,   0.])
    """
    ratio = linear_from_srgb(srgb) @ _XYZ_FROM_RGB.T / _WHITE
    f = np.where(ratio > _KNEE, np.cbrt(ratio), _SLOPE * ratio + 4 / 29)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def srgb_from_lab(lab: ArrayLike) -> Floats:
    """Return sRGB of CIELAB coordinates: the reverse of ``lab_from_srgb``.

    Colours that sRGB lacks have a coordinate under 0 or over 1, and are not clipped.

    >>> srgb_from_lab([100.0, 0.0, 0.0]).round(6)
    array([1., 1., 1.])
    """
    values = np.asarray(lab, np.float64)
    y = (values[..., 0] + 16) / 116
    f = np.stack([y + values[..., 1] / 500, y, y - values[..., 2] / 200], axis=-1)
    ratio = np.where(f > _KNEE ** (1 / 3), f**3, (f - 4 / 29) / _SLOPE)
    linear = (ratio * _WHITE) @ np.linalg.inv(_XYZ_FROM_RGB).T
    # Light under 0 is far out anyway; the curve knows none.
    return np.where(linear < 0, linear, srgb_from_linear(np.maximum(linear, 0)))


def ciede2000(lab1: ArrayLike, lab2: ArrayLike) -> Floats:
    """Return the colour difference CIEDE2000 between CIELAB colours.

    About 1 is just seen side by side; black against white is 100.

    Parameters
    ----------
    lab1, lab2 : array_like (..., 3)
        Shapes that broadcast.

    Returns
    -------
    float64 array (...)

    Notes
    -----
    After Sharma, Wu and Dalal, "The CIEDE2000 color-difference formula: implementation notes,
    supplementary test data, and mathematical observations", Color Research and Application 30
    (2005), with all weights kL = kC = kH = 1. Hue means of grey pairs follow their notes.

    Examples
    --------
    >>> float(ciede2000([50, 2.6772, -79.7751], [50, 0, -82.7485]).round(4))
    2.0425
    """
    first, second = np.broadcast_arrays(np.asarray(lab1, np.float64), np.asarray(lab2, np.float64))
    l1, a1, b1 = first[..., 0], first[..., 1], first[..., 2]
    l2, a2, b2 = second[..., 0], second[..., 1], second[..., 2]
    # Near grey a* is stretched, as the eye sees more there.
    c7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    stretch = 1 + 0.5 * (1 - np.sqrt(c7 / (c7 + 25.0**7)))
    a1, a2 = a1 * stretch, a2 * stretch
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    grey = c1 * c2 == 0
    # Hues are angles: difference and mean go the short way round.
    turn = h2 - h1
    dh = np.where(
        grey, 0.0, np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn))
    )
    total = h1 + h2
    across = np.where(total < 360, total + 360, total - 360) / 2
    mean_h = np.where(grey, total, np.where(np.abs(turn) > 180, across, total / 2))
    mean_l, mean_c = (l1 + l2) / 2, (c1 + c2) / 2
    t = (
        1
        - 0.17 * np.cos(np.radians(mean_h - 30))
        + 0.24 * np.cos(np.radians(2 * mean_h))
        + 0.32 * np.cos(np.radians(3 * mean_h + 6))
        - 0.20 * np.cos(np.radians(4 * mean_h - 63))
    )
    off_centre = (mean_l - 50) ** 2
    s_l = 1 + 0.015 * off_centre / np.sqrt(20 + off_centre)
    s_c = 1 + 0.045 * mean_c
    s_h = 1 + 0.015 * mean_c * t
    m7 = mean_c**7
    twist = np.radians(60 * np.exp(-(((mean_h - 275) / 25) ** 2)))
    r_t = -2 * np.sqrt(m7 / (m7 + 25.0**7)) * np.sin(twist)
    lightness = (l2 - l1) / s_l
    chroma = (c2 - c1) / s_c
    hue = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(dh / 2)) / s_h
    # Rounding can carry the square of nothing below zero.
    square = lightness**2 + chroma**2 + hue**2 + r_t * chroma * hue
    difference: Floats = np.sqrt(np.maximum(square, 0.0))
    return difference
