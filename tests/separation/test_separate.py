"""Layers of a drawing in flat colours: they paint what is seen, in the order that costs least."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
import shapely

from sheetstack.geometry.colour import ciede2000, lab_from_srgb, srgb_from_hex
from sheetstack.geometry.errors import ArtworkError, JobError
from sheetstack.geometry.separation import order as spray_order
from sheetstack.geometry.separation.cans import gather
from sheetstack.geometry.separation.extents import Sheets
from sheetstack.geometry.separation.order import best_plan, planned, put_in
from sheetstack.geometry.separation.report import order_sentence
from sheetstack.geometry.separation.separate import read_and_separate
from sheetstack.geometry.separation.settings import SeparationSettings
from tests.separation.drawings import BOAT, VEILED, written


@pytest.fixture(scope="module")
def boat(tmp_path_factory):
    path = written(tmp_path_factory.mktemp("boat"), "boat.svg", BOAT)
    return read_and_separate(path, SeparationSettings(sheet_width_mm=340))


def _painted(separation, x, y):
    """The colour at a place once all layers are sprayed, one over the other."""
    colour = separation.ground
    for layer in separation.layers:
        if shapely.intersects_xy(layer.shape, x, y):
            colour = layer.colour
    return srgb_from_hex(colour)


@pytest.mark.parametrize("text", [BOAT, VEILED])
def test_the_layers_paint_what_is_seen(tmp_path, text):
    path = written(tmp_path, "drawing.svg", text)
    separation = read_and_separate(path, SeparationSettings(sheet_width_mm=340, layers=40))
    wall = srgb_from_hex(separation.ground)
    for cell, colour in zip(separation.seen.cells.cells, separation.seen.over(wall), strict=True):
        inner = shapely.maximum_inscribed_circle(cell, 0.1)
        if inner.length < 1.0:
            continue
        painted = _painted(separation, *inner.coords[0])
        assert ciede2000(lab_from_srgb(painted[None]), lab_from_srgb(colour[None]))[0] < 2.5


def test_the_wall_is_the_drawings_own_backdrop_and_is_not_sprayed(boat):
    assert boat.ground == "#bfe3f2"
    assert all(layer.colour != "#bfe3f2" for layer in boat.layers)
    assert boat.sheet == (340.0, 265.0)  # 300 mm wide within margins of 20, in its shape


def test_lower_layers_run_under_later_ones_by_the_trap(boat):
    for number, layer in enumerate(boat.layers[:-1]):
        later = shapely.union_all([other.seen for other in boat.layers[number + 1 :]])
        # Nothing is sprayed where neither the layer nor a later one shows.
        bare = layer.shape.difference(shapely.union(layer.seen, later))
        assert bare.area < 0.5
        meets = shapely.intersection(layer.seen.boundary, later.buffer(1e-3))
        if meets.length > 20:
            assert layer.shape.difference(layer.seen).area > 0.3 * meets.length


def test_no_order_costs_less_than_the_one_chosen(boat):
    sheets = Sheets(
        boat.regions,
        boat.regions.label.tolist(),
        2.0,
        1.0,
        {k: float(k) for k in range(len(boat.palette.cans))},
    )
    plan, exact = best_plan(sheets, sheets.layers)
    assert exact
    costs = [planned(sheets, order).cost for order in permutations(sheets.layers)]
    assert plan.cost == pytest.approx(min(costs))
    assert max(costs) > min(costs) + 1


def test_one_layer_of_many_regions_has_one_order_and_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(spray_order, "_MOST_EXACT_REGIONS", 1)
    dots = "".join(f'<circle cx="{9 * k}" cy="9" r="4" fill="#203040"/>' for k in range(1, 9))
    text = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 90 20">{dots}</svg>'
    path = written(tmp_path, "dots.svg", text)
    found = read_and_separate(path, SeparationSettings(sheet_width_mm=340))
    assert len(found.layers) == 1
    assert found.exact
    assert "(no order costs less)" in order_sentence(found)


def test_a_layer_is_put_in_where_it_costs_least(boat):
    sheets, order = boat.sheets, boat.plan.order
    for layer in order:
        rest = tuple(k for k in order if k != layer)
        tries = [planned(sheets, (*rest[:k], layer, *rest[k:])) for k in range(len(order))]
        assert put_in(sheets, rest, layer).cost == min(plan.cost for plan in tries)


def test_a_colour_that_returns_gets_a_second_sheet_where_islands_cost_more(tmp_path):
    # A dark ring with a light disc and a dark spot in it: in one pass one of both is an island.
    text = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">'
        '<circle cx="50" cy="50" r="45" fill="#222222"/>'
        '<circle cx="50" cy="50" r="30" fill="#ddcc22"/>'
        '<circle cx="50" cy="50" r="14" fill="#222222"/></svg>'
    )
    path = written(tmp_path, "eye.svg", text)
    found = read_and_separate(path, SeparationSettings(sheet_width_mm=540))
    assert [layer.colour for layer in found.layers] == ["#222222", "#ddcc22", "#222222"]
    assert found.plan.islands == 0
    # One sheet less, with bridges: told as another order's cost would be.
    sheets = Sheets(found.regions, found.regions.label.tolist(), 2.0, 1.0, {0: 13.0, 1: 80.0})
    one, _ = best_plan(sheets, [0, 1])
    assert one.islands >= 1
    assert one.cost > found.plan.cost


def test_colours_are_gathered_to_as_many_cans_as_asked_for():
    rng = np.random.default_rng(5)
    base = np.array([[0.8, 0.1, 0.1], [0.1, 0.5, 0.2], [0.1, 0.2, 0.7]])
    colours = np.clip(np.repeat(base, 30, axis=0) + rng.normal(0, 0.02, (90, 3)), 0, 1)
    areas = rng.uniform(1, 5, 90)
    palette = gather(colours, areas, "#ffffff", 3)
    assert len(palette.cans) == 3
    # Each group is one can, and each can is a colour of the drawing.
    assert [len(set(palette.can_of[k : k + 30].tolist())) for k in (0, 30, 60)] == [1, 1, 1]
    codes = {tuple(c) for c in np.rint(colours * 255).astype(int).tolist()}
    assert all(tuple(np.rint(srgb_from_hex(c) * 255).astype(int)) in codes for c in palette.cans)


def test_own_cans_are_used_and_what_is_like_the_wall_stays_bare():
    colours = np.array([[0.9, 0.1, 0.1], [0.99, 0.99, 0.99], [0.1, 0.1, 0.6]])
    palette = gather(colours, np.ones(3), "#ffffff", 5, ("#cc2222", "#00ff00", "#222288"))
    assert palette.cans == ("#cc2222", "#222288")
    assert palette.can_of.tolist() == [0, -1, 1]


def test_errors_are_told_in_a_sentence(tmp_path):
    empty = written(
        tmp_path, "empty.svg", '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"/>'
    )
    with pytest.raises(ArtworkError, match="nothing is seen"):
        read_and_separate(empty, SeparationSettings())
    white = written(
        tmp_path,
        "white.svg",
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">'
        '<rect width="5" height="5" fill="#fff"/></svg>',
    )
    with pytest.raises(ArtworkError, match="colour of the wall"):
        read_and_separate(white, SeparationSettings())
    with pytest.raises(JobError, match="margin_mm"):
        read_and_separate(white, SeparationSettings(sheet_width_mm=30, ground="#000000"))
