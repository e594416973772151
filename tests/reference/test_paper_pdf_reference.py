"""Paged PDFs rendered by PDFium: true size, area and place."""

from __future__ import annotations

import numpy as np
import pypdfium2
import pytest
from shapely import Point, Polygon, box

from sheetstack.geometry.fabricate.cut_sheet import CutSheet
from sheetstack.geometry.fabricate.kerf import cut_paths
from sheetstack.geometry.files.paper_pdf import STRIP, paper_pdf, paper_plan
from sheetstack.geometry.job.sections import PaperSettings

POINT = 25.4 / 72  # PDF 1.7, 8.3.2.3: a unit of default user space is 1/72 inch


@pytest.fixture
def sheet():
    plate = Polygon(
        box(0, 0, 400, 500).exterior.coords,
        [
            Point(200, 260).buffer(120, quad_segs=32).exterior.coords,
            box(30, 30, 90, 60).exterior.coords,
        ],
    )
    return CutSheet("Shadow", (400, 500), cut_paths(plate, 0.0))


def test_pages_are_a4_and_as_many_as_planned(sheet):
    paper = PaperSettings()
    pages = pypdfium2.PdfDocument(paper_pdf(sheet, paper, title="Cat"))
    plan = paper_plan(sheet, paper)
    assert len(pages) == 1 + plan.count
    for page in pages:
        # ISO 216: A4 is 210 x 297 mm.
        assert sorted(side * POINT for side in page.get_size()) == pytest.approx(
            [210, 297], abs=0.01
        )


def test_tinted_area_over_all_pages_is_that_of_the_openings(sheet):
    paper = PaperSettings(overlap_mm=0.0)
    plan = paper_plan(sheet, paper)
    pages = pypdfium2.PdfDocument(paper_pdf(sheet, paper))
    dots = 10.0  # a mm
    border = paper.margin_mm + STRIP
    area = 0.0
    lows, highs = [], []
    for page, (_, left, low) in zip(list(pages)[1:], plan.windows(), strict=True):
        grey = np.asarray(page.render(scale=dots * POINT).to_pil().convert("L"), float)
        a, b = round(border * dots), round((border + plan.window[1]) * dots)
        c, d = round(border * dots), round((border + plan.window[0]) * dots)
        window = grey[a:b, c:d]
        area += ((window > 205) & (window < 240)).sum() / dots**2
        rows, columns = np.nonzero(window < 240)
        if len(rows):
            lows.append(
                (left + columns.min() / dots, low + plan.window[1] - (rows.max() + 1) / dots)
            )
            highs.append(
                (left + (columns.max() + 1) / dots, low + plan.window[1] - rows.min() / dots)
            )
    openings = sum(Polygon(p.points).area for p in sheet.cuts.openings)
    # The lines, 0.1 mm or a dot wide, hide a little of it.
    assert area == pytest.approx(openings, rel=5e-3)
    assert np.min(lows, axis=0) == pytest.approx([0, 0], abs=2 / dots)
    assert np.max(highs, axis=0) == pytest.approx([400, 500], abs=2 / dots)


def test_scale_bar_is_a_hundred_millimetres_or_less(sheet):
    for size, length in (("A4", 90), ("A3", 100)):
        text = pypdfium2.PdfDocument(paper_pdf(sheet, PaperSettings(size=size)))[1]
        words = text.get_textpage().get_text_range()
        assert f"{length} mm: measure before cutting" in words
        assert "page A1, 1 of" in words


def test_first_page_carries_the_cautions_and_titles_that_latin_lacks_do_no_harm(sheet):
    pages = pypdfium2.PdfDocument(paper_pdf(sheet, PaperSettings(), title="\u732b Katze"))
    words = pages[0].get_textpage().get_text_range()
    assert "Blades. Cut away from your body" in words
    assert "Print at 100 %" in words
    assert "? Katze" in words


def test_the_same_job_gives_the_same_bytes(sheet):
    assert paper_pdf(sheet, PaperSettings()) == paper_pdf(sheet, PaperSettings())
