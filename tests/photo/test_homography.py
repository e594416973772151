"""Homographies and cameras from marks in a photo, against scikit-image and known cameras."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.photo.homography import homography, mapped, scale_at
from sheetstack.geometry.photo.wall_view import (
    click_error,
    rectangle_corners,
    view_from_lines,
    view_from_rectangle,
)

PIXELS = (4000, 3000)
CORNERS = np.array([(812.0, 640.0), (3105.0, 410.0), (2950.0, 2480.0), (905.0, 2210.0)])


def camera(yaw, pitch, roll, distance, focal=3100.0, pixels=PIXELS):
    """A camera of known place: its homography from the wall's mm to pixels, and its place."""
    y, p, r = np.radians([yaw, pitch, roll])
    turn_y = np.array([[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]])
    turn_x = np.array([[1, 0, 0], [0, np.cos(p), -np.sin(p)], [0, np.sin(p), np.cos(p)]])
    turn_z = np.array([[np.cos(r), -np.sin(r), 0], [np.sin(r), np.cos(r), 0], [0, 0, 1]])
    rotation = turn_z @ turn_x @ turn_y @ np.diag([1.0, -1.0, -1.0])
    shift = np.array([-300.0, 200.0, distance])
    k = np.array([[focal, 0, pixels[0] / 2], [0, focal, pixels[1] / 2], [0, 0, 1]])
    return k @ np.column_stack([rotation[:, :2], shift]), -rotation.T @ shift


def estimated(transform, known, seen):
    """What scikit-image finds, 0.26 and newer or older."""
    kind = transform.ProjectiveTransform
    if hasattr(kind, "from_estimate"):
        return kind.from_estimate(known, seen)
    found = kind()
    assert found.estimate(known, seen)
    return found


def test_four_corners_give_the_map_that_scikit_image_gives():
    transform = pytest.importorskip("skimage.transform")
    known = rectangle_corners(2400, 1800)
    ours = homography(known, CORNERS)
    theirs = estimated(transform, known, CORNERS)
    places = np.random.default_rng(3).uniform(-500, 3000, (200, 2))
    assert np.abs(mapped(ours, places) - theirs(places)).max() < 1e-6


def test_more_points_than_four_are_fitted_as_scikit_image_fits_them():
    transform = pytest.importorskip("skimage.transform")
    rng = np.random.default_rng(5)
    true, _ = camera(25, -8, 2, 5000)
    known = rng.uniform(0, 2000, (40, 2))
    seen = mapped(true, known) + rng.normal(0, 0.5, (40, 2))
    ours = homography(known, seen)
    theirs = estimated(transform, known, seen)
    assert np.abs(mapped(ours, known) - theirs(known)).max() < 0.05
    assert np.abs(mapped(ours, known) - mapped(true, known)).max() < 0.5


def test_local_scale_is_what_a_small_step_becomes():
    true, _ = camera(35, 10, 0, 4000)
    at = np.array([(100.0, 250.0), (900.0, -300.0)])
    for place, (large, small) in zip(at, scale_at(true, at), strict=True):
        turn = np.linspace(0, 2 * np.pi, 720)
        ring = place + 1e-3 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        steps = np.hypot(*(mapped(true, ring) - mapped(true, [place])).T) / 1e-3
        assert steps.max() == pytest.approx(large, rel=1e-4)
        assert steps.min() == pytest.approx(small, rel=1e-3)


@pytest.mark.parametrize(
    "corners",
    [
        [(0, 0), (10, 0), (20, 0), (0, 10)],  # three in line
        [(0, 0), (10, 10), (10, 0), (0, 10)],  # crossed over
        [(0, 10), (10, 10), (10, 0), (0, 0)],  # counter-clockwise as seen
    ],
)
def test_corners_that_are_no_rectangle_of_a_wall_are_refused(corners):
    with pytest.raises(GeometryError, match="corner"):
        view_from_rectangle(corners, (100, 100), PIXELS)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(-50, 50),
    st.floats(-30, 30),
    st.floats(-8, 8),
    st.floats(2500, 9000),
)
def test_a_known_camera_is_found_from_four_corners_and_its_focal_length(yaw, pitch, roll, far):
    true, place = camera(yaw, pitch, roll, far)
    seen = mapped(true, rectangle_corners(800, 600))
    view = view_from_rectangle(seen, (800, 600), PIXELS, 3100.0)
    assert np.abs(view.pixels_at([(2000, -700)]) - mapped(true, [(2000, -700)])).max() < 1e-3
    assert view.camera_error_px < 1e-3
    assert np.linalg.norm(view.camera_mm - place) < 1e-3 * far


