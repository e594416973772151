"""The portrait demo's exports read by strangers: admesh reads the solids, resvg draws the cuts.

The artist's two ways are tried: laser-cut ply, and printed on a bed of 220 x 220 mm.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import ezdxf.recover
import numpy as np
import pytest
import resvg_py
import shapely
from PIL import Image

from sheetstack.geometry.build import build
from sheetstack.geometry.export import export_build
from sheetstack.geometry.fabricate.making import making_of_build
from sheetstack.geometry.fabricate.pieces import printed_pieces
from sheetstack.geometry.job.load import load_job
from sheetstack.geometry.job.names import cut_stem, print_stem
from sheetstack.geometry.mesh.check import soundness, volume

DEMO = Path(__file__).parents[2] / "demo_scenes/portrait"
SVG = "{http://www.w3.org/2000/svg}"


def exported(kind, formats, folder):
    built = build(load_job(DEMO / f"portrait-{kind}.toml"))
    return built, folder, export_build(built, formats, folder)


@pytest.fixture(scope="module")
def ply(tmp_path_factory):
    return exported("ply", ["svg", "dxf"], tmp_path_factory.mktemp("ply"))


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    return exported("printed", ["stl", "3mf"], tmp_path_factory.mktemp("printed"))


@pytest.fixture(scope="module")
def solids(printed):
    built = printed[0]
    return [
        (f"{made.sheet.stem}-{piece.name}", piece)
        for made in making_of_build(built).sheets
        for piece in printed_pieces(built.job, made).pieces
    ]


def left_by_beam(loops, kerf):
    """What a beam leaves of a piece whose loops it follows, the outline last."""
    lines = [shapely.LinearRing(p) for p in loops]
    beam = shapely.union_all(shapely.buffer(lines, kerf / 2, quad_segs=16))
    whole = shapely.Polygon(loops[-1])
    return whole.difference(shapely.union_all([shapely.Polygon(p) for p in loops[:-1]])).difference(
        beam
    )


def tiles_of(built):
    # With the pins' holes that tiles have in common.
    for made in making_of_build(built).sheets:
        for tile in made.tiling.tiles:
            yield f"{made.sheet.stem}-{tile.name}" if tile.name else made.sheet.stem, tile


def test_resvg_draws_each_cut_file_with_the_area_and_place_of_the_job(ply):
    built, folder, _ = ply
    kerf = built.job.made_by.kerf_mm
    dots = 4
    for stem, tile in list(tiles_of(built))[::3]:
        text = (folder / f"{cut_stem(stem)}.svg").read_text()
        root = ElementTree.fromstring(text)
        left, top, wide, high = map(float, root.get("viewBox").split())
        size = [float(root.get(name).removesuffix("mm")) for name in ("width", "height")]
        assert size == [wide, high]
        # The loops as they are in the file, run-ins left out, filled by the even-odd rule.
        loops = []
        for group in root.iter(f"{SVG}g"):
            if group.get("id") in ("cut-openings", "cut-outline"):
                loops += [p.get("d") for p in group.iter(f"{SVG}path")]
        loops = [re.findall(r"-?[\d.]+,-?[\d.]+", d)[1:] for d in loops]
        data = "".join(f"M{' '.join(points)}Z" for points in loops)
        filled = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide * dots}" '
            f'height="{high * dots}" viewBox="{left} {top} {wide} {high}">'
            f'<path fill-rule="evenodd" d="{data}"/></svg>'
        )
        image = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=filled))))
        alpha = np.asarray(image.convert("RGBA"))[:, :, 3] / 255
        # What is left is the drawn area less half a kerf along every edge.
        left_over = alpha.sum() / dots**2 - tile.shape.length * kerf / 2
        assert left_over == pytest.approx(tile.shape.area, rel=5e-3), stem
        points = [np.array([xy.split(",") for xy in loop], float) for loop in loops]
        found = np.array(left_by_beam(points, kerf).bounds)
        x0, y0, x1, y1 = tile.shape.bounds
        assert found == pytest.approx([0, 0, x1 - x0, y1 - y0], abs=0.01), stem


def test_ezdxf_finds_no_error_and_the_beam_leaves_the_tile(ply):
    built, folder, _ = ply
    kerf = built.job.made_by.kerf_mm
    for stem, tile in list(tiles_of(built))[::3]:
        document, auditor = ezdxf.recover.readfile(folder / f"{cut_stem(stem)}.dxf")
        assert not auditor.has_errors
        assert document.header["$INSUNITS"] == 4
        cut = [e for e in document.modelspace() if e.dxf.layer == "CUT"]
        # A run-in stands before its loop, which ends where it began.
        left = left_by_beam([np.array(e.get_points("xy"))[1:-1] for e in cut], kerf)
        x0, y0, x1, y1 = tile.shape.bounds
        assert np.array(left.bounds) == pytest.approx([0, 0, x1 - x0, y1 - y0], abs=0.01)
        assert left.area == pytest.approx(tile.shape.area, rel=5e-3)


@pytest.mark.skipif(
    shutil.which("admesh") is None, reason="admesh, an independent STL reader, is not installed"
)
def test_admesh_finds_the_volume_and_size_of_every_printed_tile(printed, solids):
    def told(text, name):
        return float(re.search(rf"{name}\s*[:=]?\s*([-\d.]+)", text).group(1))

    for stem, piece in solids:
        path = printed[1] / f"{print_stem(stem)}.stl"
        text = subprocess.run(
            ["admesh", str(path)], capture_output=True, text=True, errors="replace", check=True
        ).stdout
        assert told(text, "Total disconnected facets") == 0, stem
        assert told(text, "Backwards edges") == 0, stem
        assert told(text, "Volume") == pytest.approx(volume(piece.mesh), rel=5e-3)
        low, high = piece.mesh.vertices.min(axis=0), piece.mesh.vertices.max(axis=0)
        for axis, a, b in zip("XYZ", low, high, strict=True):
            assert told(text, f"Min {axis}") == pytest.approx(a, abs=0.01)
            assert told(text, f"Max {axis}") == pytest.approx(b, abs=0.01)


def test_every_printed_tile_is_closed_with_its_openings_counted_and_on_the_bed(solids):
    for stem, piece in solids:
        found = soundness(piece.mesh)
        # Euler-Poincare: 2 - 2h for h openings.
        assert (found.watertight, found.oriented, found.euler) == (True, True, piece.euler), stem
        assert np.ptp(piece.mesh.vertices[:, :2], axis=0).max() <= 220


def test_lib3mf_reads_every_bed_strictly(printed):
    lib3mf = pytest.importorskip("lib3mf", reason="lib3mf, the reference reader, is missing")
    beds = [p for p in printed[2].files if p.suffix == ".3mf"]
    assert beds
    for path in beds:
        model = lib3mf.get_wrapper().CreateModel()
        reader = model.QueryReader("3mf")
        reader.SetStrictModeActive(True)
        reader.ReadFromFile(str(path))
        assert reader.GetWarningCount() == 0
        meshes = model.GetMeshObjects()
        while meshes.MoveNext():
            assert meshes.GetCurrentMeshObject().IsManifoldAndOriented(), path.name
