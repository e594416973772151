import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, Polygon, box

from sheetstack.geometry.planar.narrow import narrow_parts, narrow_sheet
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.support.repairs import accepted, narrow_findings

PLATE = box(0, 0, 60, 40)
LEAST = 2.0


def found(shape, least=LEAST):
    return narrow_sheet(PLATE, as_multipolygon(PLATE.difference(shape)), least)


@pytest.mark.parametrize("width", [0.4, 0.8, 1.2, 1.6, 1.9])
@pytest.mark.parametrize("turn", [0, 33, 90])
def test_a_neck_of_known_width_and_length(width, turn):
    slots = [box(20, 10, 30 - width / 2, 30), box(30 + width / 2, 10, 40, 30)]
    slots = [shapely.affinity.rotate(s, turn, origin=(30, 20)) for s in slots]
    (neck,) = narrow_sheet(PLATE, MultiPolygon(slots), LEAST)
    assert neck.kind == "neck"
    assert neck.width_mm == pytest.approx(width, rel=1e-3)
    assert neck.length_mm == pytest.approx(20, abs=0.5)
    assert neck.place == pytest.approx((30, 20), abs=0.2)


def test_a_strip_at_the_least_width_is_none():
    assert found(PLATE.difference(box(20, 10, 29, 30)).difference(box(31, 10, 40, 30))) == []


def test_a_neck_between_two_discs_is_narrowest_between_their_centres():
    (neck,) = found(
        PLATE.difference(Point(20, 20).buffer(8, 64)).difference(Point(37.3, 20).buffer(8, 64))
    )
    assert (neck.kind, neck.width_mm) == ("neck", pytest.approx(1.3, abs=1e-6))
    assert neck.place == pytest.approx((28.65, 20), abs=0.1)


def test_a_neck_between_an_opening_and_the_outer_edge():
    (neck,) = found(PLATE.difference(box(20, 1.2, 40, 30)))
    assert (neck.kind, neck.width_mm) == ("neck", pytest.approx(1.2, rel=1e-3))
    assert neck.length_mm == pytest.approx(20, abs=1.0)


def test_a_tongue_of_known_size():
    (tongue,) = found(PLATE.difference(box(10, 5, 50, 35)).union(box(9, 19.5, 30, 20.5)))
    assert tongue.kind == "tongue"
    assert tongue.width_mm == pytest.approx(1.0, rel=0.02)
    assert tongue.length_mm == pytest.approx(20, abs=0.6)


def test_a_sliver_of_an_island():
    (sliver,) = found(PLATE.difference(box(10, 5, 50, 35)).union(box(20, 19.6, 40, 20.4)))
    assert (sliver.kind, sliver.width_mm) == ("sliver", pytest.approx(0.8, abs=0.01))
    assert sliver.length_mm == pytest.approx(20, abs=1.0)


@pytest.mark.parametrize("angle", [50, 70, 90, 120])
def test_corners_are_no_tongues(angle):
    reach = 30 * np.tan(np.radians(angle / 2))
    wedge = Polygon([(20, 20), (50, 20 + reach), (50, 20 - reach)]).intersection(box(0, 2, 50, 38))
    assert found(PLATE.difference(box(10, 2, 50, 38)).union(wedge.union(box(49, 2, 51, 38)))) == []


@settings(max_examples=40, deadline=None)
@given(st.floats(0.2, 1.8), st.floats(6, 30), st.floats(0, 180))
def test_slots_in_openings_are_measured(width, length, turn):
    ends = [box(-8, -4, 0, 4), box(length, -4, length + 8, 4)]
    slot = shapely.union_all([*ends, box(-0.1, -width / 2, length + 0.1, width / 2)])
    (neck,) = narrow_parts(shapely.affinity.rotate(slot, turn, origin=(0, 0)), LEAST)
    assert (neck.kind, neck.width_mm) == ("neck", pytest.approx(width, rel=1e-3))
    assert neck.length_mm == pytest.approx(length, abs=0.5)


def test_sheet_and_complement_agree():
    # The same shape looked at as sheet, through its openings, and as polygons.
    slots = [box(10, 5, 29.5, 35), box(30.4, 5, 50, 35)]
    sheet = narrow_sheet(PLATE, MultiPolygon(slots), LEAST)
    parts = narrow_parts(PLATE.difference(shapely.union_all(slots)), LEAST)
    assert [p.kind for p in sheet] == [p.kind for p in parts] == ["neck"]
    assert sheet[0].width_mm == pytest.approx(parts[0].width_mm, rel=1e-3)
    assert sheet[0].length_mm == pytest.approx(parts[0].length_mm, abs=0.3)


def test_findings_tell_place_width_and_length():
    places = found(PLATE.difference(box(20, 10, 29.6, 30)).difference(box(30.4, 10, 40, 30)))
    (finding,) = narrow_findings(places, LEAST, "Shadow", opening=False)
    assert finding.code == "support.neck"
    assert "0.80 mm wide over 20.0 mm" in finding.message
    assert finding.place == pytest.approx((30, 20), abs=0.2)
    assert finding.size_mm == pytest.approx(0.8, rel=1e-3)


def test_a_crowd_is_told_as_one():
    voids = MultiPolygon([box(x, 5, x + 4.2, 35) for x in range(2, 57, 5)])
    many = narrow_sheet(PLATE, voids, LEAST) * 10
    (finding,) = narrow_findings(many, LEAST, "Shadow", opening=False)
    assert f"of {len(many)} such places" in finding.message


def test_a_point_accepts_the_nearest_place():
    places = found(PLATE.difference(MultiPolygon([box(x, 10, x + 9, 30) for x in (10, 20, 30)])))
    assert len(places) == 2
    chosen, idle = accepted(places, [(29.6, 24.0), (5.0, 5.0)])
    assert [p.place[0] for p in chosen] == [pytest.approx(29.5, abs=0.1)]
    assert idle == [(5.0, 5.0)]
