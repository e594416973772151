"""Bridge styles side by side: what each would paint, what it spoils and how firmly it holds."""

from __future__ import annotations

from collections.abc import Sequence

from PIL import Image, ImageDraw

from ..files.picture_text import fitted
from ..paint.wall import colour_areas, painted_pixels, wall_of
from .bridge_styles import StyledBuild
from .order_picture import BACKGROUND, INK

#: Pictures that stand in one row, at most.
COLUMNS = 4


def bridge_styles_picture(styles: Sequence[StyledBuild], pixels: int = 3200) -> Image.Image:
    """Draw the painted wall of each style, in rows, with its figures under it.

    Parameters
    ----------
    styles : sequence of StyledBuild
    pixels : int
        Width of the picture.

    Returns
    -------
    Image
        RGB.
    """
    columns = min(COLUMNS, len(styles))
    gap = round(pixels / 80)
    wide = (pixels - gap * (columns + 1)) // columns
    frame = (styles[0].built.job.sheet.width_mm, styles[0].built.job.sheet.height_mm)
    scale = wide / frame[0]
    high = max(1, round(frame[1] * scale))
    text = max(11, wide // 32)
    row_high = high + 6 * text + gap
    rows = -(-len(styles) // columns)
    sheet = Image.new("RGB", (pixels, gap + rows * row_high), BACKGROUND)
    pen = ImageDraw.Draw(sheet)
    for number, style in enumerate(styles):
        left = gap + number % columns * (wide + gap)
        top = gap + number // columns * row_high
        sheet.paste(style_image(style, wide), (left, top))
        for k, line in enumerate(style.lines()):
            written, font = fitted(line, text, wide)
            pen.text((left, top + high + round((0.4 + 1.25 * k) * text)), written, INK, font)
    return sheet


def style_image(style: StyledBuild, pixels: int) -> Image.Image:
    """Draw the painted wall of one style, so many pixels wide."""
    wall = wall_of(style.built)
    frame = (style.built.job.sheet.width_mm, style.built.job.sheet.height_mm)
    areas = colour_areas(wall.cells, wall.passes()[-1])
    return Image.fromarray(painted_pixels(areas, frame, pixels / frame[0]))
