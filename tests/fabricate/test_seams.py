"""Seams: away from care, across openings the short way, along places that the limits allow."""

import numpy as np
import pytest
import shapely
from shapely import LineString, Polygon, box

from sheetstack.geometry.fabricate.local_sheet import LocalSheet
from sheetstack.geometry.fabricate.seam_cost import EDGE, NARROW, OPEN, PLAIN, SeamCost, thin_sheet
from sheetstack.geometry.fabricate.seams import plan_seams
from sheetstack.geometry.fabricate.tile_grid import TileGrid, even_split, split_with_rest
from sheetstack.geometry.planar.narrow import narrow_places
from sheetstack.geometry.planar.polygons import as_multipolygon

PLATE = box(0, 0, 300, 100)


def upright(shape, *, care=(), room=200.0):
    """Return the one seam that halves a plate of 300 mm, with 50 mm of room to both sides."""
    grid = TileGrid((even_split(300, 2, room, 0.0),), (even_split(100, 1, 200.0, 0.0),))
    plan = plan_seams(PLATE, grid, SeamCost(as_multipolygon(shape), 3.0, care))
    (seam,) = plan.columns
    return LineString(seam)


def test_costs_are_those_of_the_place():
    # An opening with a bridge of 2 mm; sheet narrower than 3 mm is a neck.
    sheet = PLATE.difference(box(100, 20, 200, 80).difference(box(149, 20, 151, 80)))
    cost = SeamCost(as_multipolygon(sheet), 3.0)
    x = np.array([20.0, 120.0, 99.5, 150.0])
    assert cost(x, np.full(4, 50.0)).tolist() == [PLAIN, OPEN, EDGE, NARROW]
    care = SeamCost(as_multipolygon(sheet), 3.0, [(as_multipolygon(box(0, 0, 50, 100)), 4.0)])
    assert care(x, np.full(4, 50.0)).tolist() == [4 * PLAIN, OPEN, EDGE, NARROW]


def test_a_seam_keeps_out_of_an_area_of_care():
    eye = box(130, 30, 170, 70)
    assert upright(PLATE).intersects(eye)
    assert not upright(PLATE, care=[(as_multipolygon(eye), 8.0)]).intersects(eye)


def test_a_seam_crosses_an_opening_at_right_angles():
    # A slot 10 mm wide that rises by 2 in 1: upright it is sqrt(5) times as wide. No way round.
    half = 5 * np.sqrt(5)
    points = [(110, -30 - half), (190, 130 - half), (190, 130 + half), (110, -30 + half)]
    slot = Polygon(points).intersection(box(100, 1, 200, 99))
    crossed = upright(PLATE.difference(slot), room=170.0).intersection(slot).length
    straight = LineString([(150, 0), (150, 100)]).intersection(slot).length
    assert straight == pytest.approx(2 * half)
    assert 10.0 <= crossed < 0.75 * straight


@pytest.mark.parametrize("place", [None, 0, 1])
def test_parts_keep_their_limits_wherever_the_rest_lies(place):
    way = split_with_rest(300, 110, 4.0, rest=100.0, place=place)
    assert sum(way.boxes) - 4.0 * len(way.seams) == pytest.approx(300)
    assert way.slack > 0
    # Posts, so that seams have to find their way.
    posts = shapely.union_all([box(x, 5, x + 6, 95) for x in range(12, 290, 13)])
    sheet = PLATE.difference(posts)
    grid = TileGrid((way,), (even_split(100, 1, 200.0, 4.0),))
    plan = plan_seams(PLATE, grid, SeamCost(as_multipolygon(sheet), 3.0))
    edges = [box(-1, 0, 0, 100), *(LineString(s) for s in plan.columns), box(300, 0, 301, 100)]
    for limit, left, right in zip(way.limits, edges[:-1], edges[1:], strict=True):
        low = left.bounds[2] if left is edges[0] else left.bounds[0]
        high = right.bounds[0] if right is edges[-1] else right.bounds[2]
        assert high - low <= limit + 1e-6


def test_a_sheet_asked_near_by_is_the_sheet_cut(sheet_of_seed):
    for seed in range(3):
        sheet = as_multipolygon(sheet_of_seed(seed))
        local = LocalSheet(sheet)
        x0, y0, x1, y1 = sheet.bounds
        for area in (box(x0, y0, x1, y1), box(x0 + 20, y0 + 10, x0 + 80, y0 + 60)):
            assert local.within(area).symmetric_difference(sheet.intersection(area)).area < 1e-9
    holed = LocalSheet(as_multipolygon(PLATE.difference(box(100, 20, 200, 80))))
    lines = np.array([LineString([(0, 50), (300, 50)]), LineString([(0, 5), (300, 5)])], object)
    assert holed.crossings(lines) == 1


def test_seams_keep_off_stumps_that_are_no_narrow_places_to_an_artist():
    """Two questions: a short stump needs no mend, but a seam through it would leave a crumb."""
    stump = box(20, 49, 22.2, 51)
    sheet = as_multipolygon(PLATE.difference(box(20, 20, 80, 80).difference(stump)))
    assert narrow_places(sheet, 2.5) == []
    assert thin_sheet(sheet, 2.5).intersection(stump).area > 0.98 * stump.area
    assert SeamCost(sheet, 2.5)(np.array([21.5]), np.array([50.0])).tolist() == [NARROW]
    # What is told as a narrow place is kept off, too.
    neck = as_multipolygon(PLATE.difference(box(100, 20, 200, 80).difference(box(149, 0, 151, 99))))
    (place,) = narrow_places(neck, 2.5)
    # Its line begins where the sheet is as wide as was asked for, a little before
    # the neck, and the closing leaves a hollow of 0.03 mm at each end.
    assert thin_sheet(neck, 2.5).covers(LineString(place.path).intersection(box(140, 21, 160, 79)))
