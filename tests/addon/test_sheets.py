"""Built sheets in the scene: equal to the library's, true to size, arranged, never in the way."""

import threading

import numpy as np
import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.job.scene_job import job_of  # noqa: E402
from sheetstack.geometry.build import build  # noqa: E402
from sheetstack.geometry.files.stl import stl_bytes  # noqa: E402
from sheetstack.geometry.files.written_list import LIST  # noqa: E402
from sheetstack.geometry.job.load import load_job  # noqa: E402

from .mesh_arrays import coordinates, corners  # noqa: E402


def test_operator_and_library_make_equal_meshes(built, job_path):
    for layer in build(load_job(job_path)).layers:
        mesh = bpy.data.objects[f"Sheet {layer.settings.name}"].data
        assert np.array_equal(coordinates(mesh), (layer.mesh.vertices * 0.001).astype(np.float32))
        assert np.array_equal(corners(mesh), layer.mesh.faces)
        assert not mesh.validate(), "Blender found nothing to mend"


def test_edges_told_to_blender_are_those_that_it_finds(blender, job_path, monkeypatch):
    from sheetstack.addon.core import conversion

    layer, *_ = build(load_job(job_path)).layers

    def filled():
        mesh = blender.data.meshes.new("filled")
        conversion.fill_mesh(mesh, conversion.columns_of(layer.mesh))
        assert not mesh.validate(verbose=True)  # nothing had to be corrected
        edges = sorted(sorted(edge.vertices) for edge in mesh.edges)
        ends = [sorted(mesh.edges[loop.edge_index].vertices) for loop in mesh.loops]
        return edges, ends, [tuple(p.vertices) for p in mesh.polygons]

    found = filled()
    monkeypatch.setattr(conversion, "MANY_FACES", 0)
    assert filled() == found


def test_sheets_are_of_true_size(built):
    for name in ("Sheet Base", "Sheet Light"):
        size = np.array(bpy.data.objects[name].dimensions) * 1000
        assert size == pytest.approx([100, 120.125, 3.3], rel=1e-6)


def test_faces_are_flat_and_carry_a_material_of_the_layers_colour(built):
    sheet = bpy.data.objects["Sheet Base"]
    assert not any(polygon.use_smooth for polygon in sheet.data.polygons)
    # sRGB #a0522d in linear light by the curve of IEC 61966-2-1, worked out by hand.
    expected = [((c / 255 + 0.055) / 1.055) ** 2.4 for c in (0xA0, 0x52, 0x2D)]
    assert list(sheet.data.materials[0].diffuse_color)[:3] == pytest.approx(expected, rel=1e-5)


def test_spacing_moves_the_sheets_at_once(built):
    base, light = bpy.data.objects["Sheet Base"], bpy.data.objects["Sheet Light"]
    built.sheetstack.spacing_mm = 10
    assert (base.location.z, light.location.z) == (0, pytest.approx(0.0133))
    built.sheetstack.spacing_mm = 0
    assert light.location.z == pytest.approx(0.0033)
    built.sheetstack.aside = 1
    assert tuple(light.location) == pytest.approx((0.11, 0, 0))


def test_a_hidden_layers_sheet_is_hidden_and_stays_hidden_when_built_again(built):
    built.sheetstack.layers["Light"].is_shown = False
    bpy.ops.sheetstack.build()
    assert bpy.data.objects["Sheet Light"].hide_viewport
    assert not bpy.data.objects["Sheet Base"].hide_viewport


def test_building_again_makes_no_second_set(built):
    names = sorted(o.name for o in bpy.data.objects)
    counts = len(bpy.data.meshes), len(bpy.data.materials), len(bpy.data.texts)
    built.sheetstack.sheet.thickness_mm = 6
    assert built.sheetstack.is_stale
    bpy.ops.sheetstack.build()
    assert not built.sheetstack.is_stale
    assert sorted(o.name for o in bpy.data.objects) == names
    assert (len(bpy.data.meshes), len(bpy.data.materials), len(bpy.data.texts)) == counts
    assert bpy.data.objects["Sheet Base"].dimensions.z == pytest.approx(0.006)


