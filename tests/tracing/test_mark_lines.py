import numpy as np
import pytest

from sheetstack.geometry.tracing.mark_lines import darkest_way


def drawn_line(bow, dark=20.0):
    """A dark line two pixels wide that bows down by so many pixels over 80, on a light ground."""
    tone = np.full((60, 100), 80, np.float32)
    x = np.arange(100)
    middle = 30 + bow * (1 - ((x - 50) / 40) ** 2)
    for column in x[10:91]:
        rows = np.arange(60) + 0.5
        tone[np.abs(rows - middle[column]) < 1, column] = dark
    return tone, middle


@pytest.mark.parametrize("bow", [0, 3, -4])
def test_the_way_follows_a_line_that_the_marks_miss(bow):
    tone, middle = drawn_line(bow)
    way, darker = darkest_way(tone, np.array([[10.0, 30.0], [90.0, 30.0]]), 6.0)
    inner = way[3:-3]
    assert np.abs(inner[:, 1] - np.interp(inner[:, 0] - 0.5, np.arange(100), middle)).max() < 1.2
    assert darker[3:-3].min() > 30


def test_a_gap_in_the_line_is_bridged_by_its_shortest_way():
    tone, _ = drawn_line(3)
    tone[:, 45:55] = 80
    way, darker = darkest_way(tone, np.array([[10.0, 30.0], [90.0, 30.0]]), 6.0)
    assert np.abs(np.diff(way[:, 1])).max() < 1.5
    assert (darker > 30).mean() > 0.7


def test_where_nothing_is_darker_the_way_stays_with_the_marks():
    tone = np.full((60, 100), 80, np.float32)
    way, darker = darkest_way(tone, np.array([[10.0, 30.0], [90.0, 30.0]]), 6.0)
    assert np.allclose(way[:, 1], 30.0)
    assert np.allclose(darker, 0.0)
