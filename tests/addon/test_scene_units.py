"""Scenes in other units: true size comes in and goes out, whatever length a unit has."""

import numpy as np
import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")


def corners(thing):
    from mathutils import Vector

    return np.array([thing.matrix_world @ Vector(c) for c in thing.bound_box])


@pytest.mark.parametrize(
    ("system", "length", "mm_per_unit"),
    [
        ("METRIC", 0.001, 1.0),
        ("METRIC", 1.0, 1000.0),
        ("IMPERIAL", 0.0254, 25.4),
        ("NONE", 5, 1000),
    ],
)
def test_a_plane_of_200_mm_is_cut_at_200_mm_and_the_sheet_has_its_size(
    blender, system, length, mm_per_unit
):
    scene = bpy.context.scene
    scene.unit_settings.system, scene.unit_settings.scale_length = system, length
    side = 200 / mm_per_unit
    bpy.ops.mesh.primitive_plane_add(size=side, location=(side, side, 0))
    bpy.ops.sheetstack.artwork_from_objects()
    bpy.ops.sheetstack.build()
    from sheetstack.addon.sheets.sheet_object import place_in_scene, sheets_of

    (sheet,) = sheets_of(scene).values()
    bpy.context.view_layer.update()
    size = np.ptp(corners(sheet), axis=0) * mm_per_unit
    np.testing.assert_allclose(size, (400, 500, 0.4), rtol=1e-5)
    place = np.array(place_in_scene(scene, "Plane", (10, 20))) * mm_per_unit
    np.testing.assert_allclose(place[:2], (10, 20), rtol=1e-5)
    # The opening: a square of 200 mm with its middle at (200, 200) mm.
    mesh = sheet.data
    inner = np.array([v.co for v in mesh.vertices]) * 1000
    inner = inner[(inner[:, 0] > 1) & (inner[:, 0] < 399) & (inner[:, 1] > 1) & (inner[:, 1] < 499)]
    np.testing.assert_allclose(inner[:, :2].min(axis=0), (100, 100), atol=0.01)
    np.testing.assert_allclose(inner[:, :2].max(axis=0), (300, 300), atol=0.01)
    scene.cursor.location = (30 / mm_per_unit, 40 / mm_per_unit, 0)
    bpy.ops.sheetstack.add_list_row(path="sheetstack.registration", name="holes_mm")
    np.testing.assert_allclose(scene.sheetstack.registration.holes_mm_rows[0].get_value(), (30, 40))


def test_a_unit_that_is_changed_later_counts_from_the_next_build(built):
    from sheetstack.addon.sheets.sheet_object import sheets_of

    sheet = sheets_of(built)["Base"]
    built.unit_settings.scale_length = 0.001
    sheet.parent.scale.z *= 2  # the user's own
    built.sheetstack.sheet.margin_mm = 6
    bpy.ops.sheetstack.build()
    bpy.context.view_layer.update()
    np.testing.assert_allclose(np.ptp(corners(sheet), axis=0), (100, 120.125, 6.6), rtol=1e-5)


def test_a_duplicate_of_a_sheet_is_the_users_and_the_stack_may_be_deleted(built):
    from sheetstack.addon.sheets.sheet_object import sheets_of

    sheet = sheets_of(built)["Base"]
    copy = sheet.copy()
    copy.data = sheet.data.copy()
    built.collection.objects.link(copy)
    vertices = len(copy.data.vertices)
    bpy.data.objects.remove(sheet.parent)
    built.sheetstack.registration.hole_diameter_mm = 5
    bpy.ops.sheetstack.build()
    assert sheets_of(built)["Base"] == sheet
    assert sheet.parent is not None
    assert len(copy.data.vertices) == vertices < len(sheet.data.vertices)
    stacks = [t for t in built.objects if t.sheetstack.kind == "STACK"]
    assert len(stacks) == 1
