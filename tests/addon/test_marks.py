"""Marks in the view: the active layer's own, faint behind another sheet; list and view agree."""

import numpy as np
import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.sheets import viewport_marks  # noqa: E402
from sheetstack.addon.sheets.selection import choose_layer  # noqa: E402
from sheetstack.addon.sheets.sheet_object import sheets_of  # noqa: E402


def test_a_place_below_another_sheet_is_covered_and_one_on_top_is_not(built):
    bpy.context.view_layer.update()
    sheets = sheets_of(built)
    low, high = sheets["Base"], sheets["Light"]
    tops = np.array([s.matrix_world @ s.data.vertices[0].co.to_3d() for s in (low, high)])
    tops[:, :2] = 0.05
    tops[:, 2] = [s.matrix_world.translation.z + 0.0033 for s in (low, high)]
    above, below = np.array([0.05, 0.05, 9.0]), np.array([0.05, 0.05, -9.0])
    beside = np.array([9.0, 0.05, tops[0, 2] + 0.01])
    assert viewport_marks.are_covered(built, tops, above).tolist() == [True, False]
    assert viewport_marks.are_covered(built, tops, below).tolist() == [True, True]
    assert not viewport_marks.are_covered(built, tops, beside)[0]
    high.hide_viewport = True
    assert viewport_marks.are_covered(built, tops, above).tolist() == [False, False]


def test_findings_of_other_layers_are_left_out_until_all_are_asked_for(built):
    state = built.sheetstack
    state.findings.clear()
    for layer in ("Base", "Light"):
        row = state.findings.add()
        row.layer, row.has_place, row.place_mm = layer, True, (50, 50)
    state.active_layer = 1
    signs = [s[2] for s in viewport_marks.signs_of(built) if s[2].startswith("!")]
    assert signs == ["!2"]
    state.show_all_layers = True
    signs = [s[2] for s in viewport_marks.signs_of(built) if s[2].startswith("!")]
    assert signs == ["!1", "!2"]


def test_list_and_view_agree_on_the_active_layer(built):
    sheets = sheets_of(built)
    built.sheetstack.active_layer = 1
    assert bpy.context.view_layer.objects.active == sheets["Light"]
    assert [s.select_get() for s in sheets.values()] == [False, True]
    choose_layer(built, sheets["Base"])
    assert built.sheetstack.active_layer == 0


def test_the_active_sheet_is_shown_alone_and_the_others_come_back(built):
    state, sheets = built.sheetstack, sheets_of(built)
    state.layers[1].is_shown = False
    state.solo = True
    assert [s.hide_viewport for s in sheets.values()] == [False, True]
    state.active_layer = 1
    assert [s.hide_viewport for s in sheets.values()] == [True, True]
    state.layers[1].is_shown = True
    assert [s.hide_viewport for s in sheets.values()] == [True, False]
    state.solo = False
    assert [s.hide_viewport for s in sheets.values()] == [False, False]
