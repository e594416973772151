"""Pictures of a separation: the drawing as it is seen, as it is painted, and each sheet."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from PIL import Image, ImageDraw, ImageFont
from shapely import MultiPolygon

from ..colour import linear_from_srgb, srgb_from_hex
from ..paint.compositing import sprayed
from ..planar.raster import (
    Coverage,
    coverage,
    edge_coverage,
    one_colour,
    pixel_shape,
    srgb_bytes,
    thinned,
)
from ..tracing.bezier_fit import FINE_SAMPLES
from .separate import SeparatedLayer, Separation

_PAPER, _INK, _SHEET = "#ffffff", "#222222", "#dedbd4"
_GAP, _FONT = 12, 18
#: Points of outlines are left out in the preview's pictures where that moves them less than this
#: share of the page: a tenth of a pixel.
_THINNED = 2e-4


def seen_picture(separation: Separation, pixels: int) -> Image.Image:
    """Return the drawing as it is seen on its wall, ``pixels`` along the longer side."""
    page = separation.page
    scale = pixels / max(page)
    rows, columns = pixel_shape(page, scale)
    colours = separation.seen.over(srgb_from_hex(separation.ground))
    # Each cell's outline carries its light: what meets along an edge adds up to the difference.
    cells = shapely.orient_polygons(separation.seen.cells.cells)
    rings, cell = shapely.get_rings(cells, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    points = (points - [0.0, page[1]]) * [scale, -scale]
    first = np.flatnonzero(ring[1:] == ring[:-1])
    light = linear_from_srgb(colours)[cell[ring[first]]]
    picture = edge_coverage(points[first], points[first + 1], light, rows, columns)
    return Image.fromarray(srgb_bytes(picture))


def painted_picture(
    separation: Separation, layers: Sequence[SeparatedLayer], pixels: int, ground: str
) -> Image.Image:
    """Return what some layers paint on a ground, without bridges.

    Parameters
    ----------
    separation : Separation
    layers : sequence of SeparatedLayer
        In the order in which they are sprayed.
    pixels : int
        Along the long side.
    ground : str
        Colour of the wall.
    """
    shapes = [layer.curves.flattened(FINE_SAMPLES) for layer in layers]
    return _painted(separation.page, layers, shapes, pixels, ground)


def _painted(
    page: tuple[float, float],
    layers: Sequence[SeparatedLayer],
    shapes: Sequence[MultiPolygon],
    pixels: int,
    ground: str,
) -> Image.Image:
    scale = pixels / max(page)
    picture: Coverage = one_colour(
        linear_from_srgb(srgb_from_hex(ground)), *pixel_shape(page, scale)
    )
    for layer, shape in zip(layers, shapes, strict=True):
        share = coverage(shape, page, scale)
        rows, columns = (np.flatnonzero(share.any(axis=k)) for k in (1, 0))
        if len(rows):
            there = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
            picture[there] = sprayed(picture[there], layer.colour, 1.0, share[there])
    return Image.fromarray(srgb_bytes(picture))


def preview_picture(separation: Separation, pixels: int = 560) -> Image.Image:
    """Return the drawing beside the painted one, and below them each layer's openings."""
    layers = separation.layers
    page = separation.page
    fine = [layer.curves.flattened(FINE_SAMPLES) for layer in layers]
    shapes = [thinned(shape, _THINNED * max(page)) for shape in fine]
    first = [
        seen_picture(separation, pixels),
        _painted(page, layers, shapes, pixels, separation.ground),
    ]
    wide = first[0].width * 2 + _GAP
    columns = min(max(3, len(layers)), 6)
    cell = (wide - _GAP * (columns - 1)) // columns
    small = [
        _painted(page, [layer], [shape], cell, _SHEET)
        for layer, shape in zip(layers, shapes, strict=True)
    ]
    tall = small[0].height + _GAP + _FONT + 8
    rows = -(-len(small) // columns)
    sheet = Image.new("RGB", (wide, first[0].height + _GAP + rows * tall), _PAPER)
    pen = ImageDraw.Draw(sheet)
    font = ImageFont.load_default(_FONT)
    for number, image in enumerate(first):
        sheet.paste(image, (number * (image.width + _GAP), 0))
    for number, (image, layer) in enumerate(zip(small, layers, strict=True)):
        x = number % columns * (cell + _GAP)
        y = first[0].height + _GAP + number // columns * tall
        sheet.paste(image, (x, y))
        label = f"{number + 1} {layer.name}"
        pen.text((x, y + image.height + 2), label, _INK, font)
    return sheet
