import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, Polygon

from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.tracing.bezier_fit import fit_rings, fit_shape


def off(curves, shape):
    """Hausdorff distance, both ways, between curves (densely drawn) and outlines (densified)."""
    drawn = curves.flattened(60).boundary
    return shapely.hausdorff_distance(drawn.segmentize(0.1), shape.boundary.segmentize(0.1))


def wavy(waves, radius=30.0, count=1500):
    """A smooth ring whose radius is a sum of cosines: (frequency, height, phase)."""
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)
    r = radius + sum(h * np.cos(k * t + p) for k, h, p in waves)
    return np.column_stack([r * np.cos(t), r * np.sin(t)])


# Reference: shapely.hausdorff_distance.
@pytest.mark.parametrize("tolerance", [0.5, 0.1, 0.02])
def test_curves_stay_within_tolerance(tolerance):
    shape = MultiPolygon([Polygon(wavy([(7, 6, 0), (23, 1, 1)]))])
    assert off(fit_shape(shape, tolerance), shape) <= tolerance


@settings(max_examples=12, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(2, 15), st.floats(-1.5, 1.5), st.floats(0, 6)), min_size=1, max_size=4
    ),
    st.sampled_from([0.4, 0.1]),
)
def test_any_smooth_ring_stays_within_tolerance(waves, tolerance):
    shape = MultiPolygon([Polygon(wavy(waves, count=700))])
    curves = fit_shape(shape, tolerance)
    assert off(curves, shape) <= tolerance
    assert curves.flattened().is_valid


@settings(max_examples=12, deadline=None)
@given(st.integers(3, 40), st.integers(0, 10**6))
def test_any_star_with_corners_stays_within_tolerance(count, seed):
    random = np.random.default_rng(seed)
    t = np.sort(random.uniform(0, 2 * np.pi, count))
    r = random.uniform(5, 30, count)
    ring = np.column_stack([r * np.cos(t), r * np.sin(t)])
    shape = as_multipolygon(Polygon(ring).buffer(1.0, join_style="mitre"))
    if shape.is_valid:
        assert off(fit_shape(shape, 0.15), shape) <= 0.15


def test_a_circle_needs_few_nodes():
    # Four cubics come within 0.027 % of the radius: Goldapp, "Approximation of circular arcs by
    # cubic polynomials", Computer Aided Geometric Design 8, 1991.
    disc = MultiPolygon([Point(0, 0).buffer(50, quad_segs=256)])
    curves = fit_shape(disc, 0.05)
    assert curves.nodes <= 6
    assert off(curves, disc) <= 0.05


def test_corners_are_kept():
    t = np.linspace(0, np.pi, 400)
    arch = np.column_stack([20 * np.cos(t), 20 * np.sin(t)])
    gate = Polygon([*arch, (-20, -30), (20, -30)])
    curves = fit_shape(MultiPolygon([gate]), 0.1)
    nodes = curves.polygons[0][0].cubics[:, 0]
    for corner in ((-20, -30), (20, -30)):
        assert np.linalg.norm(nodes - corner, axis=1).min() < 0.02
    # The straight sides are lines, the arch is not.
    assert curves.polygons[0][0].straight.sum() >= 1
    assert curves.nodes <= 9


def test_a_square_is_four_lines():
    square = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], float)
    ring = fit_rings([square], 0.1)[0]
    assert ring.straight.all()
    assert sorted(map(tuple, ring.cubics[:, 0].round(9))) == [(0, 0), (0, 10), (10, 0), (10, 10)]


def test_curves_run_on_smoothly_between_corners():
    ring = fit_rings([wavy([(5, 5, 0)])], 0.1)[0]
    out = ring.cubics[:, 1] - ring.cubics[:, 0]
    into = np.roll(ring.cubics[:, 3] - ring.cubics[:, 2], 1, axis=0)
    cosine = (out * into).sum(axis=1) / np.linalg.norm(out, axis=1) / np.linalg.norm(into, axis=1)
    assert cosine.min() > 0.999


def test_a_wave_needs_about_a_cubic_for_each_half_of_it():
    # Each half of a wave, from crest to trough, has one inflection, as a cubic can have one.
    for waves in ([(5, 5, 0)], [(9, 3, 0)]):
        halves = 2 * waves[0][0]
        shape = MultiPolygon([Polygon(wavy(waves))])
        curves = fit_shape(shape, 0.1)
        assert curves.nodes <= 1.5 * halves
        assert off(curves, shape) <= 0.1


def test_each_cubic_ends_where_the_next_begins():
    for ring in fit_rings([wavy([(5, 5, 0)]), wavy([(9, 2, 0)]) + 100], 0.1):
        assert np.array_equal(ring.cubics[:, 3], np.roll(ring.cubics[:, 0], -1, axis=0))


def test_holes_and_near_neighbours_do_not_come_to_cross():
    ring = shapely.Polygon(wavy([(9, 4, 0)]))
    thin = MultiPolygon([ring.difference(ring.buffer(-0.2))])
    curves = fit_shape(thin, 0.5)
    flat = curves.flattened()
    assert flat.is_valid
    assert flat.area == pytest.approx(thin.area, rel=0.2)


def test_rings_hardly_larger_than_the_tolerance_survive():
    tiny = MultiPolygon([Point(0, 0).buffer(0.1), Point(5, 0).buffer(0.02)])
    flat = fit_shape(tiny, 0.25).flattened()
    assert flat.is_valid
    assert len(flat.geoms) == 2


def test_curves_that_leave_the_page_are_drawn_in():
    page = (60.0, 40.0)
    blob = shapely.Polygon(wavy([(5, 5, 0)]) + (30, 20)).intersection(shapely.box(0, 0, *page))
    shape = MultiPolygon([blob])
    curves = fit_shape(shape, 0.5, page)
    flat = curves.flattened(40)
    assert shapely.box(-1e-9, -1e-9, 60 + 1e-9, 40 + 1e-9).covers(flat)
    assert off(curves, shape) <= 0.5


def test_nothing_gives_nothing():
    assert fit_shape(MultiPolygon(), 0.1).nodes == 0
    assert fit_rings([], 0.1) == []


@pytest.mark.parametrize(("half", "wave"), [(0.02, 3), (0.02, 5), (0.05, 3)])
def test_a_slit_narrower_than_the_tolerance_costs_nodes_along_it_only(half, wave):
    ring = Polygon(wavy([(19, 4, 0), (31, 3, 0)], radius=60, count=800))
    x = np.linspace(20, 90, 120)
    slit = shapely.LineString(np.column_stack([x, 2 * np.sin(x / wave)]))
    cut = ring - slit.buffer(half, quad_segs=4, cap_style="square")
    shape = MultiPolygon(shapely.get_parts(cut).tolist())
    curves = fit_shape(shape, 0.4)
    assert curves.flattened(16).is_valid
    assert curves.flattened(40).is_valid
    assert off(curves, shape) <= 0.4
    # Fitted whole, as if it could cross itself, it has about fifty.
    whole = fit_rings([np.asarray(shape.geoms[0].exterior.coords)[:-1]], 0.4)[0]
    assert curves.nodes <= len(whole.cubics) + 45
