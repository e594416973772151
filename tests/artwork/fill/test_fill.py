"""Fill rules, repairs and unions."""

import matplotlib.path
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from sheetstack.geometry.artwork.fill import fill as fill_module
from sheetstack.geometry.artwork.fill.fill import (
    Compound,
    Contour,
    fill,
    fill_all,
    fill_each,
    join_ends,
)
from sheetstack.geometry.errors import ArtworkError
from sheetstack.geometry.finding import Severity
from sheetstack.geometry.planar.winding import winding_numbers

# SVG 1.1, 11.3 shows these figures; areas by CairoSVG and by resvg, which agree.
STAR = "50,0 21,90 98,35 2,35 79,90"


def outline(text: str, closed: bool = True, name: str = "") -> Contour:
    xy = np.array([float(n) for n in text.replace(",", " ").split()]).reshape(-1, 2)
    return Contour(xy, closed, name)


def square(x: float, y: float, side: float, reverse: bool = False) -> Contour:
    xy = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float) * side + [x, y]
    return Contour(xy[::-1] if reverse else xy)


def codes(filled) -> list[str]:
    return [f.code for f in filled.findings]


@pytest.mark.parametrize(
    ("rule", "reverse", "area"),
    [
        ("nonzero", False, 3600),
        ("evenodd", False, 2700),
        ("nonzero", True, 2700),
        ("evenodd", True, 2700),
    ],
)
def test_nested_squares_follow_the_fill_rule(rule, reverse, area):
    filled = fill([square(0, 0, 60), square(15, 15, 30, reverse)], rule)
    assert filled.shape.area == area
    assert filled.findings == ()


@pytest.mark.parametrize(("rule", "area"), [("nonzero", 2792.298), ("evenodd", 1929.597)])
def test_star_follows_the_fill_rule(rule, area):
    filled = fill([outline(STAR)], rule)
    assert filled.shape.area == pytest.approx(area, abs=1e-3)
    assert filled.shape.is_valid
    (finding,) = filled.findings
    assert finding.code == "artwork.self-crossing"
    assert finding.severity is Severity.NOTE
    assert "5 points" in finding.message


def test_star_under_evenodd_is_five_triangles_that_touch_at_points():
    shape = fill([outline(STAR)], "evenodd").shape
    assert len(shape.geoms) == 5
    assert all(len(p.exterior.coords) == 4 for p in shape.geoms)


def test_place_of_a_crossing_is_where_the_outlines_cross():
    (finding,) = fill([outline("0,0 10,10 10,0 0,10")], "nonzero").findings
    assert finding.place == pytest.approx((5, 5), abs=1e-6)


def test_vertices_of_rings_that_cross_nothing_are_unchanged():
    rng = np.random.default_rng(7)
    given_rings = [np.round(rng.random((1, 2)) * 3, 3) + [10 * i, 0] for i in range(5)]
    shape = np.array([[0.1, 0.2], [7.3, 0.7], [5.1 / 3, 6.6 / 7]])
    contours = [Contour(shape + shift) for shift in given_rings]
    filled = fill([*contours, square(-5, -5, 100)], "evenodd")
    got = {tuple(p) for p in shapely.get_coordinates(filled.shape)}
    assert {tuple(p) for c in contours for p in c.points} < got
    assert len(filled.shape.geoms[0].interiors) == 5


def test_islands_in_holes_in_islands_are_nested_as_drawn():
    filled = fill([square(i, i, 100 - 2 * i) for i in range(6)], "evenodd")
    areas = sorted(round(p.area) for p in filled.shape.geoms)
    assert areas == [92**2 - 90**2, 96**2 - 94**2, 100**2 - 98**2]
    assert all(len(p.interiors) == 1 for p in filled.shape.geoms)


def test_same_direction_nesting_under_nonzero_is_solid():
    filled = fill([square(i, i, 100 - 2 * i) for i in range(6)], "nonzero")
    assert filled.shape.equals(shapely.box(0, 0, 100, 100))
    assert len(filled.shape.geoms[0].interiors) == 0


def test_crossing_rings_inside_paint_are_cut_out_of_it():
    # Two crossing squares within a big one: even-odd paints the big one, not the squares, but
    # again where they overlap.
    filled = fill([square(0, 0, 100), square(20, 20, 30), square(40, 40, 30)], "evenodd")
    assert filled.shape.area == pytest.approx(10_000 - 900 - 900 + 2 * 100)
    assert filled.shape.is_valid
    assert "artwork.self-crossing" in codes(filled)


