"""What is shown while a bridge is dragged is what the build then makes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sheetstack.geometry.job.sections import BridgeByHand
from sheetstack.geometry.support.constraints import DrawnBridge
from sheetstack.geometry.support.dragged import sheet_without

from .test_settled import first, made, settled  # noqa: F401


def still_of(build, bridge):
    layer = build.layers[0]
    return sheet_without(layer.sheet, layer.plain_sheet, bridge, build.job.bridge_width)


@pytest.mark.parametrize("by", [(0.0, 0.0), (1.5, 0.5), (-2.0, 1.0)])
def test_a_moved_bridge_is_shown_as_it_is_built(first, settled, by):  # noqa: F811
    bridge = next(b for b in first.layers[0].bridges if b.name == "35x16")
    line = bridge.path[[0, -1]] + by
    shown = still_of(first, bridge).at(DrawnBridge(line, bridge.width))
    row = BridgeByHand("Ink", tuple(map(tuple, line.tolist())), bridge.name, bridge.width)
    # No strength is asked for, so that the build adds nothing of its own.
    lax = replace(settled, bridges=replace(settled.bridges, deflection_mm=1000.0, safety=0.1))
    built = made(replace(lax, bridges_by_hand=(row,))).layers[0]
    laid = next(b for b in built.bridges if b.name == bridge.name)
    opening = built.plain_sheet.openings.intersection(laid.shape)
    assert shown.strip.symmetric_difference(opening).area < 1e-3
    assert not shown.loose


def test_an_island_that_the_dragged_bridge_lets_go_is_told(first):  # noqa: F811
    bridge = next(b for b in first.layers[0].bridges if b.name == "35x16")
    still = still_of(first, bridge)
    for line in ([[60, 60], [64, 64]], [[35, 22], [35, 24]]):
        shown = still.at(DrawnBridge(np.array(line, float), 2.0))
        (loose,) = shown.loose
        assert loose.area == pytest.approx(np.pi * 14**2, rel=0.01)
    assert not still.at(DrawnBridge(np.array([[35.0, 60.0], [35.0, 48.0]]), 2.0)).loose


def test_at_its_own_place_nothing_falls_out_whatever_bridge_it_is(first):  # noqa: F811
    for bridge in first.layers[0].bridges:
        still = still_of(first, bridge)
        assert len(still.pieces) > 1
        assert not still.at(DrawnBridge(bridge.path[[0, -1]], bridge.width)).loose


def test_a_new_bridge_leaves_the_sheet_as_it_is(first):  # noqa: F811
    still = still_of(first, None)
    assert still.shape is first.layers[0].sheet.shape
    shown = still.at(DrawnBridge(np.array([[205.0, 18.0], [205.0, 112.0]]), 2.0))
    assert shown.strip.area == pytest.approx(2 * 90, rel=0.02)
    left = still.left_open(shown.strip)
    assert left.symmetric_difference(still.openings.difference(shown.strip)).area < 1e-9
    assert not shown.loose
