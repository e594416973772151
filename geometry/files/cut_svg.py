"""Cut paths of one sheet as SVG at true size, in the order in which they are to be cut.

Three groups in cutting order: marks (``cut-marks``), openings (``cut-openings``), outline
(``cut-outline``). Marks and openings come before the outline because the sheet may shift once it
is cut free; for the same reason a loop inside another is cut first. One path for each closed loop,
hairline, no fill, each group in a colour of its own, because many cutting programs choose their
settings by colour (common practice, no source).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TypeAlias, TypeGuard
from xml.sax.saxutils import escape

import numpy as np
import shapely
from shapely import (
    LinearRing,
    LineString,
    MultiLineString,
    MultiPolygon,
    Polygon,
    STRtree,
)

from ..arrays import Floats
from ..errors import GeometryError
from ..fabricate.cut_sheet import CutSheet
from .atomic import atomic

Loop: TypeAlias = Polygon | MultiPolygon | LinearRing | Floats
Mark: TypeAlias = Loop | LineString | MultiLineString

COLOURS = {
    "engrave": "#008000",
    "cut-marks": "#000000",
    "cut-openings": "#ff0000",
    "cut-outline": "#0000ff",
}
HAIRLINE_MM = 0.1


def cut_svg(
    openings: Loop | Iterable[Loop],
    outline: Loop | Iterable[Loop],
    marks: Mark | Iterable[Mark] = (),
    *,
    size_mm: tuple[float, float],
    title: str = "",
    layer: str = "",
    note: str = "",
) -> str:
    """Return the cut paths of one sheet as the text of an SVG file.

    The paths are written as they are given; a kerf is to be taken off before.

    Parameters
    ----------
    openings, outline : polygons, rings or (n, 2) arrays, one or several
        In mm, y up, origin at the sheet's lower left corner. Every ring of a polygon, holes
        included, becomes a path.
    marks : the same, or lines, optional
        Scored or drawn, not cut through; an open line stays open.
    size_mm : tuple of float
        Width and height of the sheet.
    title, layer, note : str, optional
        For the file's title and description.

    Returns
    -------
    str
        SVG 1.1 with one user unit to the millimetre, y down, four decimals.

    Raises
    ------
    GeometryError
        The size is not positive, or a loop has fewer than three points or is not finite.

    Examples
    --------
    >>> from shapely import box
    >>> print(cut_svg(box(10, 10, 30, 20), box(0, 0, 40, 50), size_mm=(40, 50)).split("<g")[2])
     id="cut-openings" class="cut-openings" stroke="#ff0000">
    <path d="M30.0000,40.0000 30.0000,30.0000 10.0000,30.0000 10.0000,40.0000Z"/>
    </g>
    <BLANKLINE>
    """
    width, height = size_mm
    if not (0 < width < math.inf and 0 < height < math.inf):
        raise GeometryError(
            f"Cut paths of '{layer}': expected a positive size in mm, found {width} x {height}."
        )
    what = f"Cut paths of '{layer}'"
    groups = {
        "cut-marks": _marks(marks, what),
        "cut-openings": [(loop, True) for loop in inner_first(_loops(openings, what))],
        "cut-outline": [(loop, True) for loop in inner_first(_loops(outline, what))],
    }
    return _document(groups, (width, height), 0.0, title, layer, note)


def cut_sheet_svg(sheet: CutSheet, *, title: str = "", note: str = "") -> str:
    """Return a cut sheet as the text of an SVG file: kerf taken off, run-ins, cutting order kept.

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
        SVG 1.1 with one user unit to the millimetre, y down, four decimals.
    """
    groups: dict[str, list[tuple[Floats, bool]]] = {
        "engrave": [(line, False) for line in sheet.engraved],
        "cut-marks": [(line, False) for line in sheet.marked],
        "cut-openings": [path.polyline() for path in sheet.cuts.openings],
        "cut-outline": [path.polyline() for path in sheet.cuts.outline],
    }
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


def write_cut_svg(
    path: Path | str,
    openings: Loop | Iterable[Loop],
    outline: Loop | Iterable[Loop],
    marks: Mark | Iterable[Mark] = (),
    *,
    size_mm: tuple[float, float],
    title: str = "",
    layer: str = "",
    note: str = "",
) -> None:
    """Write the cut paths of one sheet as an SVG file, whole or not at all.

    Parameters
    ----------
    path : Path or str
    openings, outline, marks, size_mm, title, layer, note
        See :func:`cut_svg`.

    Raises
    ------
    GeometryError
        See :func:`cut_svg`.
    WriteError
        The file cannot be written.
    """
    text = cut_svg(openings, outline, marks, size_mm=size_mm, title=title, layer=layer, note=note)
    with atomic(path, "w") as file:
        file.write(text)


def inner_first(loops: list[Floats]) -> list[Floats]:
    """Order closed loops so that each comes before every loop that surrounds it.

    Parameters
    ----------
    loops : list of (n, 2) arrays
        They may touch but not cross.

    Returns
    -------
    list of (n, 2) arrays
        Deepest first; loops of one depth stay in the given order.

    Examples
    --------
    >>> square = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    >>> [float(loop.max()) for loop in inner_first([square * 3 - 1, square, square + 5])]
    [1.0, 2.0, 6.0]
    """
    if len(loops) < 2:
        return loops
    polygons = np.array([Polygon(loop) for loop in loops])
    # One point inside each loop: whichever larger loop holds it surrounds the whole loop.
    # Turning points into the tree lets Shapely prepare each polygon once for all of them.
    outer, inner = STRtree(shapely.point_on_surface(polygons)).query(polygons, "contains")
    areas = shapely.area(polygons)
    surrounds = areas[outer] > areas[inner]
    depth = np.bincount(inner[surrounds], minlength=len(loops))
    return [loops[index] for index in np.argsort(-depth, kind="stable")]


def _each(shapes: Mark | Iterable[Mark]) -> Iterator[Polygon | LineString | Floats]:
    """Yield the single shapes of one, several or collected ones."""
    if isinstance(shapes, (MultiPolygon, MultiLineString)):
        yield from shapes.geoms
    elif _is_single(shapes):
        yield shapes
    else:
        for shape in shapes:
            yield from _each(shape)


def _is_single(shapes: object) -> TypeGuard[Polygon | LineString | Floats]:
    if isinstance(shapes, np.ndarray):
        return shapes.ndim == 2 and shapes.dtype != object
    return isinstance(shapes, (Polygon, LineString))  # a LinearRing is a LineString


def _loops(shapes: Loop | Iterable[Loop], what: str) -> list[Floats]:
    """Return every ring as points without the repeated last one."""
    rings: list[Floats] = []
    for shape in _each(shapes):
        if isinstance(shape, Polygon):
            if not shape.is_empty:
                rings += [
                    _open_ring(ring.coords, what) for ring in (shape.exterior, *shape.interiors)
                ]
        elif isinstance(shape, LineString):
            rings.append(_open_ring(shape.coords, what))
        else:
            rings.append(_open_ring(shape, what))
    return rings


def _open_ring(coordinates: Iterable[Iterable[float]], what: str) -> Floats:
    points = np.asarray(coordinates, dtype=np.float64)[:, :2]
    if len(points) > 1 and (points[0] == points[-1]).all():
        points = points[:-1]
    if len(points) < 3 or not np.isfinite(points).all():
        raise GeometryError(
            f"{what}: expected loops of at least 3 points, all finite, found {len(points)} points."
        )
    return points


def _marks(shapes: Mark | Iterable[Mark], what: str) -> list[tuple[Floats, bool]]:
    marks: list[tuple[Floats, bool]] = []
    for shape in _each(shapes):
        if isinstance(shape, LineString) and not isinstance(shape, LinearRing):
            marks.append((np.asarray(shape.coords, dtype=np.float64)[:, :2], False))
        else:
            marks += [(loop, True) for loop in _loops([shape], what)]
    return marks


def _path(points: Floats, closed: bool, height: float) -> str:
    flipped = np.round(np.column_stack([points[:, 0], height - points[:, 1]]), 4) + 0.0
    # Points that became equal go: a move of no length makes some cutters stop and burn.
    moves = np.ones(len(flipped), dtype=bool)
    moves[1:] = (flipped[1:] != flipped[:-1]).any(axis=1)
    flipped = flipped[moves]
    return "M" + (" ".join(["%.4f,%.4f"] * len(flipped)) % tuple(flipped.ravel())) + "Z" * closed


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
