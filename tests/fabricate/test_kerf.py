"""Kerf: the part comes out as drawn, and what cannot be cut is said."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LinearRing, MultiPolygon, Polygon, box

from sheetstack.geometry.fabricate.kerf import cut_paths, in_cutting_order, offset
from sheetstack.geometry.finding import Severity


def swept(path, kerf):
    """What a beam of width ``kerf`` removes along a loop."""
    points = np.concatenate([path.points, path.points[:1]])
    return shapely.LineString(points).buffer(kerf / 2, quad_segs=64)


@pytest.mark.parametrize(("radius", "area"), [(1.0, 6323.14159), (-1.0, 5684.0)])
def test_offset_follows_steiners_formula(radius, area):
    # Steiner: A + P r + pi r^2 outwards with round corners; a rectangle inwards (a-2r)(b-2r).
    found = offset(box(0, 0, 100, 60), radius, "round")
    assert found.area == pytest.approx(area, abs=1e-3)


def test_kerf_of_a_fifth_on_a_2_by_4_rectangle():
    # Laser and plasma cutting guides: the path lies half the kerf to the waste side. Uncorrected,
    # an opening of 2 x 4 comes out 2.2 x 4.2 and a part 1.8 x 3.8; the path for a true opening
    # is 1.8 x 3.8.
    kerf = 0.2
    sheet = box(-10, -10, 12, 14).difference(box(0, 0, 2, 4))
    plain = cut_paths(sheet, 0.0).openings[0]
    removed = Polygon(plain.points).union(swept(plain, kerf))
    assert np.ptp(shapely.get_coordinates(removed), axis=0) == pytest.approx([2.2, 4.2])
    part = box(0, 0, 2, 4).difference(swept(cut_paths(box(0, 0, 2, 4), 0.0).outline[0], kerf))
    assert np.ptp(shapely.get_coordinates(part), axis=0) == pytest.approx([1.8, 3.8])
    mended = cut_paths(sheet, kerf).openings[0]
    assert np.ptp(mended.points, axis=0) == pytest.approx([1.8, 3.8])
    removed = Polygon(mended.points).union(swept(mended, kerf))
    assert np.ptp(shapely.get_coordinates(removed), axis=0) == pytest.approx([2.0, 4.0])
    part_path = cut_paths(box(0, 0, 2, 4), kerf).outline[0]
    assert np.ptp(part_path.points, axis=0) == pytest.approx([2.2, 4.2])


@pytest.mark.parametrize("seed", range(8))
def test_the_cut_never_bites_the_sheet_and_leaves_only_corners(sheet_of_seed, seed):
    sheet = sheet_of_seed(seed)
    kerf = 0.3
    paths = cut_paths(sheet, kerf)
    beam = shapely.union_all([swept(p, kerf) for p in paths.all])
    bitten = beam.intersection(sheet.buffer(-1e-3))
    # Islands nearer to each other than the kerf are told, all else is left whole.
    assert bitten.area < 1e-6 * sheet.area
    opened = shapely.union_all([Polygon(p.points) for p in paths.openings])
    assert opened.difference(sheet.envelope).is_empty


def test_an_opening_narrower_than_the_kerf_spoils_and_a_narrow_place_warns():
    slit = box(2, 2, 2.1, 8)
    keyhole = shapely.union_all([box(4, 2, 6, 4), box(5, 4, 5.1, 6), box(4, 6, 6, 8)])
    sheet = box(0, 0, 10, 10).difference(slit).difference(keyhole)
    paths = cut_paths(sheet, 0.2, layer="Shadow")
    assert [(f.code, f.severity) for f in paths.findings] == [
        ("kerf.opening-vanishes", Severity.SPOILS),
        ("kerf.opening-closes", Severity.WARNING),
    ]
    assert slit.contains(shapely.Point(paths.findings[0].place))
    assert box(4.9, 4, 5.2, 6).contains(shapely.Point(paths.findings[1].place))
    assert cut_paths(sheet, 0.0).findings == ()


def test_inner_loops_come_before_those_around_them_and_small_before_large():
    rings = [LinearRing(box(-s, -s, s, s).exterior.coords) for s in (5.0, 1.0, 9.0, 3.0)]
    rings.append(LinearRing(box(20, 20, 24, 24).exterior.coords))
    sides = [float(np.ptp(shapely.get_coordinates(r)[:, 0])) for r in in_cutting_order(rings)]
    assert sides == [2.0, 4.0, 6.0, 10.0, 18.0]


def test_openings_of_a_sheet_come_before_its_outline():
    paths = cut_paths(box(0, 0, 50, 50).difference(box(5, 5, 45, 45)), 0.1)
    assert len(paths.openings) == len(paths.outline) == 1
    assert paths.all[0] is paths.openings[0]


@pytest.mark.parametrize("kerf", [0.0, 0.2])
def test_cuts_begin_off_corners_with_the_run_in_on_waste(kerf):
    sheet = Polygon(
        box(0, 0, 40, 40).exterior.coords,
        [shapely.Point(10, 10).buffer(4).exterior.coords, box(20, 20, 30, 21).exterior.coords],
    )
    paths = cut_paths(sheet, kerf, lead_in=1.5)
    for path in paths.all:
        ring = path.points[1:]
        longest = np.hypot(*np.diff(np.concatenate([ring, ring[:1]]), axis=0).T).max()
        corners = shapely.MultiPoint(ring)
        assert corners.distance(shapely.Point(path.points[0])) == pytest.approx(longest / 2)
        run_in = shapely.LineString([path.lead[0], path.points[0]])
        assert run_in.intersection(sheet.buffer(-1e-6)).is_empty
        assert 0.3 < run_in.length <= 1.5 + 1e-9


def test_without_kerf_the_paths_are_the_sheets_own_edges(sheet_of_seed):
    sheet = sheet_of_seed(1)
    found = sum(p.length for p in cut_paths(sheet, 0.0).all)
    assert found == pytest.approx(sheet.length, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.05, 0.5), st.integers(3, 40), st.floats(3, 12))
def test_a_round_opening_comes_out_at_its_size(kerf, sides, radius):
    turn = np.linspace(0, 2 * math.pi, sides, endpoint=False)
    hole = Polygon(np.stack([20 + radius * np.cos(turn), 20 + radius * np.sin(turn)], axis=1))
    path = cut_paths(box(0, 0, 40, 40).difference(hole), kerf).openings[0]
    removed = Polygon(path.points).union(swept(path, kerf))
    # All but what the round beam cannot reach in the corners.
    assert removed.difference(hole.buffer(1e-6)).area < 1e-6
    corner = kerf**2 / 4 * (sides * math.tan(math.pi / sides) - math.pi)
    assert hole.area - removed.area == pytest.approx(corner, abs=1e-3 * kerf**2 + 1e-6)


def test_an_empty_sheet_has_no_cuts():
    assert cut_paths(MultiPolygon(), 0.2).all == ()
