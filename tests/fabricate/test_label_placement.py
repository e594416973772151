"""Labels lie on solid sheet, or nowhere."""

import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from sheetstack.geometry.fabricate.label_placement import place_label


@pytest.mark.parametrize("seed", range(6))
def test_a_label_lies_on_solid_sheet(sheet_of_seed, seed):
    sheet = sheet_of_seed(seed)
    label = place_label("2 SHADOW", sheet, height=5.0, clearance=1.0)
    assert label is not None
    assert sheet.covers(label.box.buffer(1.0 - 1e-6, join_style="mitre"))
    drawn = np.concatenate(label.lines)
    assert label.box.buffer(1e-9).covers(shapely.MultiPoint(drawn))


def test_a_label_that_finds_no_room_gets_smaller_and_then_is_none():
    strip = box(0, 0, 40, 6)
    assert place_label("MID-TONE", strip, height=8.0).height < 8.0
    assert place_label("MID-TONE", box(0, 0, 10, 4), height=8.0) is None
    assert place_label("A", Polygon(), height=2.0) is None


def test_a_label_runs_upwards_where_only_a_side_is_free():
    label = place_label("SHADOW", box(0, 0, 8, 60), height=4.0)
    x0, y0, x1, y1 = label.box.bounds
    assert (x1 - x0, y1 - y0) == pytest.approx((4.0, 4.0 * 34 / 6))
    drawn = np.concatenate(label.lines)
    assert drawn.min(axis=0) == pytest.approx([x0, y0])
    assert drawn.max(axis=0) == pytest.approx([x1, y1])