def test_removed_and_moved_layers_are_followed(built):
    built.sheetstack.active_layer = 0
    bpy.ops.sheetstack.move_layer(direction="DOWN")
    bpy.ops.sheetstack.build()
    assert bpy.data.objects["Sheet Base"].location.z > bpy.data.objects["Sheet Light"].location.z
    bpy.ops.sheetstack.remove_layer()
    bpy.ops.sheetstack.build()
    assert "Sheet Base" not in bpy.data.objects
    assert "Sheet Light" in bpy.data.objects


def test_layers_are_added_and_doubled_under_names_of_their_own(opened):
    state = opened.sheetstack
    state.layers[0].scale = 2
    state.active_layer = 0
    bpy.ops.sheetstack.duplicate_layer()
    bpy.ops.sheetstack.add_layer(filepath="/somewhere/Base.dxf")
    assert [row.name for row in state.layers] == ["Base", "Base 2", "Light", "Base 3"]
    assert state.layers[1].scale == 2
    assert job_of(opened).layers[3].artwork == "/somewhere/Base.dxf"
    with pytest.raises(RuntimeError, match=r"expected artwork ending in .*\.svg"):
        bpy.ops.sheetstack.add_layer(filepath="/somewhere/Base.doc")


def test_edits_by_hand_are_not_overwritten(built):
    sheet = bpy.data.objects["Sheet Base"]
    sheet.data.vertices[0].co.x += 0.001
    edited = coordinates(sheet.data)
    bpy.ops.sheetstack.build()
    kept = bpy.data.objects["Sheet Base edited by hand"]
    assert np.array_equal(coordinates(kept.data), edited)
    assert not np.array_equal(coordinates(bpy.data.objects["Sheet Base"].data), edited)


def test_stl_files_are_those_of_the_library(built, job_path, tmp_path):
    assert bpy.ops.sheetstack.export_stl(directory=str(tmp_path)) == {"FINISHED"}
    for layer in build(load_job(job_path)).layers:
        name = layer.settings.name
        expected = stl_bytes(layer.mesh.vertices, layer.mesh.faces, f"Sheetstack: {name}, mm")
        assert (tmp_path / f"{name.lower()}.stl").read_bytes() == expected


def test_stl_of_an_edited_sheet_is_the_edited_mesh(built, tmp_path):
    sheet = bpy.data.objects["Sheet Light"]
    sheet.data.vertices[0].co.x -= 0.05
    assert bpy.ops.sheetstack.export_stl(directory=str(tmp_path)) == {"FINISHED"}
    expected = stl_bytes(
        coordinates(sheet.data).astype(float) * 1000, corners(sheet.data), "Sheetstack: Light, mm"
    )
    assert (tmp_path / "light.stl").read_bytes() == expected


def test_stl_of_a_sheet_with_a_modifier_is_what_is_seen(built, tmp_path):
    import trimesh

    sheet = bpy.data.objects["Sheet Light"]
    modifier = sheet.modifiers.new("Row", "ARRAY")
    modifier.count, modifier.relative_offset_displace = 2, (1.5, 0, 0)
    assert bpy.ops.sheetstack.export_stl(directory=str(tmp_path)) == {"FINISHED"}
    seen = trimesh.load(tmp_path / "light.stl")
    assert seen.extents[0] == pytest.approx(2.5 * 100, rel=1e-5)
    modifier.show_viewport = False
    assert bpy.ops.sheetstack.export_stl(directory=str(tmp_path)) == {"FINISHED"}
    assert trimesh.load(tmp_path / "light.stl").extents[0] == pytest.approx(100, rel=1e-6)


