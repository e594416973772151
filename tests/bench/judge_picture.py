"""Judge of the reading: the picture that the openings paint, beside the drawing as resvg paints it.

Nothing of Sheetstack is used here.
"""

from __future__ import annotations

import io
import math
import re
from dataclasses import dataclass
from xml.etree import ElementTree

import numpy as np
import resvg_py
import shapely
from PIL import Image
from shapely import LineString, MultiPolygon

#: Pixels of the longer side of the pictures, and of a second look.
PIXELS, FINER = 800, 3200
#: Pictures that agree less are looked at again in finer pixels: along the edges of what is drawn
#: twice a renderer lays half pixels over half pixels.
AGAIN = 0.992
#: Millimetres of a CSS pixel.
PX = 25.4 / 96
_UNITS = {"": PX, "px": PX, "in": 25.4, "cm": 10.0, "mm": 1.0, "q": 0.25, "pt": 25.4 / 72}
_UNITS["pc"] = 12 * _UNITS["pt"]
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" '


@dataclass(frozen=True)
class Page:
    """Size of a drawing's page in mm."""

    width: float
    height: float


@dataclass(frozen=True)
class Reading:
    """How two pictures agree.

    Parameters
    ----------
    iou : float
        Area painted in both over area painted in either, bridges left out; 1 where both are empty.
    drawn, cut : float
        Shares of the page that the drawing and the openings paint.
    """

    iou: float
    drawn: float
    cut: float


def page_of(text: bytes) -> Page:
    """Return a drawing's page (SVG 1.1, 7.2 and 7.10: a missing length is that of the view box).

    Raises
    ------
    ValueError
        There is neither size nor view box, or it is no number.
    """
    root = ElementTree.fromstring(text)
    numbers = [float(n) for n in re.split(r"[\s,]+", root.attrib.get("viewBox", "").strip()) if n]
    box = numbers[2:] if len(numbers) == 4 else None
    sizes = []
    for number, key in enumerate(("width", "height")):
        value = re.fullmatch(r"\s*([-+.\deE]+?)\s*([a-zA-Z%]*)\s*", root.attrib.get(key, "100%"))
        if value is None:
            raise ValueError(f"{key} is no length")
        unit = value[2].lower()
        if unit == "%":
            if box is None:
                raise ValueError("the page has no size")
            sizes.append(box[number] * float(value[1]) / 100 * PX)
        else:
            sizes.append(float(value[1]) * _UNITS[unit])
    # One length and a view box: the other follows its shape.
    if box is not None and box[0] > 0 and box[1] > 0:
        if "width" in root.attrib and "height" not in root.attrib:
            sizes[1] = sizes[0] * box[1] / box[0]
        elif "height" in root.attrib and "width" not in root.attrib:
            sizes[0] = sizes[1] * box[0] / box[1]
    return Page(*sizes)


def opaque(text: str) -> str:
    """Return a drawing with every opacity but nought made full: paint is paint."""

    def full(match: re.Match[str]) -> str:
        share = match[3]
        value = float(share.removesuffix("%"))
        return match[0] if value <= 0 else f"{match[1]}{match[2]}1"

    return re.sub(
        r"((?:fill-|stroke-|stop-)?opacity)(\s*[:=]\s*[\"']?)([\d.]+(?:[eE]-?\d+)?%?)", full, text
    )


def coverage(text: str, page: Page, fonts: bool = False, pixels: int = PIXELS) -> np.ndarray:
    """Return the painted share of each pixel, by resvg; the longer side has ``pixels``."""
    zoom = pixels * PX / max(page.width, page.height)
    png = bytes(
        resvg_py.svg_to_bytes(svg_string=text, zoom=zoom, dpi=96, skip_system_fonts=not fonts)
    )
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGBA"))[..., 3] / 255.0


def openings_picture(openings: MultiPolygon, page: Page) -> str:
    """Return openings, in mm on the page with y down, as the plainest SVG."""
    rings = shapely.get_rings(shapely.get_parts(openings))
    data = "".join(
        f"M{'L'.join(f'{x:.5f} {y:.5f}' for x, y in shapely.get_coordinates(ring))}Z"
        for ring in rings
    )
    return _picture(page, f'<path fill-rule="evenodd" d="{data}"/>')


def strips_picture(lines: list[tuple[LineString, float]], page: Page, more: float) -> str:
    """Return strips (middle line and width in mm), each wider by ``more`` all round, as SVG."""
    parts = []
    for line, width in lines:
        data = "L".join(f"{x:.5f} {y:.5f}" for x, y in shapely.get_coordinates(line))
        parts.append(f'<path d="M{data}" stroke-width="{width + 2 * more:.5f}"/>')
    style = 'fill="none" stroke="#000" stroke-linecap="square" stroke-linejoin="round"'
    return _picture(page, f"<g {style}>{''.join(parts)}</g>")


def _picture(page: Page, body: str) -> str:
    size = f'width="{page.width / PX:.6f}" height="{page.height / PX:.6f}"'
    return f'{HEAD}{size} viewBox="0 0 {page.width:.8f} {page.height:.8f}">{body}</svg>'


def judge_reading(
    text: str, page: Page, openings: MultiPolygon, bridges: list[tuple[LineString, float]]
) -> Reading:
    """Compare a drawing with the openings that were cut for it.

    Parameters
    ----------
    text : str
        The drawing.
    page : Page
    openings : MultiPolygon
        In mm on the drawing's page, y down.
    bridges : list of (LineString, float)
        Middle lines and widths, in the same mm; what lies under them is not compared.

    Returns
    -------
    Reading
    """
    reading = _read(text, page, openings, bridges, PIXELS)
    if reading.iou < AGAIN:
        reading = _read(text, page, openings, bridges, FINER)
    return reading


def _read(
    text: str,
    page: Page,
    openings: MultiPolygon,
    bridges: list[tuple[LineString, float]],
    pixels: int,
) -> Reading:
    drawn = coverage(opaque(text), page, "<text" in text, pixels)
    drawn = np.where(_see_through(drawn), np.ceil(drawn), drawn)
    cut = coverage(openings_picture(openings, page), page, pixels=pixels)
    if bridges:
        pixel = max(page.width, page.height) / pixels
        free = 1 - coverage(strips_picture(bridges, page, 1.5 * pixel), page, pixels=pixels)
    else:
        free = np.ones_like(cut)
    if drawn.shape != cut.shape:
        raise ValueError(f"pictures of {drawn.shape} and {cut.shape} pixels")
    either = float((np.maximum(drawn, cut) * free).sum())
    both = float((np.minimum(drawn, cut) * free).sum())
    iou = both / either if either > 0.5 else 1.0
    return Reading(iou, float(drawn.mean()), float(cut.mean()))


def _see_through(alpha: np.ndarray) -> np.ndarray:
    """Return which pixels lie in see-through areas: all their neighbours are alike and between."""
    alike = (alpha > 0.01) & (alpha < 0.99)
    wide = np.pad(alpha, 1, mode="edge")
    high, across = alpha.shape
    for dy in range(3):
        for dx in range(3):
            alike &= np.abs(wide[dy : dy + high, dx : dx + across] - alpha) < 0.02
    return alike


def paints_shapes(text: str) -> bool:
    """Whether a drawing paints anything beside words and pictures set in."""
    bare = re.sub(r"<(text|image)\b.*?(/>|</\1\s*>)", "", text, flags=re.DOTALL)
    try:
        page = page_of(bare.encode())
        painted = coverage(opaque(bare), page)
    except (ValueError, ElementTree.ParseError, KeyError):
        return False
    return math.isfinite(page.width) and bool(painted.any())
