"""Lists as rows: set at once or one by one, exact, and following objects."""

import json

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")


def test_a_list_set_at_once_comes_back_to_the_last_digit(opened):
    bridges = opened.sheetstack.bridges
    boxes = [[10.1, 20.123456, 30.0, 0.1], [1e-3, 2.0, 3.0, 4.0]]
    bridges.keep_free_mm = json.dumps(boxes)
    assert json.loads(bridges.keep_free_mm) == boxes
    areas = [[[0.1, 0.2], [10.7, 0.2], [5.0, 9.9]]]
    bridges.keep_free_areas_mm = json.dumps(areas)
    assert json.loads(bridges.keep_free_areas_mm) == areas
    from sheetstack.addon.job.scene_job import job_of

    job = job_of(opened)
    assert [list(box) for box in job.bridges.keep_free_mm] == boxes
    assert [[list(p) for p in area] for area in job.bridges.keep_free_areas_mm] == areas


def test_cans_are_swatches(blender):
    tracing = blender.context.scene.sheetstack_tracing
    tracing.cans = '["#a0522d", "#ffffff"]'
    assert json.loads(tracing.cans) == ["#a0522d", "#ffffff"]
    tracing.cans_rows[1].colour = (0, 0, 0)
    assert json.loads(tracing.cans) == ["#a0522d", "#000000"]


@pytest.mark.parametrize("name", ["keep_free_mm", "keep_free_areas_mm"])
def test_a_row_that_is_edited_makes_the_sheets_stale(built, name):
    state = built.sheetstack
    bpy.ops.sheetstack.add_list_row(path="sheetstack.bridges", name=name)
    state.is_stale = False
    row = getattr(state.bridges, f"{name}_rows")[0]
    point = row.points[0] if name == "keep_free_areas_mm" else row
    point.x_mm = 12.5
    assert state.is_stale
    assert "12.5" in getattr(state.bridges, name)


def test_entries_are_added_at_the_cursor_and_taken_away(opened):
    bridges = opened.sheetstack.bridges
    opened.cursor.location = (0.030, 0.0405, 0)
    for _ in range(2):
        bpy.ops.sheetstack.add_list_row(path="sheetstack.bridges", name="keep_free_mm")
    bridges.keep_free_mm_rows[0].width_mm = 7
    assert json.loads(bridges.keep_free_mm) == [[30, 40.5, 7, 20], [30, 40.5, 20, 20]]
    bpy.ops.sheetstack.remove_list_row(path="sheetstack.bridges", name="keep_free_mm", index=0)
    assert json.loads(bridges.keep_free_mm) == [[30, 40.5, 20, 20]]
    layer = opened.sheetstack.layers[1]
    bpy.ops.sheetstack.add_list_row(path=layer.path_from_id(), name="keep_mm")
    assert json.loads(layer.keep_mm) == [[30, 40.5]]
    assert json.loads(opened.sheetstack.layers[0].keep_mm) == []


def test_a_place_follows_the_object_that_it_was_taken_from(opened):
    bpy.ops.object.empty_add(location=(0.02, 0.03, 0))
    thing = bpy.context.object
    assert bpy.ops.sheetstack.places_from_selected(target="HOLES") == {"FINISHED"}
    registration = opened.sheetstack.registration
    assert json.loads(registration.holes_mm) == [[20, 30]]
    opened.sheetstack.is_stale = False
    thing.location.x = 0.05
    bpy.context.view_layer.update()
    assert json.loads(registration.holes_mm) == [[50, 30]]
    assert opened.sheetstack.is_stale
    bpy.data.objects.remove(thing)
    bpy.context.view_layer.update()
    assert json.loads(registration.holes_mm) == [[50, 30]]


def test_a_list_of_an_older_file_becomes_rows(opened):
    from sheetstack.addon.core.blender_versions import stored_properties
    from sheetstack.addon.job.file_upgrade import upgrade

    state = opened.sheetstack
    stored_properties(state.layers[0])["mend_mm"] = "[[1.5, 2.5]]"
    state.format = 2
    upgrade(state)
    assert json.loads(state.layers[0].mend_mm) == [[1.5, 2.5]]
    assert state.format == 3


def test_values_in_force_are_told(opened):
    from sheetstack.addon.job.in_force import values_in_force

    told = values_in_force(opened)
    # The rows of birch plywood and of the laser in the tables that come along.
    assert told("kerf_mm") == "0.15 mm (usual)"
    assert told("deflection_mm") == "5 mm (usual)"
    assert told("pixel_mm") == "as usual"


def test_each_choice_says_what_it_means(blender):
    from sheetstack.addon.job import job_property
    from sheetstack.addon.job.job_property import SECTION_GROUPS

    groups = {"material": job_property.SHEETSTACK_PG_material, **SECTION_GROUPS}
    for key, group in groups.items():
        for prop in group.bl_rna.properties:
            if prop.type == "ENUM":
                told = [item.description for item in prop.enum_items]
                assert len(set(told)) == len(told), (key, prop.identifier)
