"""Flattened curves keep their areas: pi r^2, pi a b, and Green's theorem for Bezier curves."""

from __future__ import annotations

import ezdxf
import ezdxf.units
import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from shapely import LineString, Polygon

from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.artwork.svg.stroke import Pen, stroke
from sheetstack.geometry.planar.curves import Arcs, flatten_arcs, flatten_cubics, flatten_spline

TOLERANCE = 0.05
RADII = (0.1, 0.5, 2.0, 15.0, 300.0)


def swept_area(points):
    """Half the sum of x dy - y dx along a polyline: its area about the origin."""
    a, b = points[:-1], points[1:]
    return 0.5 * float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum())


def bezier(control, count=20_001):
    t = np.linspace(0, 1, count)[:, None]
    s = 1 - t
    return (
        s**3 * control[0]
        + 3 * s * s * t * control[1]
        + 3 * s * t * t * control[2]
        + t**3 * control[3]
    )


@pytest.mark.parametrize("radius", RADII)
@pytest.mark.parametrize("parts", [1, 2, 4, 7])
def test_a_circle_of_arcs_has_the_area_pi_r_squared(radius, parts):
    start = np.arange(parts) * 2 * np.pi / parts
    one = np.ones((parts, 1))
    arcs = Arcs(
        np.zeros((parts, 2)),
        radius * one * [1.0, 0],
        radius * one * [0, 1.0],
        start,
        np.full(parts, 2 * np.pi / parts),
    )
    points, _ = flatten_arcs(arcs, TOLERANCE)
    assert Polygon(points).area == pytest.approx(np.pi * radius**2, rel=1e-12)
    ring = shapely.LinearRing(points)
    # At 0.1 mm the least number of sides, eight, decides.
    off = np.abs(shapely.distance(shapely.points(0, 0), ring) - radius)
    assert off <= TOLERANCE
    assert np.abs(np.hypot(*points.T) - radius).max() <= TOLERANCE * (1 + 1e-9)


@pytest.mark.parametrize("turn", [-1.5, 2.0])
def test_an_elliptical_arc_has_its_sector_and_its_ends(turn):
    # Sector of an ellipse by its parameter: a b t / 2 (elementary).
    u, v = np.array([[3.0, 4.0]]), np.array([[-0.8, 0.6]])
    points, _ = flatten_arcs(
        Arcs(np.zeros((1, 2)), u, v, np.array([0.3]), np.array([turn])), TOLERANCE
    )
    first = np.cos(0.3) * u + np.sin(0.3) * v
    assert swept_area(np.vstack([first, points])) == pytest.approx(5 * turn / 2, rel=1e-12)
    last = np.cos(0.3 + turn) * u + np.sin(0.3 + turn) * v
    assert points[-1] == pytest.approx(last[0], abs=1e-12)


@settings(max_examples=200, deadline=None)
@given(
    arrays.arrays(np.float64, (4, 2), elements=st.floats(-1, 1, width=32)),
    st.floats(0.2, 200),
)
@example(np.array([[0.875, 0.875], [0, -0.375], [0, 0.875], [0.875, 0]]), 0.21875)
def test_a_bezier_curve_keeps_its_area_within_the_tolerance_both_ways(shape, size):
    control = shape * size
    points, counts = flatten_cubics(control[None], TOLERANCE)
    line, curve = np.vstack([control[:1], points]), bezier(control)
    assert (points[-1] == control[3]).all()
    if len(np.unique(line, axis=0)) > 1:
        far = shapely.hausdorff_distance(LineString(line), LineString(curve[::10]))
        assert far <= TOLERANCE * 1.05 + 1e-3 * size * 0.1
    if counts[0] > 1:
        length = np.hypot(*np.diff(curve, axis=0).T).sum()
        # Cusps and S shapes keep a little less exactly: vertices move by the tolerance at most.
        assert abs(swept_area(line) - swept_area(curve)) <= 0.02 * TOLERANCE * length + 1e-9


