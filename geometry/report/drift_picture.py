"""The worst places for drifting sheets, drawn on the picture and named beside it."""

from __future__ import annotations

from pathlib import Path

import shapely
from PIL import Image, ImageDraw

from ..files.picture_text import fitted, wrapped
from ..files.png import write_png
from ..paint.drift import Drift
from ..paint.register_margins import Margin, Trouble
from ..paint.wall import ColourArea, Wall, colour_areas, painted_pixels
from ..planar.polygons import as_multipolygon

BACKGROUND = "#f4f4f2"
INK = "#22282b"
COLOURS = {
    Trouble.GAP: "#d81b7a",
    Trouble.OUTSIDE: "#1f5fd0",
    Trouble.PEEK: "#7a3fc0",
    Trouble.TOUCH: "#c77700",
}


def drift_picture(wall: Wall, drift: Drift, pixels: int = 1600, most: int = 12) -> Image.Image:
    """Draw the tightest margins, numbered, on a faint picture, with a list beside it.

    Parameters
    ----------
    wall : Wall
    drift : Drift
    pixels : int
        Width of the picture.
    most : int
        Places shown, spread over the picture: none within a label's size of another.

    Returns
    -------
    Image
        RGB.
    """
    x0, y0, x1, y1 = wall.cells.frame.bounds
    frame = (x1 - x0, y1 - y0)
    beside = round(0.42 * pixels)
    scale = (pixels - beside) / frame[0]
    picture = Image.fromarray(
        painted_pixels(colour_areas(wall.cells, wall.picture_wanted()), frame, scale)
    )
    faint = Image.blend(picture, Image.new("RGB", picture.size, "#ffffff"), 0.62)
    text = max(12, pixels // 72)
    shown = _spread_out(drift, faint.height, scale, 3 * text, most)
    wide = beside - 2 * text
    head = [
        wrapped(line, text, wide)
        for line in (
            f"Reckoned with: {drift.allowance.sentence()}",
            *(_layer_line(drift, k) for k in range(len(drift.names))),
        )
    ]
    listed = [
        wrapped(
            f"{margin.width_mm:.2f} of {margin.needed_mm:.2f} mm: {margin.trouble.value}, "
            f"{drift.names[margin.lower]} / {drift.names[margin.upper]}",
            text,
            wide - 2 * text,
        )
        for margin, _ in shown
    ]
    line_high, gap = round(1.3 * text), round(0.6 * text)
    rows = [len(lines) for lines, _ in (*head, *listed)]
    high = 3 * text + sum(row * line_high + gap for row in rows)
    sheet = Image.new("RGB", (pixels, max(faint.height, high)), BACKGROUND)
    sheet.paste(faint, (0, 0))
    pen = ImageDraw.Draw(sheet)
    left, y = faint.width + text, text
    for lines, font in head:
        for line in lines:
            pen.text((left, y), line, INK, font)
            y += line_high
        y += gap
    y += text
    radius = 0.75 * text
    for number, ((margin, at), (lines, font)) in enumerate(zip(shown, listed, strict=True), 1):
        colour = COLOURS[margin.trouble]
        pen.ellipse((at[0] - 3, at[1] - 3, at[0] + 3, at[1] + 3), fill=colour)
        # The label stands beside its place, towards the middle of the picture.
        side = 1 if at[0] < faint.width / 2 else -1
        c = (at[0] + side * 1.6 * text, at[1] - 1.2 * text)
        pen.line((at, c), colour, 2)
        for centre in (c, (left + radius, y + radius)):
            pen.ellipse(
                (centre[0] - radius, centre[1] - radius, centre[0] + radius, centre[1] + radius),
                fill=colour,
            )
            label, small = fitted(str(number), round(0.9 * text), 2 * radius)
            pen.text(centre, label, "#ffffff", small, anchor="mm")
        for line in lines:
            pen.text((left + 2 * text, y + radius), line, INK, font, anchor="lm")
            y += line_high
        y += gap
    return sheet


def _spread_out(
    drift: Drift, high: int, scale: float, apart: float, most: int
) -> list[tuple[Margin, tuple[float, float]]]:
    """Return the tightest margins, no two nearer than so many pixels, and their places in them."""
    shown: list[tuple[Margin, tuple[float, float]]] = []
    for margin in drift.margins:
        at = (margin.place[0] * scale, high - margin.place[1] * scale)
        if all(abs(at[0] - a) + abs(at[1] - b) >= apart for _, (a, b) in shown):
            shown.append((margin, at))
        if len(shown) == most:
            break
    return shown


def worst_place_picture(
    wall: Wall, place: tuple[float, float], slip_mm: float, pixels: int = 1000
) -> Image.Image:
    """Draw the surroundings of one place of the picture wanted, with a circle about it.

    Parameters
    ----------
    wall : Wall
    place : tuple of float
        In mm.
    slip_mm : float
        How far sheets may come to lie apart: the circle's radius is three times that, and at
        least 6 mm.
    pixels : int
        Along each side.
    """
    radius = max(6.0, 3 * slip_mm)
    half = 5 * radius
    window = (place[0] - half, place[1] - half, place[0] + half, place[1] + half)
    scale = pixels / (2 * half)
    areas = []
    for area in colour_areas(wall.cells, wall.picture_wanted()):
        part = as_multipolygon(shapely.make_valid(shapely.clip_by_rect(area.shape, *window)))
        moved = shapely.affinity.translate(part, -window[0], -window[1])
        areas.append(ColourArea(area.colour, moved, moved.area))
    image = Image.fromarray(painted_pixels(areas, (2 * half, 2 * half), scale))
    pen = ImageDraw.Draw(image)
    middle, reach = pixels / 2, radius * scale
    for colour, width in (("#ffffff", 13), (COLOURS[Trouble.GAP], 7)):
        box = (middle - reach, middle - reach, middle + reach, middle + reach)
        pen.ellipse(box, None, colour, width)
    text = max(14, pixels // 36)
    said = (
        f"({place[0]:.0f}, {place[1]:.0f}) mm from the lower left corner; circle {2 * radius:g} mm"
    )
    written, font = fitted(said, text, pixels - 3 * text)
    pen.rectangle((0, pixels - 2 * text, pixels, pixels), fill=BACKGROUND)
    pen.text((text, pixels - text), written, INK, font, "lm")
    return image


def _layer_line(drift: Drift, layer: int) -> str:
    shift, turn = drift.layer_mm(layer), drift.layer_deg(layer)
    if shift is None or turn is None:
        return f"{drift.names[layer]}: nothing within reach limits it"
    return f"{drift.names[layer]} alone: shows from {shift:.2f} mm or {turn:.2f} degrees on"


def write_drift_picture(path: Path | str, wall: Wall, drift: Drift) -> None:
    """Draw the worst places into a PNG file, whole or not at all.

    Parameters
    ----------
    path : Path or str
    wall : Wall
    drift : Drift

    Raises
    ------
    WriteError
        The file cannot be written.
    """
    write_png(path, drift_picture(wall, drift))
