"""3MF read by the consortium's own library in strict mode."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shapely import box

from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.files.three_mf import PrintedPart, three_mf_bytes
from sheetstack.geometry.mesh.solid import Mesh, extrude

lib3mf = pytest.importorskip("lib3mf", reason="lib3mf, the reference reader, is not installed")


def read_strictly(content: bytes):
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(bytearray(content))
    assert reader.GetWarningCount() == 0
    return model


def plate():
    sheet = box(0, 0, 210, 297)
    for x, y in [(20, 30), (80, 30), (140, 30), (20, 110)]:
        sheet = sheet.difference(box(x, y, x + 10, y + 20))
    return extrude(sheet, 0.25)


def objects(model):
    found = model.GetMeshObjects()
    while found.MoveNext():
        yield found.GetCurrentMeshObject()


def test_lib3mf_reads_it_in_strict_mode_as_manifold_millimetres():
    # 3MF Core Specification: each edge shared by exactly one other triangle in opposite order;
    # lib3mf's strict reader and IsManifoldAndOriented check that.
    parts = [PrintedPart("Mid-tone", "#ee8a34", plate()), PrintedPart('a<&>"é', "#14202b", plate())]
    model = read_strictly(three_mf_bytes(parts, title="Cat & bell <3"))
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    found = list(objects(model))
    assert [o.GetName() for o in found] == ["Mid-tone", 'a<&>"é']
    for thing in found:
        assert thing.IsManifoldAndOriented()
        assert thing.GetTriangleCount() == 92
        assert thing.GetVertexCount() == 40
    assert model.GetMetaDataGroup().GetMetaDataByKey("", "Title").GetValue() == "Cat & bell <3"


def test_colours_of_layers_are_base_materials():
    model = read_strictly(three_mf_bytes([PrintedPart("Shadow", "#14202b", plate())]))
    groups = model.GetBaseMaterialGroups()
    assert groups.MoveNext()
    group = groups.GetCurrentBaseMaterialGroup()
    colour = group.GetDisplayColor(group.GetAllPropertyIDs()[0])
    assert (colour.Red, colour.Green, colour.Blue, colour.Alpha) == (0x14, 0x20, 0x2B, 255)
    assert group.GetName(group.GetAllPropertyIDs()[0]) == "Shadow"


def test_lib3mf_and_trimesh_find_volume_and_places():
    parts = [
        PrintedPart("a", "#000000", plate()),
        PrintedPart("b", "#ffffff", plate(), (300.0, 0.0, 0.0)),
    ]
    model = read_strictly(three_mf_bytes(parts))
    for thing in objects(model):
        vertices = np.array([list(v.Coordinates) for v in thing.GetVertices()])
        faces = np.array([list(t.Indices) for t in thing.GetTriangleIndices()])
        mesh = trimesh.Trimesh(vertices, faces, process=False)
        assert mesh.volume == pytest.approx(15392.5, rel=1e-6)
        assert mesh.bounds == pytest.approx(np.array([[0, 0, 0], [210, 297, 0.25]]))
    items = model.GetBuildItems()
    shifts = []
    while items.MoveNext():
        shifts.append(list(items.GetCurrent().GetObjectTransform().Fields[3]))
    assert shifts == [[0, 0, 0], [300, 0, 0]]


def test_unused_vertices_are_left_out_and_bytes_do_not_change():
    mesh = plate()
    more = Mesh(np.concatenate([mesh.vertices, [[9.0, 9, 9]]]), mesh.faces.copy())
    one = three_mf_bytes([PrintedPart("a", "#000000", mesh)])
    assert three_mf_bytes([PrintedPart("a", "#000000", more)]) == one


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ([], "at least one part"),
        ([PrintedPart("x", "#000000", Mesh(np.zeros((0, 3)), np.zeros((0, 3), int)))], "no faces"),
        (
            [PrintedPart("x", "#000000", Mesh(np.full((3, 3), np.nan), np.array([[0, 1, 2]])))],
            "not a finite",
        ),
    ],
)
def test_what_cannot_be_a_3mf_is_refused(parts, words):
    with pytest.raises(GeometryError, match=words):
        three_mf_bytes(parts)
