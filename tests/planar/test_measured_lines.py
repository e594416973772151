import numpy as np
import shapely
from shapely.ops import substring

from sheetstack.geometry.planar.measured_lines import MeasuredLines


def lines(count=300):
    rng = np.random.default_rng(4)
    ways = [rng.uniform(0, 500, (int(rng.integers(2, 40)), 2)) for _ in range(count)]
    ways[7] = ways[7][[0, 0]]  # of no length
    return ways, np.array([shapely.LineString(way) for way in ways])


def test_points_along_many_lines_are_those_of_geos():
    ways, drawn = lines()
    share = np.append(np.random.default_rng(5).uniform(0, 1, 9), [0.0, 1.0])
    points = shapely.line_interpolate_point(drawn[:, None], share[None], normalized=True)
    expected = shapely.get_coordinates(points).reshape(300, 11, 2)
    np.testing.assert_allclose(MeasuredLines.of(ways).at_shares(share), expected, atol=1e-6)


def test_beginnings_of_many_lines_are_those_of_geos():
    ways, drawn = lines()
    measured = MeasuredLines.of(ways)
    np.testing.assert_allclose(measured.length, shapely.length(drawn), atol=1e-6)
    asked = np.random.default_rng(6).uniform(0.05, 0.95, 300) * measured.length
    for way, whole, length in zip(measured.up_to(asked), drawn, asked, strict=True):
        if length > 0:
            beginning = substring(whole, 0.0, length)
            np.testing.assert_allclose(way, shapely.get_coordinates(beginning), atol=1e-6)


def test_the_end_of_a_beginning_takes_the_place_of_a_point_beneath_it():
    way = np.array([[0.0, 0.0], [5.0, 0.0], [5.0, 5.0]])
    (to_corner,) = MeasuredLines.of([way]).up_to(np.array([5.0]))
    assert to_corner.tolist() == [[0.0, 0.0], [5.0, 0.0]]


def test_no_lines_have_no_points():
    none = MeasuredLines.of([])
    assert none.up_to(np.empty(0)) == []
    assert none.at_shares(np.array([0.5])).shape == (0, 1, 2)
