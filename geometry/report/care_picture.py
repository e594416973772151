"""The care picture: where damage counts more than once, shaded on the faint painted picture."""

from __future__ import annotations

import numpy as np
from PIL import Image

from ..artwork.care import MOST_CARE
from ..build import Build
from ..paint.compositing import painted_picture
from ..planar.raster import coverage

#: Of the shade where care is greatest, and of the bridges; told apart with red-green blindness.
_SHADE, _BRIDGE = (213, 94, 0), (0, 60, 140)
#: How faint the picture is, and how much of the shade covers it where care is greatest.
_FAINT, _DENSEST = 0.55, 0.85


def has_care(build: Build) -> bool:
    """Return whether damage counts more than once anywhere."""
    return any(layer.care for layer in build.layers)


def care_picture(build: Build, pixels: int = 1000) -> Image.Image:
    """Draw the care of all layers, the greatest in each place, and their bridges.

    Parameters
    ----------
    build : Build
    pixels : int
        Along the long side.

    Returns
    -------
    Image
        RGB, cropped to the sheet.
    """
    sheet = build.job.sheet
    painted = painted_picture(build, pixels).astype(np.float32)
    rows, columns = painted.shape[:2]
    frame = (sheet.width_mm, sheet.height_mm)
    scale = pixels / max(frame)
    shade = np.zeros((rows, columns), np.float32)
    strips = np.zeros((rows, columns), np.float32)
    for layer in build.layers:
        for shape, factor in layer.care:
            share = np.float32((min(factor, MOST_CARE) - 1) / (MOST_CARE - 1))
            cover = coverage(shape, frame, scale)[:rows, :columns]
            shade = np.maximum(shade, share * cover)
        for bridge in layer.bridges:
            strips = np.maximum(strips, coverage(bridge.shape, frame, scale)[:rows, :columns])
    result = painted + np.float32(_FAINT) * (255 - painted)
    for plane, colour in ((np.float32(_DENSEST) * shade, _SHADE), (strips, _BRIDGE)):
        result += plane[..., None] * (np.array(colour, np.float32) - result)
    return Image.fromarray(np.rint(result).astype(np.uint8))
