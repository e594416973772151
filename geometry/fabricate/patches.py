"""Patches: a worn or broken bridge as a small overlay part, so that a sheet needn't be cut anew.

A patch covers the bridge and a pad of solid sheet at each of its roots. It never covers an opening:
it is part of the sheet's own shape, glued or taped over it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely import MultiPolygon, Point, Polygon

from ..arrays import Floats
from ..finding import Finding
from ..planar.morphology import QUARTER_SEGMENTS
from ..support.bridges import Bridge
from .cut_sheet import CutSheet, lines_of
from .kerf import CutPath, CutPaths, cut_paths
from .nesting import nest
from .stroke_font import letter_lines, text_width

#: Distance between patches cut from one scrap, in mm.
_SPACING = 4.0
_LETTER = 3.0


@dataclass(frozen=True)
class Patch:
    """One overlay part.

    Parameters
    ----------
    name : str
        Layer number and bridge number: ``"2.7"``.
    shape : Polygon
        In its place on the sheet, in mm.
    place : tuple of float
        x, y in mm of the bridge's middle.
    """

    name: str
    shape: Polygon
    place: tuple[float, float]


def patch_for(bridge: Bridge, sheet: MultiPolygon, name: str, overlap: float = 8.0) -> Patch:
    """Return the patch for a bridge.

    Parameters
    ----------
    bridge : Bridge
    sheet : MultiPolygon
        The sheet with its bridges.
    name : str
    overlap : float
        How far the patch lies over solid sheet at each root, in mm.

    Examples
    --------
    >>> sheet = shapely.box(0, 0, 60, 30).difference(shapely.box(20, 5, 40, 14))
    >>> sheet = MultiPolygon([sheet.difference(shapely.box(20, 16, 40, 25))])
    >>> import numpy as np
    >>> path = np.array([[18.0, 15], [42, 15]])
    >>> bar = Bridge("bridge", path, 2.0, 20.0, (30.0, 15.0), shapely.box(18, 14, 42, 16), 0.0)
    >>> [round(v, 1) for v in patch_for(bar, sheet, "1.1").shape.bounds]
    [10.0, 7.0, 50.0, 23.0]
    """
    ends = shapely.multipoints(bridge.path[[0, -1]])
    pads = shapely.buffer(ends, overlap, quad_segs=QUARTER_SEGMENTS)
    whole = shapely.union_all([bridge.shape, pads]).intersection(sheet)
    middle = Point(bridge.place)
    parts = [p for p in shapely.get_parts(whole) if isinstance(p, Polygon)]
    # The part that the bridge is in; a pad may also reach over an opening to other sheet.
    shape = min(parts, key=lambda p: p.distance(middle))
    return Patch(name, shape, bridge.place)


def place_marks(patches: Sequence[Patch]) -> tuple[Floats, ...]:
    """Return lines that mark the places of patches on their sheet: outline and name."""
    lines: list[Floats] = []
    for patch in patches:
        lines += lines_of(patch.shape)
        x, y = patch.place
        lines += letter_lines(patch.name, _LETTER, (x + 1.0, y + 1.0))
    return tuple(lines)


def patch_sheet(patches: Sequence[Patch], width: float, kerf: float = 0.0) -> CutSheet:
    """Return all patches laid side by side on a scrap, each with its name engraved beside it.

    Parameters
    ----------
    patches : sequence of Patch
    width : float
        Width of the scrap in mm.
    kerf : float
        Width that the cut removes, in mm.
    """
    sizes = []
    for patch in patches:
        x0, y0, x1, y1 = patch.shape.bounds
        written = text_width(patch.name, _LETTER)
        sizes.append((max(x1 - x0, written), y1 - y0 + _LETTER + 1.5))
    widest = max((max(size) for size in sizes), default=0.0) + 2 * _SPACING
    stock = (max(width, widest), 20000.0)
    placed = nest(sizes, stock, spacing=_SPACING, edge=_SPACING)
    openings: list[CutPath] = []
    outline: list[CutPath] = []
    names: list[Floats] = []
    findings: list[Finding] = []
    top = 0.0
    for placing in placed.placings:
        patch, (w, h) = patches[placing.piece], sizes[placing.piece]
        shape = shapely.affinity.translate(
            patch.shape, -patch.shape.bounds[0], -patch.shape.bounds[1] + _LETTER + 1.5
        )
        name = letter_lines(patch.name, _LETTER)
        if placing.turned:
            shape = shapely.affinity.rotate(shape, 90, origin=(0, 0))
            shape = shapely.affinity.translate(shape, h, 0)
            name = letter_lines(patch.name, _LETTER, (_LETTER, 0.0), 90.0)
        shape = shapely.affinity.translate(shape, placing.x, placing.y)
        names += [line + (placing.x, placing.y) for line in name]
        cuts = cut_paths(shape, kerf, layer=f"patch {patch.name}")
        openings += cuts.openings
        outline += cuts.outline
        findings += cuts.findings
        top = max(top, placing.y + (w if placing.turned else h))
    return CutSheet(
        "Patches",
        (stock[0], top + _SPACING),
        CutPaths(tuple(openings), tuple(outline), tuple(findings)),
        tuple(names),
    )
