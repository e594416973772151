"""Paper sizes against ISO 216 as papersize has it, and page plans that cover their sheet."""

import papersize
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import box

from sheetstack.geometry.errors import JobError
from sheetstack.geometry.fabricate.pages import page_plan, paper_size

# ISO 216, the values of its table of the A series.
ISO_216 = {
    "A0": (841, 1189),
    "A1": (594, 841),
    "A2": (420, 594),
    "A3": (297, 420),
    "A4": (210, 297),
}


@pytest.mark.parametrize("name", [f"A{n}" for n in range(9)])
def test_paper_sizes_are_those_of_papersize(name):
    width, height = papersize.parse_papersize(name.lower(), "mm")
    assert paper_size(name) == pytest.approx((float(width), float(height)))
    assert paper_size(name) == ISO_216.get(name, paper_size(name))


@pytest.mark.parametrize(
    ("paper", "lying", "pages"),
    # Arithmetic on ISO 216 without overlap: ceil(841/210) x ceil(1189/297) and so on.
    [("A0", False, 25), ("A0", True, 18), ("A1", False, 9), ("A1", True, 10), ("A2", False, 4)],
)
def test_a_series_tiled_on_a4_takes_the_known_numbers_of_pages(paper, lying, pages):
    assert page_plan(*paper_size(paper), "A4", lying=lying).count == pages


def test_the_position_with_fewer_pages_is_taken():
    assert page_plan(841, 1189, "A4").count == 18
    assert page_plan(594, 841, "A4").page == (210, 297)


@given(st.floats(10, 3000), st.floats(10, 3000), st.floats(0, 20), st.floats(0, 40), st.booleans())
def test_windows_cover_the_sheet_and_share_the_overlap(width, height, border, overlap, lying):
    plan = page_plan(width, height, "A4", border=border, overlap=overlap, lying=lying)
    wide, high = plan.window
    windows = {n: box(x, y, x + wide, y + high) for n, x, y in plan.windows()}
    assert len(windows) == plan.count
    assert (
        box(0, 0, width, height).difference(shapely.union_all(list(windows.values()))).area < 1e-5
    )
    for row, column in ((r, c) for r in range(min(plan.rows, 3)) for c in range(plan.columns - 1)):
        a, b = list(windows.values())[row * plan.columns + column :][:2]
        assert a.intersection(b).area == pytest.approx(overlap * high, abs=1e-6)


def test_what_is_no_paper_or_leaves_nothing_is_refused():
    with pytest.raises(JobError, match="expected A0 to A10"):
        paper_size("B4")
    with pytest.raises(JobError, match="nothing of the page is left"):
        page_plan(100, 100, "A5", border=70, overlap=10)
