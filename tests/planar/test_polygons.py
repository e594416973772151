"""Polygons cleaned of what rounding leaves, against shapes whose clean form is known."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon, box

from sheetstack.geometry.planar.polygons import without_spikes

WIDTH = 1e-4


def with_spike(polygon, at, rng):
    """Add a spike of a hair's width at a corner, in the direction of the edge that leads there."""
    points = shapely.get_coordinates(polygon.exterior)[:-1]
    way = points[at] - points[at - 1]
    way = way / np.hypot(*way)
    tip = points[at] + rng.uniform(0.01, 0.5) * way + rng.uniform(-1e-6, 1e-6, 2)
    return Polygon(np.insert(points, at + 1, [tip, points[at] - 1e-6 * way], axis=0))


@pytest.mark.parametrize("seed", range(20))
def test_spikes_go_and_the_shape_stays(seed):
    rng = np.random.default_rng(seed)
    corners = np.sort(rng.uniform(0, 2 * np.pi, 9))
    polygon = Polygon(
        np.column_stack([np.cos(corners), np.sin(corners)]) * rng.uniform(2, 9, (9, 1))
    )
    spiked = with_spike(polygon, int(rng.integers(1, 9)), rng)
    clean = without_spikes(spiked, WIDTH)
    assert shapely.hausdorff_distance(spiked.exterior, polygon.exterior) > 0.009
    assert shapely.hausdorff_distance(clean.exterior, polygon.exterior) < 1e-5


@pytest.mark.parametrize(
    "polygon",
    [
        box(0, 0, 3, 2).difference(box(1, 1, 2, 1.5)),
        Point(0, 0).buffer(5, quad_segs=200),
        Polygon([(0, 0), (9, 0.2), (0, 0.4)]),  # a pointed tip is no spike
        Polygon([(0, 0), (5, 0), (5, 5e-5), (9, 0), (9, 4), (0, 4)]),  # nor is a flat step
    ],
)
def test_shapes_without_spikes_stay_as_they_are(polygon):
    clean = without_spikes(polygon, WIDTH)
    assert shapely.equals_identical(shapely.normalize(clean), shapely.normalize(polygon))
