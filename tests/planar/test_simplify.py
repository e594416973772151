import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, Polygon, box

from sheetstack.geometry.planar.simplify import thin_out


def polygons(*shapes):
    return np.array(shapes, dtype=object)


def assert_thinned(before, after, tolerance):
    """The points are some of those given, nobody has moved far, and nothing crosses."""
    assert MultiPolygon(list(after)).is_valid
    assert len(after) == len(before)
    for old, new in zip(before, after, strict=True):
        assert len(new.interiors) == len(old.interiors)
        given = set(map(tuple, shapely.get_coordinates(old).tolist()))
        assert given.issuperset(map(tuple, shapely.get_coordinates(new).tolist()))
        for ring, thin in zip(
            (old.exterior, *old.interiors), (new.exterior, *new.interiors), strict=True
        ):
            points = shapely.points(shapely.get_coordinates(ring))
            assert shapely.distance(points, thin).max() <= tolerance * (1 + 1e-9)


def test_points_on_straight_lines_go_and_a_first_point_too():
    ring = [(5, 0), (10, 0), (10, 5), (10, 10), (3, 10), (0, 10), (0, 0)]
    (thin,) = thin_out(polygons(Polygon(ring)), 0.01)
    assert sorted(thin.exterior.coords[:-1]) == [(0, 0), (0, 10), (10, 0), (10, 10)]


def test_no_tolerance_changes_nothing():
    given = polygons(Point(0, 0).buffer(5))
    assert thin_out(given, 0) is given


def test_nothing_gives_nothing():
    assert len(thin_out(np.empty(0, object), 1)) == 0


def test_a_circle_keeps_within_the_tolerance():
    before = polygons(Point(0, 0).buffer(50, 200))
    after = thin_out(before, 0.1)
    # A chord over 2 acos(1 - 0.1/50) = 7.25 degrees has a sagitta of 0.1: at least 50 chords.
    assert 50 <= len(after[0].exterior.coords) < 110
    assert_thinned(before, after, 0.1)


def test_a_ring_hardly_larger_than_the_tolerance_stays_as_it_is():
    tiny = Point(0, 0).buffer(1, 8)
    after = thin_out(polygons(tiny, box(10, 0, 20, 10)), 3)
    assert after[0].equals(tiny)


def test_chords_that_would_cross_get_points_back():
    # Two wavy banks of a channel 0.2 wide that swings by 1: chords of either would cross it.
    x = np.linspace(0, 40, 401)
    wave = np.sin(x)
    lower = Polygon([*zip(x, wave - 0.1, strict=True), (40, -10), (0, -10)])
    upper = Polygon([*zip(x, wave + 0.1, strict=True), (40, 10), (0, 10)])
    before = polygons(lower, upper)
    alone = shapely.simplify(before, 1.2, preserve_topology=False)
    assert not MultiPolygon(list(alone)).is_valid  # else this would show nothing
    after = thin_out(before, 1.2)
    assert_thinned(before, after, 1.2)
    assert (
        shapely.get_num_coordinates(after).sum() < 0.5 * shapely.get_num_coordinates(before).sum()
    )


def test_a_chord_does_not_jump_over_an_island():
    # A bay 0.9 deep with an island in it: the chord across the bay meets nothing, yet swallows it.
    bay = Polygon([(0, 0), (20, 0), (20, 10), (11, 10), (10, 9.1), (9, 10), (0, 10)])
    island = Point(10, 9.75).buffer(0.2, 8)
    before = polygons(bay, island)
    alone = shapely.simplify(before[:1], 1, preserve_topology=False)[0]
    assert alone.contains(island)  # else this would show nothing
    after = thin_out(before, 1)
    assert_thinned(before, after, 1)
    assert shapely.intersection(*after).area == 0


def test_a_chord_does_not_jump_over_a_hole():
    bump = Polygon(
        [(0, 0), (20, 0), (20, 10), (11, 10), (10, 10.9), (9, 10), (0, 10)],
        [Point(10, 10.25).buffer(0.2, 8).exterior.coords],
    )
    before = polygons(bump)
    after = thin_out(before, 1)
    assert_thinned(before, after, 1)


@pytest.mark.parametrize("tolerance", [0.05, 0.5, 3])
def test_nested_wobbly_rings_stay_nested(tolerance):
    random = np.random.default_rng(11)
    turn = np.linspace(0, 2 * np.pi, 600, endpoint=False)
    ripple = np.convolve(random.standard_normal(640), np.ones(41) / 41, "valid")
    rings = [
        np.column_stack([np.cos(turn), np.sin(turn)]) * (radius + 2 * ripple)[:, None]
        for radius in np.arange(30, 4, -1.5)
    ]
    before = polygons(*(Polygon(a, [b]) for a, b in zip(rings[::2], rings[1::2], strict=True)))
    assert MultiPolygon(list(before)).is_valid
    assert_thinned(before, thin_out(before, tolerance), tolerance)
