"""Palettes: which colour of the picture, or which can, stands for each layer and for the wall."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Indices, Plane
from ..colour import hex_from_srgb, lab_from_srgb, srgb_from_hex, srgb_from_lab
from .tones import assign_cans

# A shadow is remembered by its darker part, a highlight and the wall by their lighter ones.
_PART = {"shadow": (0.0, 0.6), "highlight": (0.4, 1.0), "ground": (0.2, 1.0)}
_MOST_PIXELS = 20_000
# Paint that reads as black or white from afar, yet has a hue: common practice, no source.
_DARKEST, _LIGHTEST = 12.0, 94.0
# Nothing goes farther from the mean than by this factor: a fog stays a fog.
_FARTHEST = 2.0
# Colours closer than this (L*) are one tone, which is not torn apart.
_ALIKE = 5.0


def telling_colour(srgb: Plane, role: str) -> Floats:
    """Return the colour that pixels are remembered by.

    The mean of the more colourful half of them, of a shadow's darker and a highlight's lighter
    part. The plain mean of everything is mud: it lies nearer grey than any of the colours.

    Parameters
    ----------
    srgb : array (n, 3)
        sRGB, 0 to 1, at least one.
    role : str
        ``shadow``, ``highlight`` or another word.

    Examples
    --------
    >>> pixels = np.float32([[0.9, 0.1, 0.1], [0.5, 0.5, 0.5]])
    >>> telling_colour(pixels, "mid-tone").round(2)
    array([0.9, 0.1, 0.1])
    """
    some = srgb[:: max(1, len(srgb) // _MOST_PIXELS)].astype(np.float64)
    lab = lab_from_srgb(some)
    low, high = np.quantile(lab[:, 0], _PART.get(role, (0.0, 1.0)))
    part = (lab[:, 0] >= low) & (lab[:, 0] <= high)
    some, lab = some[part], lab[part]
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    colour: Floats = some[chroma >= np.median(chroma)].mean(axis=0)
    return colour


def spread_lightness(srgb: Floats, share: float, areas: ArrayLike | None = None) -> Floats:
    """Return colours whose lightness is spread from near black to near white.

    Their order and hues stay, and what chroma sRGB has room for. The darkest goes towards L* = 12
    and the lightest towards L* = 94, unless they are beyond, and none to more than twice its
    distance from the mean. The mean stays, so that what covers much moves little, and
    tones that nearly agree are not torn apart.

    Parameters
    ----------
    srgb : float64 array (n, 3)
        0 to 1.
    share : float
        How much of the way is gone: 0 leaves the colours as they are.
    areas : array_like (n,), optional
        How much each colour shows; equal when None.

    Examples
    --------
    >>> browns = np.array([[0.3, 0.2, 0.1], [0.5, 0.35, 0.2], [0.75, 0.6, 0.5]])
    >>> wide = spread_lightness(browns, 1.0)
    >>> lab_from_srgb(browns)[:, 0].round(), lab_from_srgb(wide)[:, 0].round()
    (array([24., 41., 66.]), array([12., 40., 89.]))
    """
    lab = lab_from_srgb(srgb)
    own = lab[:, 0]
    low, high = float(own.min()), float(own.max())
    if share <= 0 or high - low < _ALIKE:
        return srgb
    weights = None if areas is None else np.asarray(areas, np.float64)
    mean = float(np.average(own, weights=weights))
    darker = (mean - min(low, _DARKEST)) / max(mean - low, 1e-9)
    lighter = (max(high, _LIGHTEST) - mean) / max(high - mean, 1e-9)
    factor = np.minimum(np.where(own < mean, darker, lighter), _FARTHEST)
    lab[:, 0] = own + share * (factor - 1) * (own - mean)
    return np.array([_within_srgb(colour) for colour in lab])


def _within_srgb(lab: Floats) -> Floats:
    """Return the sRGB colour of this lightness and hue with as much of the chroma as there is."""
    if _fits(srgb_from_lab(lab)):
        return np.clip(srgb_from_lab(lab), 0, 1)
    least, most = 0.0, 1.0
    for _ in range(20):
        middle = (least + most) / 2
        fits = _fits(srgb_from_lab(lab * [1, middle, middle]))
        least, most = (middle, most) if fits else (least, middle)
    return np.clip(srgb_from_lab(lab * [1, least, least]), 0, 1)


def _fits(srgb: Floats) -> bool:
    return bool((srgb >= -1e-6).all() and (srgb <= 1 + 1e-6).all())


def layer_colours(
    srgb: Plane,
    shown: Indices,
    roles: Sequence[str],
    ground: str | None,
    cans: Sequence[str],
    contrast: float = 0.0,
) -> tuple[str, tuple[str, ...]]:
    """Return the wall's colour and each layer's.

    Parameters
    ----------
    srgb : float32 array (rows, columns, 3)
    shown : int array (rows, columns)
        What is seen in each pixel: 0 the wall, 1 the first layer, and so on.
    roles : sequence of str
        The layers' roles.
    ground : str, optional
        The wall's colour, if it is given.
    cans : sequence of str
        The artist's own colours; empty to take the picture's.
    contrast : float
        How far the lightness of the picture's colours is spread, see :func:`spread_lightness`.
    """
    found = []
    for number, role in enumerate(("ground", *roles)):
        pixels = srgb[shown == number]
        # A layer that is covered wholly, and a wall that never shows.
        found.append(telling_colour(pixels if len(pixels) else srgb.reshape(-1, 3), role))
    return painted_in(np.array(found), shown, ground, cans, contrast)


def painted_in(
    found: Floats, shown: Indices, ground: str | None, cans: Sequence[str], contrast: float
) -> tuple[str, tuple[str, ...]]:
    """Return the wall's colour and each layer's as they are to be sprayed.

    Parameters
    ----------
    found : float64 array (layers + 1, 3)
        The picture's own colours, sRGB 0 to 1, the wall's first.
    shown : int array (rows, columns)
    ground, cans, contrast
        As for :func:`layer_colours`.
    """
    found = found.copy()
    if ground is not None:
        found[0] = srgb_from_hex(ground)
    areas = np.bincount(shown.ravel(), minlength=len(found)) + 1.0
    colours = spread_lightness(found, contrast, areas)
    wall = ground or hex_from_srgb(colours[0])
    if not cans:
        return wall, tuple(hex_from_srgb(c) for c in colours[1:])
    # The wall's own colour would not be seen on it: left out while there are others enough.
    others = [c for c in cans if c.lower() != wall.lower()]
    cans = others if len(others) > len(found) - 2 else cans
    own = np.array([srgb_from_hex(c) for c in cans])
    chosen = assign_cans(lab_from_srgb(colours[1:]), lab_from_srgb(own))
    return wall, tuple(cans[k].lower() for k in chosen)
