import numpy as np
import pytest
from skimage.color import lab2rgb

from sheetstack.geometry.colour import lab_from_srgb, srgb_from_hex, srgb_from_lab
from sheetstack.geometry.tracing.palette import layer_colours, spread_lightness

BROWNS = np.array([srgb_from_hex(c) for c in ("#5c3a21", "#8b6541", "#a5815d", "#c9a48c")])


def hue(lab):
    return np.degrees(np.arctan2(lab[..., 2], lab[..., 1]))


def test_lab_is_turned_back_into_srgb():
    # Reference: skimage.color.lab2rgb (D65, 2 degree eye).
    colours = np.random.default_rng(3).uniform(0, 1, (500, 3))
    lab = lab_from_srgb(colours)
    assert srgb_from_lab(lab) == pytest.approx(colours, abs=1e-9)
    assert srgb_from_lab(lab) == pytest.approx(lab2rgb(lab), abs=2e-3)


def test_muddy_colours_are_spread_and_keep_order_and_hue():
    before, after = lab_from_srgb(BROWNS), lab_from_srgb(spread_lightness(BROWNS, 1.0))
    assert (np.diff(after[:, 0]) > 1.3 * np.diff(before[:, 0])).all()
    assert after[0, 0] >= 12 - 0.1
    assert after[-1, 0] <= 94 + 0.1
    # CIELAB hue is kept where chroma is left for it.
    assert hue(after) == pytest.approx(hue(before), abs=1.0)
    half = lab_from_srgb(spread_lightness(BROWNS, 0.5))[:, 0]
    assert half == pytest.approx((before[:, 0] + after[:, 0]) / 2, abs=1e-3)


def test_no_spread_changes_nothing():
    assert (spread_lightness(BROWNS, 0.0) == BROWNS).all()


def test_colours_of_one_lightness_are_not_torn_apart():
    near = BROWNS[1] + np.array([[0, 0, 0], [0.01, 0, 0], [0, 0.01, 0]])
    assert (spread_lightness(near, 1.0) == near).all()


def test_what_covers_most_moves_least():
    areas = [1, 1, 97, 1]
    moved = lab_from_srgb(spread_lightness(BROWNS, 1.0, areas))[:, 0] - lab_from_srgb(BROWNS)[:, 0]
    assert abs(moved[2]) < 1
    assert min(abs(moved[0]), abs(moved[3])) > 5


def test_black_and_white_stay():
    ends = np.array([[0.0, 0, 0], [1, 1, 1]])
    assert spread_lightness(ends, 1.0) == pytest.approx(ends, abs=1e-9)


def painted():
    srgb = np.zeros((10, 30, 3), np.float32)
    shown = np.repeat(np.repeat([[0, 1, 2]], 10, axis=1), 10, axis=0)
    srgb[:] = np.float32(BROWNS)[[2, 0, 3]][shown]
    return srgb, shown


def test_a_given_wall_is_kept():
    wall, _ = layer_colours(*painted(), ["shadow", "highlight"], "#123456", (), 1.0)
    assert wall == "#123456"


def test_the_wall_s_own_can_is_left_on_the_shelf_while_there_are_others():
    srgb, shown = painted()
    cans = ("#C9A48C", "#000000", "#ffffff")
    _, layers = layer_colours(srgb, shown, ["shadow", "highlight"], "#c9a48c", cans)
    assert layers == ("#000000", "#ffffff")
    _, layers = layer_colours(srgb, shown, ["shadow", "highlight"], "#c9a48c", cans[:2])
    assert layers == ("#000000", "#c9a48c")
