"""A dragged bridge takes sheet, islands and painted picture along, and all goes back on Esc."""

import numpy as np
import pytest
import shapely

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.bridges.bridge_tool import end_dragged, show_dragged  # noqa: E402
from sheetstack.addon.bridges.hand_bridges import bridges_on, moved, put_bridge  # noqa: E402
from sheetstack.addon.bridges.live_drag import begin_drag, dragging  # noqa: E402
from sheetstack.addon.core.conversion import read_mesh  # noqa: E402
from sheetstack.addon.core.ownership import made  # noqa: E402
from sheetstack.addon.job.scene_job import job_of  # noqa: E402
from sheetstack.addon.paint.painted_plane import picture_image  # noqa: E402
from sheetstack.addon.sheets.last_build import last_build_of  # noqa: E402
from sheetstack.addon.sheets.sheet_object import is_hand_edited, sheets_of  # noqa: E402
from sheetstack.geometry.mesh.islands import find_pieces  # noqa: E402


@pytest.fixture
def sheet(built):
    return sheets_of(built)["Base"]


def pixels(scene):
    (plane,) = made(scene, "PICTURE").values()
    return np.array(picture_image(plane).pixels[:])


def test_the_sheet_lets_go_of_the_bridge_and_takes_it_back(built, sheet):
    first = bridges_on(built, "Base")[0]
    mesh = sheet.data
    before = len(bpy.data.meshes)
    begin_drag(sheet, first.id)
    show_dragged(moved(first, (0.0, 2.0)))
    # The mesh that stands in has the island loose; the strip holds it.
    assert sheet.data is not mesh
    assert len(find_pieces(read_mesh(sheet.data)[0]).islands) == 1
    assert dragging().strip is not None
    assert not dragging().shown.loose
    show_dragged(moved(first, (200.0, 0.0)))
    assert len(dragging().shown.loose) == 1
    assert dragging().strip is None
    end_dragged(keep=False)
    assert dragging() is None
    assert sheet.data is mesh
    assert len(bpy.data.meshes) == before
    assert not is_hand_edited(sheet)
    assert not built.sheetstack.is_stale


def test_the_painted_picture_follows_and_goes_back(built, sheet):
    assert bpy.ops.sheetstack.show_painted(pixels=240) == {"FINISHED"}
    first = bridges_on(built, "Base")[0]
    before = pixels(built)
    begin_drag(sheet, first.id)
    show_dragged(moved(first, (6.0, 0.0)))
    during = pixels(built)
    assert (during != before).any()
    end_dragged(keep=False)
    assert (pixels(built) == before).all()
    # Dropped there, built and painted anew it is the picture that was seen.
    begin_drag(sheet, first.id)
    show_dragged(moved(first, (6.0, 0.0)))
    end_dragged(keep=True)
    (plane,) = made(built, "PICTURE").values()
    image = picture_image(plane)
    assert image.packed_file is not None
    assert not image.is_dirty  # what is packed is what was seen
    assert (pixels(built) == during).all()
    put_bridge(built, moved(first, (6.0, 0.0)))
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    assert bpy.ops.sheetstack.show_painted(pixels=240) == {"FINISHED"}
    assert np.abs(pixels(built) - during).max() < 2 / 255


def test_what_is_shown_is_what_is_built(built, sheet):
    first = bridges_on(built, "Base")[0]
    there = moved(first, (1.0, 3.0))
    begin_drag(sheet, first.id)
    show_dragged(there)
    strip = dragging().shown.strip
    end_dragged(keep=True)
    put_bridge(built, there)
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    layer = last_build_of(job_of(built)).layers[0]
    laid = next(b for b in layer.bridges if b.name == first.id)
    opening = shapely.intersection(layer.plain_sheet.openings, laid.shape)
    assert strip.symmetric_difference(opening).area < 1e-3


def test_a_sheet_edited_by_hand_is_left_alone(built, sheet):
    sheet.data.vertices[0].co.x += 0.001
    mesh = sheet.data
    begin_drag(sheet, bridges_on(built, "Base")[0].id)
    assert dragging() is None
    assert sheet.data is mesh


def test_a_drag_that_is_under_way_ends_with_the_add_on(built, sheet):
    from sheetstack import addon

    first, mesh = bridges_on(built, "Base")[0], sheet.data
    begin_drag(sheet, first.id)
    show_dragged(moved(first, (0.0, 2.0)))
    assert sheet.data is not mesh
    addon.unregister()
    try:
        assert sheet.data is mesh
    finally:
        addon.register()