def test_holes_that_touch_at_two_points_part_the_paint_between_them():
    # The two C-shaped holes meet at two points and enclose a piece of paint.
    left = outline("30,50 50,70 50,80 20,50 50,20 50,30")
    right = outline("70,50 50,70 50,80 80,50 50,20 50,30")
    filled = fill([square(0, 0, 100), left, right], "evenodd")
    wanted = shapely.box(0, 0, 100, 100)
    for hole in (left, right):
        wanted = wanted.difference(Polygon(hole.points))
    assert filled.shape.is_valid
    assert filled.shape.symmetric_difference(wanted).area < 1e-6
    assert len(filled.shape.geoms) == 2


def test_open_contour_is_closed_and_told_with_its_gap():
    filled = fill([outline("0,0 10,0 10,10 0,10", closed=False, name="path 'eye'")], "nonzero")
    assert filled.shape.area == 100
    (finding,) = filled.findings
    assert (finding.code, finding.place, finding.size_mm) == ("artwork.open-path", (0, 10), 10)
    assert finding.message.startswith("Path 'eye' is open by 10 mm")


def test_open_contour_with_a_tiny_gap_is_not_told():
    filled = fill([outline("0,0 10,0 10,10 0,10 0,0.01", closed=False)], "nonzero")
    assert filled.shape.area == pytest.approx(100)
    assert filled.findings == ()


def test_second_copy_of_an_outline_is_dropped_and_told():
    again = np.roll(square(0, 0, 10).points, 2, axis=0)[::-1]
    filled = fill([square(0, 0, 10), Contour(again)], "evenodd")
    assert filled.shape.area == 100
    assert codes(filled) == ["artwork.duplicate"]


def test_second_copy_is_left_to_the_rule_where_asked():
    twice = Compound([square(0, 0, 10), square(0, 0, 10)], "evenodd", keep_duplicates=True)
    filled = fill_all([twice])
    assert filled.shape.is_empty
    assert "artwork.duplicate" in codes(filled)


def test_same_shape_in_two_compounds_is_told_and_painted_once():
    filled = fill_all([Compound([square(0, 0, 10)], "evenodd") for _ in range(3)])
    assert filled.shape.area == 100
    assert codes(filled) == ["artwork.duplicate"] * 2


def test_specks_and_lines_are_dropped_and_told():
    speck = square(5, 5, 0.01)
    line = outline("0,0 10,0 5,0")
    point = outline("1,1 1,1 1,1 1,1")
    filled = fill([square(20, 0, 10), speck, line, point], "nonzero")
    assert filled.shape.area == 100
    assert sorted(codes(filled)) == ["artwork.no-area", "artwork.no-area", "artwork.speck"]


def test_a_crowd_of_specks_is_one_finding_that_counts_them():
    filled = fill([square(i, 0, 0.01) for i in range(500)], "nonzero")
    (finding,) = filled.findings
    assert "499 more" in finding.message


def test_spike_vanishes():
    filled = fill([outline("0,0 10,0 10,5 20,5 10,5 10,10 0,10")], "nonzero")
    assert filled.shape.area == pytest.approx(100)
    assert filled.shape.bounds == pytest.approx((0, 0, 10, 10))


def test_overlapping_and_abutting_compounds_become_one_polygon():
    squares = [square(0, 0, 10), square(5, 5, 10), square(15, 5, 10), square(100, 0, 1)]
    filled = fill_all([Compound([s]) for s in squares])
    assert filled.shape.area == pytest.approx(100 + 75 + 100 + 1)
    assert len(filled.shape.geoms) == 2


def test_polygon_inside_a_hole_is_not_lost_by_the_union():
    ring = Compound([square(0, 0, 100), square(10, 10, 80)], "evenodd")
    filled = fill_all([ring, Compound([square(40, 40, 5)])])
    assert sorted(p.area for p in filled.shape.geoms) == [25, 3600]


def test_result_is_oriented_shells_counter_clockwise():
    filled = fill([square(0, 0, 100, True), square(10, 10, 80)], "evenodd")
    (polygon,) = filled.shape.geoms
    assert polygon.exterior.is_ccw
    assert not polygon.interiors[0].is_ccw


@pytest.mark.parametrize(
    ("value", "said"), [(np.nan, "not a finite"), (np.inf, "not a finite"), (2e6, "2e+06 mm")]
)
def test_absurd_coordinate_is_an_error_that_names_it(value, said):
    bad = outline("0,0 10,0 10,10", name="path 'nose'")
    bad.points[1, 1] = value
    with pytest.raises(ArtworkError, match=r"cat\.svg: path 'nose' has a coordinate") as caught:
        fill([square(0, 0, 1), bad], "nonzero", what="cat.svg")
    assert said in str(caught.value)


