"""Shapes on the grid: valid, apart where they were, every vertex an exact 32-bit float."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Polygon, box

from sheetstack.geometry.planar.polygons import touching_points
from sheetstack.geometry.planar.snapping import FINEST, grid_of, snapped, snapped_apart


@pytest.mark.parametrize("extent", [1.0, 140.0, 2048.0, 2049.0, 20_000.0, 1e6])
def test_grid_points_and_those_midway_are_exact_in_32_bits(extent):
    half = grid_of(extent) / 2
    last = np.floor(extent / half) * half
    values = np.array([half, 3 * half, last, last - half])
    assert (values.astype(np.float32) == values).all()


def shapes(seed: int) -> shapely.Geometry:
    """Return a union of random polygons of sizes from a tenth of a micrometre up, moved aside."""
    rng = np.random.default_rng(seed)
    size = 10.0 ** rng.uniform(-4, 1)
    hulls = [
        shapely.convex_hull(
            shapely.multipoints(rng.uniform(0, 10 * size + 1, 2) + size * rng.normal(size=(9, 2)))
        )
        for _ in range(rng.integers(1, 30))
    ]
    union = shapely.union_all(hulls)
    if rng.random() < 0.5:
        union = box(-20, -20, 220, 220).difference(union)
    return shapely.transform(union, lambda xy: xy + rng.uniform(0, 150, 2))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_random_shapes_stay_valid_and_keep_their_area(seed):
    shape = shapes(seed)
    found = snapped(shape, FINEST)
    points = shapely.get_coordinates(found)
    assert found.is_valid
    assert (points == points.astype(np.float32)).all()
    assert (points / FINEST == np.rint(points / FINEST)).all()
    # Each edge moves by half a diagonal of the grid at most.
    assert abs(found.area - shape.area) <= FINEST * shape.length + 1e-9


def test_a_ring_that_rounding_makes_cross_itself_is_mended():
    # A tongue a hundredth of the grid wide: rounded alone, its sides fall together.
    thin = FINEST / 100
    shape = Polygon([(0, 0), (9, 0), (9, 5), (4, 5), (4, 8), (4 - thin, 8), (4 - thin, 5), (0, 5)])
    found = snapped(shape, FINEST)
    assert found.is_valid
    assert found.area == pytest.approx(45)


def test_a_polygon_that_crosses_itself_is_cut_into_faces():
    # What a move can leave: the notch's tip lies past the opposite side by a hair.
    shape = Polygon([(0, 0), (10, 0), (10, 10), (0, 10), (0, 6), (10 + 1e-3, 5), (0, 4)])
    assert not shape.is_valid
    found = snapped(shape, FINEST)
    assert found.is_valid
    assert len(found.geoms) == 2
    assert found.area == pytest.approx(90, abs=0.01)


def test_neighbours_within_the_grid_become_one_and_corners_stay_two():
    near = MultiPolygon([box(0, 0, 1, 1), box(1 + 1e-5, 0, 2, 1), box(2, 1, 3, 2)])
    found = snapped(near, FINEST)
    assert sorted(p.bounds for p in found.geoms) == [(0, 0, 2, 1), (2, 1, 3, 2)]


def test_what_is_smaller_than_the_grid_vanishes():
    assert snapped(box(5, 5, 5 + 1e-6, 5 + 1e-6), FINEST).is_empty


def test_a_shape_that_touches_itself_is_opened():
    two = shapely.union_all([box(0, 0, 10, 10), box(10, 10, 20, 20)])
    found = snapped_apart(two, 0.025)
    assert len(touching_points(found)) == 0
    assert found.area == pytest.approx(200, abs=2e-3)
