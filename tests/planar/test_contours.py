import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LinearRing, Point, Polygon, STRtree

from sheetstack.geometry.planar.contours import level_curves


def framed(rows):
    return np.pad(np.asarray(rows, dtype=np.float32), 1)


def signed_area(curve):
    """Shoelace formula with y turned up."""
    x, y = curve[:, 0], -curve[:, 1]
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def test_a_curve_turns_counter_clockwise_round_paint_and_clockwise_round_holes():
    ring = np.ones((5, 5))
    ring[2, 2] = 0
    areas = sorted(signed_area(curve) for curve in level_curves(framed(ring), 0.5))
    # 25 pixels less the half pixel of a contour's four corners; the hole is one pixel less that.
    assert areas == pytest.approx([-0.5, 24.5])


def test_crossings_are_interpolated():
    image = framed([[0.8]])
    (curve,) = level_curves(image, 0.2)
    assert curve[0] == pytest.approx([1, 0.25])


@pytest.mark.parametrize(("centre", "count"), [(0.4, 2), (0.6, 1)])
def test_the_saddle_decides_whether_corners_are_joined(centre, count):
    # Saddle level (ac - bd) / (a + c - b - d) with a = c = 1 and b = d: (1 + b) / 2, worked by
    # hand from the bilinear formula; so b = 2 * centre - 1.
    b = 2 * centre - 1
    image = np.full((4, 4), -5, np.float32)
    image[1:3, 1:3] = [[1, b], [b, 1]]
    assert len(level_curves(image, 0.5)) == count


def test_pixels_that_touch_at_a_corner_stay_apart():
    assert len(level_curves(framed([[1, 0], [0, 1]]), 0.5)) == 2
    assert len(level_curves(framed([[0, 1], [1, 0]]), 0.5)) == 2


def test_an_image_below_the_level_has_no_curves():
    assert level_curves(np.zeros((5, 7), np.float32), 0.5) == []


@pytest.mark.parametrize("place", [(0, 2), (4, 2), (2, 0), (2, 6)])
def test_paint_on_the_edge_is_refused(place):
    image = np.zeros((5, 7), np.float32)
    image[place] = 1
    with pytest.raises(ValueError, match="edge must lie below"):
        level_curves(image, 0.5)


# Few levels, so that values equal to the level and ties at saddles are common.
images = st.integers(1, 9).flatmap(
    lambda width: st.lists(
        st.lists(st.sampled_from([0, 0.25, 0.5, 0.75, 1]), min_size=width, max_size=width),
        min_size=1,
        max_size=9,
    )
)


@settings(max_examples=150, deadline=None)
@given(images, st.sampled_from([0.25, 0.5, 0.6]))
def test_curves_never_cross_or_touch_and_part_inside_from_outside(rows, level):
    image = framed(rows)
    curves = level_curves(image, level)
    rings = [LinearRing(curve) for curve in curves]
    assert all(ring.is_simple and ring.is_valid for ring in rings)
    if rings:
        assert len(STRtree(rings).query(rings, "intersects")[0]) == len(rings)
    # Every pixel centre lies on the side that its value says, by the rule of even and odd.
    polygons = [Polygon(curve) for curve in curves]
    for (row, column), value in np.ndenumerate(image):
        around = sum(polygon.contains(Point(column, row)) for polygon in polygons)
        assert around % 2 == (value >= level)
