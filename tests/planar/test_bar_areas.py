"""Areas that bars share with polygons, held against GEOS."""

import numpy as np
import pytest
import shapely
from shapely import Point, box

from sheetstack.geometry.planar.bar_areas import BarAreas

RNG = np.random.default_rng(5)
DISCS = RNG.uniform(0, 40, (12, 2, 2))


def polygons():
    """Return rings, discs, combs and squares that lie level."""
    rings = [
        Point(*one).buffer(3 + k).difference(Point(*other).buffer(4))
        for k, (one, other) in enumerate(DISCS)
    ]
    comb = shapely.union_all(
        [box(0, 40, 40, 42), *(box(x, 30, x + 1, 40) for x in range(0, 40, 3))]
    )
    parts = shapely.get_parts([*rings, comb, box(3, 3, 9, 9), box(9, 3, 15, 9)])
    return parts[shapely.get_dimensions(parts) == 2]


def bars(start, end, width):
    """Return straight bars with square ends, a quarter of their width beyond their middle lines."""
    way = end - start
    way = way / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-12)[:, None]
    side = np.stack([-way[:, 1], way[:, 0]], axis=1) * width / 2
    start, end = start - way * width / 4, end + way * width / 4
    return shapely.polygons(np.stack([start + side, start - side, end - side, end + side], axis=1))


def shared(shapes, start, end, width):
    """Return the areas that each bar shares with each shape, by both ways."""
    ours = np.zeros((len(start), len(shapes)))
    bar, polygon, area = BarAreas(shapes).of(start, end, width)
    ours[bar, polygon] = area
    reference = shapely.area(shapely.intersection(bars(start, end, width)[:, None], shapes[None]))
    return ours, reference


def test_bars_at_random_share_what_geos_says():
    start = RNG.uniform(0, 40, (400, 2))
    end = start + RNG.uniform(-9, 9, (400, 2))
    ours, reference = shared(polygons(), start, end, 1.5)
    assert ours == pytest.approx(reference, abs=1e-9)
    assert (reference > 0).sum() > 400


def test_bars_along_edges_and_axes_share_what_geos_says():
    at = np.array([[3, 3], [3, 6], [6, 2], [9, 3], [3.75, 3.75], [0, 0], [6, 6], [0, 41.0]])
    way = np.array([[6, 0], [6, 0], [0, 9], [0, 6], [4.5, 0], [9, 9], [1e-7, 5], [40, 1e-6]])
    ours, reference = shared(polygons(), at, at + way, 1.5)
    assert ours == pytest.approx(reference, abs=1e-9)


def test_many_pairs_are_worked_out_in_parts_alike(monkeypatch):
    start = RNG.uniform(0, 40, (60, 2))
    whole, _ = shared(polygons(), start, start + 3, 2.0)
    monkeypatch.setattr("sheetstack.geometry.planar.bar_areas._AT_ONCE", 100)
    parts, _ = shared(polygons(), start, start + 3, 2.0)
    assert np.array_equal(parts, whole)


def test_no_bars_share_nothing():
    none = np.empty((0, 2))
    assert [len(part) for part in BarAreas(polygons()).of(none, none, 1.0)] == [0, 0, 0]
    bar, _, _ = BarAreas(np.empty(0, object)).of(np.zeros((1, 2)), np.ones((1, 2)), 1.0)
    assert len(bar) == 0
