"""Patch: a part of the painted picture made anew, where little of one sheet has changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon
from shapely.affinity import translate

from ..build import Build
from ..colour import linear_from_srgb, srgb_from_hex
from ..planar.polygons import as_multipolygon
from ..planar.raster import coverage, one_colour, pixel_shape, srgb_bytes
from .compositing import sheet_frame, sprayed


@dataclass(frozen=True)
class Patch:
    """Pixels of a picture from a row and column on; the top row is number 0."""

    row: int
    column: int
    pixels: NDArray[np.uint8]


def painted_patch(
    build: Build,
    openings: Mapping[str, MultiPolygon],
    box: tuple[float, float, float, float],
    pixels: int,
) -> Patch:
    """Return the part of the painted picture that a box covers.

    Parameters
    ----------
    build : Build
    openings : mapping of str to MultiPolygon
        Openings of sheets that are others now, by the sheet's name.
    box : tuple of float
        Least x, y and greatest x, y in mm.
    pixels : int
        Along the long side of the whole picture.

    Returns
    -------
    Patch
        The same pixels as in ``painted_picture``.
    """
    frame = sheet_frame(build)
    scale = pixels / max(frame)
    rows, columns = pixel_shape(frame, scale)
    x0, y0, x1, y1 = box
    left = int(np.clip(np.floor(x0 * scale), 0, columns - 1))
    right = int(np.clip(np.ceil(x1 * scale), left + 1, columns))
    top = int(np.clip(np.floor((frame[1] - y1) * scale), 0, rows - 1))
    bottom = int(np.clip(np.ceil((frame[1] - y0) * scale), top + 1, rows))
    own = ((right - left) / scale, (bottom - top) / scale)
    corner = (left / scale, frame[1] - bottom / scale)
    window = shapely.box(corner[0], corner[1], corner[0] + own[0], corner[1] + own[1])
    picture = one_colour(
        linear_from_srgb(srgb_from_hex(build.job.ground)), bottom - top, right - left
    )
    for layer in build.layers:
        parts = shapely.get_parts(openings.get(layer.sheet.layer, layer.sheet.openings))
        near = parts[shapely.intersects(parts, window)]
        inside = as_multipolygon(shapely.union_all(shapely.intersection(near, window)))
        share = coverage(translate(inside, -corner[0], -corner[1]), own, scale)
        share = share[: bottom - top, : right - left]
        picture = sprayed(picture, layer.settings.colour, layer.settings.opacity, share)
    return Patch(top, left, srgb_bytes(picture))
