"""Exporting for the machine: the library's files, and an edited sheet's from its own mesh."""

import ezdxf
import numpy as np
import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

import bmesh  # noqa: E402

from sheetstack.geometry.build import build  # noqa: E402
from sheetstack.geometry.export import FORMATS, export_build  # noqa: E402
from sheetstack.geometry.files.written_list import LIST  # noqa: E402
from sheetstack.geometry.job.load import load_job  # noqa: E402
from sheetstack.geometry.mesh.solid import extrude  # noqa: E402

from .mesh_arrays import coordinates  # noqa: E402


def cut_lengths(path):
    """Return the lengths of all closed lines of a DXF, read by ezdxf, in rising order."""
    lengths = []
    for line in ezdxf.readfile(path).modelspace().query("LWPOLYLINE"):
        points = np.array(line.get_points("xy"))
        if line.closed:
            points = np.vstack([points, points[:1]])
        lengths.append(float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum()))
    return sorted(lengths)


def replace_by_plate_with_hole(sheet, side):
    """Edit a sheet by hand: a plate of 100 x 100 x 3.3 mm with a square hole of ``side`` mm."""
    from shapely import box

    from sheetstack.addon.core.conversion import fill_mesh

    low = 50 - side / 2
    shape = box(0, 0, 100, 100).difference(box(low, low, low + side, low + side))
    fill_mesh(sheet.data, extrude(shape, 3.3))


def test_all_formats_are_those_of_the_library(built, job_path, tmp_path):
    expected = export_build(build(load_job(job_path)), FORMATS, tmp_path / "library", nested=True)
    here = tmp_path / "blender"
    done = bpy.ops.sheetstack.export_for_machine(
        directory=str(here), formats=set(FORMATS), nested=True
    )
    assert done == {"FINISHED"}
    assert {p.name for p in here.iterdir()} - {LIST} == {p.name for p in expected.files}
    for path in expected.files:
        if path.suffix in {".svg", ".stl", ".txt"}:
            assert (here / path.name).read_bytes() == path.read_bytes(), path.name
    assert "Local codes" in (here / "cautions.txt").read_text(encoding="utf-8")


def test_cut_paths_of_an_edited_sheet_are_of_the_edited_mesh(built, tmp_path):
    built.sheetstack.process.use_kerf_mm = True
    built.sheetstack.process.kerf_mm = 0.0
    bpy.ops.sheetstack.build()
    replace_by_plate_with_hole(bpy.data.objects["Sheet Light"], 20.0)
    folder = tmp_path / "cut"
    bpy.ops.sheetstack.export_for_machine(directory=str(folder), formats={"dxf", "stl"})
    # A square hole of 20 mm and an edge of 100 mm, by hand: 4 x 20 and 4 x 100.
    lengths = cut_lengths(folder / "02-light-cut.dxf")
    assert lengths == pytest.approx([80.0, 400.0], abs=0.01)
    solid = np.frombuffer((folder / "02-light-print.stl").read_bytes()[84:], "u1").reshape(-1, 50)
    corners = np.ascontiguousarray(solid[:, 12:48]).view("<f4").reshape(-1, 3)
    assert np.ptp(corners, axis=0) == pytest.approx([100, 100, 3.3], abs=1e-3)
    assert "Edits by hand of Light" in (folder / "estimate.txt").read_text(encoding="utf-8")


def test_an_edit_that_is_not_yet_left_is_exported_too(built, tmp_path):
    """In edit mode the mesh is in Blender's edit structures, not in the object."""
    sheet = bpy.data.objects["Sheet Light"]
    before = tmp_path / "before"
    bpy.ops.sheetstack.export_for_machine(directory=str(before), formats={"dxf"})
    bpy.context.view_layer.objects.active = sheet
    bpy.ops.object.mode_set(mode="EDIT")
    edited = bmesh.from_edit_mesh(sheet.data)
    edited.verts.ensure_lookup_table()
    right = coordinates(sheet.data)[:, 0].max()
    for vertex in edited.verts:
        if vertex.co.x == right:
            vertex.co.x += 0.01
    bmesh.update_edit_mesh(sheet.data)
    after = tmp_path / "after"
    bpy.ops.sheetstack.export_for_machine(directory=str(after), formats={"dxf"})
    bpy.ops.object.mode_set(mode="OBJECT")
    grown = (
        cut_lengths(after / "02-light-cut.dxf")[-1] - cut_lengths(before / "02-light-cut.dxf")[-1]
    )
    # A sheet 10 mm wider has an edge 20 mm longer.
    assert grown == pytest.approx(20.0, abs=0.01)


def test_a_sheet_with_nothing_left_is_one_sentence(built, tmp_path):
    bpy.data.objects["Sheet Light"].data.clear_geometry()
    with pytest.raises(RuntimeError, match="Sheet 'Light': The mesh covers no area"):
        bpy.ops.sheetstack.export_for_machine(directory=str(tmp_path / "no"), formats={"svg"})
    assert not (tmp_path / "no" / "02-light-cut.svg").exists()


def test_no_format_and_no_folder_are_one_sentence_each(built, tmp_path):
    with pytest.raises(RuntimeError, match="expected one or more of svg"):
        bpy.ops.sheetstack.export_for_machine(directory=str(tmp_path), formats=set())
    with pytest.raises(RuntimeError, match="Expected a folder"):
        bpy.ops.sheetstack.export_for_machine(formats={"svg"})
