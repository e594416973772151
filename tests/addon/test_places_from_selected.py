"""Places from selected objects: boxes free of bridges and holes, in the sheet's frame."""

import numpy as np
import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.job.scene_job import job_of  # noqa: E402

from .mesh_arrays import coordinates  # noqa: E402


def add_empty(x, y):
    thing = bpy.data.objects.new("Here", None)
    thing.location = (x, y, 0.0)
    bpy.context.scene.collection.objects.link(thing)
    return thing


def add_plane(x, y, width, height):
    mesh = bpy.data.meshes.new("Face")
    corners = [(0, 0, 0), (width, 0, 0), (width, height, 0), (0, height, 0)]
    mesh.from_pydata(corners, [], [(0, 1, 2, 3)])
    thing = bpy.data.objects.new("Face", mesh)
    thing.location = (x, y, 0.5)
    bpy.context.scene.collection.objects.link(thing)
    return thing


def select(*things):
    for thing in bpy.context.scene.objects:
        thing.select_set(thing in things)
    bpy.context.view_layer.update()


def test_empties_become_holes_on_the_sheet(built):
    built.sheetstack.registration.hole_diameter_mm = 5
    select(add_empty(0.012, 0.02), add_empty(0.08, 0.1))
    assert bpy.ops.sheetstack.places_from_selected(target="HOLES") == {"FINISHED"}
    expected = [pytest.approx((12, 20)), pytest.approx((80, 100))]
    assert list(job_of(built).registration.holes_mm) == expected
    bpy.ops.sheetstack.build()
    # The walls of a hole stand 2.5 mm round its centre.
    places = coordinates(bpy.data.objects["Sheet Light"].data)[:, :2] * 1000
    distances = np.linalg.norm(places - [80, 100], axis=1)
    assert distances.min() == pytest.approx(2.5, abs=0.01)
    select(add_empty(0.05, 0.01))
    bpy.ops.sheetstack.places_from_selected(target="HOLES", replace=True)
    assert job_of(built).registration.holes_mm == (pytest.approx((50, 10)),)


def test_holes_off_the_sheet_are_refused_and_nothing_changes(built):
    built.sheetstack.registration.hole_diameter_mm = 5
    select(add_empty(0.5, 0.02))
    with pytest.raises(RuntimeError, match="expected a whole hole on the sheet"):
        bpy.ops.sheetstack.places_from_selected(target="HOLES")
    assert built.sheetstack.registration.holes_mm == "[]"


def test_objects_become_boxes_in_the_frame_of_a_moved_sheet(built):
    """The stack stands elsewhere: the boxes follow the sheet, not the world."""
    stack = next(o for o in bpy.data.objects if o.sheetstack.kind == "STACK")
    stack.location = (1.0, 2.0, 0.0)
    select(add_plane(1.01, 2.03, 0.02, 0.04))
    assert bpy.ops.sheetstack.places_from_selected(target="KEEP_FREE") == {"FINISHED"}
    assert job_of(built).bridges.keep_free_mm == (pytest.approx((10, 30, 20, 40), abs=1e-3),)


def test_bridges_keep_out_of_the_box(built):
    places = [b.line_mm for b in _bridges(built)]
    assert places
    # The island stands in the middle of the drawing; free the half that the first bridge is in.
    x = sum(p[0] for p in places[0]) / len(places[0])
    y = sum(p[1] for p in places[0]) / len(places[0])
    select(add_plane((x - 4) / 1000, (y - 4) / 1000, 0.008, 0.008))
    bpy.ops.sheetstack.places_from_selected(target="KEEP_FREE")
    bpy.ops.sheetstack.build()
    for bridge in _bridges(built):
        for px, py in bridge.line_mm:
            assert not (x - 4 < px < x + 4 and y - 4 < py < y + 4)


def _bridges(scene):
    from sheetstack.addon.bridges.hand_bridges import bridges_on

    return bridges_on(scene, "Base")


def test_sheets_are_no_places_and_flat_things_no_boxes(built):
    select(bpy.data.objects["Sheet Base"])
    assert not bpy.ops.sheetstack.places_from_selected.poll()
    flat = add_plane(0.01, 0.01, 0.0, 0.02)
    select(flat)
    with pytest.raises(RuntimeError, match="Expected objects with an area"):
        bpy.ops.sheetstack.places_from_selected(target="KEEP_FREE")
