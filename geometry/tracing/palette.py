"""Palettes: which colour of the picture, or which can, stands for each layer and for the wall."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..colour import hex_from_srgb, lab_from_srgb, srgb_from_hex
from .tones import assign_cans

Plane = NDArray[np.float32]

# A shadow is remembered by its darker part, a highlight by its lighter one.
_PART = {"shadow": (0.0, 0.6), "highlight": (0.4, 1.0)}
_MOST_PIXELS = 20_000


def telling_colour(srgb: Plane, role: str) -> NDArray[np.float64]:
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
    colour: NDArray[np.float64] = some[chroma >= np.median(chroma)].mean(axis=0)
    return colour


def layer_colours(
    srgb: Plane,
    shown: NDArray[np.int64],
    roles: Sequence[str],
    ground: str | None,
    cans: Sequence[str],
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
    """
    found = []
    for number, role in enumerate(("ground", *roles)):
        pixels = srgb[shown == number]
        # A layer that is covered wholly, and a wall that never shows.
        found.append(telling_colour(pixels if len(pixels) else srgb.reshape(-1, 3), role))
    wall = ground or hex_from_srgb(found[0])
    if not cans:
        return wall, tuple(hex_from_srgb(c) for c in found[1:])
    own = np.array([srgb_from_hex(c) for c in cans])
    chosen = assign_cans(lab_from_srgb(np.array(found[1:])), lab_from_srgb(own))
    return wall, tuple(cans[k].lower() for k in chosen)
