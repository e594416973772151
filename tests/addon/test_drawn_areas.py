"""Areas of bridges that are drawn, a group or a grey picture, followed on disk from a .blend."""

import shutil

import numpy as np
import pytest
from PIL import Image

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.job.scene_job import job_of  # noqa: E402
from sheetstack.addon.job.sources import note_changed_sources  # noqa: E402

#: A frame with an island; the group leaves one side of the opening free, which the key says.
DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">
<path id="ink" fill-rule="evenodd" d="M10,10H50V50H10ZM20,20H40V40H20Z"/></svg>"""
WEIGHT = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">
<g id="weight">{}</g></svg>"""
SIDES = {
    "below": '<rect x="5" y="5" width="50" height="14"/>',
    "above": '<rect x="5" y="41" width="50" height="14"/>',
}
BOTH = '<rect x="5" y="5" width="14" height="50"/><rect x="41" y="5" width="14" height="50"/>'
JOB = """
title = "Area"
[sheet]
width_mm = 100
height_mm = 80
material = "polyester"
thickness_mm = 0.35
[bridges]
deflection_mm = 1000
let_go = false
alike = "off"
[[layers]]
name = "Ink"
colour = "#000000"
artwork = "a.svg"
[[area]]
keep_free = true
drawing = "{}"
"""


def paint(path, free):
    """Write a drawing that keeps bridges out but for one side of the opening."""
    if path.suffix == ".svg":
        path.write_text(WEIGHT.format(SIDES[free] + BOTH), encoding="utf-8")
        return
    grey = np.zeros((60, 60), np.uint8)
    grey[:, :19] = grey[:, 41:] = 255
    grey[slice(0, 19) if free == "below" else slice(41, 60)] = 255
    Image.fromarray(grey).save(path)


def held(scene):
    """Return on which side of the middle the bridge lies that the job now gets."""
    from sheetstack.geometry.build import build

    assert not scene.sheetstack.is_stale
    (layer,) = build(job_of(scene)).layers
    (bridge,) = [b for b in layer.bridges if b.kind == "bridge"]
    return "below" if bridge.place[1] < 40 else "above"


@pytest.mark.parametrize("drawing", ["weight.svg#weight", "weight.png"])
def test_an_areas_drawing_is_followed_where_the_project_lies(blender, tmp_path, drawing):
    here = tmp_path / "project"
    (here / "art").mkdir(parents=True)
    (here / "a.svg").write_text(DRAWING, encoding="utf-8")
    name = drawing.partition("#")[0]
    paint(here / "art" / name, "below")
    (here / "job.toml").write_text(JOB.format(f"art/{drawing}"), encoding="utf-8")
    assert bpy.ops.sheetstack.open_job(filepath=str(here / "job.toml")) == {"FINISHED"}
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    assert held(bpy.context.scene) == "below"
    bpy.ops.wm.save_as_mainfile(filepath=str(here / "job.blend"))

    there = tmp_path / "moved"
    shutil.move(here, there)
    bpy.ops.wm.open_mainfile(filepath=str(there / "job.blend"))
    scene = bpy.context.scene
    state = scene.sheetstack
    assert (state.folder, state.areas[0].drawing) == ("//.", f"art/{drawing}")
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    assert held(scene) == "below"

    paint(there / "art" / name, "above")
    note_changed_sources(scene)
    assert state.is_stale
    assert state.changed_sources == name
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    assert state.changed_sources == ""
    assert held(scene) == "above"


def test_an_areas_drawing_may_be_named_from_where_the_blend_lies(blender, tmp_path):
    for path in (tmp_path / "a.svg", tmp_path / "job.toml"):
        path.write_text(DRAWING if path.suffix == ".svg" else JOB.format("weight.png"), "utf-8")
    paint(tmp_path / "weight.png", "above")
    bpy.ops.sheetstack.open_job(filepath=str(tmp_path / "job.toml"))
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "job.blend"))
    state = bpy.context.scene.sheetstack
    state.areas[0].drawing = "//weight.png"
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    assert held(bpy.context.scene) == "above"
    (tmp_path / "weight.png").unlink()
    note_changed_sources(bpy.context.scene)
    assert state.changed_sources == "weight.png"
    with pytest.raises(RuntimeError, match=r"weight\.png"):
        bpy.ops.sheetstack.build()
