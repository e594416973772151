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
from sheetstack.geometry.build import build  # noqa: E402
from sheetstack.geometry.job.load import load_job  # noqa: E402
from sheetstack.geometry.job.sections import BridgeByHand  # noqa: E402


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


def test_an_edit_leaves_the_other_bridges_and_the_saved_job_says_so(built, tmp_path):
    before = bridges_on(built, "Base")
    built.sheetstack.layers["Light"].opacity = 0.5  # now the bridge is seen less elsewhere
    layer = rebuilt(built)
    assert bridges_on(built, "Base") == before
    assert last_build_of(job_of(built)).job.settled == job_of(built).settled != ()
    # What is exported, and what the command line makes of the saved job, is what was seen.
    path = tmp_path / "saved.toml"
    assert bpy.ops.sheetstack.save_job(filepath=str(path)) == {"FINISHED"}
    assert build(load_job(path)).layers[0].sheet.shape.wkb == layer.sheet.shape.wkb


def test_bridges_can_be_chosen_anew(built):
    before = bridges_on(built, "Base")
    assert built.sheetstack.settled
    assert bpy.ops.sheetstack.choose_bridges_anew() == {"FINISHED"}
    assert not built.sheetstack.settled
    assert built.sheetstack.is_stale
    assert not bpy.ops.sheetstack.choose_bridges_anew.poll()
    rebuilt(built)
    assert bridges_on(built, "Base") == before


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


def test_handles_of_a_short_bridge_stay_apart():
    """Each can be taken hold of: no two lie nearer than a handle's width on the screen."""
    from sheetstack.addon.bridges.handles import AWAY, PARTS, handle_place

    short = BridgeByHand("Base", ((10.0, 10.0), (10.3, 10.4)), "b")
    pixel = 0.5
    places = np.array([handle_place(short, part, pixel, 2.0) for part in PARTS])
    apart = np.linalg.norm(places[:, None] - places[None], axis=2) / pixel
    assert apart[np.triu_indices(4, 1)].min() >= min(a for a in AWAY.values() if a)


@pytest.mark.parametrize(("part", "moves"), [("start", [0]), ("end", [1]), ("middle", [0, 1])])
def test_a_handle_moves_what_it_stands_for(part, moves):
    from sheetstack.addon.bridges.handles import pulled

    bridge = BridgeByHand("Base", ((10.0, 10.0), (20.0, 10.0)), "b")
    line = np.array(pulled(bridge, part, (0, 0), (1.5, -2.0), 2.0).line_mm)
    by = line - np.array(bridge.line_mm)
    assert by[moves].tolist() == [[1.5, -2.0]] * len(moves)
    assert not np.delete(by, moves, axis=0).any()


def test_the_width_handle_widens_to_both_sides():
    from sheetstack.addon.bridges.bridge_tool import LEAST
    from sheetstack.addon.bridges.handles import pulled

    bridge = BridgeByHand("Base", ((10.0, 10.0), (20.0, 10.0)), "b")
    wide = pulled(bridge, "width", (15, 12), (15, 13), 2.0)
    assert (wide.width_mm, wide.line_mm, wide.state) == (4.0, bridge.line_mm, "locked")
    assert pulled(bridge, "width", (15, 12), (15, 2), 2.0).width_mm == LEAST


def test_the_picked_bridge_is_widened_locked_and_freed(built):
    built.sheetstack.active_layer = 0
    first = bridges_on(built, "Base")[0]
    assert not bpy.ops.sheetstack.widen_bridge.poll()
    built.sheetstack.picked_bridge = first.id
    assert bpy.ops.sheetstack.widen_bridge(by_mm=0.5) == {"FINISHED"}
    row = built.sheetstack.bridges_by_hand[0]
    assert row.width_mm == pytest.approx(job_of(built).bridge_width + 0.5)
    assert bpy.ops.sheetstack.bridge_state(state="forbidden") == {"FINISHED"}
    assert built.sheetstack.bridges_by_hand[0].state == "forbidden"
    assert bpy.ops.sheetstack.bridge_state(state="free") == {"FINISHED"}
    assert len(built.sheetstack.bridges_by_hand) == 0
    assert bpy.ops.sheetstack.bridge_state(state="free") == {"CANCELLED"}


def test_bridges_of_a_split_layer_can_be_edited(built):
    from sheetstack.addon.bridges.place_on_sheet import edited_sheet
    from sheetstack.addon.sheets.sheet_object import sheets_of

    built.sheetstack.layers[0].split = True
    built.sheetstack.active_layer = 0
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    names = [name for name in sheets_of(built) if name.startswith("Base")]
    assert len(names) == 2
    bpy.context.view_layer.objects.active = sheets_of(built)[names[1]]
    assert edited_sheet(bpy.context) == sheets_of(built)[names[1]]
    drawn = draw_bridge(built, "Base", (15, 60), (40, 60))
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    laid = last_build_of(job_of(built)).layers[:2]
    assert any(layer.sheet.shape.covers(shapely.LineString(drawn.line_mm)) for layer in laid)
