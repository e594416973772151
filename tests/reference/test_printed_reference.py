"""Printed sheets through an independent STL reader: Debian's admesh."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest
from shapely import Point, box

from sheetstack.geometry.fabricate.printed import printed
from sheetstack.geometry.fabricate.tiling import split_for_bed
from sheetstack.geometry.files.stl import write_stl
from sheetstack.geometry.job.sections import PrintingSettings, TileSettings
from sheetstack.geometry.mesh.check import volume
from sheetstack.geometry.planar.polygons import as_multipolygon

pytestmark = pytest.mark.skipif(
    shutil.which("admesh") is None, reason="admesh, an independent STL reader, is not installed"
)


def told(text, name):
    return float(re.search(rf"{name}\s*[:=]?\s*([-\d.]+)", text).group(1))


@pytest.mark.parametrize(
    "extras",
    [
        {},
        {"rim_height_mm": 2.0, "rib_height_mm": 1.0},
        {"chamfer_mm": 0.4},
        {"label": True, "pegs": True, "chamfer_mm": 0.4, "rim_height_mm": 2.0},
    ],
)
def test_admesh_finds_one_closed_part_of_the_volume(tmp_path, extras):
    shape = as_multipolygon(
        box(0, 0, 120, 90).difference(box(20, 30, 50, 60)).difference(Point(85, 45).buffer(15))
    )
    tiling = split_for_bed(shape, box(*shape.bounds), (220, 220), TileSettings(), narrow=4)
    made = printed(shape, tiling, 1.0, PrintingSettings(**extras), label="1 A", bridge_width=4)
    (piece,) = made.pieces
    path = tmp_path / "sheet.stl"
    write_stl(path, piece.mesh.vertices, piece.mesh.faces)
    text = subprocess.run(
        ["admesh", str(path)], capture_output=True, text=True, errors="replace", check=True
    ).stdout
    assert told(text, "Number of parts") == 1
    assert told(text, "Total disconnected facets") == 0
    assert told(text, "Backwards edges") == 0
    assert told(text, "Degenerate facets") == 0
    assert told(text, "Volume") == pytest.approx(volume(piece.mesh), rel=1e-4)
    x, y = told(text, "Max X") - told(text, "Min X"), told(text, "Max Y") - told(text, "Min Y")
    assert (x, y) == pytest.approx((120, 90), abs=0.01)
