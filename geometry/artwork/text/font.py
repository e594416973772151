"""Font: a font file's glyphs, shaped by HarfBuzz and drawn as areas.

HarfBuzz reads the file, applies its kerning, ligatures and joining forms, and draws the outlines.
It comes with the optional extra ``text``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from shapely import MultiPolygon

from ...arrays import Floats
from ...errors import ArtworkError
from ...planar.curves import flatten_cubics
from ...planar.snapping import snapped
from ...tolerance import Tolerances
from ..fill.contour import Contour
from ..fill.fill import fill
from .bidi import Run

#: A font file is read whole; the largest that are in use have some tens of megabytes.
MOST_BYTES = 100_000_000
#: Glyphs and their places lie on this grid in mm: a power of two, no finer than the grid of the
#: largest sheet, so that the same letter is the same shape to the last bit wherever it stands.
GRID = 2.0**-8


@dataclass(frozen=True)
class Glyph:
    """A glyph in its place on a line, in units of the font.

    Parameters
    ----------
    number : int
        Within the font; 0 where it has none for the text.
    x, y : float
        Its origin.
    text : str
        What it stands for.
    """

    number: int
    x: float
    y: float
    text: str


@dataclass(frozen=True)
class Shaped:
    """A glyph of a run, in units of the font.

    Parameters
    ----------
    number : int
        Within the font; 0 where it has none for the text.
    cluster : int
        The first of the run's characters that it stands for.
    x, y : float
        How far it is moved from the pen.
    advance : float
        How far the pen goes on.
    """

    number: int
    cluster: int
    x: float
    y: float
    advance: float


@dataclass
class _Pen:
    """Takes outlines as HarfBuzz draws them, lines and quadratics raised to cubics."""

    contours: list[list[list[tuple[float, float]]]] = field(default_factory=list)
    at: tuple[float, float] = (0.0, 0.0)

    def moveTo(self, to: tuple[float, float]) -> None:
        self.contours.append([])
        self.at = to

    def lineTo(self, to: tuple[float, float]) -> None:
        if to != self.at:
            self.contours[-1].append([self.at, self.at, to, to])
        self.at = to

    def curveTo(self, *points: tuple[float, float]) -> None:
        first, second, to = points
        self.contours[-1].append([self.at, first, second, to])
        self.at = to

    def qCurveTo(self, *points: tuple[float, float]) -> None:
        middle, to = np.asarray(points[0], float), points[1]
        start, end = np.asarray(self.at, float), np.asarray(to, float)
        first, second = start + (middle - start) * 2 / 3, end + (middle - end) * 2 / 3
        self.contours[-1].append([self.at, tuple(first.tolist()), tuple(second.tolist()), to])
        self.at = to

    def closePath(self) -> None:
        pass


class Font:
    """A font file.

    Parameters
    ----------
    path : Path
        TrueType or OpenType (``.ttf``, ``.otf``; the first of a ``.ttc``).

    Raises
    ------
    ArtworkError
        The file is missing or no font, or the optional library is not installed.
    """

    def __init__(self, path: Path) -> None:
        try:
            import uharfbuzz
        except ImportError:
            raise ArtworkError(
                "Text needs the library uharfbuzz: install sheetstack with the extra 'text', or "
                "turn the text into paths in a drawing program."
            ) from None
        self.path = path
        self._library: Any = uharfbuzz
        try:
            if not path.is_file():
                raise ArtworkError(f"{path}: expected a font file, found none.")
            if path.stat().st_size > MOST_BYTES:
                raise ArtworkError(f"{path}: {path.stat().st_size} bytes are too many for a font.")
            face = uharfbuzz.Face(uharfbuzz.Blob(path.read_bytes()))
        except OSError as error:
            raise ArtworkError(f"{path}: cannot be read: {error.strerror or error}.") from None
        if face.glyph_count == 0 or face.upem <= 0:
            raise ArtworkError(
                f"{path}: is no font that can be read; expected TrueType or OpenType (.ttf, .otf)."
            )
        self.em: float = float(face.upem)
        self._face: Any = face
        self._font: Any = uharfbuzz.Font(face)
        self._areas: dict[tuple[int, float], MultiPolygon] = {}

    def cap_height(self) -> float:
        """Return the height of capitals in units: as the font says, else that of its H.

        Raises
        ------
        ArtworkError
            It has neither.
        """
        said = self._font.get_metric_position(self._library.OTMetricsTag.CAP_HEIGHT)
        if said and said > 0:
            return float(said)
        glyph = self._font.get_nominal_glyph(ord("H"))
        extents = self._font.get_glyph_extents(glyph) if glyph else None
        if extents is None or extents.y_bearing <= 0:
            raise ArtworkError(
                f"{self.path}: the font tells no height of its capitals; give text_size_is = 'em'."
            )
        return float(extents.y_bearing)

    def shape(self, runs: Sequence[Run], tracking: float) -> tuple[list[Glyph], float]:
        """Return the glyphs of a line's runs from left to right, and the line's width, in units.

        Parameters
        ----------
        runs : sequence of Run
        tracking : float
            Added between letters, in units. Ligatures are left out then, as in CSS Text 3,
            section 8.2 (letter-spacing).
        """
        glyphs: list[Glyph] = []
        pen = 0.0
        last = 0.0
        for run in runs:
            placed = self.shaped(run, ligatures=not tracking)
            starts = sorted({one.cluster for one in placed})
            ends = dict(zip(starts, [*starts[1:], len(run.text)], strict=True))
            for one in placed:
                meant = run.text[one.cluster : ends[one.cluster]]
                glyphs.append(Glyph(one.number, pen + one.x, one.y, meant))
                last = tracking if one.advance else 0.0
                pen += one.advance + last
        return glyphs, pen - last

    def shaped(self, run: Run, *, ligatures: bool = True) -> list[Shaped]:
        """Return the glyphs of one run from left to right."""
        buffer = self._library.Buffer()
        buffer.add_str(run.text)
        buffer.guess_segment_properties()
        buffer.direction = "rtl" if run.to_left else "ltr"
        self._library.shape(self._font, buffer, {} if ligatures else {"liga": False, "clig": False})
        return [
            Shaped(
                info.codepoint,
                info.cluster,
                float(place.x_offset),
                float(place.y_offset),
                float(place.x_advance),
            )
            for info, place in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True)
        ]

    def outlines(self, number: int) -> list[Floats]:
        """Return the outlines of a glyph as cubics, arrays (k, 4, 2) in units of the font."""
        pen = _Pen()
        self._font.draw_glyph_with_pen(number, pen)
        return [np.asarray(contour, np.float64) for contour in pen.contours if contour]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the family that the font belongs to, as it says."""
        named = self._library.OTNameIdPredefined
        asked = (named.TYPOGRAPHIC_FAMILY, named.FONT_FAMILY)
        return tuple(name for name in map(self._face.get_name, asked) if name)

    @property
    def weight(self) -> int:
        """How heavy it is, 100 to 900 (OpenType, table OS/2, usWeightClass)."""
        table = self._face.reference_table("OS/2").data or b""
        return int.from_bytes(table[4:6], "big") or 400 if len(table) >= 6 else 400

    @property
    def slanted(self) -> bool:
        """Whether it is italic or oblique (OpenType, table OS/2, fsSelection, bits 0 and 9)."""
        table = self._face.reference_table("OS/2").data or b""
        return len(table) >= 64 and bool(int.from_bytes(table[62:64], "big") & 0x201)

    def area(self, number: int, scale: float, tolerances: Tolerances) -> MultiPolygon:
        """Return what a glyph paints, in mm from its origin.

        Parameters
        ----------
        number : int
        scale : float
            Millimetres to a unit.
        tolerances : Tolerances
        """
        key = (number, scale)
        if key not in self._areas:
            outlines = self.outlines(number)
            contours = [Contour(_flat(cubics, scale, tolerances)) for cubics in outlines]
            shape = fill(contours, "nonzero", tolerances=tolerances).shape
            self._areas[key] = snapped(shape, GRID)
        return self._areas[key]


def _flat(cubics: Floats, scale: float, tolerances: Tolerances) -> Floats:
    control = cubics * scale
    points, _ = flatten_cubics(control, tolerances.chord)
    return np.concatenate([control[0, :1], points])
