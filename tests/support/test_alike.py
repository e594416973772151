"""The same bridges in openings of one shape; symmetric bridges in symmetric ones."""

from __future__ import annotations

from pathlib import Path

import matplotlib
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate, scale, translate

from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import ArtworkSource, Text
from sheetstack.geometry.mesh.islands import find_pieces
from sheetstack.geometry.planar.congruence import mirrors
from sheetstack.geometry.support import alike as alike_module
from sheetstack.geometry.support.alike import (
    _ON_AXIS,
    Pattern,
    _alongside,
    _closed,
    _deeper,
    apart,
)

from ..small_builds import ink_built

FONT = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"


def layer_of(shape, size, bridges="", more=""):
    (layer,) = ink_built(shape, size, bridges, more).layers
    assert find_pieces(layer.mesh).islands == ()
    return layer


def bridges_in(layer, opening):
    """Return the middle lines of the bridges of one opening, (n, 2, 2), in a fixed order."""
    ways = [
        b.path[1:3]
        for b in layer.bridges
        if b.kind == "bridge" and opening.covers(shapely.Point(b.path[1:3].mean(axis=0)))
    ]
    return in_order(np.array(ways).reshape(-1, 2, 2))


def in_order(ways):
    """Return ways with their lower end first, from the lowest on."""
    ways = np.array([way if tuple(way[0]) <= tuple(way[1]) else way[::-1] for way in ways])
    return ways[np.lexsort(np.round(ways.reshape(-1, 4).T, 6))] if len(ways) else ways


@pytest.mark.parametrize("direction", ["any", "vertical", "horizontal"])
def test_equal_letters_get_equal_bridges(direction):
    pytest.importorskip("uharfbuzz")
    line = "ABBA@PAPA&BOB&8"
    text = Text((line,), 45.0, tracking_mm=3.0, at_mm=(20.0, 30.0))
    shape = read_artwork(ArtworkSource(FONT, text=text)).shape
    layer = layer_of(shape, (900, 110), f'direction = "{direction}"')
    letters = sorted(layer.plain_sheet.openings.geoms, key=lambda part: part.bounds[0])
    assert len(letters) == len(line)
    first: dict[str, tuple] = {}
    for letter, opening in zip(line, letters, strict=True):
        mine = bridges_in(layer, opening) - np.array(opening.bounds[:2])
        assert len(mine)
        if letter in first:
            assert np.abs(mine - first[letter]).max() < 1e-6
        first.setdefault(letter, mine)


def test_symmetric_letters_are_bridged_symmetrically():
    pytest.importorskip("uharfbuzz")
    line = "AOA80Ao"
    text = Text((line,), 45.0, tracking_mm=3.0, at_mm=(20.0, 30.0))
    shape = read_artwork(ArtworkSource(FONT, text=text)).shape
    level = 'direction = "horizontal"\nhandling_load_n = 0'  # one bridge would do
    for keys in ('direction = "vertical"', level, "alike_percent = 100"):
        layer = layer_of(shape, (500, 110), keys)
        for opening in layer.plain_sheet.openings.geoms:
            mine = bridges_in(layer, opening)
            middle = (opening.bounds[0] + opening.bounds[2]) / 2
            image = in_order(mine * [-1, 1] + [2 * middle, 0])
            assert len(mine)
            assert np.abs(mine - image).max() < 1e-6


#: An opening with an island, like no mirror image of itself.
HOOK = shapely.Polygon(
    [(0, 0), (70, 0), (70, 30), (40, 30), (40, 60), (0, 60)],
    [[(12, 12), (30, 10), (28, 45), (14, 40)]],
)
ROW = [translate(HOOK, 20 + 90 * k, 20) for k in range(4)]


def relative(layer, k):
    return bridges_in(layer, ROW[k]) - [20 + 90 * k, 20]


def test_an_opening_with_a_reason_differs_and_the_others_do_not():
    usual = layer_of(shapely.union_all(ROW), (400, 100))
    here = bridges_in(usual, ROW[1])[0].mean(axis=0)
    free = f"[[area]]\nbox_mm = [{here[0] - 4}, {here[1] - 4}, 8, 8]\nkeep_free = true"
    layer = layer_of(shapely.union_all(ROW), (400, 100), "", free)
    for k in (2, 3):
        assert np.abs(relative(layer, k) - relative(layer, 0)).max() < 1e-6
    mine = relative(layer, 1)
    assert len(mine) != len(relative(layer, 0)) or np.abs(mine - relative(layer, 0)).max() > 1
    assert all(
        not b.shape.intersects(shapely.Point(here).buffer(3))
        for b in layer.bridges
        if ROW[1].covers(shapely.Point(b.place))
    )


