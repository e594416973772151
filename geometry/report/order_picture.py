"""The spray orders side by side: what each would paint, and where that misses the picture."""

from __future__ import annotations

from pathlib import Path

from PIL import Image, ImageDraw

from ..colour import ciede2000, lab_from_srgb, linear_from_srgb, srgb_from_hex, srgb_from_linear
from ..files.picture_text import fitted
from ..files.png import write_png
from ..paint.spray_order import SEEN, OrderAdvice, order_name
from ..paint.wall import Wall, colour_areas, painted_pixels
from ..planar.raster import coverage, to_bytes

BACKGROUND = "#f4f4f2"
INK = "#22282b"
MISSED = "#d81b7a"


def order_picture(
    wall: Wall, advice: OrderAdvice, pixels: int = 1600, most: int = 6
) -> Image.Image:
    """Draw the best orders side by side, each above a map of where it misses.

    Parameters
    ----------
    wall : Wall
    advice : OrderAdvice
    pixels : int
        Width of the picture.
    most : int
        Orders shown.

    Returns
    -------
    Image
        RGB; columns from the best order to the worst shown.
    """
    shown = advice.orders[:most]
    x0, y0, x1, y1 = wall.cells.frame.bounds
    frame = (x1 - x0, y1 - y0)
    gap = round(pixels / 80)
    wide = min((pixels - gap * (len(shown) + 1)) // len(shown), pixels // 3)
    scale = wide / frame[0]
    high = max(1, round(frame[1] * scale))
    text = max(11, wide // 17)
    rows = gap * 3 + 2 * high + 4 * text
    sheet = Image.new("RGB", (gap + len(shown) * (wide + gap), rows), BACKGROUND)
    pen = ImageDraw.Draw(sheet)
    target = lab_from_srgb(wall.picture_wanted())
    for column, order in enumerate(shown):
        left = gap + column * (wide + gap)
        colours = wall.passes(order.order)[-1]
        picture = painted_pixels(colour_areas(wall.cells, colours), frame, scale)
        sheet.paste(Image.fromarray(picture), (left, gap))
        missed = wall.cells.shape(ciede2000(lab_from_srgb(colours), target) > SEEN)
        share = coverage(missed, frame, scale)[..., None]
        faint = 0.25 * linear_from_srgb(picture / 255.0) + 0.7
        mark = linear_from_srgb(srgb_from_hex(MISSED))
        mixed = to_bytes(srgb_from_linear(faint * (1 - share) + mark * share))
        sheet.paste(Image.fromarray(mixed), (left, 2 * gap + high))
        lines = [
            order_name(order.order, wall.names) + (" (given)" if order is advice.given else ""),
            f"mean difference {order.mean_difference:.2f}, {100 * order.changed_share:.1f} % seen",
            f"lighter over darker: {len(order.coverings)}",
        ]
        for number, line in enumerate(lines):
            written, font = fitted(line, text, wide)
            y = 2 * gap + 2 * high + round((0.4 + 1.2 * number) * text)
            pen.text((left, y), written, INK, font)
    return sheet


def write_order_picture(path: Path | str, wall: Wall, advice: OrderAdvice) -> None:
    """Draw the orders into a PNG file, whole or not at all.

    Parameters
    ----------
    path : Path or str
    wall : Wall
    advice : OrderAdvice

    Raises
    ------
    WriteError
        The file cannot be written.
    """
    write_png(path, order_picture(wall, advice))
