import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.ndimage import distance_transform_edt
from shapely import MultiPolygon, Point, Polygon, box
from shapely.affinity import rotate

from sheetstack.geometry.planar import narrow
from sheetstack.geometry.planar.narrow import narrow_places
from sheetstack.geometry.progress import Progress
from sheetstack.geometry.support.repairs import accepted, narrow_findings

PLATE = box(0, 0, 60, 40)
LEAST = 2.0


def found(shape, least=LEAST):
    return narrow_places(shape, least)


@pytest.mark.parametrize("width", [0.4, 0.8, 1.2, 1.6, 1.9])
@pytest.mark.parametrize("turn", [0, 33, 90])
def test_a_neck_of_known_width_and_length(width, turn):
    slots = [box(20, 10, 30 - width / 2, 30), box(30 + width / 2, 10, 40, 30)]
    slots = [shapely.affinity.rotate(s, turn, origin=(30, 20)) for s in slots]
    (neck,) = narrow_places(PLATE.difference(shapely.union_all(slots)), LEAST)
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


def test_a_hooked_tongue_is_as_long_as_its_middle():
    """1.0 wide, 19.5 mm out and 13.5 up: not the shares of its two sides that differ in length."""
    hook = shapely.union_all([box(9, 19.5, 30, 20.5), box(29, 19.5, 30, 33.5)])
    (tongue,) = found(PLATE.difference(box(10, 5, 50, 38)).union(hook))
    assert tongue.kind == "tongue"
    assert tongue.width_mm == pytest.approx(1.0, abs=1e-6)
    assert tongue.length_mm == pytest.approx(19.5 + 13.5, abs=0.2)


def test_a_branch_is_told_beside_what_it_branches_off():
    bar = shapely.union_all([box(9, 19.5, 51, 20.5), box(29.6, 20, 30.4, 32)])
    neck, branch = sorted(
        found(PLATE.difference(box(10, 5, 50, 35)).union(bar)), key=lambda p: p.kind
    )
    assert (neck.kind, neck.width_mm) == ("neck", pytest.approx(1.0, abs=1e-6))
    assert neck.length_mm == pytest.approx(40, abs=0.2)
    assert (branch.kind, branch.width_mm) == ("tongue", pytest.approx(0.8, abs=1e-6))
    assert branch.length_mm == pytest.approx(11.5, abs=0.3)
    assert [end.value for end in branch.ends] == ["branching", "free"]
    # The way to it begins where the sheet is wide, and ends where it branches off.
    assert branch.root[-1] == pytest.approx(branch.path[0])
    assert PLATE.difference(box(10, 5, 50, 35)).distance(Point(branch.root[0])) < 1.0


def test_two_corners_that_come_near_are_a_neck_at_one_point():
    neck, *more = found(PLATE.difference(box(10, 10, 20, 20)).difference(box(21.3, 21.3, 30, 30)))
    assert not more
    assert (neck.kind, neck.length_mm) == ("neck", 0)
    assert neck.width_mm == pytest.approx(1.3 * 2**0.5)
    assert neck.place == pytest.approx((20.65, 20.65))


def test_a_ring_that_is_narrow_all_round_is_one_sliver():
    ring = Point(0, 0).buffer(10, quad_segs=64).difference(Point(0, 0).buffer(9, quad_segs=64))
    (sliver,) = narrow_places(ring, LEAST)
    assert (sliver.kind, sliver.ends[0].value) == ("sliver", "closed")
    assert sliver.width_mm == pytest.approx(1, abs=2e-3)
    assert sliver.length_mm == pytest.approx(2 * np.pi * 9.5, rel=2e-3)


@pytest.mark.parametrize("shape", [Point(0, 0).buffer(0.8), box(0, 0, 1.5, 1.5)])
def test_a_speck_is_a_sliver(shape):
    (sliver,) = narrow_places(shape, LEAST)
    assert sliver.kind == "sliver"
    assert sliver.width_mm == pytest.approx(shape.bounds[2] - shape.bounds[0], rel=0.01)