def test_stl_to_a_folder_that_cannot_be_written_is_one_sentence(built, tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(RuntimeError, match=r"base\.stl"):
        bpy.ops.sheetstack.export_stl(directory=str(tmp_path / "file"))


def test_the_users_scene_stays_as_it_was(blender, job_path):
    mesh = bpy.data.meshes.new("Mine")
    mesh.from_pydata([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [], [(0, 1, 2)])
    mine = bpy.data.objects.new("Mine", mesh)
    scene = bpy.context.scene
    scene.collection.objects.link(mine)
    mine.location = (1, 2, 3)
    scene.unit_settings.system = "IMPERIAL"
    scene.unit_settings.scale_length = 0.01
    scene.world = bpy.data.worlds.new("My world")
    bpy.data.texts.new("Base.svg").from_string("my own text")

    def snapshot():
        return (
            coordinates(mesh).tolist(),
            tuple(mine.location),
            mine.select_get(),
            bpy.context.view_layer.objects.active,
            scene.unit_settings.system,
            scene.unit_settings.scale_length,
            scene.world.name,
            bpy.data.texts["Base.svg"].as_string(),
            {
                p.identifier: str(getattr(scene.render, p.identifier))
                for p in scene.render.bl_rna.properties
            },
            [c.name for c in scene.collection.objects],
        )

    before = snapshot()
    bpy.ops.sheetstack.open_job(filepath=str(job_path))
    bpy.ops.sheetstack.build()
    bpy.ops.sheetstack.show_painted(pixels=64)
    scene.sheetstack.spacing_mm = 5
    assert snapshot() == before


def test_a_stopped_build_leaves_the_scene_as_it_was(opened, monkeypatch):
    """The work as the modal operator runs it, stopped at its first report."""
    from sheetstack.addon.core.long_work import Running
    from sheetstack.addon.sheets.last_build import builder
    from sheetstack.geometry.errors import Cancelled

    before = [len(getattr(bpy.data, kind)) for kind in ("objects", "meshes", "texts", "materials")]
    work = Running("Build Sheets", builder(opened, job_of(opened)))
    work.stop.set()
    work.start()
    work.thread.join(30)
    assert work.ended
    assert isinstance(work.failure, Cancelled)
    after = [len(getattr(bpy.data, kind)) for kind in ("objects", "meshes", "texts", "materials")]
    assert after == before


def test_work_runs_in_a_thread_of_its_own_and_reports(opened):
    from sheetstack.addon.core.long_work import Running
    from sheetstack.addon.sheets.last_build import builder

    seen = []
    build_it = builder(opened, job_of(opened))

    def watched(progress):
        seen.append(threading.current_thread())
        return build_it(progress)

    work = Running("Build Sheets", watched)
    work.start()
    work.thread.join(60)
    assert seen == [work.thread]
    assert work.failure is None
    assert [layer.settings.name for layer in work.result.layers] == ["Base", "Light"]
    assert 0 < work.share <= 1


def test_a_cancelled_dialogue_stops_nobody_elses_work(opened):
    """Blender calls ``cancel`` when a folder is asked for and Cancel is pressed."""
    from sheetstack.addon.core import long_work

    class Asking(long_work.LongWork):
        """An operator whose own work has not begun."""

    work = long_work.Running("Build Sheets", lambda progress: None)
    long_work._running[:] = [work]
    Asking().cancel(bpy.context)
    assert long_work.running() is work
    assert not work.stop.is_set()


def test_no_second_work_begins_while_one_is_under_way(opened):
    from sheetstack.addon.core import long_work

    bpy.ops.sheetstack.build()
    names = ("build", "section", "show_painted", "mockup", "write_files", "export_for_machine")
    operators = {name: getattr(bpy.ops.sheetstack, name) for name in names}
    assert all(operator.poll() for operator in operators.values())
    long_work._running[:] = [long_work.Running("Build Sheets", lambda progress: None)]
    try:
        assert [name for name, operator in operators.items() if operator.poll()] == []
    finally:
        long_work._running.clear()


def test_undo_and_redo_are_right_after_each_operator(opened):
    def state():
        s = bpy.context.scene.sheetstack
        return (
            [row.name for row in s.layers],
            s.active_layer,
            s.sheet.material,
            sorted((o.name, tuple(o.location), len(o.data.vertices) if o.data else 0)
                   for o in bpy.context.scene.objects),
            [f.message for f in s.findings],
        )  # fmt: skip

    steps = [
        lambda: bpy.ops.sheetstack.build(),
        lambda: bpy.ops.sheetstack.duplicate_layer(),
        lambda: bpy.ops.sheetstack.move_layer(direction="DOWN"),
        lambda: bpy.ops.sheetstack.set_material(key="card"),
        lambda: bpy.ops.sheetstack.remove_layer(),
        lambda: bpy.ops.sheetstack.own_material(),
        lambda: bpy.ops.sheetstack.show_painted(pixels=64),
        lambda: bpy.ops.sheetstack.build(),
    ]
    bpy.ops.ed.undo_push(message="opened")
    states = [state()]
    for step in steps:
        assert step() == {"FINISHED"}
        bpy.ops.ed.undo_push(message="step")
        states.append(state())
    for expected in reversed(states[:-1]):
        assert bpy.ops.ed.undo() == {"FINISHED"}
        assert state() == expected
    for expected in states[1:]:
        assert bpy.ops.ed.redo() == {"FINISHED"}
        assert state() == expected


def test_painted_plane_shows_the_librarys_picture_at_true_size(built, job_path):
    from sheetstack.geometry.paint.compositing import painted_picture

    assert bpy.ops.sheetstack.show_painted(pixels=96) == {"FINISHED"}
    plane = bpy.data.objects["Painted picture"]
    assert tuple(plane.dimensions)[:2] == pytest.approx((0.1, 0.120125), rel=1e-6)
    image = next(n.image for n in plane.data.materials[0].node_tree.nodes if n.type == "TEX_IMAGE")
    expected = painted_picture(build(load_job(job_path)), 96)
    columns, rows = image.size
    pixels = np.array(image.pixels[:]).reshape(rows, columns, 4)[::-1, :, :3]
    assert np.array_equal(np.rint(pixels * 255).astype(np.uint8), expected)
    again = len(bpy.data.images), len(bpy.data.objects)
    bpy.ops.sheetstack.show_painted(pixels=64)
    assert (len(bpy.data.images), len(bpy.data.objects)) == again


def test_findings_are_listed_and_a_click_goes_to_the_place(built):
    from sheetstack.addon.sheets.sheet_object import put_findings
    from sheetstack.geometry.finding import Finding, Severity

    put_findings(
        built,
        (
            Finding("a.b", Severity.NOTE, "Small.", "Base"),
            Finding("c.d", Severity.SPOILS, "Large.", "Light", (40.0, 30.0)),
        ),
    )
    state = built.sheetstack
    assert [row.severity for row in state.findings] == ["SPOILS", "NOTE"]
    built.sheetstack.spacing_mm = 10
    bpy.context.view_layer.update()
    state.active_finding = 0
    views = [
        area.spaces.active.region_3d
        for window in bpy.context.window_manager.windows
        for area in window.screen.areas
        if area.type == "VIEW_3D"
    ]
    for view in views:
        assert tuple(view.view_location) == pytest.approx((0.04, 0.03, 0.0166), abs=1e-6)
    assert bpy.ops.sheetstack.go_to_finding.poll()
    state.active_finding = 1
    assert not bpy.ops.sheetstack.go_to_finding.poll()


def test_signs_stand_where_the_islands_and_bridges_are(built, job_path):
    from sheetstack.addon.sheets.viewport_marks import signs_of

    layers = build(load_job(job_path)).layers
    bpy.context.view_layer.update()
    signs = list(signs_of(built))
    islands = [place for kind, place, _ in signs if kind == "island"]
    assert np.array(islands) * 1000 == pytest.approx(
        np.array([(*layers[0].islands[0].place, 3.3)]), abs=1e-3
    )
    assert sum(kind == "bridge" for kind, _, _ in signs) == sum(
        b.kind == "bridge" for layer in layers for b in layer.bridges
    )
    built.sheetstack.show_islands = False
    built.sheetstack.layers["Base"].is_shown = False
    assert not [kind for kind, _, _ in signs_of(built) if kind in {"island", "bridge"}]


def test_all_files_are_those_of_the_command_line(built, job_path, tmp_path):
    from sheetstack.geometry.report.build_files import write_outputs

    expected = tmp_path / "library"
    names = {p.name for p in write_outputs(build(load_job(job_path)), expected).files}
    here = tmp_path / "blender"
    assert bpy.ops.sheetstack.write_files(directory=str(here)) == {"FINISHED"}
    assert {p.name for p in here.iterdir()} - {LIST} == names
    for name in names:
        if name.endswith((".stl", ".svg")):
            assert (here / name).read_bytes() == (expected / name).read_bytes()
