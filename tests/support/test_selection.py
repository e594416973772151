"""Steps of the choice of bridges, each against what it stands for worked out directly."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, affinity, box

from sheetstack.geometry.progress import Progress
from sheetstack.geometry.support import held_islands, selection, stiffening
from sheetstack.geometry.support.block_factor import BlockFactor
from sheetstack.geometry.support.bridges import hold_islands
from sheetstack.geometry.support.candidates import CLOSE, QUICK
from sheetstack.geometry.support.constraints import Loads, Rules
from sheetstack.geometry.support.cost import ACROSS, HIDDEN, Prices
from sheetstack.geometry.support.directions import Direction
from sheetstack.geometry.support.gaps import Gaps
from sheetstack.geometry.support.selection import Islands, _Standing, held_by
from sheetstack.geometry.support.statics import Stiffness
from sheetstack.geometry.support.stiffening import (
    CloseBridges,
    Scheme,
    Task,
    _are_needless,
    _dearest,
    _worse,
    thinned,
)

from ..random_sheets import many_islands, sheet_of
from .test_statics import E, F, T, grillage, random_net

NONE = np.empty(0, np.int64)


def test_a_scheme_beats_another_by_fewer_weak_places_and_then_by_cost():
    ours = _Standing(np.array([0, 1, 1, 2, 1]), np.array([9.0, 5.0, 5.0, 1.0, 5.0]))
    theirs = _Standing(np.array([1, 1, 1, 1, 1]), np.array([1.0, 6.0, 5.0, 9.0, 4.0]))
    assert ours.beats(theirs).tolist() == [True, True, False, False, False]
    assert theirs.beats(ours).tolist() == [False, False, False, True, True]


def task_of(held, stress_mpa=1e9):
    count = len(held.which)
    return Task(
        held.grillage,
        np.linspace(1.0, 2.0, count),
        held.width,
        np.ones(count, bool),
        2.0,
        6,
        Loads(Stiffness(E, T), 1e-4, F, 5.0, stress_mpa),
        CloseBridges(NONE, NONE, NONE, np.empty(0, bool)),
        np.zeros(len(held.grillage.plates), bool),
    )


@pytest.mark.parametrize("more", [1.02, 1.2, 1.5, 4.0])
@pytest.mark.parametrize("seed", range(8))
def test_a_bridge_is_needless_when_all_islands_are_held_without_it(seed, more):
    """The update of one bridge less, against the whole solved without it."""
    held = grillage(*random_net(seed), 0.001)
    task = task_of(held)
    scheme = Scheme(np.ones(len(held.which), bool), held.width)
    bound = more * held.deflections(F).max(axis=1)
    stays = np.zeros(len(held.which), bool)
    bridges = _dearest(task, scheme, held, stays, stays.copy())
    needless = _are_needless(task, held, bridges, bound)
    assert len(bridges) + stays.sum() == len(held.which)
    for bridge, told in zip(bridges.tolist(), needless.tolist(), strict=True):
        rest = np.delete(np.arange(len(held.which)), bridge)
        without = held.grillage.under_load(rest, held.width[rest])
        assert told == bool((without.deflections(F).max(axis=1) <= bound).all()), bridge


@pytest.mark.parametrize("seed", range(8))
def test_nothing_is_solved_anew_where_all_that_was_taken_out_goes_back(seed, monkeypatch):
    held = grillage(*random_net(seed), 0.001)
    task = task_of(held)
    scheme = Scheme(np.ones(len(held.which), bool), held.width)
    every = np.ones(held.clusters.max() + 1, bool)
    monkeypatch.setattr(stiffening, "_worse", lambda *_: every)
    after, still = thinned(task, scheme, held)
    assert after is scheme
    assert still is held


@pytest.mark.parametrize("seed", range(8))
def test_what_gets_worse_without_a_bridge_is_the_cluster_that_gives_way_further(seed):
    held = grillage(*random_net(seed), 0.001)
    task = task_of(held)
    rest = np.arange(len(held.which) - 1)
    after = held.grillage.under_load(rest, held.width[rest])
    soft = after.deflections(F).max(axis=1)
    for share in (0.5, 2.0):
        worse = _worse(task, held, after, soft * share)
        assert worse.shape == (held.clusters.max() + 1,)
        assert worse[held.clusters].tolist() == [share < 1] * len(soft)


def test_islands_that_are_done_do_not_sway_the_others(monkeypatch):
    """Working on with those alone that are left gives what working with all gives."""
    near, _ = many_islands(12)
    far = affinity.scale(near, 0.8, 1.3, origin=(0, 0))
    shape = MultiPolygon([*near.geoms, *affinity.translate(far, 100, 0).geoms])
    rules = Rules(1.0, loads=Loads(Stiffness(4500, 0.35), 0.35 * 1.39e-3, 0.05, 0.1, 50.0))
    parted = []
    part_of = stiffening.part_of
    monkeypatch.setattr(stiffening, "part_of", lambda *task: parted.append(1) or part_of(*task))

    def laid(few):
        monkeypatch.setattr(stiffening, "FEW", few)
        held = hold_islands(sheet_of(shape, 220, 120), 1.0, rules=rules)
        return sorted((*b.path.round(9).ravel().tolist(), b.width) for b in held.bridges)

    together = laid(0.0)
    assert not parted
    assert laid(1.0) == together
    assert parted


def test_plates_are_made_once_for_all_who_ask(monkeypatch):
    made = []
    plates_of = selection.plates_of
    monkeypatch.setattr(selection, "plates_of", lambda *of: made.append(1) or plates_of(*of))
    islands = Islands([box(0, 0, 50, 50), box(60, 0, 65, 5)], Loads(Stiffness(E, T), 1e-4, F, 5, 9))
    bridge = Gaps(
        np.array([[0, 1]]), np.array([[50.0, 2]]), np.array([[60.0, 2]]), np.array([10.0])
    )
    one, other = (
        held_by(islands, bridge, np.array([width]), Rules(2.0, loads=islands.loads))
        for width in (2.0, 4.0)
    )
    assert len(made) == 1
    assert one.islands(islands, Rules(2.0, loads=islands.loads))[0].hold.deflection_mm > (
        other.islands(islands, Rules(2.0, loads=islands.loads))[0].hold.deflection_mm
    )


def test_along_the_drawing_a_way_across_a_long_island_costs_more():
    frame, island = box(0, 0, 100, 40), box(30, 18, 70, 22)
    gaps = Gaps(
        np.array([[0, 1], [0, 1]]),
        np.array([[20.0, 20.0], [50.0, 30.0]]),
        np.array([[30.0, 20.0], [50.0, 22.0]]),
        np.array([10.0, 8.0]),
    )
    rules = Rules(2.0, direction=Direction("drawing"))
    along, across = Prices([frame, island], rules).exact(gaps)
    assert along == pytest.approx(10 * 2 * HIDDEN)
    # The island's sides are as 10 to 1: nine tenths of the surcharge.
    assert across == pytest.approx(8 * 2 * HIDDEN * (1 + 0.9 * (ACROSS - 1)))


@pytest.mark.parametrize("effort", [CLOSE, QUICK])
def test_ways_are_looked_for_to_both_sides_alike(effort):
    assert effort.fan[0] == 0
    assert sorted(effort.fan) == sorted(-angle for angle in effort.fan)
    assert len(set(effort.fan)) == len(effort.fan)


def test_progress_never_goes_back_and_ends_with_the_whole():
    shape, side = many_islands(30)
    told = []
    rules = Rules(1.0, loads=Loads(Stiffness(4500, 0.35), 0.35 * 1.39e-3, 0.02, 0.02, 50.0))
    progress = Progress(lambda share, what: told.append(share))
    hold_islands(sheet_of(shape, side, side), 1.0, progress, rules=rules)
    assert told == sorted(told)
    assert told[-1] == 1
    assert told[0] >= 0


@pytest.mark.parametrize("deflection_mm", [0.02, 0.05])
def test_last_digits_of_the_linear_algebra_choose_no_bridge(monkeypatch, deflection_mm):
    """Other threads, processors and libraries round otherwise; beads alike have many equal ways."""
    beads = shapely.union_all([Point(28 + 9 * i, 30).buffer(3) for i in range(9)])
    sheet = sheet_of(box(20, 20, 108, 40).difference(beads))
    rules = Rules(1.0, loads=Loads(Stiffness(4500, 0.35), 4.9e-4, 0.02, deflection_mm, 50.0))
    solve, inverses = BlockFactor.solve, BlockFactor.inverse_blocks
    rng = np.random.default_rng(1)

    def noisy(values):
        return values * (1 + 1e-14 * rng.standard_normal(values.shape))

    paths = [b.path for b in hold_islands(sheet, 1.0, rules=rules).bridges]
    assert len(paths) > 9
    monkeypatch.setattr(BlockFactor, "solve", lambda *given: noisy(solve(*given)))
    monkeypatch.setattr(BlockFactor, "inverse_blocks", lambda own: tuple(map(noisy, inverses(own))))
    for _ in range(2):
        other = [b.path for b in hold_islands(sheet, 1.0, rules=rules).bridges]
        assert np.shape(other) == np.shape(paths)
        np.testing.assert_allclose(other, paths, atol=1e-9)


def test_rounds_end_for_so_many_islands_that_they_hardly_get_any_firmer():
    few, many = 40, stiffening.MOST_TOGETHER + 1
    label = np.repeat([0, 1, 2], [many, few, many])
    before = np.full(len(label), 1.0)
    now = before * np.repeat([0.985, 0.985, 0.9], [many, few, many])
    assert stiffening._in_vain(label, before, now).tolist() == [True, False, False]
    # Nothing is known of the first round, nor of islands that are within their limits.
    never = np.full(len(label), np.inf)
    assert not stiffening._in_vain(label, never, now).any()
    assert not stiffening._in_vain(label, 0 * before, 0 * now).any()


def test_islands_that_are_left_in_vain_are_told_so(monkeypatch):
    monkeypatch.setattr(held_islands, "MOST_TOGETHER", 8)
    monkeypatch.setattr(stiffening, "MOST_TOGETHER", 8)
    monkeypatch.setattr(stiffening, "LEAST_ROUND", 1e9)
    at = np.arange(20.0, 181.0, 20.0)
    lines = [*shapely.box(at, 20, at + 2, 182), *shapely.box(20, at, 182, at + 2)]
    sheet = sheet_of(shapely.union_all(lines), thickness=0.1)
    rules = Rules(1.5, loads=Loads(Stiffness(4500, 0.1), 1.4e-4, 2.0, 0.05, 50.0))
    held = hold_islands(sheet, 1.5, rules=rules)
    assert any("hang together" in finding.message for finding in held.findings)
