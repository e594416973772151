"""The assembly picture: how the tiles of a sheet lie together, with their names."""

from __future__ import annotations

import re
from collections.abc import Sequence
from xml.sax.saxutils import escape

import shapely
from shapely import MultiPolygon

#: Neighbours get different tints, in a row and from row to row; no meaning beyond that.
_TINTS = ("#d9c7a3", "#b9cdd9", "#cfd8b4", "#e0bfb2")


def assembly_svg(
    tiles: Sequence[tuple[str, MultiPolygon]],
    bounds: tuple[float, float, float, float],
    title: str,
    pins: Sequence[tuple[str, tuple[float, float], float]] = (),
) -> str:
    """Return a picture of tiles in their places as the text of an SVG file.

    Parameters
    ----------
    tiles : sequence of (name, shape)
        Shapes in mm on the sheet, y up.
    bounds : tuple of float
        Left, lower, right and upper edge of the sheet in mm.
    title : str
    pins : sequence of (name, place, diameter)
        Holes for pins in the wall.
    """
    x0, y0, x1, y1 = bounds
    size = width, height = x1 - x0, y1 - y0
    head = max(size) / 18
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height + head:g}mm" '
        f'viewBox="0 {-head:g} {width:g} {height + head:g}">',
        f"<title>{escape(title)}</title>",
        f'<rect y="{-head:g}" width="{width:g}" height="{height + head:g}" fill="#ffffff"/>',
        f'<text x="{head * 0.3:g}" y="{-head * 0.35:g}" font-family="sans-serif" '
        f'font-size="{head * 0.5:g}">{escape(title)}</text>',
    ]
    rows = {row: number for number, row in enumerate(dict.fromkeys(_place(t)[0] for t, _ in tiles))}
    for name, shape in tiles:
        row, column = _place(name)
        tint = _TINTS[(column + 2 * rows[row]) % len(_TINTS)]
        lines.append(
            f'<path d="{_path(shape, x0, y1)}" fill="{tint}" '
            f'fill-rule="evenodd" stroke="#333333" stroke-width="{max(size) / 1500:g}"/>'
        )
    for name, shape in tiles:
        # The roomiest place, so that a name lies on its tile and not over an opening.
        spot = shapely.maximum_inscribed_circle(shape, tolerance=max(size) / 400)
        (x, y), edge = shapely.get_coordinates(spot)
        room = float(((edge - (x, y)) ** 2).sum() ** 0.5)
        # Bold figures are about 0.65 as wide as they are high.
        font = min(head * 0.7, room * min(1.3, 3.0 / max(len(name), 1)))
        lines.append(
            f'<text x="{x - x0:.2f}" y="{y1 - y + font * 0.35:.2f}" text-anchor="middle" '
            f'font-family="sans-serif" font-weight="bold" font-size="{font:.2f}">'
            f"{escape(name)}</text>"
        )
    for name, (x, y), diameter in pins:
        # To the left of the pin near the right edge.
        side, anchor = (-0.1, "end") if x > x1 - head else (0.1, "start")
        lines.append(
            f'<circle cx="{x - x0:.2f}" cy="{y1 - y:.2f}" r="{max(diameter / 2, head / 16):g}" '
            f'fill="#b03a2e"/><text x="{x - x0 + side * head:.2f}" y="{y1 - y - head / 12:.2f}" '
            f'font-family="sans-serif" font-size="{head / 5:g}" text-anchor="{anchor}" '
            f'fill="#b03a2e">{escape(name)}</text>'
        )
    return "\n".join([*lines, "</svg>", ""])


def _place(name: str) -> tuple[str, int]:
    """Return the row's letters and the column's number in a tile's name, as of ``"B12a"``."""
    found = re.match(r"([A-Z]*)(\d*)", name)
    assert found is not None  # any word matches
    return found[1], int(found[2] or 0)


def _path(shape: MultiPolygon, left: float, top: float) -> str:
    parts = []
    for ring in shapely.get_rings(shapely.get_parts(shape)):
        points = shapely.get_coordinates(ring)[:-1]
        parts.append("M" + " ".join(f"{x - left:.3f},{top - y:.3f}" for x, y in points) + "Z")
    return "".join(parts)
