import numpy as np
import shapely

from sheetstack.geometry.support.cross_field import CrossField


def field_of(edges, width=2.0, step=0.5):
    """Return the field of lines in the plane, for one bridge."""
    lines = shapely.segmentize(shapely.linestrings(edges), step)
    starts, ends = [], []
    for line in np.atleast_1d(lines):
        points = shapely.get_coordinates(line)
        starts.append(points[:-1])
        ends.append(points[1:])
    start, end = np.concatenate(starts), np.concatenate(ends)
    way = end - start
    angle = np.arctan2(way[:, 1], way[:, 0])
    return CrossField(((start + end) / 2)[None], angle[None], np.hypot(*way.T)[None], width)


def circle(radius, corners=180):
    turn = np.linspace(0, 2 * np.pi, corners + 1)
    return radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def follow(field, start, heading, length, steps=40):
    heading = np.asarray(heading, float) / np.hypot(*heading)
    return field.lines(
        np.array([0]), np.array([start], float), heading[None], np.array([length / steps]), steps
    )[0]


def test_between_two_circles_lines_run_square_to_both():
    rings = [circle(10), circle(20)]
    lines = [shapely.segmentize(shapely.linestrings(r), 0.5) for r in rings]
    points = [shapely.get_coordinates(line) for line in lines]
    start = np.concatenate([p[:-1] for p in points])
    way = np.concatenate([np.diff(p, axis=0) for p in points])
    field = CrossField(
        (start + way / 2)[None],
        np.arctan2(way[:, 1], way[:, 0])[None],
        np.hypot(*way.T)[None],
        2.0,
    )
    # Begun 20 degrees off the square way, it turns into it.
    turn = np.radians(20)
    line = follow(field, (10, 0), (np.cos(turn), np.sin(turn)), 10)
    np.testing.assert_allclose(np.hypot(*line[-1]), 20, atol=0.1)
    assert np.abs(line[:, 1]).max() < 0.1


def test_between_two_curved_edges_lines_run_along_them():
    # A strand along a quarter of a circle, from one end to the other in its middle.
    turn = np.linspace(0, np.pi / 2, 60)
    arc = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    field = field_of(np.array([9 * arc, 13 * arc]))
    line = follow(field, (11, 0), (0, 1), 11 * np.pi / 2)
    np.testing.assert_allclose(np.hypot(*line.T), 11, atol=0.25)


def test_disagreement_is_nothing_along_the_edges_and_most_between_their_ways():
    edges = np.array([[(-30, 0), (30, 0)], [(-30, 8), (30, 8)]], float)
    field = field_of(edges)

    def off(way):
        line = np.linspace(0, 1, 9)[:, None] * np.array(way, float) + [0, 1]
        return float(field.off(np.array([0]), line[None])[0])

    assert off((6, 0)) < 1e-6
    assert off((0, 6)) < 1e-6
    assert off((4, 4)) > 0.9
    assert 0.1 < off((6, 1.5)) < 0.9
