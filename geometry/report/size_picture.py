"""The picture at its true size beside a person."""

from __future__ import annotations

import numpy as np
import shapely
from PIL import Image, ImageDraw

from ..build import Build
from ..files.picture_text import lettering
from ..paint.compositing import painted_picture
from ..planar.raster import coverage
from ..scene.scale_objects import HEIGHT, figure

_WALL, _FLOOR, _PERSON, _INK = "#eceae4", "#b9b4a8", "#59636b", "#22282b"
#: Height of a small picture's middle over the floor in mm: an eye's.
_EYE = 1500.0
#: Low pictures hang, high ones begin so far over the floor, in mm.
_LEAST_FLOOR = 100.0


def size_picture(
    build: Build, pixels: int = 1200, room_for: tuple[float, float] | None = None
) -> Image.Image:
    """Draw a job's picture on a wall, a person of 1.7 m beside it, and its measures.

    Parameters
    ----------
    build : Build
    pixels : int
        Width of the drawing, or its height where that is larger.
    room_for : tuple of float, optional
        Width and height in mm of the largest picture to compare with: drawings of the same one have
        one scale.
    """
    wide, high = build.job.sheet.width_mm, build.job.sheet.height_mm
    low = max(_LEAST_FLOOR, _EYE - high / 2)
    most_wide, most_high = room_for or (wide, high)
    top_most = max(max(_LEAST_FLOOR, _EYE - most_high / 2) + most_high, low + high, HEIGHT)
    person = 700.0
    room = 0.12 * max(most_wide, HEIGHT)
    whole_w = most_wide + person + 3.2 * room
    whole_h = top_most + room + 0.06 * max(most_high, HEIGHT)
    scale = pixels / max(whole_w, whole_h)
    size = round(whole_w * scale), round(whole_h * scale)
    floor = size[1] - round(0.06 * max(most_high, HEIGHT) * scale)
    image = Image.new("RGB", size, _WALL)
    pen = ImageDraw.Draw(image)
    pen.rectangle((0, floor, *size), fill=_FLOOR)
    left, top = round((room + person) * scale), floor - round((low + high) * scale)
    shown = (max(1, round(wide * scale)), max(1, round(high * scale)))
    picture = Image.fromarray(painted_picture(build, max(shown)))
    image.paste(picture.resize(shown, Image.Resampling.LANCZOS), (left, top))
    body = shapely.affinity.translate(figure(), person / 2, 0)
    share = coverage(body, (person, HEIGHT), scale)
    mask = Image.fromarray(np.rint(share * 255).astype(np.uint8))
    image.paste(_PERSON, (round(room * scale), floor - mask.height), mask)
    text = max(12, pixels // 38)
    _measure(pen, (left, top - text), (left + shown[0], top - text), f"{wide / 10:g} cm", text)
    right = left + shown[0] + text
    _measure(pen, (right, top), (right, top + shown[1]), f"{high / 10:g} cm", text)
    label, font = lettering("1.70 m", text)
    pen.text((round((room + person / 2) * scale), floor + text // 4), label, _INK, font, "ma")
    return image


def _measure(
    pen: ImageDraw.ImageDraw, start: tuple[int, int], end: tuple[int, int], said: str, text: int
) -> None:
    """Draw a line with end strokes and its length."""
    pen.line((start, end), _INK, 2)
    across = start[1] == end[1]
    for x, y in (start, end):
        tick = text // 3
        pen.line((x, y - tick, x, y + tick) if across else (x - tick, y, x + tick, y), _INK, 2)
    label, font = lettering(said, text)
    middle = ((start[0] + end[0]) // 2, (start[1] + end[1]) // 2)
    if across:
        pen.text((middle[0], middle[1] - text // 3), label, _INK, font, "mb")
    else:
        pen.text((middle[0] + text // 2, middle[1]), label, _INK, font, "lm")
