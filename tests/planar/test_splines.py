from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import BSpline

from sheetstack.geometry.planar.splines import flatten_spline, spline_points


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
    assert np.hypot(*points.T) == pytest.approx(10, abs=1e-12)
