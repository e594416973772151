"""Cut paths of one sheet as SVG at true size, in the order in which they are to be cut.

Four groups in cutting order: labels and register marks to engrave (``engrave``), lines to draw
(``cut-marks``), openings (``cut-openings``), outline (``cut-outline``). All come before the outline
because the sheet may shift once it is cut free; for the same reason a loop inside another is cut
first. One path for each closed loop, hairline, no fill, each group in a colour of its own, because
many cutting programs choose their settings by colour (common practice, no source).
"""

from __future__ import annotations

import math
import re
from itertools import chain
from xml.sax.saxutils import escape

import numpy as np

from ..arrays import Floats
from ..errors import GeometryError
from ..fabricate.cut_sheet import CutSheet

#: Stroke of each group.
COLOURS = {
    "engrave": "#008000",
    "cut-marks": "#000000",
    "cut-openings": "#ff0000",
    "cut-outline": "#0000ff",
}
#: Group of each kind of work.
_GROUPS = {
    "engrave": "engrave",
    "mark": "cut-marks",
    "opening": "cut-openings",
    "outline": "cut-outline",
}
#: Width of all strokes in mm.
HAIRLINE_MM = 0.1


def cut_svg(sheet: CutSheet, *, title: str = "", note: str = "") -> str:
    """Return a cut sheet as the text of an SVG file, its cuts in their order.

    The page is larger than the piece by what kerf and run-ins reach beyond it; coordinates stay
    the piece's own, the view box begins left of and above them.

    Parameters
    ----------
    sheet : CutSheet
    title, note : str, optional
        For the file's title and description.

    Returns
    -------
    str
        SVG 1.1 with one user unit to the millimetre, y down, five decimals: lengths that are
        summed from the file are true to a millionth.

    Raises
    ------
    GeometryError
        The size is not positive, or a point is not finite.

    Examples
    --------
    >>> from shapely import box
    >>> from sheetstack.geometry.fabricate.kerf import cut_paths
    >>> plate = box(0, 0, 4, 5).difference(box(1, 1, 3, 2))
    >>> print(cut_svg(CutSheet("Base", (4, 5), cut_paths(plate, 0.0))).split("<g")[3])
     id="cut-openings" class="cut-openings" stroke="#ff0000">
    <path d="M2.00000,3.00000 1.00000,3.00000 1.00000,4.00000 3.00000,4.00000 3.00000,3.00000Z"/>
    </g>
    <BLANKLINE>
    """
    width, height = sheet.size
    if not (0 < width < math.inf and 0 < height < math.inf):
        raise GeometryError(
            f"Cut paths of '{sheet.name}': expected a positive size in mm, found {width} x "
            f"{height}."
        )
    groups: dict[str, list[tuple[Floats, bool]]] = {group: [] for group in COLOURS}
    for stroke in sheet.strokes:
        groups[_GROUPS[stroke.work]].append((stroke.points, stroke.closed))
    for points, _ in chain.from_iterable(groups.values()):
        if not np.isfinite(points).all():
            raise GeometryError(f"Cut paths of '{sheet.name}': a point is not finite.")
    return _document(groups, sheet.size, sheet.pad, title, sheet.name, note)


def _document(
    groups: dict[str, list[tuple[Floats, bool]]],
    size: tuple[float, float],
    pad: float,
    title: str,
    layer: str,
    note: str,
) -> str:
    height = size[1]
    wide, high = size[0] + 2 * pad, size[1] + 2 * pad
    corner = f"{_number(-pad)} {_number(-pad)}" if pad else "0 0"
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{_number(wide)}mm" '
        f'height="{_number(high)}mm" viewBox="{corner} {_number(wide)} {_number(high)}" '
        f'fill="none" stroke-width="{HAIRLINE_MM}">',
        f"<title>{_text(' - '.join(part for part in (title, layer) if part))}</title>",
        f"<desc>{_text(_description(layer, note))}</desc>",
    ]
    for name, paths in groups.items():
        lines.append(f'<g id="{name}" class="{name}" stroke="{COLOURS[name]}">')
        lines += [f'<path d="{_path(points, closed, height)}"/>' for points, closed in paths]
        lines.append("</g>")
    return "\n".join([*lines, "</svg>", ""])


def _path(points: Floats, closed: bool, height: float) -> str:
    flipped = np.round(np.column_stack([points[:, 0], height - points[:, 1]]), 5) + 0.0
    # Points that became equal go: a move of no length makes some cutters stop and burn.
    moves = np.ones(len(flipped), dtype=bool)
    moves[1:] = (flipped[1:] != flipped[:-1]).any(axis=1)
    flipped = flipped[moves]
    return "M" + (" ".join(["%.5f,%.5f"] * len(flipped)) % tuple(flipped.ravel())) + "Z" * closed


def _number(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")


def _text(text: str) -> str:
    # XML 1.0, 2.2: no control characters but tab and line ends, not even escaped.
    return escape(re.sub(r"[^\t\n\r\x20-\uD7FF\uE000-\uFFFD\U00010000-\U0010FFFF]", "", text))


def _description(layer: str, note: str) -> str:
    return " ".join(
        part
        for part in (
            f"Layer {layer}." if layer else "",
            "True size: one unit is one millimetre.",
            "Cut in file order: marks, openings (inner loops first), outline.",
            note,
            "Blades and lasers hurt: follow the cutter maker's instructions and local rules.",
        )
        if part
    )
