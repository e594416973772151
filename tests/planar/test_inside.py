"""Points inside shapes, against GEOS's own answer and shapes in holes of shapes."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from sheetstack.geometry.planar.inside import points_inside


def rings_in_rings(seed):
    """A shape of discs with holes, with discs in the holes."""
    rng = np.random.default_rng(seed)
    middles = 12.0 * np.stack(np.meshgrid(np.arange(4), np.arange(4)), -1).reshape(-1, 2)
    parts = []
    for x, y in middles + rng.uniform(-1, 1, middles.shape):
        at = shapely.Point(x, y)
        parts += [at.buffer(5, 5) - at.buffer(rng.uniform(2.5, 4), 5), at.buffer(1.5, 3)]
    return shapely.union_all(parts)


@pytest.mark.parametrize("seed", range(3))
def test_points_are_where_geos_finds_them(seed):
    shapes = [rings_in_rings(seed), shapely.box(-9, -9, 50, 50) - rings_in_rings(seed + 10)]
    points = np.random.default_rng(seed).uniform(-10, 50, (4000, 2))
    points = np.concatenate([points, *(shapely.get_coordinates(s) for s in shapes)])
    inside = points_inside(shapes, points)
    for number, shape in enumerate(shapes):
        assert (inside[:, number] == shapely.contains_xy(shape, *points.T)).all()
    assert 0.1 < inside.mean() < 0.9


def test_nothing_holds_no_point():
    assert not points_inside([shapely.MultiPolygon()], np.array([[0.0, 0.0]])).any()
    assert points_inside([shapely.box(0, 0, 1, 1)], np.empty((0, 2))).shape == (0, 1)
