import numpy as np
import pytest
import shapely

from sheetstack.geometry.planar.subdivide import small_polygons

from ..random_sheets import random_shape, sheet_of


@pytest.mark.parametrize("seed", range(12))
def test_small_polygons_cover_the_shape_once(seed):
    shape = sheet_of(random_shape(seed)).shape
    parts = small_polygons(shape, 16)
    assert shapely.is_valid(parts).all()
    assert shapely.area(parts).sum() == pytest.approx(shape.area, rel=1e-9)
    assert shapely.union_all(parts).symmetric_difference(shape).area < 1e-6


def test_small_polygons_are_small():
    star = shapely.union_all(
        shapely.buffer(shapely.points(np.random.default_rng(1).random((40, 2))), 0.1)
    )
    assert shapely.get_num_coordinates(small_polygons(star, 32)).max() <= 32


def test_nothing_has_no_small_polygons():
    assert len(small_polygons(shapely.MultiPolygon())) == 0
