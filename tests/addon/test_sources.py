"""What layers are read from is followed: files on disk, objects, a project that was moved."""

import shutil

import numpy as np
import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.job.sources import note_changed_sources  # noqa: E402


def volume_of(scene, layer):
    from sheetstack.addon.sheets.sheet_object import sheets_of

    mesh = sheets_of(scene)[layer].data
    mesh.calc_loop_triangles()
    corners = np.array([t.vertices for t in mesh.loop_triangles])
    places = np.array([v.co for v in mesh.vertices], float)[corners] * 1000
    return np.einsum("ij,ij->i", places[:, 0], np.cross(places[:, 1], places[:, 2])).sum() / 6


def test_a_drawing_changed_on_disk_makes_the_sheets_stale_and_is_named(built, job_path):
    state = built.sheetstack
    note_changed_sources(built)
    assert not state.is_stale
    path = job_path.with_name("Light.svg")
    path.write_text(path.read_text().replace('r="12"', 'r="15"'), encoding="utf-8")
    before = volume_of(built, "Light")
    note_changed_sources(built)
    assert state.is_stale
    assert state.changed_sources == "Light.svg"
    bpy.ops.sheetstack.build()
    assert not state.is_stale
    assert state.changed_sources == ""
    # Discs of radius 12 and 15 mm in a plate of 3.3 mm.
    gone = before - volume_of(built, "Light")
    assert gone == pytest.approx(np.pi * (15**2 - 12**2) * 3.3, rel=1e-4)


def test_a_layer_drawn_with_an_object_follows_it(blender):
    bpy.ops.mesh.primitive_plane_add(size=0.02, location=(0.2, 0.2, 0))
    plane = bpy.context.object
    bpy.ops.sheetstack.artwork_from_objects()
    bpy.ops.sheetstack.build()
    scene = bpy.context.scene
    state = scene.sheetstack
    before = volume_of(scene, "Plane")
    assert not state.is_stale
    plane.scale.x = 2
    bpy.context.view_layer.update()
    assert state.is_stale
    bpy.ops.sheetstack.build()
    assert before - volume_of(scene, "Plane") == pytest.approx(20 * 20 * 0.4, rel=1e-3)
    plane.data.vertices[0].co.x *= 2
    plane.data.update()
    bpy.context.view_layer.update()
    assert state.is_stale


def test_a_kept_copy_that_is_edited_makes_the_sheets_stale(built, job_path):
    state = built.sheetstack
    job_path.with_name("Light.svg").unlink()
    bpy.ops.sheetstack.build()
    assert not state.is_stale
    kept = state.layers["Light"].kept
    kept.from_string(kept.as_string().replace('r="12"', 'r="15"'))
    before = volume_of(built, "Light")
    note_changed_sources(built)
    assert state.is_stale
    bpy.ops.sheetstack.build()
    assert volume_of(built, "Light") < before


def test_a_missing_file_is_told_when_its_copy_is_built_from(built, job_path, capfd):
    job_path.with_name("Light.svg").unlink()
    built.sheetstack.sheet.thickness_mm = 2
    bpy.ops.sheetstack.build()
    assert "Light.svg: not found; built from the copy in this .blend." in capfd.readouterr().out


def test_a_project_that_was_moved_is_read_where_it_is_now(built, job_path, tmp_path):
    here = job_path.parent
    bpy.ops.wm.save_as_mainfile(filepath=str(here / "job.blend"))
    assert built.sheetstack.folder.startswith("//")
    there = tmp_path / "moved"
    shutil.move(here, there)
    path = there / "Light.svg"
    path.write_text(path.read_text().replace('r="12"', 'r="15"'), encoding="utf-8")
    bpy.ops.wm.open_mainfile(filepath=str(there / "job.blend"))
    scene = bpy.context.scene
    from sheetstack.addon.job.scene_job import folder_of
    from sheetstack.addon.job.sources import missing_files

    assert folder_of(scene) == there
    assert missing_files(scene) == []
    bpy.ops.sheetstack.build()
    assert scene.sheetstack.layers["Light"].kept["sheetstack_path"] == str(path)


def test_a_copy_saved_elsewhere_leaves_what_is_open_where_it_is(built, job_path, tmp_path):
    from sheetstack.addon.job.scene_job import folder_of

    (tmp_path / "deep" / "er").mkdir(parents=True)
    bpy.ops.wm.save_as_mainfile(filepath=str(job_path.with_name("job.blend")))
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "deep" / "er" / "copy.blend"), copy=True)
    assert folder_of(built) == job_path.parent
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "deep" / "er" / "copy.blend"))
    assert folder_of(bpy.context.scene).resolve() == job_path.parent
