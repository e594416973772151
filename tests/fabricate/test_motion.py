"""Time along a path against closed forms of steady acceleration, and against a plain recursion."""

import math

import numpy as np
import pytest

from sheetstack.geometry.fabricate.motion import motion_seconds
from sheetstack.geometry.tolerance import TOLERANCES


def ends(count):
    stops = np.zeros(count, bool)
    stops[[0, -1]] = True
    return stops


@pytest.mark.parametrize("length", [0.01, 5.0, 9.99, 10.0, 10.01, 400.0])
def test_a_straight_way_is_the_trapezoid_of_the_textbook(length):
    # Steady acceleration from rest: s = v^2 / (2 a), t = v / a; two ramps of 5 mm here.
    a, v = 1000.0, 100.0
    ramps = v * v / a
    wanted = 2 * math.sqrt(length / a) if length < ramps else 2 * v / a + (length - ramps) / v
    # The same way in one step and in many.
    for count in (2, 50):
        way = np.stack([np.linspace(0, length, count), np.zeros(count)], axis=1)
        found = motion_seconds(way, np.full(count - 1, v), ends(count), a)
        assert found == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("chord", [0.02, 0.2, 1.0])
def test_a_circle_is_run_at_the_root_of_acceleration_times_radius(chord):
    a, radius = 800.0, 20.0
    count = int(2 * math.pi * radius / chord)
    angle = np.linspace(0, 2 * math.pi, count + 1)
    way = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    found = motion_seconds(way, np.full(count, 1e4), ends(count + 1), a)
    v = math.sqrt(a * radius)
    # Both ramps take v / a instead of v / (2 a).
    assert found == pytest.approx(2 * math.pi * radius / v + v / a, rel=1e-2)


def test_a_sharp_corner_is_passed_at_the_arc_that_leaves_it_by_the_tolerance():
    # A right angle: r (sqrt 2 - 1) = tolerance.
    a, v = 1000.0, 50.0
    corner = math.sqrt(a * TOLERANCES.chord / (math.sqrt(2) - 1))
    assert corner < v
    way = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0]])
    one = v / a + (v - corner) / a + (100 - v * v / 2 / a - (v * v - corner**2) / 2 / a) / v
    assert motion_seconds(way, np.full(2, v), ends(3), a) == pytest.approx(2 * one, rel=1e-9)


def test_any_way_takes_as_long_as_a_plain_recursion_finds():
    rng = np.random.default_rng(4)
    for _ in range(20):
        count = int(rng.integers(3, 60))
        way = rng.uniform(0, 30, (count, 2))
        speeds = rng.uniform(5, 200, count - 1)
        stops = ends(count) | (rng.random(count) < 0.1)
        a = float(rng.uniform(50, 3000))
        found = motion_seconds(way, speeds, stops, a)
        assert found == pytest.approx(recursion(way, speeds, stops, a), rel=1e-6)
        assert found > motion_seconds(way, speeds, stops)


def recursion(way, speeds, stops, a):
    """The same rules, one corner after the other."""
    n = len(way)
    lengths = [math.dist(way[k], way[k + 1]) for k in range(n - 1)]
    limit = [0.0] * n
    for k in range(1, n - 1):
        if stops[k]:
            continue
        p, q = way[k] - way[k - 1], way[k + 1] - way[k]
        turn = math.acos(np.clip(p @ q / lengths[k - 1] / lengths[k], -1, 1))
        arc = TOLERANCES.chord / (1 / math.cos(turn / 2) - 1)
        radius = min(arc, (lengths[k - 1] + lengths[k]) / 2 / turn)
        limit[k] = min(math.sqrt(a * radius), speeds[k - 1], speeds[k])
    for k in range(n - 1):
        limit[k + 1] = min(limit[k + 1], math.sqrt(limit[k] ** 2 + 2 * a * lengths[k]))
    for k in reversed(range(n - 1)):
        limit[k] = min(limit[k], math.sqrt(limit[k + 1] ** 2 + 2 * a * lengths[k]))
    seconds = 0.0
    for k, s in enumerate(lengths):
        u, w = limit[k], limit[k + 1]
        peak = min(speeds[k], math.sqrt((u * u + w * w) / 2 + a * s))
        rest = s - (2 * peak * peak - u * u - w * w) / (2 * a)
        seconds += (2 * peak - u - w) / a + max(rest, 0.0) / peak
    return seconds


def test_points_that_coincide_change_nothing():
    way = np.array([[0.0, 0], [10, 0], [10, 0], [10, 10], [10, 10]])
    stops = np.array([True, False, True, False, True])
    speeds = np.array([50.0, 1.0, 50.0, 1.0])
    plain = motion_seconds(way[[0, 1, 3]], speeds[[0, 2]], np.array([True] * 3), 900.0)
    assert motion_seconds(way, speeds, stops, 900.0) == pytest.approx(plain)
    assert motion_seconds(way[:1], speeds[:0], stops[:1], 900.0) == 0.0
