"""Solids as they lie on disk, judged by trimesh, manifold3d, lib3mf and admesh."""

from __future__ import annotations

import json
import shutil
import subprocess
import tempfile
import zipfile
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import Point, affinity, box

from sheetstack.geometry import export as exporting
from sheetstack.geometry.export import export_build
from sheetstack.geometry.files.stl import FACET, HEADER
from sheetstack.geometry.report import build_files
from sheetstack.geometry.report.build_files import write_outputs
from sheetstack.geometry.tolerance import MERGE

from ..small_builds import NESTED, RING, built

lib3mf = pytest.importorskip("lib3mf", reason="lib3mf, the reference reader, is not installed")


def near_shapes(seed: int) -> shapely.Geometry:
    """Return openings whose edges and corners lie from 1e-12 to 1e-6 mm apart, turned."""
    rng = np.random.default_rng(seed)

    def gap() -> float:
        return float(10.0 ** rng.uniform(-12, -6) * rng.choice([-1, 1]))

    corner = box(45 + gap(), 45 + gap(), 60, 60)
    parts = [
        box(20, 20, 45, 45),
        corner,
        box(45 + gap(), 20 + gap(), 70, 45 + gap()),
        affinity.rotate(box(70 + gap(), 30, 80, 42), 1e-9, origin=(70, 30)),
        Point(30, 70).buffer(10).difference(Point(30 + gap(), 70).buffer(5)),
    ]
    chosen = [part for part in parts if rng.random() < 0.7] or [corner]
    # Not united: as a drawing has them, one drawn over or beside the other.
    turn = float(rng.choice([0.0, rng.uniform(0, 5)]))
    return affinity.rotate(shapely.union_all(chosen), turn, origin=(50, 50))


def judge_stl(path: Path, volume: float, euler: int) -> None:
    loaded = trimesh.load_mesh(path, process=False)
    corners = np.asarray(loaded.triangles, np.float64).reshape(-1, 3)
    for points in (corners, np.rint(corners / MERGE) * MERGE):
        unique, index = np.unique(points, axis=0, return_inverse=True)
        faces = index.reshape(-1, 3)
        faces = faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)]
        mesh = trimesh.Trimesh(unique, faces, process=False)
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        assert mesh.body_count == 1
        assert mesh.euler_number == euler
        assert mesh.volume == pytest.approx(volume, rel=1e-5)
        solid = manifold3d.Manifold(
            manifold3d.Mesh(unique.astype(np.float32), faces.astype(np.uint32))
        )
        assert solid.status() == manifold3d.Error.NoError
        assert solid.volume() == pytest.approx(volume, rel=1e-4)
    if shutil.which("admesh"):
        told = subprocess.run(
            ["admesh", str(path)], capture_output=True, check=True, text=True, errors="replace"
        ).stdout
        for row in ("Total disconnected facets", "Backwards edges", "Degenerate facets"):
            (line,) = [text for text in told.splitlines() if text.startswith(row)]
            assert line.split(":")[1].split()[0] == "0", line


def expected(layer) -> tuple[float, int]:
    sheet = layer.sheet
    openings = sum(len(part.interiors) for part in sheet.shape.geoms)
    return sheet.shape.area * sheet.thickness, 2 * (len(sheet.shape.geoms) - openings)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
@given(st.integers(0, 2**32 - 1))
def test_files_of_shapes_with_near_edges_are_sound_and_the_report_says_so(seed):
    with tempfile.TemporaryDirectory() as name:
        outputs = write_outputs(built({"Near": near_shapes(seed)}), name)
        (layer,) = outputs.build.layers
        judge_stl(Path(name) / "01-near.stl", *expected(layer))
        (told,) = json.loads((Path(name) / "report.json").read_text("utf-8"))["layers"]
        assert told["watertight"]
        assert told["oriented"]
        assert told["euler"] == expected(layer)[1]


@pytest.mark.parametrize("seed", range(6))
def test_lib3mf_finds_every_solid_of_a_bed_manifold_and_oriented(seed, tmp_path):
    # 3MF Core Specification 1.3, 4.1: every edge shared by two triangles in opposite directions.
    build = built({"Near": near_shapes(seed), "Nested": NESTED, "Ring": RING})
    export = export_build(build, ["3mf", "stl"], tmp_path)
    assert "solid.leaks" not in {finding.code for finding in export.findings}
    found = 0
    for path in tmp_path.glob("*.3mf"):
        model = lib3mf.get_wrapper().CreateModel()
        model.QueryReader("3mf").ReadFromFile(str(path))
        meshes = model.GetMeshObjects()
        while meshes.MoveNext():
            mesh = meshes.GetCurrentMeshObject()
            assert mesh.IsManifoldAndOriented()
            found += 1
    assert found == 3
    for path in tmp_path.glob("*.stl"):
        mesh = trimesh.load_mesh(path)
        assert mesh.is_watertight
        assert mesh.volume > 0


def test_the_verdict_is_on_the_file_and_not_on_the_mesh(monkeypatch, tmp_path):
    # A writer that loses the last facet: the mesh is sound, what lies on disk is not.
    write = build_files.write_stl

    def losing(path, vertices, faces, header):
        write(path, vertices, faces[:-1], header)

    monkeypatch.setattr(build_files, "write_stl", losing)
    build = built({"Ring": RING})
    outputs = write_outputs(build, tmp_path)
    assert not build.layers[0].fault
    assert outputs.build.layers[0].fault == "is not closed"
    assert [f.code for f in outputs.build.findings].count("solid.leaks") == 1
    (told,) = json.loads((tmp_path / "report.json").read_text("utf-8"))["layers"]
    assert told["watertight"] is False
    assert "NOT CLOSED" in (tmp_path / "report.html").read_text("utf-8")


def test_a_3mf_that_was_altered_is_told(monkeypatch, tmp_path):
    write = exporting.write_three_mf

    def shrinking(path, parts, *, title):
        write(path, parts, title=title)
        shutil.copy(path, f"{path}.whole")
        with zipfile.ZipFile(f"{path}.whole") as whole, zipfile.ZipFile(path, "w") as less:
            for name in whole.namelist():
                text = whole.read(name).decode()
                less.writestr(name, text.replace('z="0.349999994"', 'z="0.2"'))
        Path(f"{path}.whole").unlink()

    monkeypatch.setattr(exporting, "write_three_mf", shrinking)
    export = export_build(built({"Ring": RING}), ["3mf"], tmp_path)
    assert [f.code for f in export.findings].count("solid.leaks") == 1


def test_no_corner_of_a_sheet_is_merged_with_another_by_ordinary_programs(tmp_path):
    shape = shapely.union_all(
        [box(20, 20, 50, 50), box(50.00002, 50.00003, 80, 80), Point(70, 30).buffer(9)]
    )
    outputs = write_outputs(built({"Near": shape}), tmp_path)
    content = (tmp_path / "01-near.stl").read_bytes()
    corners = np.frombuffer(content, FACET, offset=HEADER.itemsize)["corners"].reshape(-1, 3)
    exact = np.unique(corners.astype(np.float64), axis=0)
    merged = np.unique(np.rint(exact / MERGE), axis=0)
    assert len(merged) == len(exact)
    assert outputs.build.layers[0].fault == ""
