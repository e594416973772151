import math

import numpy as np
import pytest
from ezdxf.math import BSpline as EzdxfSpline
from ezdxf.math import closed_uniform_bspline
from shapely import LineString, Point

from sheetstack.geometry.read.spline import flatten_spline

PLAIN = np.empty(0)


def clamped(count, degree):
    inner = np.arange(1, count - degree)
    return np.concatenate([np.zeros(degree + 1), inner, np.full(degree + 1, count - degree)])


@pytest.mark.parametrize("degree", [1, 2, 3, 5])
@pytest.mark.parametrize("tolerance", [1, 0.05, 0.001])
def test_the_curve_keeps_within_the_tolerance(degree, tolerance):
    # ezdxf's own evaluation of the same curve is the reference.
    control = np.random.default_rng(degree).uniform(-50, 50, (9, 2))
    knots = clamped(9, degree).astype(float)
    line = LineString(flatten_spline(control, knots, degree, PLAIN, tolerance))
    reference = EzdxfSpline(control, order=degree + 1, knots=knots)
    far = max(line.distance(Point(p.x, p.y)) for p in reference.approximate(3000))
    assert far <= tolerance * 1.02  # three probes may miss the very largest distance
    assert line.coords[0] == pytest.approx(tuple(control[0]))
    assert line.coords[-1] == pytest.approx(tuple(control[-1]))


def test_a_rational_spline_is_an_exact_circle():
    # The circle of nine points of degree 2 (Piegl and Tiller, The NURBS Book, section 7.5, from
    # memory): weights 1 and 1 / sqrt 2 in turn, knots doubled.
    corners = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
    weights = np.array([1, math.sqrt(0.5)] * 4 + [1])
    knots = np.array([0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4], dtype=float)
    points = flatten_spline(50.0 * np.array(corners), knots, 2, weights, 0.01)
    np.testing.assert_allclose(np.hypot(*points.T), 50, rtol=1e-12)
    middles = 0.5 * (points[1:] + points[:-1])
    assert 50 - np.hypot(*middles.T).min() <= 0.01 * 1.02


def test_a_periodic_spline_runs_over_its_natural_domain():
    # Knots are not repeated at the ends; the curve closes, with the same direction at both ends.
    square = [(0, 0, 0), (60, 0, 0), (60, 60, 0), (0, 60, 0)]
    curve = closed_uniform_bspline(square)
    control = np.array([(p.x, p.y) for p in curve.control_points])
    points = flatten_spline(control, np.array(curve.knots()), curve.degree, PLAIN, 0.01)
    np.testing.assert_allclose(points[0], points[-1], atol=1e-9)
    # By symmetry its centre is the square's; it lies within its control points' hull.
    np.testing.assert_allclose(np.array(LineString(points).envelope.centroid.coords), [[30, 30]])
    assert points.min() > 0
    assert points.max() < 60


@pytest.mark.parametrize(
    ("count", "knots", "degree", "weights"),
    [
        (4, [0, 0, 0, 1, 1, 1], 3, []),
        (3, [0, 0, 0, 0, 1, 1, 1, 1], 3, []),
        (4, [0, 0, 0, 0, 1, 1, 1, 1], 0, []),
        (4, [0, 0, 0, 0, 0, 0, 0, 0], 3, []),
        (4, [1, 1, 1, 1, 0, 0, 0, 0], 3, []),
        (4, [0, 0, 0, 0, 1, 1, 1, 1], 3, [1, 1]),
        (4, [0, 0, 0, 0, 1, 1, 1, 1], 3, [1, 0, 1, 1]),
    ],
)
def test_numbers_that_do_not_fit_are_refused(count, knots, degree, weights):
    with pytest.raises(ValueError, match=r"knots|weight"):
        flatten_spline(np.eye(count, 2), np.array(knots, float), degree, np.array(weights), 0.1)
