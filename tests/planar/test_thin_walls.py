"""Walls thinner than a cut, told from corners and from sheet that is merely narrow."""

from __future__ import annotations

import pytest
import shapely
from shapely import MultiPolygon, Point, Polygon, box

from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.planar.thin_walls import without_thin_walls

WIDTH = 0.05


def cut(*openings) -> MultiPolygon:
    return as_multipolygon(shapely.geometrycollections(list(openings)))


@pytest.mark.parametrize("gap", [0.0005, 0.001, 0.049])
def test_a_wall_between_two_openings_goes(gap):
    found = without_thin_walls(cut(box(0, 0, 20, 20), box(20 + gap, 0, 40, 20)), WIDTH)
    assert len(found.openings.geoms) == 1
    assert len(found.walls) == 1
    assert found.openings.area == pytest.approx(800, abs=0.01)


def test_a_wall_wider_than_that_stays_to_the_vertex():
    openings = cut(box(0, 0, 20, 20), box(20.06, 0, 40, 20))
    found = without_thin_walls(openings, WIDTH)
    assert found.walls == ()
    assert found.openings is openings


def test_a_wall_within_one_opening_goes():
    ring = box(0, 0, 20, 20).difference(box(5, 5, 15, 15))
    openings = cut(ring.difference(box(14, 10, 21, 10.001)))
    found = without_thin_walls(openings, WIDTH)
    assert len(found.openings.geoms[0].interiors) == 1


def test_corners_that_nearly_meet_are_one_place():
    found = without_thin_walls(cut(box(0, 0, 5, 5), box(5.002, 5.002, 9, 9)), WIDTH)
    assert len(found.openings.geoms) == len(found.walls) == 1


@pytest.mark.parametrize("half_height", [0.1, 0.4, 2.0])
def test_a_sharp_corner_of_sheet_is_no_wall(half_height):
    wedge = Polygon([(1, 5), (10.1, 5 - half_height), (10.1, 5 + half_height)])
    found = without_thin_walls(cut(box(0, 0, 10, 10).difference(wedge)), WIDTH)
    assert (found.walls == ()) == (half_height > 0.2)


def test_round_openings_have_none():
    rounds = cut(*(Point(9 * k, 0).buffer(4) for k in range(20)))
    assert without_thin_walls(rounds, WIDTH).walls == ()


def test_a_blade_of_sheet_thinner_than_a_cut_goes():
    openings = cut(box(0, 0, 10, 10).difference(box(1, 5, 11, 5.01)))
    found = without_thin_walls(openings, WIDTH)
    assert found.openings.area == pytest.approx(100, abs=0.01)


def test_many_walls_in_one_great_opening_are_each_found():
    """A comb of two hundred slits, every tenth wall of which is thinner than a cut."""
    walls = [box(k, 0, k + (0.02 if k % 10 == 0 else 0.5), 90) for k in range(1, 200)]
    openings = cut(box(0, -10, 201, 100).difference(shapely.union_all(walls)))
    found = without_thin_walls(openings, WIDTH)
    assert len(found.walls) == 19
    assert len(found.openings.geoms[0].interiors) == len(walls) - 19
