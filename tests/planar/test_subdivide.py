import numpy as np
import pytest
import shapely

from sheetstack.geometry.planar.tiles import tiles

from ..random_sheets import random_shape, sheet_of


@pytest.mark.parametrize("seed", range(12))
def test_tiles_cover_the_shape_once(seed):
    shape = sheet_of(random_shape(seed)).shape
    parts = tiles(shape, 16)
    assert shapely.is_valid(parts).all()
    assert shapely.area(parts).sum() == pytest.approx(shape.area, rel=1e-9)
    assert shapely.union_all(parts).symmetric_difference(shape).area < 1e-6


def test_tiles_are_small():
    star = shapely.union_all(
        shapely.buffer(shapely.points(np.random.default_rng(1).random((40, 2))), 0.1)
    )
    assert shapely.get_num_coordinates(tiles(star, 32)).max() <= 32


def test_nothing_has_no_tiles():
    assert len(tiles(shapely.MultiPolygon())) == 0
