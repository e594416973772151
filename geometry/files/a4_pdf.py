"""A4 pages of words, tables and pictures, written one below the other."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timezone
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from PIL import Image

from ..errors import JobError

if TYPE_CHECKING:
    from fpdf import FPDF

#: A4 (ISO 216) and the margin that is left white, in mm.
WIDTH, HEIGHT, MARGIN = 210.0, 297.0, 15.0
_DATE = datetime(2000, 1, 1, tzinfo=timezone.utc)
#: What the font of the user's own is called in the file.
_OWN = "own"
_INK, _FAINT, _LINE = (25, 30, 32), (90, 98, 102), (200, 205, 207)
#: Height of a line over the size of its letters; a point in mm.
_LINE_HEIGHT, _POINT = 1.35, 25.4 / 72


def spelt(text: str) -> str:
    """Return a text without signs that PDF's standard fonts lack and for which there are others."""
    return text.replace("\u2013", "-").replace("\u2019", "'").replace("\u20ac", "EUR")


def latin(text: str) -> str:
    """Return a text as PDF's standard fonts show it; what they have not got is a question mark."""
    return spelt(text).encode("latin-1", "replace").decode("latin-1")


def is_latin(text: str) -> bool:
    """Return whether PDF's standard fonts can show a text: they hold Latin-1 only."""
    return all(ord(letter) < 256 for letter in text)


@dataclass(frozen=True)
class Paper:
    """Pages as they are printed.

    Parameters
    ----------
    pdf : bytes
    not_shown : tuple of str
        Words with letters that no font at hand has: they stand as question marks or as boxes.
    """

    pdf: bytes
    not_shown: tuple[str, ...] = ()


def checked_font(path: Path) -> Path:
    """Return the path of a font file that a PDF can take.

    Raises
    ------
    JobError
        It cannot be read, or is no TrueType or OpenType font.
    """
    from fontTools.ttLib import TTFont, TTLibError

    try:
        TTFont(path, lazy=True).close()
    except TTLibError:
        raise JobError(f"{path}: expected a TrueType or OpenType font.") from None
    except OSError as error:
        raise JobError(f"{path}: the font cannot be read: {error.strerror or error}.") from None
    return path