def bodies_and_necks(seed):
    """Discs joined as a tree by straight necks of random widths, and those widths."""
    rng = np.random.default_rng(seed)
    centres = np.stack([np.arange(6) % 3 * 24.0, np.arange(6) // 3 * 24.0], axis=1)
    tree = [(0, 1), (1, 2), (0, 3), (1, 4), (2, 5)]
    widths = rng.uniform(0.3, 3.5, len(tree))
    discs = shapely.buffer(shapely.points(centres), rng.uniform(4, 8, 6), quad_segs=32)
    necks = [
        shapely.LineString(centres[list(pair)]).buffer(w / 2, cap_style="flat")
        for pair, w in zip(tree, widths, strict=True)
    ]
    return rotate(shapely.union_all([*discs, *necks]), rng.uniform(0, 90)), widths


@pytest.mark.parametrize("seed", range(12))
def test_wearing_back_parts_a_shape_at_each_neck_that_is_told(seed):
    """Independent: Shapely's buffer by half a width parts what is joined by less."""
    shape, widths = bodies_and_necks(seed)
    necks = [p for p in narrow_places(shape, LEAST) if p.kind == "neck"]
    assert [p.width_mm for p in necks] == pytest.approx(np.sort(widths[widths < 0.99 * LEAST]))
    for number, neck in enumerate(necks):
        for share, pieces in ((0.99, number + 1), (1.01, number + 2)):
            worn = shape.buffer(-neck.width_mm / 2 * share, quad_segs=64)
            assert shapely.get_num_geometries(worn) == pieces


def random_sheet(seed):
    """A plate with random openings, corners and curves, many of them near each other."""
    rng = np.random.default_rng(seed)
    openings = [
        rotate(box(x, y, x + w, y + h), turn) if number % 2 else Point(x, y).buffer(w / 2 + 1)
        for number, (x, y, w, h, turn) in enumerate(
            zip(*rng.uniform([5, 5, 2, 2, 0], [95, 95, 14, 14, 90], (26, 5)).T, strict=True)
        )
    ]
    sheet = box(0, 0, 110, 110).difference(shapely.union_all(openings))
    return max(shapely.get_parts(sheet), key=lambda p: p.area)


@pytest.mark.parametrize("seed", range(20))
def test_what_parts_when_worn_back_was_told(seed):
    """Independent: wherever half the least width parts a random sheet, a place is told there.

    And no place is told where discs of the least width pass: pixels by scipy's distance transform.
    """
    sheet = random_sheet(seed)
    places = narrow_places(sheet, LEAST)
    necks = [p for p in places if p.kind == "neck"]
    assert all(p.width_mm < LEAST for p in places)
    core = sheet.buffer(-LEAST / 2 * 0.985, quad_segs=32)
    cores = shapely.get_parts(core)
    if len(cores) > 1:
        # Cut through at the necks that are told, the rest is never joined by less.
        cuts = shapely.union_all([p.line.buffer(LEAST) for p in necks])
        for piece in cores:
            others = shapely.union_all([c for c in cores if c is not piece])
            assert piece.distance(cuts) < LEAST
            assert not others.is_empty
    pixels = 12
    y, x = np.mgrid[0 : 110 * pixels, 0 : 110 * pixels] / pixels + 0.5 / pixels
    far = distance_transform_edt(shapely.contains_xy(sheet, x, y)) / pixels
    for place in necks:
        column, row = np.floor(np.array(place.place) * pixels).astype(int)
        assert 2 * far[row, column] == pytest.approx(place.width_mm, abs=3 / pixels)


def test_many_holes_are_looked_at_one_by_one_with_the_same_result(monkeypatch):
    x, y = np.mgrid[2:50:6.0, 2:30:6.0].reshape(2, -1)
    holes = shapely.box(x, y, x + np.linspace(4.2, 5.5, len(x)), y + 4.5)
    sheet = PLATE.difference(shapely.union_all(holes))
    one_by_one = narrow_places(sheet, LEAST)
    monkeypatch.setattr(narrow, "MANY_HOLES", 1000)
    assert len(one_by_one) > 40
    together = narrow_places(sheet, LEAST)
    for a, b in zip(one_by_one, together, strict=True):
        assert a.kind == b.kind
        assert (a.width_mm, a.length_mm) == pytest.approx((b.width_mm, b.length_mm))


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
@example(0.8, 17.532675525350683, 1.0)  # GEOS lost its way here
@example(1.2, 10.693836053203343, 15.89516416766332)  # a side clipped to a corner had no length
@example(0.25, 20.0, 90.5)  # flat triangles lay over each other, and no flip ended it
def test_slots_in_openings_are_measured(width, length, turn):
    ends = [box(-8, -4, 0, 4), box(length, -4, length + 8, 4)]
    slot = shapely.union_all([*ends, box(-0.1, -width / 2, length + 0.1, width / 2)])
    (neck,) = narrow_places(shapely.affinity.rotate(slot, turn, origin=(0, 0)), LEAST)
    assert (neck.kind, neck.width_mm) == ("neck", pytest.approx(width, rel=1e-3))
    assert neck.length_mm == pytest.approx(length, abs=0.5)


def test_sheet_and_complement_agree():
    # The same shape looked at as sheet, through its openings, and as polygons.
    slots = [box(10, 5, 29.5, 35), box(30.4, 5, 50, 35)]
    sheet = narrow_places(PLATE.difference(shapely.union_all(slots)), LEAST)
    parts = narrow_places(PLATE.difference(shapely.union_all(slots)), LEAST)
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


@pytest.mark.parametrize("least", [0.3, 1.5, 2.0])
@pytest.mark.parametrize("share", [0.5, 0.98, 0.9899])
def test_no_message_contradicts_itself(least, share):
    neck = box(20, 10, 30 - share * least / 2, 30).union(box(30 + share * least / 2, 10, 40, 30))
    places = narrow_places(PLATE.difference(neck), least)
    (finding,) = narrow_findings(places, least, "Shadow", opening=False)
    told, limit = (float(word) for word in re.findall(r"(\d+(?:\.\d+)?) mm", finding.message)[::2])
    assert told < limit == least


def test_a_crowd_is_told_as_one():
    voids = MultiPolygon([box(x, 5, x + 4.2, 35) for x in range(2, 57, 5)])
    many = narrow_places(PLATE.difference(voids), LEAST) * 10
    (finding,) = narrow_findings(many, LEAST, "Shadow", opening=False)
    assert f"of {len(many)} such places" in finding.message


def test_a_point_accepts_the_nearest_place():
    places = found(PLATE.difference(MultiPolygon([box(x, 10, x + 9, 30) for x in (10, 20, 30)])))
    assert len(places) == 2
    chosen, idle = accepted(places, [(29.6, 24.0), (5.0, 5.0)])
    assert [p.place[0] for p in chosen] == [pytest.approx(29.5, abs=0.1)]
    assert idle == [(5.0, 5.0)]


def test_finely_drawn_walls_are_as_narrow_as_coarsely_drawn_ones():
    # Corners of a fine curve meet many edges opposite; what is looked at must not depend on it.
    told = []
    for count in (60, 1500):
        x = np.linspace(0, 30, count)
        upper = np.column_stack([x, 0.9 + 0.2 * np.cos(x * 2)])
        lower = np.column_stack([x, -0.9 - 0.2 * np.cos(x * 2)])[::-1]
        slot = Polygon(np.concatenate([lower, upper]))
        bodies = [shapely.box(-10, -5, 0.1, 5), shapely.box(29.9, -5, 40, 5)]
        shape = shapely.union_all([slot, *bodies])
        told.append(narrow_places(shape, 2.5))
    coarse, fine = told
    assert [p.kind for p in coarse] == [p.kind for p in fine] == ["neck"]
    assert fine[0].width_mm == pytest.approx(1.4, abs=2e-3)
    assert coarse[0].width_mm == pytest.approx(fine[0].width_mm, abs=0.05)
    assert coarse[0].length_mm == pytest.approx(fine[0].length_mm, abs=0.5)


def test_bends_of_a_finely_drawn_curve_are_looked_at_in_steps(monkeypatch):
    """Two small round holes near each other: corners opposite corners, by the thousand."""
    asked = []
    opposite = narrow._opposite

    def counted(*given):
        asked.append(len(given[4]))
        return opposite(*given)

    monkeypatch.setattr(narrow, "_opposite", counted)
    told = []
    for segments in (24, 3000):
        holes = [Point(x, 20).buffer(0.6, quad_segs=segments) for x in (25, 27)]
        told.append(found(PLATE.difference(shapely.union_all(holes))))
    (coarse,), (fine,) = told
    assert fine.width_mm == pytest.approx(0.8, abs=1e-3)
    assert fine.width_mm == pytest.approx(coarse.width_mm, abs=2e-3)
    assert fine.place == pytest.approx(coarse.place, abs=0.05)
    # A tenth of a millimetre apart, round two circles of 3.8 mm.
    assert sum(asked[-1:]) <= 2 * (3.8 / 0.1 + 2)


def test_parts_of_rings_in_rings_are_told_apart():
    """Narrow rings between wide ones, all about one middle: the boxes round them overlap."""
    middle = shapely.Point(0, 0)
    rings = [
        middle.buffer(outer, quad_segs=32).difference(middle.buffer(inner, quad_segs=32))
        for outer, inner in ((40, 37), (35, 34.1), (32, 29), (27, 26.3), (24, 20))
    ]
    found = narrow_places(shapely.MultiPolygon(rings), 1.5)
    assert [p.kind for p in found] == ["sliver", "sliver"]
    assert [p.width_mm for p in found] == pytest.approx([0.7, 0.9], abs=0.02)
    assert [p.length_mm for p in found] == pytest.approx([53.3 * np.pi, 69.1 * np.pi], rel=0.01)


def test_places_are_the_same_however_many_are_looked_at_at_a_time(monkeypatch):
    rng = np.random.default_rng(3)
    gaps = rng.uniform(0.3, 1.9, 40)
    slots = [
        rotate(box(x, 3, x + 4, 20), tilt).union(rotate(box(x + 4 + gap, 3, x + 8, 20), tilt))
        for x, gap, tilt in zip(np.arange(40) * 12.0, gaps, rng.uniform(-3, 3, 40), strict=True)
    ]
    sheet = box(-5, -5, 490, 30).difference(shapely.union_all(slots))
    together = narrow_places(sheet, LEAST)
    told = []
    monkeypatch.setattr(narrow, "BATCH", 1)
    by_groups = narrow_places(sheet, LEAST, Progress(lambda share, what: told.append(share)))
    assert len(together) >= 40
    assert repr(by_groups) == repr(together)
    assert len(told) > 20
    assert told == sorted(told)


@pytest.mark.parametrize("teeth", [7, 16])
def test_a_comb_of_very_many_teeth_is_looked_at_in_coarser_steps_and_that_is_told(
    monkeypatch, teeth
):
    """The measures of straight teeth stay exact, as drawn."""
    step, long = 0.8, 30.0
    points = [(-10.0, 0.0), (-10.0, -10.0), (teeth * step + 10.0, -10.0), (teeth * step + 10.0, 0)]
    for k in reversed(range(teeth)):
        x = k * step
        points += [(x + 0.5, 0.0), (x + 0.5, long), (x, long), (x, 0.0)]
    comb = MultiPolygon([Polygon(points)])
    told = narrow_places(comb, LEAST)
    monkeypatch.setattr("sheetstack.geometry.planar.narrow.MOST_SITES", 1000)
    coarse = narrow_places(comb, LEAST)
    assert not any(place.off_mm for place in told)
    assert not [f for f in narrow_findings(told, LEAST, "A", opening=False) if "much" in f.code]
    assert len(coarse) == len(told) == teeth
    for place in coarse:
        assert place.kind == "tongue"
        assert place.width_mm == pytest.approx(0.5, abs=1e-6)
        assert place.length_mm == pytest.approx(long, abs=1.0)
        assert 0 < place.off_mm <= 0.25
        far = shapely.distance(
            shapely.points(place.path[2:-2]), shapely.LineString(comb.boundary.geoms[0].coords)
        )
        assert (far >= 0.25 - place.off_mm).all()
    *_, note = narrow_findings(coarse, LEAST, "A", opening=False)
    assert note.code == "support.much-narrow"
    assert f"{teeth} narrow places" in note.message


def test_very_many_narrow_openings_share_the_steps_that_all_may_take(monkeypatch):
    slots = MultiPolygon([box(0, 4.0 * k, 30, 4.0 * k + 0.5) for k in range(40)])
    told = narrow_places(slots, LEAST)
    monkeypatch.setattr(narrow, "BATCH", 8)
    assert repr(narrow_places(slots, LEAST)) == repr(told)
    monkeypatch.setattr(narrow, "ALL_SITES", 2000)
    monkeypatch.setattr(narrow, "FEWEST_SITES", 10)
    coarse = narrow_places(slots, LEAST)
    assert not any(place.off_mm for place in told)
    assert len(coarse) == len(told) == 40
    for place in coarse:
        assert place.off_mm > 0
        assert place.width_mm == pytest.approx(0.5, abs=1e-6)
    # Few are not kept from their steps by the many that others have.
    monkeypatch.setattr(narrow, "FEWEST_SITES", 40_000)
    assert repr(narrow_places(slots, LEAST)) == repr(told)


def test_a_place_of_no_width_looked_at_in_coarser_steps_is_told_without_a_fault():
    # Where sheet meets at a point: seen in a net of 220 crossing hairlines.
    (neck,) = found(
        MultiPolygon([box(0, 0, 20, 20), box(19, 9, 40, 10), box(39, 0, 60, 20)]).buffer(0)
    )
    point = replace(neck, width_mm=0.0)
    assert narrow._off(point, 3.0, LEAST) == point
    assert narrow._off(neck, 3.0, LEAST).off_mm > 0


def hatch(lines, pitch, width):
    """Return a hatch of crossing lines and the plate around it, cut by it."""
    at = np.arange(1, lines + 1) * pitch
    far = at[-1] + pitch / 2
    upright = box(at - width / 2, pitch / 2, at + width / 2, far)
    level = box(pitch / 2, at - width / 2, far, at + width / 2)
    return shapely.union_all([*upright, *level]), box(0, 0, far + pitch / 2, far + pitch / 2)


def test_what_is_near_a_place_alone_tells_the_same_as_all_of_the_shape(monkeypatch):
    lines, plate = hatch(9, 10.0, 0.8)
    ways = shapely.linestrings([[(x, 5), (x, 95)] for x in np.arange(15.0, 90, 10)])
    bridged = lines.difference(shapely.union_all(shapely.buffer(ways, 0.7, cap_style="flat")))
    for shape, width in ((plate.difference(bridged), 2.0), (lines, 1.0), (bridged, 1.0)):
        whole = narrow_places(shape, width)
        assert len(whole) > 8
        with monkeypatch.context() as patch:
            patch.setattr(narrow, "BESIDE", 0)
            patch.setattr(narrow, "MOST_VERTICES", 16)
            near = narrow_places(shape, width)
        assert [(p.kind, p.place, p.width_mm) for p in near] == [
            (p.kind, p.place, p.width_mm) for p in whole
        ]
