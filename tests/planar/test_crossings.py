"""Estimates of crossings, against counts by Shapely."""

import numpy as np
import pytest
import shapely

from sheetstack.geometry.planar.crossings import SAMPLE, about_crossings


def counted(lines):
    """Return how many pairs of edges cross, asked one by one of GEOS."""
    edges = []
    for line in lines:
        xy = shapely.get_coordinates(line)
        edges += list(shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1)))
    first, second = shapely.STRtree(edges).query(edges, predicate="crosses")
    return int((first < second).sum())


@pytest.mark.parametrize("seed", range(5))
def test_few_edges_are_counted_exactly(seed):
    xy = np.random.default_rng(seed).uniform(0, 100, (SAMPLE - 2, 2))
    ring = [shapely.linearrings(xy)]
    assert about_crossings(np.array(ring)) == counted(ring) > 100


@pytest.mark.parametrize("corners", [300, 600])
def test_many_edges_are_estimated(corners):
    xy = np.random.default_rng(corners).uniform(0, 100, (corners, 2))
    ring = [shapely.linearrings(xy)]
    assert about_crossings(np.array(ring)) == pytest.approx(counted(ring), rel=0.25)


def test_shapes_side_by_side_and_corners_that_touch_cross_nowhere():
    boxes = shapely.box(np.arange(300.0), 0, np.arange(300.0) + 1, 1)
    assert about_crossings(shapely.get_exterior_ring(boxes)) == 0
    assert about_crossings(np.empty(0, object)) == 0
