"""Faces moved by a hand: what is pulled goes there, the rest stays or is bent along."""

import numpy as np
import pytest

from sheetstack.geometry.tracing.bend_face import (
    KEY_POINTS,
    face_between,
    key_points,
    with_key_point,
    with_point,
)
from sheetstack.geometry.tracing.faces import MARKS
from tests.drawn_face import marks


@pytest.mark.parametrize("number", range(len(KEY_POINTS)))
def test_a_key_point_goes_where_it_is_pulled_and_the_others_stay(number):
    face = marks()
    before = key_points(face)
    place = before[number] + (6.0, -4.0)
    after = key_points(with_key_point(face, number, place))
    assert np.allclose(after[number], place, atol=0.01)
    others = np.arange(len(before)) != number
    assert np.allclose(after[others], before[others], atol=0.05)


def test_what_lies_beside_a_pulled_point_is_bent_along():
    face = marks()
    number = KEY_POINTS.index(("chin", 2))
    low = with_key_point(face, number, key_points(face)[number] + (0.0, 20.0))
    moved = (low["oval"] - face["oval"])[:, 1]
    assert moved[17:20].min() > 10  # beside the chin
    assert abs(moved[0]) < 10  # at the top of the head


def test_an_iris_moves_as_a_whole_and_takes_no_lid_along():
    face = marks()
    number = KEY_POINTS.index(("left_iris", 0))
    after = with_key_point(face, number, key_points(face)[number] + (3.0, 1.0))
    assert np.allclose(after["left_iris"] - face["left_iris"], (3.0, 1.0))
    assert np.array_equal(after["left_upper_lid"], face["left_upper_lid"])


def test_one_point_moves_alone_but_for_the_corner_that_it_shares():
    face = marks()
    after = with_point(face, "nose_line", 2, face["nose_line"][2] + (5.0, 0.0))
    changed = {n: np.flatnonzero((after[n] != face[n]).any(axis=1)).tolist() for n in MARKS}
    assert {n: rows for n, rows in changed.items() if rows} == {"nose_line": [2]}
    after = with_point(face, "right_upper_lid", 0, np.array([1.0, 2.0]))
    assert after["right_upper_lid"][0].tolist() == [1.0, 2.0]
    if (face["right_lower_lid"][0] == face["right_upper_lid"][0]).all():
        assert after["right_lower_lid"][0].tolist() == [1.0, 2.0]


def test_a_face_between_two_pupils_is_turned_and_scaled_with_them():
    straight = face_between(np.array([0.0, 0.0]), np.array([100.0, 0.0]))
    turned = face_between(np.array([0.0, 0.0]), np.array([0.0, 50.0]))
    for name in MARKS:
        x, y = straight[name].T
        assert np.allclose(turned[name], np.column_stack([-y, x]) / 2, atol=1e-6)
