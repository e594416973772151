"""Sheets at true size as PDF, over as many pages of paper as they take, to be cut by hand.

First a page that shows how the pages lie together; then page by page a window on the sheet with
crop marks at its corners, a scale bar to check the print by, and the page's name. Openings are
tinted, so that the knife knows what falls out.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timezone
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..arrays import Floats
from ..cautions import cautions_text
from ..fabricate.cut_sheet import CutSheet
from ..fabricate.pages import PagePlan, page_plan
from ..job.sections import PaperSettings
from .a4_pdf import latin
from .atomic import atomic

if TYPE_CHECKING:
    from fpdf import FPDF

#: Strip round the window for crop marks, scale bar and caption, inside the printer's margin.
STRIP = 7.0
#: Length of the scale bar where the page is wide enough.
BAR = 100.0
_DATE = datetime(2000, 1, 1, tzinfo=timezone.utc)
_TINT, _CUT, _ENGRAVED, _MARKED, _PLAIN = (
    (222, 222, 222),
    (0, 0, 0),
    (0, 128, 0),
    (120, 120, 120),
    (60, 60, 60),
)


def paper_plan(sheet: CutSheet, paper: PaperSettings) -> PagePlan:
    """Return the pages that a sheet takes, margin and strip for marks left out."""
    return page_plan(
        *sheet.size, paper.size, border=paper.margin_mm + STRIP, overlap=paper.overlap_mm
    )


def paper_pdf(sheet: CutSheet, paper: PaperSettings, *, title: str = "") -> bytes:
    """Return a sheet as the bytes of a PDF at 1:1.

    Parameters
    ----------
    sheet : CutSheet
        Cut by hand, so without kerf.
    paper : PaperSettings
    title : str

    Raises
    ------
    JobError
        Margin and overlap leave nothing of the paper.
    """
    # Here, not at the top: most runs of the command line write no PDF, and it takes long to load.
    from fpdf import FPDF

    plan = paper_plan(sheet, paper)
    pdf = FPDF(unit="mm", format=plan.page)
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.set_title(latin(" - ".join(t for t in (title, sheet.name) if t)))
    pdf.set_creator("Sheetstack")
    # The same file for the same job.
    pdf.set_creation_date(_DATE)
    pdf.set_line_width(0.1)
    _overview(pdf, sheet, plan, paper, title)
    for number, (name, left, low) in enumerate(plan.windows(), 1):
        pdf.add_page()
        _page(pdf, sheet, plan, paper, title, f"{name}, {number} of {plan.count}", left, low)
    return bytes(pdf.output())


def write_paper_pdf(
    path: Path | str, sheet: CutSheet, paper: PaperSettings, *, title: str = ""
) -> None:
    """Write a sheet as a PDF at 1:1, whole or not at all.

    Parameters
    ----------
    path : Path or str
    sheet : CutSheet
    paper : PaperSettings
    title : str
        Of the job.

    Raises
    ------
    JobError
        Margin and overlap leave nothing of the paper.
    WriteError
        The file cannot be written.
    """
    content = paper_pdf(sheet, paper, title=title)
    with atomic(path) as file:
        file.write(content)


def _page(
    pdf: FPDF,
    sheet: CutSheet,
    plan: PagePlan,
    paper: PaperSettings,
    title: str,
    name: str,
    left: float,
    low: float,
) -> None:
    border = paper.margin_mm + STRIP
    wide, high = plan.window
    with pdf.rect_clip(border, border, wide, high):
        _draw(pdf, sheet, border - left, border + high + low, 1.0, (left, low, wide, high))
    _crop_marks(pdf, border, wide, high)
    _overlaps(pdf, plan, border, left, low, sheet.size)
    length = min(BAR, 10 * (wide * 0.5 // 10))
    y = border + high + 3.5
    _scale_bar(pdf, border + wide - length - 2, y, length)
    _words(pdf, border + 7, border - 3, f"{title}  {sheet.name}  page {name}".strip(), 7)


def _draw(
    pdf: FPDF,
    sheet: CutSheet,
    x0: float,
    y0: float,
    scale: float,
    window: tuple[float, float, float, float] | None = None,
) -> None:
    """Draw the sheet with its lower left corner at (x0, y0) of a page whose y points down."""

    def placed(points: Floats) -> list[tuple[float, float]]:
        moved = np.stack([x0 + scale * points[:, 0], y0 - scale * points[:, 1]], axis=1)
        return [(x, y) for x, y in moved.tolist()]

    pdf.set_fill_color(*_TINT)
    pdf.set_draw_color(*_CUT)
    for path in _seen((p.points for p in sheet.cuts.openings), window):
        pdf.polyline(placed(path), polygon=True, style="DF")
    for path in _seen((p.points for p in sheet.cuts.outline), window):
        pdf.polyline(placed(path), polygon=True, style="D")
    for colour, lines in ((_MARKED, sheet.marked), (_ENGRAVED, sheet.engraved)):
        pdf.set_draw_color(*colour)
        for line in _seen(lines, window):
            pdf.polyline(placed(line))


def _seen(
    lines: Iterable[Floats], window: tuple[float, float, float, float] | None
) -> list[Floats]:
    if window is None:
        return list(lines)
    left, low, wide, high = window
    return [
        line
        for line in lines
        if (line.max(axis=0) >= (left, low)).all()
        and (line.min(axis=0) <= (left + wide, low + high)).all()
    ]


def _crop_marks(pdf: FPDF, border: float, wide: float, high: float) -> None:
    pdf.set_draw_color(*_PLAIN)
    for x, dx in ((border, -1), (border + wide, 1)):
        for y, dy in ((border, -1), (border + high, 1)):
            pdf.line(x + dx, y, x + 5 * dx, y)
            pdf.line(x, y + dy, x, y + 5 * dy)


def _overlaps(
    pdf: FPDF, plan: PagePlan, border: float, left: float, low: float, size: tuple[float, float]
) -> None:
    """Draw dashes where the neighbour's edge comes to lie."""
    if plan.overlap <= 0:
        return
    wide, high = plan.window
    pdf.set_draw_color(150, 150, 150)
    with pdf.local_context():
        pdf.set_dash_pattern(dash=2, gap=2)
        if left > 0:
            pdf.line(border + plan.overlap, border, border + plan.overlap, border + high)
        if left + wide < size[0]:
            x = border + wide - plan.overlap
            pdf.line(x, border, x, border + high)
        if low > 0:
            y = border + high - plan.overlap
            pdf.line(border, y, border + wide, y)
        if low + high < size[1]:
            pdf.line(border, border + plan.overlap, border + wide, border + plan.overlap)


