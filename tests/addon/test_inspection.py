"""Inspection: drift by a slider, see-through, labels, section."""

import math

import numpy as np
import pytest
from shapely import Polygon
from shapely.affinity import rotate, translate

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from mathutils import Vector  # noqa: E402

from sheetstack.addon.sheets.sheet_object import sheets_of  # noqa: E402
from sheetstack.geometry.build import build  # noqa: E402
from sheetstack.geometry.job.load import load_job  # noqa: E402
from sheetstack.geometry.scene.section import cut_through  # noqa: E402

from .mesh_arrays import coordinates  # noqa: E402


def outline(thing) -> Polygon:
    """The sheet's four outer corners as they stand in the scene, in mm."""
    bpy.context.view_layer.update()
    corners = [(0, 0, 0), (0.1, 0, 0), (0.1, 0.120125, 0), (0, 0.120125, 0)]
    places = [thing.matrix_world @ Vector(c) for c in corners]
    return Polygon([(1000 * p.x, 1000 * p.y) for p in places])


@pytest.mark.parametrize("pins", [True, False])
def test_the_slider_moves_one_sheet_by_the_jobs_drift(built, pins):
    """It turns about the middle of its pins, without pins about its own."""
    built.sheetstack.registration.drift_mm = 2.0
    own = "[[10.0, 10.0], [30.0, 10.0]]"
    built.sheetstack.registration.holes_mm = own if pins else "[]"
    built.sheetstack.registration.hole_diameter_mm = 6.0 if pins else 0.0
    built.sheetstack.registration.turn_deg = 1.5
    before = {name: outline(thing) for name, thing in sheets_of(built).items()}
    state = built.sheetstack_inspection
    state.drifting, state.direction, state.drift = "Light", math.pi / 2, 0.5
    corner = before["Light"].bounds[:2]
    about = (corner[0] + 20.0, corner[1] + 10.0 + 1.0) if pins else "centroid"
    moved = rotate(translate(before["Light"], 0, 1.0), 0.75, origin=about)
    assert outline(sheets_of(built)["Light"]).symmetric_difference(moved).area < 0.01
    assert outline(sheets_of(built)["Base"]).symmetric_difference(before["Base"]).area < 0.01
    state.drift = 0.0
    assert outline(sheets_of(built)["Light"]).symmetric_difference(before["Light"]).area < 0.01


def test_all_sheets_drift_their_own_ways(built):
    built.sheetstack.registration.turn_deg = 0.0
    state = built.sheetstack_inspection
    state.drift = 1.0
    ways = [tuple(1000 * c for c in t.delta_location[:2]) for t in sheets_of(built).values()]
    assert np.hypot(*np.array(ways).T) == pytest.approx([1, 1], abs=1e-4)
    assert np.sum(ways, axis=0) == pytest.approx([0, 0], abs=1e-4)


def test_the_stacks_own_slider_still_arranges_drifted_sheets(built):
    built.sheetstack_inspection.drift = 1.0
    place = tuple(sheets_of(built)["Light"].delta_location)
    built.sheetstack.spacing_mm = 77.0
    light = sheets_of(built)["Light"]
    assert light.location[2] * 1000 == pytest.approx(77 + 3.3, abs=1e-3)
    assert tuple(light.delta_location) == place


def test_see_through_is_undone(built):
    state = built.sheetstack_inspection
    state.overlay = True
    assert all(t.color[3] < 0.5 and t.show_transparent for t in sheets_of(built).values())
    state.overlay = False
    assert all(t.color[3] == 1 and not t.show_transparent for t in sheets_of(built).values())


def test_labels_name_number_and_thickness_and_are_made_once(built):
    for _ in range(2):
        assert bpy.ops.sheetstack.label_sheets() == {"FINISHED"}
    texts = sorted(t.data.body for t in bpy.data.objects if t.type == "FONT")
    assert texts == ["1  Base, 3.3 mm", "2  Light, 3.3 mm"]
    leaders = [t for t in bpy.data.objects if t.type == "CURVE"]
    assert {t.parent.sheetstack.layer for t in leaders} == {"Base", "Light"}


def test_a_section_shows_true_thickness_and_the_cut_material(built, job_path):
    built.sheetstack_inspection.section_mm = 60.0
    assert bpy.ops.sheetstack.section() == {"FINISHED"}
    for layer in build(load_job(job_path)).layers:
        name = layer.settings.name
        cut = coordinates(bpy.data.objects[f"Cut {name}"].data) * 1000
        spans = cut_through(layer.sheet.shape, 60.0)
        assert np.unique(cut[:, 0].round(3)) == pytest.approx(np.unique(spans), abs=2e-3)
        assert (cut[:, 2].min(), cut[:, 2].max()) == pytest.approx((0, 3.3), abs=1e-4)
        rest = coordinates(bpy.data.objects[f"Behind {name}"].data) * 1000
        assert rest[:, 1].min() == pytest.approx(60, abs=1e-3)
        assert bpy.data.objects[f"Sheet {name}"].hide_viewport
    assert bpy.ops.sheetstack.end_inspection() == {"FINISHED"}
    assert not any(
        name.startswith(("Cut", "Behind")) for name in [t.name for t in bpy.data.objects]
    )
    assert not any(t.hide_viewport for t in sheets_of(built).values())


def test_animated_drift_comes_back_to_its_place(built):
    assert bpy.ops.sheetstack.animate_drift(frames=33) == {"FINISHED"}
    light = sheets_of(built)["Light"]
    lengths = []
    for frame in (1, 13, 17, 33):
        built.frame_set(frame)
        lengths.append(math.hypot(*light.delta_location[:2]))
    assert lengths[0] == lengths[3] == 0
    assert min(lengths[1:3]) > 0.0005