def test_nothing_fills_to_nothing():
    assert fill([], "nonzero").shape.is_empty
    assert fill_each([]).polygons.shape == (0,)
    assert fill_all([]).shape.is_empty


def test_winding_number_of_a_ring_walked_twice_is_two():
    xy = square(0, 0, 10).points
    ring = np.vstack([xy, xy, xy[:1]])
    found = winding_numbers(np.array([[5.0, 5.0], [15.0, 5.0]]), ring[:-1], ring[1:])
    assert found.tolist() == [2, 0]


def test_winding_number_by_tree_equals_winding_number_by_table():
    rng = np.random.default_rng(3)
    xy = np.cumsum(rng.normal(size=(3001, 2)), axis=0)
    xy[-1] = xy[0]
    points = rng.uniform(xy.min(0), xy.max(0), size=(2000, 2))
    many = winding_numbers(points, xy[:-1], xy[1:])
    few = np.concatenate([winding_numbers(p, xy[:-1], xy[1:]) for p in np.split(points, 20)])
    assert np.array_equal(many, few)
    assert many.any()


coordinate = st.integers(0, 12).map(float)
polygon = st.lists(st.tuples(coordinate, coordinate), min_size=3, max_size=12)


@settings(max_examples=80, deadline=None)
@given(st.lists(polygon, min_size=1, max_size=3), st.sampled_from(["nonzero", "evenodd"]))
def test_random_outlines_paint_what_the_crossing_rule_says(polygons, rule):
    """Against point by point counting on a grid that no integer outline passes through.

    Outlines on integer coordinates meet in every degenerate way: shared edges, vertices on edges,
    spikes, whole rings twice. The reference is SVG 1.1's rule with crossings counted by an angle
    sum, which shares nothing with the reader.
    """
    compound = Compound([Contour(np.array(p)) for p in polygons], rule, keep_duplicates=True)
    shape = fill_all([compound]).shape
    assert shape.is_valid
    x, y = (g.ravel() + 0.5 + 1e-3 * np.pi for g in np.meshgrid(np.arange(12), np.arange(12)))
    turns = np.zeros(len(x))
    for p in polygons:
        xy = np.array([*p, p[0]])
        z = (xy[:, 0, None] - x) + 1j * (xy[:, 1, None] - y * 0.97 - 0.011)
        turns += np.angle(z[1:] / z[:-1]).sum(axis=0) / (2 * np.pi)
    winding = np.round(turns).astype(int)
    wanted = winding != 0 if rule == "nonzero" else winding % 2 != 0
    got = shapely.contains_xy(shape, x, y * 0.97 + 0.011)
    near = shapely.dwithin(shapely.boundary(shape), shapely.points(x, y * 0.97 + 0.011), 1e-5)
    assert np.array_equal(got[~near], wanted[~near])


@settings(max_examples=60, deadline=None)
@given(st.lists(polygon, min_size=1, max_size=4))
def test_evenodd_is_the_symmetric_difference_of_the_outlines(polygons):
    """Against Shapely: even-odd of several outlines is the exclusive or of each alone."""
    contours = [Contour(np.array(p)) for p in polygons]
    together = fill_all([Compound(contours, "evenodd", keep_duplicates=True)]).shape
    alone = shapely.MultiPolygon()
    for c in contours:
        alone = alone.symmetric_difference(fill([c], "evenodd").shape)
    assert together.area == pytest.approx(alone.area, abs=5e-3)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6))
def test_scattered_shapes_fill_to_what_shapely_unites(seed):
    rng = np.random.default_rng(seed)
    centres = rng.uniform(0, 40, size=(30, 2))
    t = np.sort(rng.uniform(0, 2 * np.pi, size=(30, 9)), axis=1)
    rings = centres[:, None] + 4 * np.stack([np.cos(t), np.sin(t)], axis=2)
    filled = fill_all([Compound([Contour(r)]) for r in rings])
    wanted = shapely.union_all([Polygon(r) for r in rings])
    assert filled.shape.symmetric_difference(wanted).area < 0.05
    assert filled.shape.is_valid


def test_even_odd_agrees_with_matplotlib_for_points_in_a_simple_polygon():
    rng = np.random.default_rng(11)
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    radius = 5 + rng.random(60)
    ring = np.column_stack([radius * np.cos(t), radius * np.sin(t)])
    points = rng.uniform(-7, 7, size=(500, 2))
    inside = matplotlib.path.Path(ring).contains_points(points)
    shape = fill([Contour(ring)], "evenodd").shape
    assert np.array_equal(shapely.contains_xy(shape, *points.T), inside)