def _scale_bar(pdf: FPDF, x: float, y: float, length: float) -> None:
    pdf.set_draw_color(0, 0, 0)
    pdf.set_fill_color(0, 0, 0)
    for k in range(int(length // 10)):
        pdf.rect(x + 10 * k, y, 10, 1.2, style="DF" if k % 2 == 0 else "D")
    text = f"{length:g} mm: measure before cutting"
    _words(pdf, x - 1.5, y + 1.2, text, 6, right=True)


def _overview(pdf: FPDF, sheet: CutSheet, plan: PagePlan, paper: PaperSettings, title: str) -> None:
    pdf.add_page()
    page_w, page_h = plan.page
    margin = max(paper.margin_mm, 5.0) + 5
    _words(pdf, margin, margin + 4, title or "Sheetstack", 13)
    _words(
        pdf,
        margin,
        margin + 10,
        f"{sheet.name}: {sheet.size[0]:g} x {sheet.size[1]:g} mm on {plan.count} pages "
        f"{paper.size}, overlap {plan.overlap:g} mm. Print at 100 %, not fitted to the page.",
        8,
    )
    caution_h = 42.0
    room_w, room_h = page_w - 2 * margin, page_h - 2 * margin - 16 - caution_h
    total_w = max(sheet.size[0], plan.columns * (plan.window[0] - plan.overlap) + plan.overlap)
    total_h = max(sheet.size[1], plan.rows * (plan.window[1] - plan.overlap) + plan.overlap)
    scale = min(room_w / total_w, room_h / total_h, 1.0)
    x0, y0 = margin, margin + 14 + total_h * scale
    _draw(pdf, sheet, x0, y0, scale)
    pdf.set_draw_color(200, 60, 40)
    for name, left, low in plan.windows():
        wide, high = plan.window
        pdf.rect(x0 + left * scale, y0 - (low + high) * scale, wide * scale, high * scale)
        pdf.set_text_color(200, 60, 40)
        _words(pdf, x0 + left * scale + 2, y0 - (low + high) * scale + 5, name, 9)
        pdf.set_text_color(0, 0, 0)
    pdf.set_font("Helvetica", size=7)
    pdf.set_xy(margin, page_h - margin - caution_h + 2)
    pdf.multi_cell(room_w, 3.2, latin(cautions_text("knife").replace("\n\n", "\n")))


def _words(pdf: FPDF, x: float, y: float, text: str, points: float, right: bool = False) -> None:
    pdf.set_font("Helvetica", size=points)
    text = latin(text)
    pdf.text(x - pdf.get_string_width(text) if right else x, y, text)
