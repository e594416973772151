"""What is on the wall after each pass."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Point, box

from sheetstack.geometry.colour import linear_from_srgb, srgb_from_hex, srgb_from_linear
from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.paint.wall import (
    Can,
    colour_areas,
    composite_colours,
    final_colours,
    painted_passes,
    painted_pixels,
)
from sheetstack.geometry.planar.arrangement import partition
from sheetstack.geometry.planar.snapping import FINEST

from ..demo_builds import DEMOS, demo, demo_wall


def test_opaque_paint_shows_the_last_layer_only():
    covered = np.array([[True, True, True], [True, True, False], [False, False, False]])
    paints = [Can("#102030"), Can("#aa0011"), Can("#00ff7f")]
    seen = composite_colours(covered, paints, "#ffffff")[-1]
    assert (seen == np.array([srgb_from_hex(c) for c in ("#00ff7f", "#aa0011", "#ffffff")])).all()
    other = composite_colours(covered, paints, "#ffffff", order=(2, 1, 0))[-1]
    assert (other[:2] == srgb_from_hex("#102030")).all()


def test_colours_are_those_of_each_place_worked_out_by_itself():
    # W3C Compositing and Blending Level 1, 5.1: co = cs as + cb (1 - as).
    rng = np.random.default_rng(3)
    covered = rng.random((200, 12)) < 0.2
    cans = [Can(f"#{rng.integers(1 << 24):06x}", opacity) for opacity in rng.random(12)]
    for order in (None, rng.permutation(12).tolist()):
        passes = composite_colours(covered, cans, "#456789", order)
        for place, inside in enumerate(covered):
            colour = np.array(srgb_from_hex("#456789"))
            for number, layer in enumerate(range(12) if order is None else order, 1):
                if inside[layer]:
                    share = cans[layer].opacity
                    paint = np.array(srgb_from_hex(cans[layer].colour))
                    colour = paint * share + colour * (1 - share)
                assert passes[number, place] == pytest.approx(colour)
        assert (final_colours(covered, cans, "#456789", order) == passes[-1]).all()


def test_after_each_pass_only_that_layer_has_changed():
    covered = np.eye(3, dtype=bool)
    seen = composite_colours(covered, [Can("#000000")] * 3, "#ffffff", order=(1, 0, 2))
    changed = (seen[1:] != seen[:-1]).any(axis=2)
    assert changed.tolist() == [[False, True, False], [True, False, False], [False, False, True]]


@pytest.mark.parametrize("order", [(0, 0, 1), (0,), (0, 1, 3)])
def test_an_order_that_leaves_a_layer_out_is_refused(order):
    with pytest.raises(GeometryError, match="position once"):
        composite_colours(np.zeros((1, 3), bool), [Can("#000000")] * 3, "#ffffff", order)


@pytest.mark.parametrize("name", DEMOS)
def test_colours_of_a_demo_fill_the_sheet_after_every_pass(name):
    wall = demo_wall(name)
    assert wall.cells.areas.sum() == pytest.approx(wall.cells.frame.area, rel=1e-12)
    for colours in wall.passes():
        areas = colour_areas(wall.cells, colours)
        assert sum(a.area_mm2 for a in areas) == pytest.approx(wall.cells.frame.area, rel=1e-9)
        for area in areas:
            assert area.shape.area == pytest.approx(area.area_mm2, rel=1e-9)


@pytest.mark.parametrize("name", DEMOS)
def test_bridges_are_all_that_a_demo_lacks(name):
    wall = demo_wall(name)
    differs = (np.abs(wall.passes()[-1] - wall.picture_wanted()) > 1e-9).any(axis=1)
    bridged = (wall.wanted & ~wall.sprayed).any(axis=1)
    assert differs.any()
    # Sheets lie on a grid, artwork does not: beside bridges, slivers no wider than that differ.
    slivers = wall.cells.cells[differs & ~bridged]
    # Islands let go are painted over.
    gone = shapely.union_all([g.shape for layer in demo(name).layers for g in layer.let_go])
    slivers = slivers[~shapely.covers(gone.buffer(1e-3), slivers)]
    assert (shapely.area(slivers) <= FINEST * shapely.length(slivers)).all()


def test_paints_that_abut_let_no_ground_shine_through():
    """Layer after layer, a half-covered pixel would keep a quarter of the ground's white."""
    parts = partition([box(0, 0, 1.5, 2), box(1.5, 0, 3, 2)], box(0, 0, 3, 2))
    colours = composite_colours(parts.inside, [Can("#ff0000"), Can("#0000ff")], "#ffffff")[-1]
    pixels = painted_pixels(colour_areas(parts, colours), (3, 2), 1)
    assert pixels[0, 0].tolist() == [255, 0, 0]
    half = round(255 * float(srgb_from_linear(0.5)))
    assert pixels[0, 1].tolist() == [half, 0, half]


def test_the_picture_has_the_light_of_its_areas():
    parts = partition([Point(5, 4).buffer(3), box(2, 2, 9, 5)], box(0, 0, 10, 8))
    paints = [Can("#c03020"), Can("#2040c0", 0.5)]
    areas = colour_areas(parts, composite_colours(parts.inside, paints, "#e0d0c0")[-1])
    pixels = painted_pixels(areas, (10, 8), 40)
    mean = linear_from_srgb(pixels / 255).mean(axis=(0, 1))
    wanted = sum(a.area_mm2 * linear_from_srgb(srgb_from_hex(a.colour)) for a in areas) / 80
    assert mean == pytest.approx(wanted, abs=2e-3)  # bytes are rounded


def test_each_pass_is_drawn_as_if_it_were_alone():
    shapes = [Point(5, 4).buffer(3), box(2, 2, 9, 5), box(0, 0, 4, 8)]
    parts = partition(shapes, box(0, 0, 10, 8))
    paints = [Can("#c03020"), Can("#2040c0", 0.5), Can("#c03020")]
    passes = composite_colours(parts.inside, paints, "#e0d0c0")
    drawn = list(painted_passes(parts, passes, (10, 8), 7.3))
    assert len(drawn) == 4
    for pixels, colours in zip(drawn, passes, strict=True):
        alone = painted_pixels(colour_areas(parts, colours), (10, 8), 7.3)
        # A sum in another order may round a byte the other way.
        assert np.abs(pixels.astype(int) - alone).max() <= 1
        assert (pixels != alone).mean() < 1e-3