def test_four_loose_sides_join_to_a_square():
    sides = ["0,0 10,0", "10,10 10,0.005", "0,10 10,10", "0,10 0,0"]
    joined, findings = join_ends([outline(s, closed=False) for s in sides], 0.02)
    assert findings == ()
    (loop,) = joined
    assert loop.closed
    assert len(loop.points) == 4
    assert fill([loop], "evenodd").shape.area == pytest.approx(100, abs=0.1)


def test_loop_that_stays_open_is_told_with_its_gap():
    sides = ["0,0 10,0", "10,0 10,10", "10,10 0,10", "0,10 0,0.5"]
    joined, findings = join_ends([outline(s, closed=False) for s in sides], 0.02)
    assert [c.closed for c in joined] == [False]
    assert [f.code for f in findings] == ["artwork.open-path"]
    assert findings[0].size_mm == pytest.approx(0.5)
    assert findings[0].place in [(0, 0), (0, 0.5)]


def test_stray_line_does_not_open_the_loop_that_it_touches():
    sides = ["0,0 10,0", "10,0 10,10", "10,10 0,10", "0,10 0,0", "10,10 30,30"]
    joined, findings = join_ends([outline(s, closed=False) for s in sides], 0.02)
    assert sorted(c.closed for c in joined) == [False, True]
    assert len(findings) == 1
    loop = next(c for c in joined if c.closed)
    assert Polygon(loop.points).area == 100


def test_line_that_ends_where_it_began_is_a_loop():
    joined, findings = join_ends([outline("0,0 10,0 10,10 0,0", closed=False)], 0.02)
    assert findings == ()
    assert joined[0].closed
    assert len(joined[0].points) == 3


def test_two_loops_that_touch_at_a_corner_keep_their_area():
    sides = ["0,0 9,0", "9,0 9,9", "9,9 0,9", "0,9 0,0"]
    sides += ["9,9 18,9", "18,9 18,18", "18,18 9,18", "9,18 9,9"]
    joined, findings = join_ends([outline(s, closed=False) for s in sides], 0.02)
    assert findings == ()
    assert all(c.closed for c in joined)
    assert fill(joined, "evenodd").shape.area == pytest.approx(162)


def test_a_ring_traced_twice_is_told_as_such():
    """By the even-odd rule it paints nothing; it crosses itself at no point."""
    filled = fill([outline("0,0 9,0 9,9 0,9 0,0 9,0 9,9 0,9")], "evenodd")
    assert filled.shape.is_empty
    assert any("runs along itself" in f.message for f in filled.findings)


@pytest.mark.parametrize("corners", [1_000, 20_000])
def test_a_tangle_is_refused_before_it_is_cut_into_faces(corners):
    xy = np.random.default_rng(corners).uniform(0, 100, (corners, 2))
    tangle = Contour(xy, True, "Path (line 7)")
    with pytest.raises(ArtworkError) as told:
        fill([tangle], "evenodd", what="leaf.svg")
    assert str(told.value).startswith("leaf.svg: Path (line 7) crosses itself or its own outlines")
    # Many crossings in one drawing are none of one shape's: each is cut by itself.
    few = [Compound((Contour(part, True),), "evenodd") for part in np.split(xy[:1000], 50)]
    assert len(fill_each(few).polygons) > 500


def test_points_are_looked_up_alike_however_many_at_a_time(monkeypatch):
    rng = np.random.default_rng(8)
    middle = rng.uniform(0, 20, (80, 2))
    discs = shapely.buffer(shapely.points(middle), rng.uniform(1, 12, 80))
    disc_owner = rng.integers(0, 5, 80)
    points, point_owner = rng.uniform(0, 20, (90, 2)), rng.integers(1, 7, 90)
    expected = {
        (k, n)
        for k in range(80)
        for n in range(90)
        if disc_owner[k] == point_owner[n] and shapely.contains_xy(discs[k], *points[n])
    }
    for at_once, pairs in ((2_000, 4_000_000), (7, 30), (1, 1)):
        monkeypatch.setattr(fill_module, "_POINTS_AT_ONCE", at_once)
        monkeypatch.setattr(fill_module, "_PAIRS_AT_ONCE", pairs)
        found = fill_module._points_in(discs, disc_owner, points, point_owner)
        assert len(found[0]) == len(expected)
        assert set(zip(*(one.tolist() for one in found), strict=True)) == expected
