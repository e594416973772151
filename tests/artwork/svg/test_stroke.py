"""Strokes turned into outlines."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sheetstack.geometry.artwork.svg.stroke import Pen, rough_outlines, stroke
from sheetstack.geometry.errors import ArtworkError
from sheetstack.geometry.tolerance import Tolerances

FINE = Tolerances(chord=1e-4)
LINE = np.array([[0, 0], [10, 0]], float)
ELBOW = np.array([[0, 0], [10, 0], [10, 10]], float)
SQUARE = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], float)


@pytest.mark.parametrize(("cap", "extra"), [("butt", 0), ("square", 4), ("round", np.pi)])
def test_caps_add_what_they_should(cap, extra):
    assert stroke(LINE, Pen(2, cap), tolerances=FINE).area == pytest.approx(20 + extra, rel=1e-4)


@pytest.mark.parametrize(("join", "wedge"), [("miter", 1.0), ("bevel", 0.5), ("round", np.pi / 4)])
def test_joins_of_a_right_angle_add_what_they_should(join, wedge):
    # Two rectangles of 10 x 2 overlap in the square inside the elbow; the wedge is outside it.
    shape = stroke(ELBOW, Pen(2, join=join), tolerances=FINE)
    assert shape.area == pytest.approx(40 - 1 + wedge, rel=1e-4)
    assert shape.is_valid


@pytest.mark.parametrize(("limit", "mitred"), [(1.41, False), (1.42, True)])
def test_miter_limit_is_the_ratio_of_svg(limit, mitred):
    # SVG 1.1, 11.4: miterLength / stroke-width = 1 / sin(theta / 2); sqrt 2 at a right angle.
    shape = stroke(ELBOW, Pen(2, miter_limit=limit))
    assert shapely.contains_xy(shape, 10.9, -0.9) == mitred


def test_a_corner_that_stands_twice_has_one_join():
    """As resvg and CairoSVG draw it: a hairpin has no miter, and 1e-6 is no side of its own."""
    hairpin = np.array([[50, 10], [50 + 1e-6, 10], [50 + 1e-6, 40]], float)
    assert stroke(hairpin, Pen(2), closed=True).area == pytest.approx(60, abs=1e-4)
    corner = np.array([[0, 0], [10, 0], [10 - 1e-6, 1e-6], [4, 4]], float)
    plain = stroke(corner[[0, 1, 3]], Pen(2))
    assert stroke(corner, Pen(2)).area == pytest.approx(plain.area, abs=1e-4)


def test_closed_line_has_a_join_at_its_start_and_no_caps():
    shape = stroke(SQUARE, Pen(2), closed=True)
    assert shape.area == pytest.approx(12**2 - 8**2)
    assert shape.bounds == (-1, -1, 11, 11)


def test_outline_of_a_plain_stroke_has_no_needless_points():
    (polygon,) = stroke(ELBOW, Pen(2)).geoms
    assert len(polygon.exterior.coords) - 1 == 6


@pytest.mark.parametrize(("cap", "area"), [("butt", 0), ("square", 4), ("round", np.pi)])
def test_line_without_length_shows_its_caps_only(cap, area):
    # SVG 1.1, 11.4 'stroke-linecap': a subpath of zero length.
    shape = stroke(np.array([[5, 5], [5, 5.0]]), Pen(2, cap), tolerances=FINE)
    assert shape.area == pytest.approx(area, rel=1e-3)


def test_smooth_vertices_take_no_corner_join():
    t = np.linspace(0, np.pi, 13)
    arc = 10 * np.column_stack([np.cos(t), np.sin(t)])
    smooth = np.ones(len(arc), bool)
    shape = stroke(arc, Pen(4, join="bevel"), smooth=smooth, tolerances=FINE)
    wanted = shapely.buffer(
        shapely.linestrings(arc), 2, quad_segs=300, cap_style="flat", join_style="round"
    )
    assert shape.symmetric_difference(wanted).area < 1e-3 * wanted.area


@pytest.mark.parametrize("closed", [False, True])
def test_a_rough_outline_differs_from_the_stroke_by_its_ends_and_corners_alone(closed):
    rng = np.random.default_rng(3)
    lines = [rng.uniform(0, 40, (6, 2)) for _ in range(20)]
    rough = rough_outlines(lines, [closed] * 20, [0.2] * 20)
    for points, rings in zip(lines, rough, strict=True):
        exact = stroke(points, Pen(0.2, "round", "round"), closed=closed, tolerances=FINE)
        outer, *holes = sorted(
            (shapely.Polygon(ring) for ring in rings), key=lambda ring: -ring.area
        )
        own = outer.difference(shapely.union_all(holes))
        off = shapely.symmetric_difference(own, exact)
        assert off.area < 0.01 * exact.area
        # Half a pen's width about the points, and nowhere else by a hundredth of a millimetre.
        near = shapely.MultiPoint(points).buffer(0.11)
        assert near.contains(off.buffer(-0.005))


def test_dashes_and_gaps_take_turns_from_the_offset_on():
    # SVG 1.1, 11.4 'stroke-dasharray': an odd list is repeated to an even one: 5,3,2,5,3,2.
    line = np.array([[0, 0], [40, 0]], float)
    shape = stroke(line, Pen(2, dashes=(5, 3, 2)))
    spans = sorted((p.bounds[0], p.bounds[2]) for p in shape.geoms)
    wanted = [(0, 5), (8, 10), (15, 18), (20, 25), (28, 30), (35, 38)]
    assert np.array(spans) == pytest.approx(np.array(wanted))
    moved = stroke(line, Pen(2, dashes=(5, 3, 2), dash_offset=8))
    assert min(p.bounds[2] for p in moved.geoms) == pytest.approx(2)
    negative = stroke(line, Pen(2, dashes=(5, 3, 2), dash_offset=-12))  # 8 less a period of 20
    assert negative.equals(moved)


def test_dash_across_a_corner_keeps_its_join():
    shape = stroke(ELBOW, Pen(2, dashes=(15, 100)))
    assert shape.area == pytest.approx(10 * 2 + 5 * 2)
    assert shapely.contains_xy(shape, 10.9, -0.9)


def test_dash_across_the_start_of_a_closed_line_is_one_dash():
    # 40 of outline, pattern 6 + 4: offset 3 puts the middle of a dash on the start.
    shape = stroke(SQUARE, Pen(2, dashes=(6, 4), dash_offset=3), closed=True)
    assert len(shape.geoms) == 4
    assert shapely.contains_xy(shape, -0.9, -0.9)


def test_dashes_without_length_are_dots():
    line = np.array([[0, 0], [10, 0]], float)
    shape = stroke(line, Pen(2, "round", dashes=(0, 5)), tolerances=FINE)
    assert len(shape.geoms) == 3
    assert shape.area == pytest.approx(3 * np.pi, rel=1e-3)


def test_too_many_dashes_are_an_error():
    with pytest.raises(ArtworkError, match="dashes"):
        stroke(LINE, Pen(1, dashes=(1e-5, 1e-5)))


coordinate = st.integers(0, 2000).map(lambda hundredths: hundredths / 100)
points = st.lists(st.tuples(coordinate, coordinate), min_size=2, max_size=10, unique=True)
far_apart = st.lists(
    st.tuples(st.integers(0, 20), st.integers(0, 20)), min_size=2, max_size=10, unique=True
)
CAPS = {"butt": "flat", "round": "round", "square": "square"}


@settings(max_examples=100, deadline=None)
@given(far_apart, st.sampled_from(sorted(CAPS)), st.booleans(), st.floats(0.1, 1.5))
def test_round_joined_strokes_equal_shapelys_buffer(line, cap, closed, width):
    """Against GEOS: a round-joined buffer is the same set, made by another method."""
    line = np.array(line, float)
    closed = closed and len(line) > 2
    shape = stroke(line, Pen(width, cap, "round"), closed=closed, tolerances=FINE)
    axis = shapely.linearrings(line) if closed else shapely.linestrings(line)
    wanted = shapely.buffer(axis, width / 2, quad_segs=150, cap_style=CAPS[cap], join_style="round")
    assert shape.is_valid
    assert shape.symmetric_difference(wanted).area <= 1e-3 * wanted.area


def parts_of_stroke(line, closed, half, join, limit):
    """The definition in SVG 1.1, 11.4: a rectangle on each segment, a wedge at each join."""
    ring = np.vstack([line, line[:1]]) if closed else line
    for a, b in itertools.pairwise(ring):
        normal = half * np.array([a[1] - b[1], b[0] - a[0]]) / np.hypot(*(b - a))
        yield shapely.Polygon([a + normal, b + normal, b - normal, a - normal])
    for i in range(len(line)) if closed else range(1, len(line) - 1):
        before, at, after = line[i - 1], line[i], line[(i + 1) % len(line)]
        u = (at - before) / np.hypot(*(at - before))
        v = (after - at) / np.hypot(*(after - at))
        outside = -np.sign(u[0] * v[1] - u[1] * v[0]) or 1.0  # straight back: either side
        p = at + outside * half * np.array([-u[1], u[0]])
        q = at + outside * half * np.array([-v[1], v[0]])
        yield shapely.Polygon([at, p, q])
        if join == "round":
            turn = -outside * np.linspace(0, np.arccos(np.clip(u @ v, -1, 1)), 200)
            x, y = p - at
            arc = [x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)]
            yield shapely.Polygon([at, *(at + np.transpose(arc))])
        sine = np.sin((np.pi - np.arccos(np.clip(u @ v, -1, 1))) / 2)
        if join == "miter" and 1 / max(sine, 1e-9) <= limit:
            out = p + q - 2 * at
            yield shapely.Polygon([p, at + out / np.hypot(*out) * half / sine, q])


@settings(max_examples=150, deadline=None)
@given(points, st.sampled_from(["miter", "bevel", "round"]), st.booleans(), st.floats(0.1, 6))
def test_strokes_equal_the_union_of_their_parts(line, join, closed, width):
    line = np.array(line)
    closed = closed and len(line) > 2
    pen = Pen(width, "butt", join, miter_limit=3.0)
    shape = stroke(line, pen, closed=closed, tolerances=FINE)
    parts = list(parts_of_stroke(line, closed, width / 2, join, 3.0))
    wanted = shapely.union_all(parts, grid_size=1e-9)
    assert shape.is_valid
    difference = shapely.symmetric_difference(shape, wanted, grid_size=1e-9)
    assert difference.area < 1e-3 * wanted.area + 0.005