def test_an_opening_with_a_bridge_drawn_by_hand_is_left_alone():
    by_hand = '[[bridge]]\nlayer = "Ink"\nline_mm = [[215, 55], [225, 95]]'
    layer = layer_of(shapely.union_all(ROW), (400, 100), "", by_hand)
    assert any(b.state == "locked" for b in layer.bridges)
    for k in (1, 3):
        assert np.abs(relative(layer, k) - relative(layer, 0)).max() < 1e-6


def test_turned_and_mirrored_openings_are_alike_on_request():
    turns = [HOOK, rotate(HOOK, 90), rotate(scale(HOOK, -1, 1), 200), rotate(HOOK, 33)]
    row = [
        translate(s, 60 + 100 * k - s.centroid.x, 60 - s.centroid.y) for k, s in enumerate(turns)
    ]
    # A later layer's cover would be a reason to differ: care on one of them alone is not.
    care = "[[area]]\nbox_mm = [0, 0, 110, 60]\ncare = 4"
    lengths = {}
    for alike in ("shifted", "turned"):
        layer = layer_of(
            shapely.union_all(row), (440, 120), f'alike = "{alike}"\nalike_percent = 200', care
        )
        ways = [bridges_in(layer, opening) for opening in row]
        # What no motion changes: lengths, and distances from the centroid.
        lengths[alike] = [
            np.sort(np.hypot(*(w.mean(axis=1) - opening.centroid.coords[0]).T)).round(3).tolist()
            for w, opening in zip(ways, row, strict=True)
        ]
    assert len({tuple(one) for one in lengths["shifted"]}) > 1
    assert all(np.allclose(one, lengths["turned"][0], atol=0.02) for one in lengths["turned"])


@pytest.mark.parametrize("degrees", [(0.2, 71.3, 164.0), (-0.28, 33.0, -101.9)])
def test_bridges_of_turned_openings_lie_where_the_turn_puts_them(degrees):
    """Where bridges chosen one by one lie near their likes they are moved onto them, too."""
    bowl = shapely.union(shapely.Point(0, 0).buffer(20), shapely.box(0, -20, 13, 9))
    ring = bowl - scale(shapely.Point(1, 2).buffer(10), 1.1, 1.25)
    motions = [(0.0, 1)] + [(turn, -1 if k == 1 else 1) for k, turn in enumerate(degrees)]
    row = [
        translate(rotate(scale(ring, hand, 1, origin=(0, 0)), turn, origin=(0, 0)), 50 + 60 * k, 50)
        for k, (turn, hand) in enumerate(motions)
    ]
    layer = layer_of(shapely.union_all(row), (280, 100), 'alike = "turned"')
    ways = []
    for k, ((turn, hand), opening) in enumerate(zip(motions, row, strict=True)):
        angle = np.radians(-turn)
        back = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        found = (bridges_in(layer, opening) - [50 + 60 * k, 50]) @ back.T * [hand, 1]
        ways.append(in_order(found.round(9)))
    assert len(ways[0])
    # To the rounding of turned corners in a file.
    for other in ways[1:]:
        assert np.abs(other - ways[0]).max() < 1e-5


