"""Teeth: nicks that a bridge leaves between itself and a corner of the drawing, looked for in what
is laid by shrinking and growing it (Shapely)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from sheetstack.geometry.planar.strips import straight_strips
from sheetstack.geometry.support.bridges import hold_islands
from sheetstack.geometry.support.constraints import Loads, Rules
from sheetstack.geometry.support.laying import Strip, sides_of
from sheetstack.geometry.support.statics import Stiffness
from sheetstack.geometry.support.teeth import Teeth

from ..random_sheets import random_shape, sheet_of
from ..small_builds import ink_built

FILM = Loads(Stiffness(4500, 0.35), 0.35 * 1.39e-3, 0.02, 5.0, 50.0)

#: A frame with an island in it, and a stem that stands on its lower edge.
ISLAND = shapely.box(40, 45, 60, 60)
OPENING = shapely.box(20, 20, 80, 80) - ISLAND
WIDTH = 2.0


def narrowest_lost(shape, width):
    """Return what of a shape is narrower than a width; square corners are not."""
    shrunk = shape.buffer(-width / 2, join_style="mitre")
    grown = shrunk.buffer(width / 2 + 1e-3, join_style="mitre")
    return shape.difference(grown).area


def layer_with_bridge(shape, x):
    line = f'[[bridge]]\nlayer = "Ink"\nline_mm = [[{x}, 48], [{x}, 17]]'
    (layer,) = ink_built(shape, (100, 100), "", line).layers
    return layer


@pytest.mark.parametrize("beside", [0.05, 0.15, 0.3])
def test_no_nick_stays_beside_a_stem(beside):
    stem = shapely.box(50, 15, 62, 26)
    layer = layer_with_bridge(OPENING - stem, 50 - beside - WIDTH / 2)
    assert narrowest_lost(layer.sheet.openings, 0.4) < 0.01
    # The stem's own edges are where they were, and nothing else is filled.
    by_hand = next(b for b in layer.bridges if b.state == "locked")
    assert by_hand.shape.intersection(OPENING).area < WIDTH * 1.02 * 25 + 0.3 * 6 + 0.5


def test_a_gap_that_can_be_cut_stays():
    stem = shapely.box(50, 15, 62, 26)
    layer = layer_with_bridge(OPENING - stem, 50 - 1.0 - WIDTH / 2)
    assert layer.sheet.openings.covers(shapely.box(49.2, 20.5, 49.8, 44))


def test_a_hairline_is_no_tooth():
    """A bridge across a line drawn narrower than a tooth fills no more of it than its width."""
    line = shapely.box(45, 20, 55, 45).boundary.buffer(0.15, join_style="mitre")
    by_hand = '[[bridge]]\nlayer = "Ink"\nline_mm = [[50, 16], [50, 24]]'
    (layer,) = ink_built(line, (100, 100), "", by_hand).layers
    shape = next(b for b in layer.bridges if b.state == "locked").shape
    assert shape.intersection(line).area == pytest.approx(0.3 * WIDTH * 1.012, rel=0.02)


@pytest.mark.parametrize("curved", [False, True])
@pytest.mark.parametrize("seed", [0, 1, 2, 3, 5, 8])
def test_strips_that_are_seen_to_leave_no_teeth_leave_none(seed, curved):
    """Asked of all strips, none of those that are passed over gets more than a hair."""
    sheet = sheet_of(random_shape(seed))
    held = hold_islands(sheet, 1.5, rules=Rules(1.5, loads=FILM, curved=curved))
    strips = [Strip("bridge", b.path, b.width, b.gap) for b in held.bridges if b.kind == "bridge"]
    shapes = straight_strips([s.path for s in strips], np.array([s.width for s in strips]))
    teeth = Teeth(sheet.openings, 1.5)
    quick = teeth.filled(shapes, sides_of(strips))
    slow = teeth.filled(shapes, replace(sides_of(strips), one_gap=np.zeros(len(strips), bool)))
    missed = shapely.difference(slow, quick)
    assert shapely.is_empty(shapely.buffer(missed, -0.005)).all()
