"""Text read: lines of text set in a font as the area that they paint."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon

from ...errors import ArtworkError
from ...finding import Finding, Severity
from ...planar.polygons import as_multipolygon
from ...planar.union import unite
from ...tolerance import TOLERANCES, Tolerances
from ..read import Artwork
from ..source import ArtworkSource, Text
from .bidi import runs_of
from .font import GRID, Font

#: Baselines lie so many ems apart where nothing else is said. Common practice, no source.
LEADING = 1.2
#: Share of a line's width that lies left of its anchor.
_BEFORE = {"left": 0.0, "centre": 0.5, "right": 1.0}


def read_text(source: ArtworkSource, tolerances: Tolerances = TOLERANCES) -> Artwork:
    """Set a layer's text.

    Parameters
    ----------
    source : ArtworkSource
        Its ``text`` is set in the font file of its ``path``.
    tolerances : Tolerances

    Returns
    -------
    Artwork
        Without a page. Letters that touch are one area; equal letters are equal to the last bit.

    Raises
    ------
    ArtworkError
        The font cannot be read, or none of the text can be set in it.
    """
    text = source.text
    assert text is not None
    font = Font(source.path)
    units = font.em if text.size_is == "em" else font.cap_height()
    scale = text.size_mm / units
    leading = text.leading_mm or LEADING * font.em * scale
    areas: list[MultiPolygon] = []
    findings: list[Finding] = []
    for number, line in enumerate(text.lines):
        glyphs, width = font.shape(runs_of(line), text.tracking_mm / scale)
        left = text.at_mm[0] - _BEFORE[text.align] * width * scale
        base = text.at_mm[1] - number * leading
        for glyph in glyphs:
            place = np.array([left + glyph.x * scale, base + glyph.y * scale])
            if glyph.number == 0:
                findings.append(_missing(glyph.text, font, (float(place[0]), float(place[1]))))
                continue
            area = font.area(glyph.number, scale, tolerances)
            if not area.is_empty:
                shift = np.rint(place / GRID) * GRID
                areas.append(shapely.transform(area, lambda xy, shift=shift: xy + shift))
    if not areas:
        told = f": {findings[0].sentence()}" if findings else "."
        raise ArtworkError(f"{source.path}: nothing of the text {_shown(text)} can be set{told}")
    return Artwork(as_multipolygon(_joined(areas)), None, tuple(findings))


def _joined(areas: list[MultiPolygon]) -> shapely.Geometry:
    """Return the letters' areas; only those that meet others are united."""
    parts = shapely.get_parts(areas)
    one, other = shapely.STRtree(parts).query(parts, predicate="intersects")
    meets = np.zeros(len(parts), bool)
    meets[one[one != other]] = True
    kept = [*parts[~meets]]
    if meets.any():
        kept += shapely.get_parts(unite(parts[meets])).tolist()
    return MultiPolygon(kept)


def _missing(text: str, font: Font, place: tuple[float, float]) -> Finding:
    codes = " ".join(f"U+{ord(c):04X}" for c in text)
    return Finding(
        "text.missing-glyph",
        Severity.SPOILS,
        f"The font {font.path.name} has no glyph for '{text}' ({codes}); it was left out. Choose "
        "another font, or spell it otherwise.",
        place=place,
    )


def _shown(text: Text) -> str:
    whole = " / ".join(text.lines)
    return repr(whole if len(whole) <= 40 else whole[:37] + "...")
