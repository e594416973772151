"""The medial axis against shapes whose axis is known, and against libraries' own."""

import numpy as np
import pytest
import scipy.ndimage
import scipy.spatial
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, box
from shapely.affinity import rotate, scale

from sheetstack.geometry.planar.medial_axis import (
    FINENESS,
    _delaunay,
    _Sites,
    medial_axis,
    segments_of,
)


def on_axis(axis, spots):
    """Distance of each spot to the axis."""
    lines = shapely.multilinestrings(axis.points[axis.edges])
    return shapely.distance(shapely.points(spots), lines)


@pytest.mark.parametrize("turn", [0, 1, 30, 62])
def test_rectangle(turn):
    """The middle of the long sides, as far as half the width from the ends."""
    axis = medial_axis(rotate(box(0, -1, 20, 1), turn, origin=(0, 0)), 0.25)
    back = np.array(
        [
            [np.cos(np.radians(turn)), -np.sin(np.radians(turn))],
            [np.sin(np.radians(turn)), np.cos(np.radians(turn))],
        ]
    )
    points = axis.points @ back
    assert np.abs(points[:, 1]).max() < 1e-9
    assert axis.clearance == pytest.approx(1)
    assert axis.width == pytest.approx(2)
    assert points[:, 0].min() == pytest.approx(1, abs=0.01)
    assert points[:, 0].max() == pytest.approx(19, abs=0.01)
    assert axis.lengths.sum() == pytest.approx(18, abs=0.01)


@pytest.mark.parametrize("angle", [10, 25, 60])
def test_wedge(angle):
    """The bisector; the clearance is the sine of half the angle times the way from the corner."""
    half = np.radians(angle / 2)
    wedge = Polygon([(0, 0), (30, 30 * np.tan(half)), (30, -30 * np.tan(half))])
    axis = medial_axis(wedge, 0.25)
    x, y = axis.points.T
    # Near the far side the axis forks towards the other two corners.
    inner = x < 30 * (1 - np.sin(half)) - 1.5 * np.tan(half) - 1
    allowed = FINENESS**2 / 4 * 2 * axis.clearance[inner] + 0.02
    assert (np.abs(y[inner]) < allowed).all()
    assert (np.abs(axis.clearance[inner] - x[inner] * np.sin(half)) < allowed).all()
    assert x.min() < 0.1


def test_ring():
    ring = Point(0, 0).buffer(10, quad_segs=256).difference(Point(0, 0).buffer(8, quad_segs=256))
    axis = medial_axis(ring, 0.25)
    assert np.hypot(*axis.points.T) == pytest.approx(9, abs=2e-3)
    assert axis.clearance == pytest.approx(1, abs=1e-3)
    assert axis.lengths.sum() == pytest.approx(2 * np.pi * 9, rel=1e-3)


def test_corner_of_a_bend_is_a_parabola():
    """Round the inner corner of an L: points as far from it as from the outer sides."""
    bend = box(0, 0, 20, 2).union(box(0, 0, 2, 20))
    axis = medial_axis(bend, 0.05)
    x, y = axis.points.T
    # Between the inner corner (2, 2) and the side y = 0, from the diagonal to where x = 2.
    curve = (x < 2) & (x > y)
    assert curve.sum() > 10
    u = x[curve] - 2
    assert y[curve] == pytest.approx(1 + u**2 / 4, abs=0.01)
    assert axis.clearance[curve] == pytest.approx(y[curve], abs=0.01)


