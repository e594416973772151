"""Paper: ISO 216 sizes, and how many pages at true size a sheet takes."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import JobError
from ..tolerance import ROUNDING

#: ISO 216, the A series: A0 in mm; each next size is the longer side halved, rounded down.
_A0 = (841, 1189)


def paper_size(name: str) -> tuple[int, int]:
    """Return width and height in mm of an upright ISO 216 A paper.

    Raises
    ------
    JobError
        The name is not A0 to A10.

    Examples
    --------
    >>> paper_size("A4")
    (210, 297)
    """
    if name[:1].upper() != "A" or not name[1:].isdecimal() or not 0 <= int(name[1:]) <= 10:
        raise JobError(f"Paper '{name}': expected A0 to A10.")
    width, height = _A0
    for _ in range(int(name[1:])):
        width, height = height // 2, width
    return width, height


@dataclass(frozen=True)
class PagePlan:
    """Pages that together show a sheet at true size.

    Parameters
    ----------
    page : tuple of float
        Width and height of a page as it is used: upright or lying, in mm.
    window : tuple of float
        Part of a page that shows the sheet.
    overlap : float
        What neighbouring pages both show.
    columns, rows : int
    """

    page: tuple[float, float]
    window: tuple[float, float]
    overlap: float
    columns: int
    rows: int

    @property
    def count(self) -> int:
        """Number of pages."""
        return self.columns * self.rows

    def windows(self) -> list[tuple[str, float, float]]:
        """Return name, left and lower edge of each page's window on the sheet, from the top left.

        Rows have letters from the top, columns numbers from the left.
        """
        step_x, step_y = self.window[0] - self.overlap, self.window[1] - self.overlap
        return [
            (f"{_letters(row)}{column + 1}", column * step_x, (self.rows - 1 - row) * step_y)
            for row in range(self.rows)
            for column in range(self.columns)
        ]


def page_plan(
    width: float,
    height: float,
    paper: str,
    *,
    border: float = 0.0,
    overlap: float = 0.0,
    lying: bool | None = None,
) -> PagePlan:
    """Return the pages that show a sheet at true size.

    Parameters
    ----------
    width, height : float
        Of the sheet in mm.
    paper : str
        ISO 216 name.
    border : float
        Edge of each page in mm that does not show the sheet.
    overlap : float
        What neighbouring pages both show, in mm.
    lying : bool, optional
        Page lying or upright; what takes fewer pages when None, upright where equal.

    Raises
    ------
    JobError
        Border and overlap leave nothing of the page.

    Examples
    --------
    >>> page_plan(841, 1189, "A4", lying=True).count
    18
    """
    if lying is None:
        return min(
            (
                page_plan(width, height, paper, border=border, overlap=overlap, lying=turned)
                for turned in (False, True)
            ),
            key=lambda plan: plan.count,
        )
    short, long = paper_size(paper)
    page = (float(long), float(short)) if lying else (float(short), float(long))
    window = (page[0] - 2 * border, page[1] - 2 * border)
    if min(window) <= overlap:
        raise JobError(
            f"Paper {paper} with a border of {border:g} mm and an overlap of {overlap:g} mm: "
            "nothing of the page is left."
        )
    columns, rows = (
        max(1, math.ceil((side - overlap) / (shown - overlap) - ROUNDING))
        for side, shown in zip((width, height), window, strict=True)
    )
    return PagePlan(page, window, overlap, columns, rows)


def _letters(number: int) -> str:
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text
