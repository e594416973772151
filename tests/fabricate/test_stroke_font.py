"""Stroke letters: every letter stands in its box, none looks like another."""

import itertools
import string

import numpy as np
import pytest

from sheetstack.geometry.fabricate.stroke_font import letter_lines, letter_shapes, text_width

LETTERS = string.ascii_uppercase + string.digits + "-+.,:/()'&=?"


@pytest.mark.parametrize("letter", LETTERS)
def test_each_letter_is_drawn_within_its_box(letter):
    lines = np.concatenate(letter_lines(letter, 6.0))
    assert len(lines) >= 2
    assert lines.min() >= 0
    assert (lines.max(axis=0) <= (4, 6)).all()


def test_no_two_letters_look_alike():
    drawn = {c: letter_shapes(letter_lines(c, 6.0), 0.6) for c in LETTERS}
    for one, other in itertools.combinations(LETTERS, 2):
        a, b = drawn[one], drawn[other]
        assert a.symmetric_difference(b).area > 0.1 * a.union(b).area, one + other


def test_small_and_accented_letters_are_capitals_and_unknown_ones_a_box():
    def same(a, b):
        return all(
            np.array_equal(x, y)
            for x, y in zip(letter_lines(a, 5.0), letter_lines(b, 5.0), strict=True)
        )

    assert same("mid-tone é", "MID-TONE E")
    assert same("\u4e2d", "\u25a1")


@pytest.mark.parametrize("degrees", [0.0, 90.0, 180.0])
def test_text_has_its_height_and_width_and_turns_about_its_corner(degrees):
    text, height = "HELD", 4.0
    points = np.concatenate(letter_lines(text, height, (3.0, 2.0), degrees)) - (3.0, 2.0)
    back = np.deg2rad(-degrees)
    turn = np.array([[np.cos(back), np.sin(back)], [-np.sin(back), np.cos(back)]])
    points = points @ turn
    assert points.min(axis=0) == pytest.approx([0, 0], abs=1e-9)
    assert points.max(axis=0) == pytest.approx([text_width(text, height), height])


def test_shapes_have_the_pens_width():
    shape = letter_shapes(letter_lines("I", 6.0), 0.5)
    # Three strokes of 2, 6 and 2 mm drawn 0.5 wide with round ends, overlaps once.
    ends = np.pi * 0.25**2
    assert shape.area == pytest.approx(0.5 * 10 + 2 * ends - 2 * 0.5 * 0.25, rel=0.02)
