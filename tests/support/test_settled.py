"""Bridges that are settled: they stay where they were seen, and the job alone says so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import Point, box

from sheetstack.geometry.artwork.read import Artwork
from sheetstack.geometry.job.load import job_text, parse_job
from sheetstack.geometry.job.sections import BridgeArea, BridgeByHand
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.support.constraints import rules_for
from sheetstack.geometry.support.hand_drawn import fit_drawn
from sheetstack.geometry.support.settled import kept_bridges, settled_for

from ..small_builds import INK, built_from

SIZE = (240.0, 130.0)


def ring(x: float, y: float, wide: float = 24, hole: float = 14):
    return Point(x, y).buffer(wide).difference(Point(x, y).buffer(hole))


RINGS = shapely.union_all([ring(x, y) for x in (35, 95, 155) for y in (35, 95)])
SPECK = box(199, 40, 200, 41)
ARTWORK = RINGS.union(box(190, 20, 225, 110).difference(SPECK))


def job_with(bridges: str = "", more: str = ""):
    return parse_job(INK.format(width=SIZE[0], height=SIZE[1], bridges=bridges, more=more))


def made(job, artwork=ARTWORK):
    return built_from(job, [Artwork(as_multipolygon(artwork), SIZE)] * len(job.layers))


@pytest.fixture(scope="module")
def first():
    return made(job_with())


@pytest.fixture(scope="module")
def settled(first):
    return first.settled_for(first.job)


def places(build, layer=0):
    return {b.name for b in build.layers[layer].bridges if b.state == "automatic"}


def far_from(build, x, y, layer=0):
    bridges = build.layers[layer].bridges
    return {b.name for b in bridges if np.hypot(b.place[0] - x, b.place[1] - y) > 30}


def moved(job, bridge, by, width=None):
    line = tuple(map(tuple, (bridge.path[[0, -1]] + by).tolist()))
    row = BridgeByHand("Ink", line, bridge.name, width or bridge.width)
    return replace(job, bridges_by_hand=(row,))


def test_a_build_from_the_saved_job_is_the_one_that_was_seen(first, settled):
    again = made(parse_job(job_text(settled)))
    for old, new in zip(first.layers, again.layers, strict=True):
        assert old.sheet.shape.wkb == new.sheet.shape.wkb
        assert old.mesh.vertices.tobytes() == new.mesh.vertices.tobytes()
        assert [b.name for b in old.bridges] == [b.name for b in new.bridges]
        assert [f.message for f in old.findings] == [f.message for f in new.findings]
    assert again.settled_for(settled) == settled
    assert first.layers[0].let_go  # the speck, that is


@pytest.mark.parametrize("edit", ["moved", "forbidden", "area", "artwork", "colour"])
def test_an_edit_at_one_place_leaves_bridges_elsewhere(first, settled, edit):
    bridge = min(first.layers[0].bridges, key=lambda b: np.hypot(b.place[0] - 35, b.place[1] - 35))
    job, artwork = settled, ARTWORK
    if edit == "moved":
        job = moved(job, bridge, (1.5, 1.0))
    elif edit == "forbidden":
        line = tuple(map(tuple, bridge.path[[0, -1]].tolist()))
        job = replace(job, bridges_by_hand=(BridgeByHand("Ink", line, "x", state="forbidden"),))
    elif edit == "area":
        job = replace(job, areas=(BridgeArea(box_mm=(5, 5, 60, 24), keep_free=True),))
    elif edit == "artwork":
        artwork = ARTWORK.difference(ring(35, 35)).union(ring(36, 34, 25, 11))
    else:
        job = replace(job, layers=(replace(job.layers[0], colour="#a02020"),))
    build = made(job, artwork)
    assert not build.layers[0].islands_left
    assert not build.spoilt
    assert far_from(build, 35, 35) == far_from(first, 35, 35)
    if edit in ("forbidden", "area", "artwork"):
        assert places(build) != places(first)


def test_a_bridge_taken_over_by_hand_is_not_laid_twice(first, settled):
    bridge = first.layers[0].bridges[0]
    build = made(moved(settled, bridge, (0.4, 0.2)))
    assert len(build.layers[0].bridges) == len(first.layers[0].bridges)
    (locked,) = [b for b in build.layers[0].bridges if b.state == "locked"]
    assert locked.name == bridge.name


def test_a_bridge_drawn_on_an_island_stands_in_for_the_automatic_one(first, settled):
    line = ((35.0, 64.0), (35.0, 45.0))
    drawn = replace(settled, bridges_by_hand=(BridgeByHand("Ink", line, "mine", 3.0),))
    build = made(drawn)
    assert places(first) - places(build) == {"35x16"}
    assert not places(build) - places(first)
    # Seen with it, what is left stays as it is, whatever it could do without.
    again = made(build.settled_for(drawn))
    assert again.layers[0].sheet.shape.wkb == build.layers[0].sheet.shape.wkb


def test_where_strength_demands_it_a_bridge_is_added_there_only(first, settled):
    # The bridge was made wider than the job's so that it holds; narrower it does not.
    (bridge,) = [b for b in first.layers[0].bridges if b.name == "35x16"]
    assert bridge.width > 2
    build = made(moved(settled, bridge, (0.0, 0.0), width=2.0))
    (new,) = places(build) - places(first)
    (added,) = [b for b in build.layers[0].bridges if b.name == new]
    assert np.hypot(added.place[0] - 35, added.place[1] - 35) < 30
    assert all(island.enough for island in build.layers[0].held_islands)
    assert far_from(build, 35, 35) == far_from(first, 35, 35)


@pytest.mark.parametrize("bridges", ["width_mm = 3", "deflection_mm = 2", 'choice = "shortest"'])
def test_under_other_rules_all_is_chosen_anew(settled, bridges):
    other = job_with(bridges.replace("width_mm = 3", "safety = 4"))
    with_old, fresh = made(replace(other, settled=settled.settled)), made(other)
    assert with_old.layers[0].sheet.shape.wkb == fresh.layers[0].sheet.shape.wkb


def test_the_two_sheets_of_a_split_layer_are_settled_each(first):
    job = job_with(more="split = true")
    split = made(job)
    assert [layer.settings.name for layer in split.layers] == ["Ink A", "Ink B"]
    settled = split.settled_for(job)
    assert [row.sheet for row in settled.settled] == ["Ink A", "Ink B"]
    again = made(settled)
    for old, new in zip(split.layers, again.layers, strict=True):
        assert old.sheet.shape.wkb == new.sheet.shape.wkb


def test_rows_that_fit_nothing_do_no_harm(first, settled):
    elsewhere = tuple(
        tuple((x + 3.3, y + 1.7) for x, y in line) for line in settled.settled[0].bridges_mm
    )
    row = replace(settled.settled[0], bridges_mm=elsewhere, let_go_mm=((1.0, 1.0),), spared=(5.0,))
    build = made(replace(settled, settled=(row, replace(row, sheet="Gone"))))
    assert not build.layers[0].islands_left
    assert not build.spoilt


def test_mirror_images_of_bridges_stay_though_the_drawing_is_symmetric_by_rounding_only():
    lopsided = Point(60.02, 65).buffer(40).difference(Point(60, 65.02).buffer(25))
    first = made(job_with('direction = "horizontal"'), lopsided)
    again = made(first.settled_for(first.job), lopsided)
    assert len(places(first)) >= 2
    assert places(again) == places(first)
    rules = replace(rules_for(first.job, first.job.layers[0]), settled=None)
    stays = settled_for(first.settled_for(first.job), "Ink", rules)
    pieces = list(first.layers[0].plain_sheet.shape.geoms)
    links = fit_drawn((), pieces, lopsided, pieces[0], 2.0, "Ink")
    kept = kept_bridges(pieces, replace(rules, settled=stays), links, np.empty(0))
    assert len(kept.gaps) == len(places(first))


@pytest.mark.parametrize(
    "bridges",
    ["deflection_mm = 0.1\nmost_per_island = 1", "deflection_mm = 0.02\nmost_per_island = 2"],
)
def test_islands_that_could_not_be_held_firmly_are_put_up_with_and_told(bridges):
    job = job_with(bridges)
    weak = made(job)
    assert not all(island.enough for island in weak.layers[0].held_islands)
    settled = weak.settled_for(job)
    assert settled.settled[0].weak_mm
    again = made(settled)
    assert again.layers[0].sheet.shape.wkb == weak.layers[0].sheet.shape.wkb
    told = [f.message for f in weak.findings]
    assert [f.message for f in again.findings] == told
    assert any("gives way" in message or "strains" in message for message in told)
    assert again.settled_for(settled) == settled
