"""Islands of any mesh, also one edited by hand, are found and their faces selected."""

import numpy as np
import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")
bmesh = pytest.importorskip("bmesh", reason="Blender's Python module is not installed")


def make_active(thing):
    bpy.context.view_layer.objects.active = thing
    thing.select_set(True)


def selected_faces(thing):
    """Return selected faces' positions as edit mode sees them."""
    assert thing.mode == "EDIT"
    return [face.index for face in bmesh.from_edit_mesh(thing.data).faces if face.select]


def grid_object(name="Plate", scale=1.0):
    """Make a plate of 5 x 5 quads of 10 mm, flat and open."""
    edge = np.arange(6) * 0.01
    vertices = [(x, y, 0.0) for y in edge for x in edge]
    faces = [
        (6 * j + i, 6 * j + i + 1, 6 * j + i + 7, 6 * j + i + 6) for j in range(5) for i in range(5)
    ]
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(vertices, [], faces)
    thing = bpy.data.objects.new(name, mesh)
    thing.scale = (scale,) * 3
    bpy.context.scene.collection.objects.link(thing)
    bpy.context.view_layer.update()
    make_active(thing)
    return thing


def delete_faces(thing, numbers):
    """Delete faces as an artist does, by bmesh."""
    edited = bmesh.new()
    edited.from_mesh(thing.data)
    edited.faces.ensure_lookup_table()
    bmesh.ops.delete(edited, geom=[edited.faces[n] for n in numbers], context="FACES_ONLY")
    edited.to_mesh(thing.data)
    edited.free()


def found():
    return bpy.context.window_manager.operators


def test_built_sheet_is_one_piece(built):
    make_active(bpy.data.objects["Sheet Base"])
    assert bpy.ops.sheetstack.find_islands() == {"FINISHED"}
    assert bpy.data.objects["Sheet Base"].mode == "OBJECT"


def test_cutting_the_bridges_by_hand_makes_the_island_show(built, job_path):
    """A ring of faces is deleted round the island of the sheet: what is inside is selected."""
    sheet = bpy.data.objects["Sheet Base"]
    make_active(sheet)
    bpy.ops.object.mode_set(mode="EDIT")
    edited = bmesh.from_edit_mesh(sheet.data)
    # The page lies centred: the island spans 35 to 65 mm in x and 45.06 to 75.06 in y.
    middle, half = np.array((0.05, 0.0600625)), 0.015
    cut = [
        face
        for face in edited.faces
        if any(abs(v.co.x - middle[0]) > half + 1e-6 or abs(v.co.y - middle[1]) > half + 1e-6
               for v in face.verts)
        and any(abs(v.co.x - middle[0]) <= half + 1e-6 and abs(v.co.y - middle[1]) <= half + 1e-6
                for v in face.verts)
    ]  # fmt: skip
    bmesh.ops.delete(edited, geom=cut, context="FACES")
    bmesh.update_edit_mesh(sheet.data)
    assert bpy.ops.sheetstack.find_islands() == {"FINISHED"}
    edited = bmesh.from_edit_mesh(sheet.data)
    chosen = [face for face in edited.faces if face.select]
    assert chosen
    for face in edited.faces:
        middle_of = np.array(face.calc_center_median()[:2])
        inside = (np.abs(middle_of - middle) < half).all()
        assert face.select == inside
    assert bpy.context.scene.tool_settings.mesh_select_mode[:] == (False, False, True)


def test_island_in_a_hand_made_plate_is_selected_from_object_mode():
    plate = grid_object()
    delete_faces(plate, [6, 7, 8, 11, 13, 16, 17, 18])  # all round the middle quad, number 12
    assert bpy.ops.sheetstack.find_islands() == {"FINISHED"}
    plate.update_from_editmode()
    assert selected_faces(plate) == [n for n in range(17) if plate.data.polygons[n].select]
    centre = plate.data.polygons[selected_faces(plate)[0]].center
    assert tuple(centre) == pytest.approx((0.025, 0.025, 0))
    assert len(selected_faces(plate)) == 1


def test_faces_that_touch_at_a_corner_only_are_an_island():
    plate = grid_object()
    delete_faces(plate, [7, 11, 13, 17])  # the middle quad touches four others at its corners
    bpy.ops.sheetstack.find_islands()
    assert len(selected_faces(plate)) == 1


def test_selection_without_entering_edit_mode():
    plate = grid_object()
    delete_faces(plate, [6, 7, 8, 11, 13, 16, 17, 18])
    bpy.ops.sheetstack.find_islands(enter_edit_mode=False)
    assert plate.mode == "OBJECT"
    chosen = [p.index for p in plate.data.polygons if p.select]
    assert len(chosen) == 1
    corners = set(plate.data.polygons[chosen[0]].vertices)
    assert {v.index for v in plate.data.vertices if v.select} == corners
    assert sum(e.select for e in plate.data.edges) == 4


def test_the_report_counts_and_measures_in_millimetres_at_the_objects_scale(capfd):
    plate = grid_object(scale=2.0)
    delete_faces(plate, [6, 7, 8, 11, 13, 16, 17, 18])
    bpy.ops.sheetstack.find_islands()
    said = capfd.readouterr().out
    assert "1 island" in said
    assert "400.0 mm²" in said  # 10 mm x 10 mm at twice the scale
    bpy.ops.object.mode_set(mode="OBJECT")


def test_islands_agree_with_the_library_on_random_plates():
    from sheetstack.geometry.mesh.islands import find_pieces
    from sheetstack.geometry.mesh.solid import Mesh

    rng = np.random.default_rng(3)
    for _ in range(10):
        plate = grid_object()
        delete_faces(plate, rng.choice(25, 12, replace=False).tolist())
        quads = np.array([p.vertices[:] for p in plate.data.polygons])
        faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
        places = np.array([v.co[:] for v in plate.data.vertices], float) * 1000
        pieces = find_pieces(Mesh(places, faces))
        bpy.ops.sheetstack.find_islands(enter_edit_mode=False)
        expected = {int(f) % len(quads) for i in pieces.islands for f in i.faces}
        assert {p.index for p in plate.data.polygons if p.select} == expected


def test_a_mesh_without_faces_is_one_sentence():
    thing = bpy.data.objects.new("Bare", bpy.data.meshes.new("Bare"))
    bpy.context.scene.collection.objects.link(thing)
    make_active(thing)
    with pytest.raises(RuntimeError, match="Bare: The mesh has no faces"):
        bpy.ops.sheetstack.find_islands()


def test_without_a_mesh_the_button_says_why():
    assert not bpy.ops.sheetstack.find_islands.poll()
    with pytest.raises(RuntimeError, match="poll"):
        bpy.ops.sheetstack.find_islands()
