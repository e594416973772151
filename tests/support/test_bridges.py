import numpy as np
import pytest
import shapely
from scipy.sparse.csgraph import minimum_spanning_tree
from shapely import Point, box

from sheetstack.geometry.finding import Severity
from sheetstack.geometry.mesh.islands import find_pieces
from sheetstack.geometry.mesh.solid import extrude
from sheetstack.geometry.planar.polygons import touching_points
from sheetstack.geometry.planar.snapping import FINEST
from sheetstack.geometry.support.bridges import hold_islands

from ..random_sheets import many_islands, random_shape, rings, sheet_of


def assert_holds(sheet, held, width):
    """Assert what must be true of every supported sheet."""
    shape = held.sheet.shape
    assert shape.is_valid
    assert len(shape.geoms) == 1
    assert len(touching_points(shape)) == 0
    assert find_pieces(extrude(shape, 1.0)).islands == ()
    # Worn back by just under half the width, by Shapely's own offset, it is still one piece. (A
    # tip whose widest place is within 0.2 % of the width may leave a speck that no core has.)
    worn = shapely.get_parts(shape.buffer(-0.99 * width / 2, quad_segs=16))
    assert (~shapely.is_empty(shapely.buffer(worn, -0.006 * width))).sum() == 1
    # Supports only add sheet, but for what snapping new corners to the grid moves edges by.
    assert sheet.shape.difference(shape).area < FINEST * shape.length
    assert not any(f.severity is Severity.SPOILS for f in held.findings)
    assert_spans_its_gap(sheet, held, width)


def assert_spans_its_gap(sheet, held, width):
    """Assert that bridges lead over openings no further than they are weighed for."""
    for bridge in held.bridges:
        if bridge.kind == "bridge":
            over = shapely.LineString(bridge.path).difference(sheet.shape).length
            # The way to each of its two roots may leave the sheet by a twentieth of the width.
            assert over <= bridge.gap + 0.1 * width + 1e-6


@pytest.mark.parametrize("seed", range(60))
def test_random_sheets_hold_together(seed):
    sheet = sheet_of(random_shape(seed, islands=10))
    assert_holds(sheet, hold_islands(sheet, 2.0), 2.0)


@pytest.mark.parametrize("width", [0.8, 2.0, 5.0])
def test_nested_islands_are_held(width):
    sheet = sheet_of(rings(4))
    assert len(sheet.shape.geoms) == 5
    held = hold_islands(sheet, width)
    assert_holds(sheet, held, width)
    assert len([b for b in held.bridges if b.kind == "bridge"]) >= 4


def test_total_length_is_that_of_scipys_tree():
    shape, side = many_islands(100)
    sheet = sheet_of(shape, side, side)
    pieces = np.array(list(sheet.shape.geoms), object)
    best = minimum_spanning_tree(shapely.distance(pieces[:, None], pieces[None])).sum()
    held = hold_islands(sheet, 1.0)
    bridges = [b for b in held.bridges if b.kind == "bridge"]
    assert len(bridges) == 100
    assert sum(b.gap for b in bridges) == pytest.approx(best)


def test_islands_that_touch_at_a_point_are_held():
    squares = shapely.union_all([box(90, 90, 100, 100), box(100, 100, 110, 110)])
    sheet = sheet_of(box(60, 60, 140, 140).difference(squares))
    assert len(sheet.shape.geoms) == 3
    assert_holds(sheet, hold_islands(sheet, 2.0), 2.0)


def test_an_island_that_touches_the_frame_at_a_point_is_held():
    sheet = sheet_of(
        box(60, 60, 140, 140).difference(box(60, 60, 80, 80).buffer(0)).union(box(58, 80, 60, 90))
    )
    assert_holds(sheet, hold_islands(sheet, 2.0), 2.0)


def test_a_bridge_to_a_thin_arm_is_not_led_on_to_the_body_over_an_opening():
    # An arm 1 mm wide leads from the body up, along the top 3 mm from the frame, and down again.
    arm = shapely.union_all([box(119, 80, 120, 147), box(70, 146, 120, 147), box(70, 90, 71, 147)])
    sheet = sheet_of(box(50, 50, 150, 150).difference(box(100, 60, 140, 80).union(arm)))
    assert_spans_its_gap(sheet, hold_islands(sheet, 2.0), 2.0)


def test_a_sliver_without_a_core_is_held():
    # 0.6 mm wide, the bridges 2 mm: no point of it is left after wearing back.
    sheet = sheet_of(box(50, 50, 150, 150).difference(box(60, 100, 140, 100.6)))
    held = hold_islands(sheet, 2.0)
    assert_holds(sheet, held, 2.0)


def test_a_neck_in_the_drawing_is_mended_and_told():
    keyhole = box(90, 90, 110, 110).union(box(99.5, 110, 100.5, 141))
    sheet = sheet_of(box(60, 60, 140, 140).difference(keyhole))
    held = hold_islands(sheet, 3.0)
    assert_holds(sheet, held, 3.0)
    assert "support.neck-mended" in {f.code for f in held.findings}


def test_a_strip_along_a_neck_leaves_a_narrower_opening_beside_it_whole():
    # A piece hangs on sheet of 1.5 x 6 mm in the west; in the east the opening is 1 mm wide.
    opening = box(80, 80, 121, 120).difference(box(86, 86, 120, 114))
    opening = opening.difference(box(80, 99.25, 86, 100.75))
    sheet = sheet_of(opening)
    held = hold_islands(sheet, 2.0)
    assert_holds(sheet, held, 2.0)
    assert {b.kind for b in held.bridges} == {"neck"}
    assert all(b.shape.bounds[2] < 90 for b in held.bridges)


def test_a_sheet_without_islands_stays_as_it_is():
    sheet = sheet_of(Point(100, 100).buffer(30))
    held = hold_islands(sheet, 2.0)
    assert held.bridges == ()
    assert held.sheet.shape.equals(sheet.shape)


def test_every_bridge_has_full_width_along_its_whole_length():
    sheet = sheet_of(random_shape(7, islands=10))
    held = hold_islands(sheet, 2.0)
    assert held.bridges
    for bridge in held.bridges:
        # The path drawn at 1.9 mm lies wholly in the sheet.
        line = shapely.LineString(bridge.path)
        assert line.buffer(0.95, cap_style="flat").difference(held.sheet.shape).area < 1e-6


def test_two_thousand_islands_are_held():
    shape, side = many_islands(2000)
    sheet = sheet_of(shape, side, side)
    held = hold_islands(sheet, 1.0)
    assert len(held.bridges) >= 2000
    assert len(held.sheet.shape.geoms) == 1


def test_a_long_ring_too_thin_for_a_core_is_rooted_beside_the_gap():
    """Its widest place may be on the far side: a strip to there would cross all within it."""
    ring = Point(100, 100).buffer(60, quad_segs=64)
    ring = ring.difference(Point(100, 100.05).buffer(59.8, quad_segs=64))
    held = hold_islands(sheet_of(Point(100, 100).buffer(65, quad_segs=64).difference(ring)), 2.0)
    assert len(held.sheet.shape.geoms) == 1
    longest = max(shapely.length(shapely.LineString(b.path)) for b in held.bridges)
    assert longest < 20
