"""Spray orders compared and advised."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from shapely import box

from sheetstack.geometry.colour import ciede2000, lab_from_srgb, srgb_from_hex
from sheetstack.geometry.paint.spray_order import _with_a_pair_turned, compare_orders
from sheetstack.geometry.paint.wall import Can, Wall
from sheetstack.geometry.planar.arrangement import partition
from sheetstack.geometry.report.order_picture import order_picture

from ..demo_builds import demo, demo_wall


def wall(shapes, colours, frame=box(0, 0, 40, 20), ground="#ffffff"):  # noqa: B008 - immutable
    paints = tuple(Can(c) for c in colours)
    names = tuple(f"{k + 1}" for k in range(len(paints)))
    return Wall(partition([*shapes, *shapes], frame), paints, ground, names)


def test_layers_apart_may_be_sprayed_in_any_order():
    advice = compare_orders(wall([box(0, 0, 9, 9), box(10, 0, 19, 9)], ["#ff0000", "#0000ff"]))
    assert len(advice.orders) == 1
    assert advice.best.equal == 2
    assert "any order" in advice.reasons[0]


def test_the_difference_is_that_of_the_two_colours_over_their_overlap():
    """Two squares of 100 mm2 that share 50: swapped, a third of the picture changes colour."""
    squares = [box(0, 0, 10, 10), box(5, 0, 15, 10)]
    advice = compare_orders(wall(squares, ["#ff0000", "#0000ff"]))
    assert advice.best.order == (0, 1)
    assert advice.best.mean_difference == 0
    lab = lab_from_srgb(np.array([srgb_from_hex("#ff0000"), srgb_from_hex("#0000ff")]))
    swapped = advice.orders[1]
    assert swapped.worst_difference == pytest.approx(float(ciede2000(*lab)))
    assert swapped.mean_difference == pytest.approx(float(ciede2000(*lab)) / 3)
    assert swapped.changed_share == pytest.approx(1 / 3)


def test_light_over_dark_is_counted_with_its_area():
    squares = [box(0, 0, 10, 10), box(5, 0, 15, 10)]
    advice = compare_orders(wall(squares, ["#000000", "#ffff00"]))
    (covering,) = advice.given.coverings
    assert (covering.upper, covering.lower) == (1, 0)
    assert covering.area_mm2 == pytest.approx(50)
    assert covering.lightness_step == pytest.approx(97.14, abs=0.01)  # L* of sRGB yellow
    assert "second thin coat" in " ".join(advice.reasons)


def test_of_equal_pictures_the_one_with_fewer_light_over_dark_is_advised():
    """A dark layer under a light one of the same outline paints the same as none: swap nothing.

    The light square lies wholly below a third layer, so that its order with the dark is unseen.
    """
    shapes = [box(0, 0, 10, 10), box(0, 0, 10, 10), box(0, 0, 12, 12)]
    advice = compare_orders(wall(shapes, ["#101010", "#f0f0f0", "#f8f8f8"]))
    assert advice.given.order == (0, 1, 2)
    assert advice.best.order == (1, 0, 2)
    assert advice.best.mean_difference == advice.given.mean_difference == 0
    assert len(advice.best.coverings) == 1 < len(advice.given.coverings)
    assert "rather than" in advice.reasons[0]


def test_eight_layers_are_compared_without_trying_all_orders():
    shapes = [box(i, 0, i + 5, 5) for i in range(8)]
    colours = [f"#{k:02x}{255 - k:02x}40" for k in range(0, 240, 30)]
    advice = compare_orders(wall(shapes, colours))
    assert advice.best.order == tuple(range(8))
    assert 8 <= sum(o.equal for o in advice.orders) < 40320


@pytest.mark.parametrize("seed", range(6))
def test_turning_one_pair_finds_all_orders_that_differ_in_one_pair(seed):
    """Against all permutations of five layers."""
    rng = np.random.default_rng(seed)
    over = rng.random((5, 5)) < 0.5
    over |= over.T
    pairs = [(i, j) for i in range(5) for j in range(i) if over[i, j]]

    def above(order):
        return tuple(order.index(i) > order.index(j) for i, j in pairs)

    order = tuple(rng.permutation(5).tolist())
    own = above(order)
    one_turned = {
        other
        for other in map(above, permutations(range(5)))
        if sum(a != b for a, b in zip(own, other, strict=True)) == 1
    }
    found = [above(turned) for turned in _with_a_pair_turned(order, over)]
    assert len(found) == len(set(found))
    assert set(found) == one_turned


def test_layers_that_lie_apart_have_one_order_however_many_they_are():
    shapes = [
        box(6 * (i % 10), 6 * (i // 10), 6 * (i % 10) + 5, 6 * (i // 10) + 5) for i in range(60)
    ]
    colours = [f"#40{4 * k:02x}80" for k in range(60)]
    advice = compare_orders(wall(shapes, colours, box(0, 0, 80, 80)))
    assert len(advice.orders) == 1
    assert advice.best is advice.given


def test_the_portraits_own_order_is_advised():
    advice = compare_orders(demo_wall("portrait"))
    assert advice.best is advice.given
    assert len(advice.orders) == 6
    assert advice.orders[1].mean_difference > 5 * advice.best.mean_difference
    assert "Highlight lies over the darker Shadow" in " ".join(advice.reasons)


def test_orders_are_drawn_side_by_side():
    wall = demo_wall("portrait")
    advice = compare_orders(wall)
    picture = np.asarray(order_picture(wall, advice, pixels=900))
    sheet = demo("portrait").job.sheet
    wide = (900 - 7 * 11) // 6
    high = round(sheet.height_mm / sheet.width_mm * wide)
    missed = (np.abs(picture.astype(int) - (0xD8, 0x1B, 0x7A)) < 40).all(axis=2)
    maps = [missed[high:, 11 + k * (wide + 11) :][:, :wide].sum() for k in range(6)]
    assert maps[0] < min(maps[1:]) / 3


def test_an_advice_that_gains_in_colour_only_does_not_speak_of_lighter_over_darker():
    """Drawn order and wanted order differ, in colours that are equally light."""
    squares = [box(0, 0, 10, 10), box(5, 0, 15, 10)]
    drawn = partition([*squares, squares[0], box(10, 0, 15, 10)], box(0, 0, 40, 20))
    cans = (Can("#c06060"), Can("#608f60"))
    advice = compare_orders(Wall(drawn, cans, "#ffffff", ("A", "B")))
    assert advice.best.order == (1, 0)
    assert len(advice.best.coverings) == len(advice.given.coverings) == 0
    assert "instead of" in advice.reasons[0]
    assert "fewer" not in advice.reasons[0]
