"""Curves flattened within their tolerance."""

import numpy as np
import pytest
import shapely
from fontTools.misc import bezierTools
from fontTools.svgLib.path import parse_path
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import BSpline

from sheetstack.geometry.planar.curves import (
    Arcs,
    arcs_from_ends,
    flatten_arcs,
    flatten_cubics,
    flatten_spline,
    largest_stretch,
    spline_points,
)

tolerances = st.sampled_from([0.5, 0.05, 0.003])
place = st.integers(-20_000, 20_000).map(lambda hundredths: hundredths / 100)
point = st.tuples(place, place)


def farthest(points: np.ndarray, polyline: np.ndarray) -> float:
    """Largest distance from points of the true curve to the polyline."""
    line = shapely.linestrings(polyline)
    return float(shapely.distance(shapely.points(points), line).max())


@settings(max_examples=100, deadline=None)
@given(st.tuples(point, point, point, point), tolerances)
def test_cubic_stays_within_tolerance_of_points_by_fonttools(control, tolerance):
    points, counts = flatten_cubics(np.array([control]), tolerance)
    assert counts.tolist() == [len(points)]
    assert tuple(points[-1]) == control[3]
    true = [bezierTools.cubicPointAtT(*control, t) for t in np.linspace(0, 1, 301)]
    assert farthest(np.array(true), np.vstack([control[:1], points])) <= tolerance + 1e-9


def test_the_bound_is_not_wasteful():
    # A quarter circle of radius 100 by one cubic (the usual 0.5523 handles): 20 chords of equal
    # angle would do for 0.05 mm; twice as many would be waste.
    k = 55.228475
    quarter = np.array([[[100, 0], [100, k], [k, 100], [0, 100]]], float)
    _, counts = flatten_cubics(quarter, 0.05)
    ideal = np.ceil((np.pi / 2) / (2 * np.arccos(1 - 0.05 / 100)))
    assert ideal <= counts[0] <= 1.5 * ideal


def test_many_curves_at_once_equal_each_alone():
    rng = np.random.default_rng(5)
    control = rng.normal(scale=50, size=(20, 4, 2))
    points, counts = flatten_cubics(control, 0.05)
    alone = [flatten_cubics(c[None], 0.05)[0] for c in control]
    assert counts.tolist() == [len(a) for a in alone]
    assert np.array_equal(points, np.concatenate(alone))


radius = st.floats(0.5, 300)


@settings(max_examples=100, deadline=None)
@given(point, point, radius, radius, st.floats(-360, 360), st.booleans(), st.booleans(), tolerances)
def test_arc_reaches_both_ends_and_keeps_its_tolerance(
    start, end, rx, ry, rotation, large, sweep, tolerance
):
    if np.hypot(*np.subtract(start, end)) < 1e-3:
        return
    arcs = arcs_from_ends(
        np.array([start]),
        np.array([end]),
        np.array([[rx, ry]]),
        np.array([rotation]),
        np.array([large]),
        np.array([sweep]),
    )
    points, _ = flatten_arcs(arcs, tolerance)
    assert points[-1] == pytest.approx(end, abs=1e-6)
    angle = arcs.start + arcs.turn * np.linspace(0, 1, 400)
    true = arcs.centre + np.outer(np.cos(angle), arcs.u) + np.outer(np.sin(angle), arcs.v)
    assert true[0] == pytest.approx(start, abs=1e-6)
    assert farthest(true, np.vstack([start, points])) <= tolerance + 1e-9
    assert (arcs.turn[0] > 0) == sweep
    # F.6.6: a half turn where the radii had to grow; else the flag says which of the two arcs.
    half = abs(abs(arcs.turn[0]) - np.pi) < 1e-6
    assert half or (abs(arcs.turn[0]) > np.pi) == large


@pytest.mark.parametrize("flags", ["0 0", "0 1", "1 0", "1 1"])
def test_arc_runs_where_fonttools_puts_it(flags):
    """SVG 1.1, 8.3.8, the figure of the four arcs, against fontTools' own arcs (cubics)."""
    from fontTools.pens.recordingPen import RecordingPen

    large, sweep = (np.array([f == "1"]) for f in flags.split())
    arcs = arcs_from_ends(
        np.array([[125.0, 75]]),
        np.array([[225.0, 25]]),
        np.array([[100.0, 50]]),
        np.array([0.0]),
        large,
        sweep,
    )
    points, _ = flatten_arcs(arcs, 0.01)
    pen = RecordingPen()
    parse_path(f"M125,75 a100,50 0 {flags.replace(' ', ',')} 100,-50", pen)
    curves = [v for k, v in pen.value if k == "curveTo"]
    start, theirs = (125.0, 75.0), []
    for curve in curves:
        theirs += [bezierTools.cubicPointAtT(start, *curve, t) for t in np.linspace(0, 1, 50)]
        start = curve[2]
    # Their cubics are within 3e-4 of the radius of the ellipse.
    assert farthest(np.array(theirs), np.vstack([[125, 75], points])) < 0.05


def test_mapped_arc_is_the_map_of_the_arc():
    arc = Arcs(
        np.array([[1.0, 2]]), np.array([[5.0, 0]]), np.array([[0, 3.0]]), np.zeros(1), np.ones(1)
    )
    linear, shift = np.array([[[2.0, 1], [0.5, -3]]]), np.array([[7.0, 8]])
    mapped, _ = flatten_arcs(arc.mapped(linear, shift), 1e-4)
    plain, _ = flatten_arcs(arc, 1e-7)
    assert farthest(mapped, plain @ linear[0].T + shift[0]) < 1e-4


def test_largest_stretch_is_numpys_largest_singular_value():
    m = np.random.default_rng(2).normal(size=(50, 2, 2))
    wanted = np.linalg.svd(m, compute_uv=False)[:, 0]
    assert largest_stretch(m[:, :, 0], m[:, :, 1]) == pytest.approx(wanted)


@pytest.mark.parametrize("degree", [1, 2, 3, 5])
@pytest.mark.parametrize("kind", ["clamped", "uniform", "repeated"])
def test_points_equal_scipys(degree, kind):
    rng = np.random.default_rng(degree)
    control = rng.uniform(0, 100, (degree + 7, 3))
    inner = np.sort(rng.uniform(0, 1, 6))
    if kind == "repeated":
        inner[2:4] = inner[2]
    knots = {
        "clamped": np.concatenate([np.zeros(degree + 1), inner, np.ones(degree + 1)]),
        "repeated": np.concatenate([np.zeros(degree + 1), inner, np.ones(degree + 1)]),
        "uniform": np.arange(len(control) + degree + 1, dtype=float),
    }[kind]
    t = np.linspace(knots[degree], knots[len(control)], 201)
    expected = BSpline(knots, control, degree)(t)
    assert spline_points(control, knots, degree, t) == pytest.approx(expected, abs=1e-9)


def test_a_quarter_circle_as_a_rational_spline_is_round():
    # The exact rational quadratic quarter circle: weights 1, cos 45 degrees, 1 (standard result).
    control = np.array([[10.0, 0], [10, 10], [0, 10]])
    knots = np.array([0.0, 0, 0, 1, 1, 1])
    points = flatten_spline(control, knots, 2, np.array([1, 0.5**0.5, 1]), 0.001)
    # Vertices lie outside and chords within, so that the sector keeps its area, pi r^2 / 4.
    assert (np.abs(np.hypot(*points.T) - 10) <= 0.001).all()
    sector = shapely.Polygon([(0, 0), *points])
    assert sector.area == pytest.approx(25 * np.pi, rel=1e-6)
