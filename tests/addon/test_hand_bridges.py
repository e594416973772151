"""Bridges set by hand are rows of the job, and the build follows them."""

import numpy as np
import pytest
import shapely

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.bridges.hand_bridges import (  # noqa: E402
    bridges_on,
    draw_bridge,
    moved,
    put_bridge,
    remove_bridge,
)
from sheetstack.addon.job.scene_job import job_of  # noqa: E402
from sheetstack.addon.sheets.last_build import last_build_of  # noqa: E402


def rebuilt(scene):
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    return last_build_of(job_of(scene)).layers[0]


def test_a_drawn_bridge_is_laid_where_it_was_drawn(built):
    # The island spans 35 to 65 mm in x, the opening 20 to 80 (the page lies centred).
    drawn = draw_bridge(built, "Base", (15, 60), (40, 60))
    assert built.sheetstack.is_stale
    layer = rebuilt(built)
    line = shapely.LineString(drawn.line_mm)
    assert layer.sheet.shape.covers(line)
    assert not layer.plain_sheet.shape.covers(line)
    assert not layer.islands_left


def test_automatic_bridges_can_be_taken_and_moved(built):
    automatic = bridges_on(built, "Base")
    assert automatic
    assert {b.state for b in automatic} == {""}
    first = automatic[0]
    put_bridge(built, moved(first, (0.0, 4.0)))
    row = built.sheetstack.bridges_by_hand[0]
    assert (row.id, row.state) == (first.id, "locked")
    expected = np.array(first.line_mm) + (0, 4)
    assert np.array(job_of(built).bridges_by_hand[0].line_mm) == pytest.approx(expected, abs=2e-3)
    assert len(bridges_on(built, "Base")) == len(automatic), "taken over, not doubled"


def test_one_end_moves_alone(built):
    first = bridges_on(built, "Base")[0]
    line = moved(first, (1.0, 2.0), end=-1).line_mm
    assert line[0] == first.line_mm[0]
    assert np.array(line[-1]) == pytest.approx(np.array(first.line_mm[-1]) + (1, 2), abs=2e-3)


def test_a_removed_row_leaves_the_bridge_automatic(built):
    drawn = draw_bridge(built, "Base", (15, 60), (40, 60))
    built.sheetstack.active_bridge = 0
    assert bpy.ops.sheetstack.free_bridge() == {"FINISHED"}
    assert not built.sheetstack.bridges_by_hand
    assert not remove_bridge(built, drawn.id)
    assert not bpy.ops.sheetstack.free_bridge.poll()


def test_bridges_by_hand_are_saved_in_job_and_blend(built, tmp_path):
    draw_bridge(built, "Base", (15, 60), (40, 60), state="forbidden")
    job = job_of(built)
    bpy.ops.sheetstack.save_job(filepath=str(tmp_path / "b.toml"))
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "b.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "b.blend"))
    assert job_of(bpy.context.scene) == job
    bpy.ops.sheetstack.open_job(filepath=str(tmp_path / "b.toml"))
    assert job_of(bpy.context.scene).bridges_by_hand == job.bridges_by_hand


def test_the_tool_says_why_it_cannot_begin(opened):
    assert not bpy.ops.sheetstack.edit_bridges.poll()