class Pages:
    """Pages that fill from the top; what no longer fits begins a new one.

    Parameters
    ----------
    title : str
    foot : str
        Stands at the foot of every page, before its number.
    font : Path, optional
        Font file for lines that PDF's standard fonts cannot show. Scripts that run to the left, and
        such whose letters join, need the optional extra ``text`` (HarfBuzz).
    """

    def __init__(self, title: str, foot: str = "", font: Path | None = None) -> None:
        # Here, not at the top: most runs of the command line write no PDF, and it takes long.
        from fpdf import FPDF

        self.pdf: FPDF = FPDF(unit="mm", format=(WIDTH, HEIGHT))
        self.pdf.set_auto_page_break(False)
        self.pdf.set_margin(0)
        self.pdf.c_margin = 0
        self.pdf.set_title(title)
        self.pdf.set_creator("Sheetstack")
        # The same file for the same job.
        self.pdf.set_creation_date(_DATE)
        self._foot = foot
        self._font = font
        self._shaping = find_spec("uharfbuzz") is not None
        if font is not None:
            for style in ("", "B"):
                self.pdf.add_font(_OWN, style, str(font))
            self._letters = frozenset(self.pdf.fonts[_OWN].cmap)  # type: ignore[union-attr]
        self._not_shown: dict[str, None] = {}
        self.y = MARGIN
        self.left, self.right = MARGIN, WIDTH - MARGIN
        self.new_page()

    @property
    def width(self) -> float:
        """Width between the margins in mm."""
        return self.right - self.left

    @property
    def room(self) -> float:
        """Height that is left on this page in mm."""
        return HEIGHT - MARGIN - 6 - self.y

    def new_page(self) -> None:
        """Begin a new page."""
        self.pdf.add_page()
        self.y = MARGIN
        if self._foot:
            number = str(self.pdf.page_no())
            (line, *_) = self.lines(self._foot, 8, self.width - 10)
            self._write(MARGIN, HEIGHT - 9, line, 8, faint=True)
            self._write(self.right, HEIGHT - 9, number, 8, faint=True, to_the_left=True)

    def need(self, height: float) -> None:
        """Begin a new page unless so much of this one is left."""
        if self.room < height and self.y > MARGIN:
            self.new_page()

    def words(
        self,
        text: str,
        size: float = 10,
        *,
        bold: bool = False,
        faint: bool = False,
        left: float | None = None,
        width: float | None = None,
        after: float = 1.5,
    ) -> None:
        """Write a paragraph, its lines broken to fit.

        Parameters
        ----------
        text : str
        size : float
            Of the letters, in points.
        bold, faint : bool
        left, width : float, optional
            Where the lines begin, and the room that they have, in mm; the whole line when absent.
        after : float
            Room below the paragraph, in mm.
        """
        left = self.left if left is None else left
        width = self.right - left if width is None else width
        high = size * _POINT * _LINE_HEIGHT
        for line in self.lines(text, size, width, bold=bold):
            self.need(high)
            self._write(left, self.y + size * _POINT, line, size, bold=bold, faint=faint)
            self.y += high
        self.y += after

    def lines(self, text: str, size: float, width: float, *, bold: bool = False) -> list[str]:
        """Return the lines that a text is broken into to fit a width.

        Parameters
        ----------
        text : str
        size : float
            Of the letters, in points.
        width : float
            In mm.
        bold : bool
        """

        def wide(words: str) -> float:
            self._set(words, size, bold)
            return self.pdf.get_string_width(words)

        found: list[str] = []
        for paragraph in self._shown(text).split("\n"):
            line = ""
            for word in paragraph.split():
                longer = f"{line} {word}".strip()
                if line and wide(longer) > width:
                    found.append(line)
                    line = word
                else:
                    line = longer
                # A word wider than the page is broken where the page ends.
                while len(line) > 1 and wide(line) > width:
                    kept = len(line)
                    while kept > 1 and wide(line[:kept]) > width:
                        kept -= 1
                    found.append(line[:kept])
                    line = line[kept:]
            found.append(line)
        return found

    def height(self, text: str, size: float) -> float:
        """Return how much of a page a paragraph would take, in mm."""
        return len(self.lines(text, size, self.width)) * size * _POINT * _LINE_HEIGHT

    def heading(self, text: str, size: float = 13) -> None:
        """Write a heading under a line."""
        self.need(size * _POINT * 4)
        self.y += 2.5
        self.pdf.set_draw_color(*_INK)
        self.pdf.set_line_width(0.4)
        self.pdf.line(self.left, self.y, self.right, self.y)
        self.y += 2
        self.words(text, size, bold=True)

    def picture(
        self, image: Image.Image, width: float, most_height: float, *, left: float | None = None
    ) -> tuple[float, float]:
        """Place a picture and return its width and height in mm; the writing goes on below it.

        Parameters
        ----------
        image : Image
        width, most_height : float
            Room for it, in mm; its shape is kept.
        left : float, optional
            In mm; the margin of the page when absent.
        """
        scale = min(width / image.width, most_height / image.height)
        wide, high = image.width * scale, image.height * scale
        self.need(high + 2)
        left = self.left if left is None else left
        file = io.BytesIO()
        image.convert("RGB").save(file, "PNG")
        self.pdf.image(file, left, self.y, wide, high)
        self.y += high + 2
        return wide, high

    def swatch(self, colour: str, high: float, wide: float) -> None:
        """Draw a patch of a colour where the next words begin; they go beside it.

        Parameters
        ----------
        colour : str
        high, wide : float
            In mm.
        """
        self.need(high)
        self.pdf.set_fill_color(*_rgb(colour))
        self.pdf.set_draw_color(*_INK)
        self.pdf.set_line_width(0.3)
        self.pdf.rect(self.left, self.y - 0.5, wide, high, style="DF")

    def blanks(self, names: Sequence[str], size: float = 8.5) -> None:
        """Draw lines to write on side by side, each with its name below."""
        self.need(8)
        wide = self.width / len(names)
        self.pdf.set_draw_color(*_INK)
        self.pdf.set_line_width(0.25)
        for number, name in enumerate(names):
            left = self.left + number * wide
            self.pdf.line(left, self.y, left + wide - 5, self.y)
            self._write(left, self.y + 1 + size * _POINT, name, size, faint=True)
        self.y += 8

    def table(
        self,
        rows: Sequence[Sequence[str]],
        shares: Sequence[float],
        size: float = 9.5,
        *,
        numbers: Sequence[int] = (),
        chips: Sequence[str] = (),
        total: bool = False,
    ) -> None:
        """Write a table: its first row is the heading; ``numbers`` are columns that go right.

        Parameters
        ----------
        rows : sequence of sequence of str
        shares : sequence of float
            Widths of the columns as shares of the page.
        size : float
        numbers : sequence of int
        chips : sequence of str
            A colour for each row below the heading, shown before its first cell.
        total : bool
            The last row is a sum.
        """
        pad = 2.0
        high = size * _POINT * _LINE_HEIGHT
        widths = [share * self.width for share in shares]
        for number, row in enumerate(rows):
            bold = number == 0 or (total and number == len(rows) - 1)
            chip = chips[number - 1] if chips and 0 < number <= len(chips) else ""
            indent = 8.0 if chips else 0.0
            cells = [
                self.lines(cell, size, wide - pad - (indent if k == 0 else 0), bold=bold)
                for k, (cell, wide) in enumerate(zip(row, widths, strict=True))
            ]
            tall = max(len(lines) for lines in cells) * high + 1.6
            self.need(tall)
            x = self.left
            for k, (lines, wide) in enumerate(zip(cells, widths, strict=True)):
                for step, line in enumerate(lines):
                    at = x + (wide if k in numbers else indent if k == 0 else 0)
                    below = self.y + step * high + size * _POINT
                    self._write(at, below, line, size, bold=bold, to_the_left=k in numbers)
                x += wide
            if chip:
                self.pdf.set_fill_color(*_rgb(chip))
                self.pdf.set_draw_color(*_INK)
                self.pdf.set_line_width(0.2)
                self.pdf.rect(self.left, self.y + 0.3, 6, high - 0.9, style="DF")
            self.y += tall
            self.pdf.set_draw_color(*(_INK if number == 0 else _LINE))
            self.pdf.set_line_width(0.35 if number == 0 else 0.15)
            self.pdf.line(self.left, self.y - 0.8, self.right, self.y - 0.8)
        self.y += 1.5

    def check_boxes(self, lines: Sequence[str], size: float = 14, *, columns: int = 1) -> None:
        """Write lines, each with a box to tick that a gloved hand with a marker hits.

        Parameters
        ----------
        lines : sequence of str
        size : float
            Of the letters, in points.
        columns : int
        """
        side = size * _POINT * 1.3
        high = size * _POINT * _LINE_HEIGHT
        wide = self.width / columns
        for first in range(0, len(lines), columns):
            cells = [
                self.lines(line, size, wide - side - 7) for line in lines[first : first + columns]
            ]
            tall = max(side, max(len(cell) for cell in cells) * high)
            self.need(tall + 2)
            for column, cell in enumerate(cells):
                left = self.left + column * wide
                self.pdf.set_draw_color(*_INK)
                self.pdf.set_line_width(0.7)
                self.pdf.rect(left, self.y, side, side)
                for step, line in enumerate(cell):
                    at = self.y + size * _POINT * 1.1 + step * high
                    self._write(left + side + 4, at, line, size)
            self.y += tall + 2

    def boxes_height(self, lines: Sequence[str], size: float) -> float:
        """Return how much of a page ``check_boxes`` would take, in mm."""
        side = size * _POINT * 1.3
        high = size * _POINT * _LINE_HEIGHT
        cells = (self.lines(line, size, self.width - side - 7) for line in lines)
        return sum(max(side, len(cell) * high) + 2 for cell in cells)

    def paper(self) -> Paper:
        """Return the pages as a PDF file."""
        return Paper(bytes(self.pdf.output()), tuple(self._not_shown))

    def _shown(self, text: str) -> str:
        """Return a text as it can be shown; what cannot be is kept for ``not_shown``."""
        plain = spelt(text)
        if is_latin(plain):
            return plain
        if self._font is None:
            self._not_shown[text] = None
            return latin(text)
        if not all(ord(letter) in self._letters for letter in plain if not letter.isspace()):
            self._not_shown[text] = None
        return plain

    def _write(
        self,
        x: float,
        y: float,
        line: str,
        size: float,
        *,
        bold: bool = False,
        faint: bool = False,
        to_the_left: bool = False,
    ) -> None:
        """Write a line from x, or up to it, on the base line y."""
        shown = self._shown(line)
        self._set(shown, size, bold)
        self.pdf.set_text_color(*(_FAINT if faint else _INK))
        wide = self.pdf.get_string_width(shown)
        self.pdf.set_xy(x - wide if to_the_left else x, y - size * _POINT)
        # A cell puts its base line at half its height and 0.3 of the letters' size.
        self.pdf.cell(wide, 1.4 * size * _POINT, shown)

    def _set(self, line: str, size: float, bold: bool) -> None:
        own = self._font is not None and not is_latin(line)
        self.pdf.set_font(_OWN if own else "Helvetica", "B" if bold else "", size)
        self.pdf.set_text_shaping(own and self._shaping)


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
