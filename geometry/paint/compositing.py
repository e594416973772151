"""Paint: what is on the wall when every sheet has been sprayed in its order."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..build import Build
from ..colour import linear_from_srgb, source_over, srgb_from_hex, srgb_from_linear
from ..planar.raster import Coverage, coverage, extent_of, one_colour, pixel_shape, srgb_bytes


def painted_picture(
    build: Build, pixels: int = 1600, *, plainly_bridged: bool = False
) -> NDArray[np.uint8]:
    """Return the painted picture, cropped to the sheet.

    Colours are laid over the ground in spray order; paint falls where the sheets that are cut are
    open, so that bridges leave their gaps. Registration holes are taken as covered.

    Parameters
    ----------
    build : Build
    pixels : int
        Along the long side.
    plainly_bridged : bool
        Show the sheets as plain shortest bridges would hold them, for comparison.

    Returns
    -------
    uint8 array (rows, columns, 3)
        sRGB; the top row first.

    Notes
    -----
    A pixel that an edge crosses mixes its colours in linear light, as eye and lens do.
    """
    frame = sheet_frame(build)
    scale = pixels / max(frame)
    rows, columns = pixel_shape(frame, scale)
    picture = one_colour(linear_from_srgb(srgb_from_hex(build.job.ground)), rows, columns)
    for layer in build.layers:
        openings = layer.plainly_bridged if plainly_bridged else layer.sheet.openings
        open_share = coverage(openings, frame, scale)
        # Two hundred sheets with an opening each take hardly longer than one that has them all.
        at = extent_of(open_share > 0)
        colour, opacity = layer.settings.colour, layer.settings.opacity
        picture[at] = sprayed(picture[at], colour, opacity, open_share[at])
    return srgb_bytes(picture)


def sprayed(below: Coverage, colour: str, opacity: float, open_share: Coverage) -> Coverage:
    """Return a picture after one more pass.

    Parameters
    ----------
    below : float32 array (rows, columns, 3)
        Linear light.
    colour : str
    opacity : float
        1 hides what is below. Below 1 it mixes sRGB values, as drawing programs do.
    open_share : float32 array (rows, columns)
        How much of each pixel the paint reaches; this mixes light.

    Returns
    -------
    float32 array (rows, columns, 3)
        Linear light.
    """
    coat = srgb_from_hex(colour)
    if opacity < 1.0:
        coat = source_over(srgb_from_linear(below), coat, opacity)
    light = linear_from_srgb(coat).astype(np.float32)
    return source_over(below, light, open_share)


def sheet_frame(build: Build) -> tuple[float, float]:
    """Return the width and height of the sheets in mm."""
    return build.job.sheet.width_mm, build.job.sheet.height_mm