@pytest.mark.parametrize(("a", "b"), [(10, 3), (10, 6)])
def test_ellipse(a, b):
    """A stretch of the long axis within the centres of curvature, clearance b sqrt(1 - x2 / c2).

    The point of an ellipse nearest to (x, 0) is found by setting the derivative of the distance to
    0 (any calculus book); c2 = a2 - b2, and the centres of curvature lie c2 / a from the middle.
    """
    ellipse = scale(Point(0, 0).buffer(1, quad_segs=256), a, b)
    axis = medial_axis(ellipse, 0.1)
    x, y = axis.points.T
    c2 = a * a - b * b
    assert np.abs(y).max() < 0.01
    assert np.abs(x).max() < c2 / a + 0.02
    # Ends of the axis where the edge between the feet is short are left out.
    assert np.abs(x).max() > 0.45 * c2 / a
    assert axis.clearance == pytest.approx(b * np.sqrt(1 - x * x / c2), abs=0.01)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_every_node_is_as_far_from_the_edge_as_it_says(seed):
    rng = np.random.default_rng(seed)
    discs = shapely.buffer(shapely.points(rng.uniform(0, 30, (7, 2))), rng.uniform(1, 6, 7))
    shape = shapely.union_all(discs).difference(shapely.union_all(discs[:2]).buffer(-1.5))
    if shape.is_empty:
        return
    axis = medial_axis(shape, 0.5)
    true = shapely.distance(shapely.points(axis.points), shape.boundary)
    assert shapely.contains_xy(shape, *axis.points.T).mean() > 0.999
    # Sites that a wide place has 0.5 mm apart: a foot between two may be nearer than those seen.
    assert (true <= axis.clearance + 1e-9).all()
    assert (axis.clearance - true < 0.5**2 / 4 / np.maximum(true, 0.25)).mean() > 0.99
    # Both feet are as far as each other.
    one, other = (np.hypot(*(axis.points[axis.edges[:, 0]] - axis.feet[:, k]).T) for k in (0, 1))
    assert one == pytest.approx(other, rel=1e-6, abs=1e-9)


def test_clearance_against_a_distance_transform_of_pixels():
    """scipy.ndimage.distance_transform_edt of the same shape, 20 pixels to the millimetre."""
    shape = box(1, 1, 25, 4).union(box(8, 1, 10.5, 18)).union(Point(20, 12).buffer(5))
    shape = shape.union(box(18.8, 3, 20, 9)).difference(Point(20, 12).buffer(2))
    pixels = 20
    y, x = np.mgrid[0 : 20 * pixels, 0 : 27 * pixels] / pixels + 0.5 / pixels
    far = scipy.ndimage.distance_transform_edt(shapely.contains_xy(shape, x, y)) / pixels
    axis = medial_axis(shape, 0.2)
    row, column = np.floor(axis.points[:, ::-1] * pixels).astype(int).T
    assert axis.clearance == pytest.approx(far[row, column], abs=1.5 / pixels)
    # And where the pixels have the widest places, the axis runs.
    ridge = (far == scipy.ndimage.maximum_filter(far, 25)) & (far > 0.4)
    spots = np.argwhere(ridge)[:, ::-1] / pixels
    assert on_axis(axis, spots).max() < 3 / pixels


@pytest.mark.parametrize("turn", [0, 1, 33, 62])
def test_triangles_are_delaunay_also_where_sites_stand_in_line(turn):
    """Against scipy (Qhull): GEOS alone leaves flat triangles on walls that lie askew."""
    shape = shapely.union_all([box(-8, -4, 0, 4), box(0, -0.7, 6, 0.7), box(6, -4, 14, 4)])
    segments = segments_of(shapely.get_rings(rotate(shape, turn, origin=(0, 0))))
    sites = _Sites(segments, np.zeros(len(segments), np.int64), 1 / 6, 30.0)
    triangles, *_ = _delaunay(sites, np.arange(len(sites.points)))
    area = shapely.area(shapely.polygons(sites.points[triangles]))
    assert area.sum() == pytest.approx(shapely.MultiPoint(sites.points).convex_hull.area)
    radius = _radii(sites.points[triangles[area > 1e-9]])
    qhull = scipy.spatial.Delaunay(sites.points).simplices
    other = _radii(sites.points[qhull][shapely.area(shapely.polygons(sites.points[qhull])) > 1e-9])
    assert np.sort(radius)[:-8] == pytest.approx(np.sort(other)[:-8], rel=1e-6)


def _radii(corners):
    a, b, c = (np.hypot(*(corners[:, k] - corners[:, k - 1]).T) for k in range(3))
    return a * b * c / 4 / shapely.area(shapely.polygons(corners))