def test_larger_openings_that_take_more_bridges_are_alike_among_themselves():
    turn = np.arange(9) * 2 * np.pi / 9
    outer, inner = (
        shapely.Polygon(np.stack([r * np.cos(turn), r * np.sin(turn)], axis=1))
        for r in ([24, 18, 19, 19, 19, 24, 24, 22, 18], [8, 9, 10, 11, 10, 9, 8, 12, 12])
    )
    sizes = np.array([0.9, 1.35, 1.0, 1.45, 1.1, 1.5])
    middle = np.stack([60 + 90 * (np.arange(6) % 3), 60 + 90 * (np.arange(6) // 3)], axis=1)
    row = [
        translate(scale(outer - inner, size, size, origin=(0, 0)), *at)
        for size, at in zip(sizes, middle, strict=True)
    ]
    layer = layer_of(shapely.union_all(row), (320, 220), 'alike = "scaled"')
    ways = [
        in_order((bridges_in(layer, opening) - at) / size)
        for opening, at, size in zip(row, middle, sizes, strict=True)
    ]
    assert len({len(way) for way in ways}) > 1
    for one in ways:
        for other in ways:
            assert len(one) != len(other) or np.abs(one - other).max() < 1e-3


def test_being_alike_costs_no_more_than_was_allowed():
    shape = shapely.union_all(ROW)
    care = "[[area]]\nbox_mm = [0, 0, 90, 100]\ncare = 30"
    dearest = layer_of(shape, (400, 100), 'alike = "off"', care).damage
    for percent in (0, 20):
        keys = f"alike_percent = {percent}"
        assert layer_of(shape, (400, 100), keys, care).damage <= dearest * (1 + percent / 100) + 1


@pytest.mark.parametrize("direction", ["any", "vertical", "horizontal"])
def test_bridges_are_exactly_symmetric_where_a_shape_is_so_by_rounding_only(direction):
    """Corners as far off as fonts round them, here 0.02 mm, and every other ring shifted."""
    ring = shapely.Point(30.02, 40).buffer(25) - shapely.affinity.scale(
        shapely.Point(30, 40.01).buffer(12), 0.7, 1.0
    )
    rings = shapely.MultiPolygon([shapely.affinity.translate(ring, 55 * k, 0) for k in range(3)])
    (layer,) = ink_built(rings, (180, 80), f'direction = "{direction}"').layers
    for opening in layer.plain_sheet.openings.geoms:
        ways = np.array(
            [
                b.path[1:3]
                for b in layer.bridges
                if opening.covers(shapely.Point(b.path[1:3].mean(axis=0)))
            ]
        )
        assert len(ways)
        mirrored = [
            np.abs(mirror(ways)[:, None, None] - np.stack([ways, ways[:, ::-1]], 1)[None])
            .max(axis=(-1, -2))
            .min(axis=(1, 2))
            .max()
            for mirror in mirrors(opening)
        ]
        assert min(mirrored) < 1e-6


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_a_pattern_is_closed_as_by_holding_each_bridge_against_every_other(seed):
    rng = np.random.default_rng(seed)
    group = mirrors(shapely.box(0, 0, 40, 30))
    paths = rng.uniform(0, 30, (rng.integers(1, 12), 4, 2))
    # Some nearly on an axis, some nearly the image of another one, some twice.
    images = group[0](paths[:3]) + rng.uniform(-0.08, 0.08, (len(paths[:3]), 1, 2))
    again = paths[:2, ::-1] + rng.uniform(-0.06, 0.06, (len(paths[:2]), 1, 2))
    across = np.array([[[15, 10.0], [16, 10], [24, 10], [25, 10]]]) + rng.uniform(-0.1, 0.1)
    paths = np.concatenate([paths, images, again, across])
    pattern = Pattern(paths, rng.uniform(1, 2, len(paths)))
    found, wanted = _closed(pattern, group), closed_slowly(pattern, group)
    assert np.array_equal(found.paths, wanted.paths)
    assert np.array_equal(found.width, wanted.width)


def closed_slowly(pattern, group):
    """Close a pattern, each bridge held against every other."""
    paths, width = list(pattern.paths), pattern.width.tolist()
    at = 0
    while at < len(paths):
        for mirror in group:
            image = mirror(paths[at])
            far = apart(image, np.array(paths))
            nearest = int(np.argmin(far))
            if far[nearest] > _ON_AXIS:
                paths.append(_deeper(image))
                width.append(width[at])
            elif nearest == at:
                paths[at] = (paths[at] + _alongside(image, paths[at])) / 2
            elif nearest > at:
                paths[nearest] = _deeper(image)
        at += 1
    kept = []
    for number, path in enumerate(paths):
        if (apart(path, np.array(paths)[kept]) > _ON_AXIS).all():
            kept.append(number)
    return Pattern(np.array(paths)[kept], np.array(width)[kept])


def test_of_very_many_bridges_in_one_opening_few_patterns_are_made_symmetric(monkeypatch):
    at = np.arange(10.0, 251.0, 30.0)
    upright, level = (
        shapely.box(at - 0.5, 9, at + 0.5, 251),
        shapely.box(9, at - 0.5, 251, at + 0.5),
    )
    hatch = shapely.union_all([*upright, *level])
    made = []

    def noted(pattern, group):
        made.append(len(pattern.paths))
        return _closed(pattern, group)

    monkeypatch.setattr(alike_module, "_closed", noted)
    layer_of(hatch, (260, 260))
    # Each of two bridges between the same islands could be left out in turn.
    as_many = len(made)
    made.clear()
    monkeypatch.setattr(alike_module, "_MOST_WAYS", 200)
    layer_of(hatch, (260, 260))
    # The first one, about both axes, the upright one and the level one; and so once more at most.
    assert made[0] > 64
    assert 3 <= len(made) <= 12
    assert as_many > 2 * len(made)