@pytest.mark.parametrize("yaw", [-40, -20, 20, 40])
def test_the_focal_length_follows_from_convergence_both_ways(yaw):
    true, place = camera(yaw, 20, 0, 5000)
    view = view_from_rectangle(mapped(true, rectangle_corners(2400, 1800)), (2400, 1800), PIXELS)
    assert view.focal_px == pytest.approx(3100, rel=1e-6)
    assert np.linalg.norm(view.camera_mm - place) < 0.1


def _lines(true):
    level = [mapped(true, [(-800, y), (1500, y)]) for y in (-500.0, 75.0, 900.0)]
    upright = [mapped(true, [(x, -600), (x, 1000)]) for x in (-700.0, 300.0, 1400.0)]
    return np.array(level), np.array(upright), mapped(true, [(0, 0), (1350, 0)])


@pytest.mark.parametrize("told", [3100.0, None])
def test_two_families_of_lines_and_a_length_measure_the_wall(told):
    true, place = camera(28, 14, 3, 5000)
    view = view_from_lines(*_lines(true), 1350.0, PIXELS, told)
    there = mapped(true, [(0, 0), (1000, 0), (1000, 700), (0, 700)])
    sides = np.hypot(*np.diff(view.wall_at(there), axis=0).T)
    assert sides == pytest.approx([1000, 700, 1000], rel=1e-6)
    assert view.focal_px == pytest.approx(3100, rel=1e-6)
    assert view.camera_mm[2] == pytest.approx(place[2], rel=1e-6)


def test_a_second_length_measures_a_cropped_photo():
    true, _ = camera(28, 14, 3, 5000)
    level, upright, length = _lines(true)
    second = mapped(true, [(0, 0), (100, 700)]), np.hypot(100, 700)
    there = mapped(true, [(0, 0), (1000, 0), (1000, 700), (0, 700)])
    # Cropped at the left and above: the lens' axis is far from the middle of what is left.
    off = np.array([600.0, 400.0])
    left = (int(PIXELS[0] - off[0]), int(PIXELS[1] - off[1]))
    marks = level - off, upright - off, length - off, 1350.0, left
    wrong = view_from_lines(*marks, 3100.0)
    view = view_from_lines(*marks, 3100.0, (second[0] - off, second[1]))
    sides = [np.hypot(*np.diff(v.wall_at(there - off), axis=0).T) for v in (wrong, view)]
    assert np.abs(sides[0] / [1000, 700, 1000] - 1).max() > 0.01
    assert sides[1] == pytest.approx([1000, 700, 1000], rel=1e-6)


@pytest.mark.parametrize(
    ("ends", "long", "said"),
    [
        ([(0, 0), (900, 0)], 900.0, "same way"),
        ([(0, 0), (1000, 900)], 300.0, "do not go together"),
    ],
)
def test_lengths_that_cannot_be_are_one_sentence(ends, long, said):
    true, _ = camera(28, 14, 3, 5000)
    with pytest.raises(GeometryError, match=said):
        view_from_lines(*_lines(true), 1350.0, PIXELS, second=(mapped(true, ends), long))


def test_a_photo_taken_squarely_needs_no_focal_length_for_sizes():
    true, _ = camera(0, 0, 0, 5000)
    view = view_from_lines(*_lines(true), 1350.0, PIXELS)
    there = mapped(true, [(0, 0), (1000, 0), (1000, 700)])
    assert np.hypot(*np.diff(view.wall_at(there), axis=0).T) == pytest.approx([1000, 700], rel=1e-6)
    assert any("focal length" in note for note in view.notes)


def test_the_error_told_is_that_of_clicks_drawn_at_random():
    true, _ = camera(25, 10, 0, 5000)
    seen = mapped(true, rectangle_corners(800, 600))
    places = rectangle_corners(2000, 1500)

    def find(clicked):
        return view_from_rectangle(clicked, (800, 600), PIXELS, 3100.0)

    told = click_error(find, seen, places)
    rng = np.random.default_rng(2)
    pixels = find(seen).pixels_at(places)
    off = [
        ((find(seen + rng.normal(0, 1, seen.shape)).wall_at(pixels) - places) ** 2).sum(axis=1)
        for _ in range(400)
    ]
    assert told == pytest.approx(np.sqrt(np.mean(off, axis=0).max()), rel=0.15)


def test_a_rectangle_whose_sides_the_lens_contradicts_is_told():
    true, _ = camera(25, 10, 0, 5000)
    seen = mapped(true, rectangle_corners(2400, 1800))
    good = view_from_rectangle(seen, (2400, 1800), PIXELS, 3100.0)
    bad = view_from_rectangle(seen, (2400, 1500), PIXELS, 3100.0)
    assert good.notes == ()
    assert "120 %" in bad.notes[0]