@pytest.mark.parametrize("radius", RADII)
def test_a_circle_of_four_bezier_curves_has_the_area_of_the_curves(radius):
    # The usual arms of a quarter circle; four such curves are 0.03 % larger than the circle.
    k = 4 / 3 * (np.sqrt(2) - 1)
    quarter = radius * np.array([[1, 0], [1, k], [k, 1], [0, 1]])
    turn = np.array([[0.0, 1], [-1, 0]])
    curves = np.stack([quarter @ np.linalg.matrix_power(turn, n) for n in range(4)])
    points, _ = flatten_cubics(curves, TOLERANCE)
    exact = sum(swept_area(bezier(curve)) for curve in curves)
    assert Polygon(points).area == pytest.approx(exact, rel=1e-6)
    assert Polygon(points).area == pytest.approx(np.pi * radius**2, rel=1e-3)


@pytest.mark.parametrize("radius", [0.5, 10.0])
def test_a_round_spline_keeps_its_area(radius):
    # The rational quadratic circle of nine points (standard result: weights 1, cos 45, 1, ...).
    w = 0.5**0.5
    corners = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
    knots = np.array([0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4], float)
    weights = np.array([1, w, 1, w, 1, w, 1, w, 1])
    points = flatten_spline(radius * np.array(corners, float), knots, 2, weights, TOLERANCE)
    assert Polygon(points).area == pytest.approx(np.pi * radius**2, rel=1e-3)


@pytest.mark.parametrize("kind", ["circle", "bulges", "ellipse"])
def test_small_discs_of_a_dxf_keep_their_area(kind, tmp_path):
    drawing = ezdxf.new(units=ezdxf.units.MM)
    space = drawing.modelspace()
    if kind == "circle":
        space.add_circle((5, 5), 0.5)
    elif kind == "ellipse":
        space.add_ellipse((5, 5), (1, 0), 0.25)
    else:
        space.add_lwpolyline([(4.5, 5, 1), (5.5, 5, 1)], format="xyb", close=True)
    drawing.saveas(tmp_path / "disc.dxf")
    found = read_artwork(ArtworkSource(tmp_path / "disc.dxf"))
    assert found.shape.area == pytest.approx(np.pi / 4, rel=1e-3)


@pytest.mark.parametrize("width", [0.6, 1.0, 8.0])
def test_dots_caps_and_round_joins_have_their_areas(width):
    radius = width / 2
    disc = np.pi * radius**2
    line = np.array([[0.0, 0], [20, 0]])
    assert stroke(line[:1], Pen(width, "round")).area == pytest.approx(disc, rel=1e-6)
    assert stroke(line, Pen(width, "round")).area == pytest.approx(20 * width + disc, rel=1e-6)
    # A right angle: two rectangles, less the square they share, plus a square and a quarter disc.
    bent = np.array([[0.0, 0], [20, 0], [20, 20]])
    expected = 40 * width - radius**2 + disc / 4
    assert stroke(bent, Pen(width, "butt", "round")).area == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    "body",
    [
        '<circle cx="5" cy="5" r="0.5"/>',
        '<ellipse cx="5" cy="5" rx="1" ry="0.25"/>',
        '<path d="M4.5 5a.5 .5 0 0 1 1 0a.5 .5 0 0 1 -1 0z"/>',
        '<rect x="4.5" y="4.5" width="1" height="1" rx="0.5"/>',
        '<path stroke="#000" stroke-width="1" stroke-linecap="round" d="M5 5h0"/>',
    ],
)
def test_small_discs_of_a_drawing_keep_their_area(body, tmp_path):
    path = tmp_path / "disc.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="10mm" height="10mm" viewBox="0 0 10 10">'
        f"{body}</svg>"
    )
    found = read_artwork(ArtworkSource(path))
    assert found.shape.area == pytest.approx(np.pi / 4, rel=1e-3)
