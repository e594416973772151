"""Pictures that tell of a tracing: histogram with cuts, preview beside the original, a sweep."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from ..arrays import Plane
from ..colour import hex_from_srgb
from ..planar.raster import coverage
from .tones import BINS
from .trace import Tracing, paint
from .trials import Trial

_PAPER, _INK, _FAINT, _SHEET = "#ffffff", "#222222", "#9a9a9a", "#dedbd4"
_GAP = 12


def histogram_picture(tracing: Tracing, width: int = 900, height: int = 420) -> Image.Image:
    """Return the histogram of the tones, each in the mean colour of its tone, with the cuts.

    Parameters
    ----------
    tracing : Tracing
    width, height : int
        Of the picture in pixels.
    """
    tones = tracing.tone[tracing.subject]
    counts, _ = np.histogram(tones, BINS, (0, 100))
    # The square root keeps small peaks in sight beside a big one.
    heights = np.sqrt(counts / max(1, int(counts.max())))
    image = Image.new("RGB", (width, height), _PAPER)
    pen = ImageDraw.Draw(image)
    font = _font(16)
    left, right, top, bottom = 40, width - 20, 56, height - 52
    cuts = np.asarray(tracing.cuts)
    which = np.searchsorted(cuts, tones)
    pixels = tracing.picture.srgb[tracing.subject]
    colours = [
        hex_from_srgb(pixels[which == k].mean(axis=0)) if (which == k).any() else _FAINT
        for k in range(len(cuts) + 1)
    ]

    def x(tone: float) -> float:
        return left + tone / 100 * (right - left)

    for number, tall in enumerate(heights.tolist()):
        tone = (number + 0.5) * 100 / BINS
        low, high = x(number * 100 / BINS), x((number + 1) * 100 / BINS)
        box = (low, bottom - tall * (bottom - top), high, bottom)
        pen.rectangle(box, fill=colours[int(np.searchsorted(cuts, tone))])
    pen.line([(left, bottom), (right, bottom)], fill=_INK, width=2)
    for tone in range(0, 101, 10):
        pen.line([(x(tone), bottom), (x(tone), bottom + 5)], fill=_INK)
        pen.text((x(tone), bottom + 8), str(tone), fill=_INK, font=font, anchor="ma")
    for cut in tracing.cuts:
        pen.line([(x(cut), top - 6), (x(cut), bottom)], fill="#c1121f", width=2)
        pen.text((x(cut), top - 8), f"{cut:.1f}", fill="#c1121f", font=font, anchor="ms")
    pen.text((left, 8), "Pixels of each lightness, and the cuts between tones", _INK, _font(18))
    pen.text(((left + right) / 2, height - 22), "lightness L* as cut", _INK, font, anchor="ma")
    return image


def preview_picture(tracing: Tracing, height: int = 640) -> Image.Image:
    """Return the picture beside the painted one, and below them each layer's sheet."""
    first = [_image(tracing.picture.srgb, height), _image(tracing.painted, height)]
    extent = tracing.extent
    small = [
        _image(
            paint(
                [coverage(layer.curves.flattened(), extent.page, 1 / extent.pixel)],
                [layer.colour],
                _SHEET,
            ),
            height,
        )
        for layer in tracing.layers
    ]
    wide = first[0].width * 2 + _GAP
    columns = max(3, len(small))
    cell = (wide - _GAP * (columns - 1)) // columns
    rest = [i.resize((cell, round(i.height * cell / i.width)), Image.Resampling.BOX) for i in small]
    font = _font(18)
    sheet = Image.new("RGB", (wide, height + _GAP + rest[0].height + 26), _PAPER)
    pen = ImageDraw.Draw(sheet)
    for number, image in enumerate(first):
        sheet.paste(image, (number * (image.width + _GAP), 0))
    for number, (image, layer) in enumerate(zip(rest, tracing.layers, strict=True)):
        place = (number * (cell + _GAP), height + _GAP)
        sheet.paste(image, place)
        label = f"{number + 1} {layer.role.name} {layer.colour}"
        pen.text((place[0], place[1] + image.height + 3), label, _INK, font)
    return sheet


def sweep_picture(tracing: Tracing, trials: Sequence[Trial], height: int = 300) -> Image.Image:
    """Return the picture and what the trials paint of it, each with its detail and cost.

    Parameters
    ----------
    tracing : Tracing
        Any of the picture: it is taken from there.
    trials : sequence of Trial
    height : int
        Of each cell's picture in pixels.
    """
    font = _font(15)
    cells = [(tracing.picture.srgb, "the picture", "")]
    for trial in trials:
        score = trial.tracing.score
        cells.append(
            (
                trial.tracing.painted,
                f"detail {trial.detail:g}: {score.minutes:.0f} min, {score.cut_mm / 1000:.1f} m, "
                f"{score.nodes} nodes",
                f"difference {score.difference:.1f}, structure {score.structure:.2f}, "
                f"{score.islands} island{'s' if score.islands != 1 else ''}",
            )
        )
    images = [_image(srgb, height) for srgb, _, _ in cells]
    wide = max(330, max(i.width for i in images))
    columns, tall = 3, height + 46
    rows = -(-len(cells) // columns)
    sheet = Image.new("RGB", (columns * (wide + _GAP) - _GAP, rows * (tall + _GAP) - _GAP), _PAPER)
    pen = ImageDraw.Draw(sheet)
    for number, (image, (_, first, second)) in enumerate(zip(images, cells, strict=True)):
        x, y = number % columns * (wide + _GAP), number // columns * (tall + _GAP)
        sheet.paste(image, (x, y))
        pen.text((x, y + height + 3), first, _INK, font)
        pen.text((x, y + height + 22), second, _INK, font)
    return sheet


def _image(srgb: Plane, height: int) -> Image.Image:
    image = Image.fromarray(np.rint(np.clip(srgb, 0, 1) * 255).astype(np.uint8))
    width = max(1, round(image.width * height / image.height))
    return image.resize((width, height), Image.Resampling.BICUBIC, reducing_gap=3.0)


def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)
