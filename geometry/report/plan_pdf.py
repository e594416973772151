"""The spray plan on paper: A4, big letters, boxes to be ticked with gloves on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from ..arrays import Floats
from ..build import BuiltLayer
from ..cautions import cautions_for
from ..colour import srgb_from_hex
from ..files.a4_pdf import Pages, Paper
from ..files.picture_text import fitted
from ..paint.register_margins import Margin
from ..paint.wall import Wall, colour_areas, painted_pixels
from ..planar.raster import coverage
from .spray_plan import SprayPlan, SprayStep

#: Pixels of a picture along its long side.
_PIXELS = 900
#: Letters of what is done at the wall, in points: the largest that the page has room for.
_SIZES = (20.0, 18.0, 16.0, 14.0, 12.0)
#: Letters of the cautions in points, the largest that fits, and the room after each in mm.
_CAUTION_SIZES, _AFTER = (9.0, 8.0), 0.7
_SHEET, _HOLE, _INK, _MARK = "#d9dad6", "#ffffff", "#22282b", "#d81b7a"


def plan_pdf(plan: SprayPlan, font: Path | None = None) -> Paper:
    """Return a spray plan as an A4 PDF: what to have ready, then a page for each pass.

    Parameters
    ----------
    plan : SprayPlan
    font : Path, optional
        See :class:`Pages`.
    """
    title = plan.build.job.title
    pages = Pages(f"Spray plan: {title}", f"Spray plan - {title}", font)
    pages.words("Spray plan", 26, bold=True, after=0)
    sheet = plan.build.job.sheet
    pages.words(
        f"{title}: {sheet.width_mm / 10:g} x {sheet.height_mm / 10:g} cm, {len(plan.steps)} passes",
        14,
        after=3,
    )
    for head, lines in plan.ready:
        pages.words(head, 15, bold=True)
        short = max(map(len, lines)) < 40
        pages.check_boxes(lines, 12, columns=2 if short and len(lines) > 2 else 1)
        pages.y += 1.5
    pages.words("Weather, by the paint's data sheet", 15, bold=True)
    pages.check_boxes(plan.limits, 12)
    cautions = [f"{c.title}. {c.text}" for c in cautions_for("paint", "wall")]
    tall = {
        size: 14 + sum(pages.height(line, size) + _AFTER for line in cautions)
        for size in _CAUTION_SIZES
    }
    # Together: on the first page if they fit in one of the sizes, else on a page of their own.
    size = next((size for size in tall if tall[size] <= pages.room), _CAUTION_SIZES[0])
    pages.need(tall[size])
    pages.heading("Mind", 13)
    for line in cautions:
        pages.words(line, size, after=_AFTER)
    passes = plan.wall.passes()
    for step in plan.steps:
        pages.new_page()
        _step_page(pages, plan, step, _wall_picture(plan.wall, passes[step.number], step.worst))
    return pages.paper()


def _step_page(pages: Pages, plan: SprayPlan, step: SprayStep, after: Image.Image) -> None:
    count = len(plan.steps)
    pages.words(f"{step.number} of {count}   {step.sheet}", 28, bold=True, after=1)
    pages.swatch(step.colour, 9, 14)
    pages.words(f"Can: {step.can}", 17, bold=True, after=3, left=pages.left + 18)
    top, half = pages.y, pages.width / 2 - 3
    sheet = sheet_picture(plan.build.layers[step.number - 1], step.number)
    pages.picture(sheet, half, 88)
    first, pages.y = pages.y, top
    pages.picture(after, half, 88, left=pages.left + half + 6)
    pages.y = max(first, pages.y)
    top = pages.y
    pages.words("The sheet, this side up", 10, faint=True, width=half)
    pages.y = top
    pages.words("The wall after it", 10, faint=True, left=pages.left + half + 6)
    parts = (("Lay", step.place), ("Spray", step.spray), ("Check", step.check))
    size = _largest_size(pages, [lines for _, lines in parts])
    for head, lines in parts:
        pages.words(head, 1.25 * size, bold=True, after=0.5)
        pages.check_boxes(lines, size)
        pages.y += 1


def _largest_size(pages: Pages, parts: Sequence[Sequence[str]]) -> float:
    """Return the largest letters, in points, in which all lines of a pass stand on this page."""
    for size in _SIZES:
        boxes = sum(pages.boxes_height(lines, size) for lines in parts)
        # A heading is as high as its line, and half a millimetre and a whole one lie about it.
        if boxes + len(parts) * (0.6 * size + 1.5) <= pages.room:
            return size
    return _SIZES[-1]


def sheet_picture(layer: BuiltLayer, number: int) -> Image.Image:
    """Draw a sheet as it is laid on the wall: openings in the paint's colour, number, arrow up."""
    frame = layer.sheet.outline.bounds[2:]
    scale = _PIXELS / max(frame)
    share = coverage(layer.sheet.openings, frame, scale)[..., None]
    ground = srgb_from_hex(_SHEET)
    colours = ground * (1 - share) + srgb_from_hex(layer.settings.colour) * share
    holes = coverage(layer.sheet.holes, frame, scale)[..., None]
    colours = colours * (1 - holes) + srgb_from_hex(_HOLE) * holes
    plain = Image.fromarray(np.rint(colours * 255).astype(np.uint8))
    text = _PIXELS // 16
    image = Image.new("RGB", (plain.width, plain.height + round(1.5 * text)), "#ffffff")
    image.paste(plain, (0, round(1.5 * text)))
    pen = ImageDraw.Draw(image)
    pen.rectangle((0, round(1.5 * text), plain.width - 1, image.height - 1), outline=_INK, width=3)
    middle = plain.width // 2
    words, font = fitted(f"{number}   this side up", text, 0.7 * plain.width)
    pen.text((middle - text // 2, round(1.1 * text)), words, _INK, font, "ms")
    x = round(middle + font.getlength(words) / 2 + text * 0.4)
    pen.polygon(
        [(x - text // 3, text // 2), (x, 2), (x + text // 3, text // 2)],
        fill=_INK,
    )
    pen.rectangle((x - text // 10, text // 2, x + text // 10, round(1.1 * text)), fill=_INK)
    return image


def _wall_picture(wall: Wall, colours: Floats, worst: Margin | None) -> Image.Image:
    x0, y0, x1, y1 = wall.cells.frame.bounds
    frame = (x1 - x0, y1 - y0)
    scale = _PIXELS / max(frame)
    plain = Image.fromarray(painted_pixels(colour_areas(wall.cells, colours), frame, scale))
    pad = round(1.5 * (_PIXELS // 16))
    image = Image.new("RGB", (plain.width, plain.height + pad), "#ffffff")
    image.paste(plain, (0, pad))
    if worst is not None:
        x, y = worst.place[0] * scale, pad + plain.height - worst.place[1] * scale
        pen = ImageDraw.Draw(image)
        for radius, colour, width in ((34, "#ffffff", 11), (34, _MARK, 6)):
            pen.ellipse((x - radius, y - radius, x + radius, y + radius), None, colour, width)
    return image
