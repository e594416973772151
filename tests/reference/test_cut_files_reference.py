"""Cut files read back by other programs: ezdxf's audit and recovery, CairoSVG's raster."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from itertools import pairwise

import cairosvg
import ezdxf
import ezdxf.recover
import numpy as np
import pytest
import shapely
from ezdxf.path import make_path
from PIL import Image
from shapely import MultiLineString, Polygon, box

from sheetstack.geometry.fabricate.cut_sheet import CutSheet, lines_of
from sheetstack.geometry.fabricate.kerf import cut_paths
from sheetstack.geometry.files.cut_dxf import cut_dxf
from sheetstack.geometry.files.cut_svg import cut_svg


@pytest.fixture
def plate():
    return Polygon(
        box(0, 0, 80, 60).exterior.coords,
        [shapely.Point(20, 30).buffer(12).exterior.coords, box(40, 10, 70, 50).exterior.coords],
    )


def sheet_of(plate, kerf=0.0, lead=0.0):
    cross = MultiLineString([[(5, 5), (9, 5)], [(7, 3), (7, 7)]])
    cuts = cut_paths(plate, kerf, lead_in=lead)
    return CutSheet("Mid-tone", (80, 60), cuts, lines_of(cross), lines_of(box(2, 50, 6, 54)))


def test_dxf_is_r2010_in_millimetres_without_errors(plate):
    # ezdxf: recover.read reports no error; $INSUNITS 4 = millimetres (DXF reference, header).
    text = cut_dxf(sheet_of(plate), title="Cat")
    document, auditor = ezdxf.recover.read(io.BytesIO(text.encode()))
    assert not auditor.has_errors
    assert not document.audit().has_errors
    assert document.dxfversion == "AC1024"
    assert document.header["$INSUNITS"] == 4
    assert list(document.header.custom_vars) == [("Title", "Cat - Mid-tone")]
    layers = {e.dxf.layer for e in document.modelspace()}
    assert layers == {"CUT", "ENGRAVE", "MARK"}
    assert {n: document.layers.get(n).color for n in layers} == {"CUT": 1, "ENGRAVE": 3, "MARK": 7}


def test_a_line_break_in_a_title_does_not_break_the_dxf(plate):
    # ezdxf raised 'invalid group code' on the second line of the title.
    text = cut_dxf(sheet_of(plate), title="Cat\n  0\nEOF\u202e\x07")
    document, auditor = ezdxf.recover.read(io.BytesIO(text.encode()))
    assert not auditor.has_errors
    assert list(document.header.custom_vars) == [("Title", "Cat 0 EOF - Mid-tone")]
    # Read line by line too, as most programs do, not recovered.
    assert len(ezdxf.read(io.StringIO(text)).modelspace()) == 6


def test_the_same_sheet_gives_the_same_dxf_in_any_process():
    code = (
        "import shapely, sys\n"
        "from sheetstack.geometry.fabricate.cut_sheet import CutSheet\n"
        "from sheetstack.geometry.fabricate.kerf import cut_paths\n"
        "from sheetstack.geometry.files.cut_dxf import cut_dxf\n"
        "cuts = cut_paths(shapely.box(0, 0, 9, 9), 0.2)\n"
        "sys.stdout.write(cut_dxf(CutSheet(sys.argv[1], (9, 9), cuts), title='T'))\n"
    )

    def written(name, hash_seed):
        return subprocess.run(
            [sys.executable, "-c", code, name],
            env={**os.environ, "PYTHONHASHSEED": hash_seed, "TZ": f"UTC+{hash_seed}"},
            capture_output=True,
            check=True,
        ).stdout

    first, second, other = written("A", "1"), written("A", "4242"), written("B", "1")
    assert first == second
    # Files of different content have names of their own.
    versions = [ezdxf.read(io.StringIO(t.decode())).header["$VERSIONGUID"] for t in (first, other)]
    assert versions[0] != versions[1]


@pytest.mark.parametrize(("kerf", "lead"), [(0.0, 0.0), (0.2, 0.0), (0.2, 2.0)])
def test_dxf_vertices_survive_to_a_billionth_in_cutting_order(plate, kerf, lead):
    sheet = sheet_of(plate, kerf, lead)
    document, _ = ezdxf.recover.read(io.BytesIO(cut_dxf(sheet).encode()))
    cut = [e for e in document.modelspace() if e.dxf.layer == "CUT"]
    assert len(cut) == len(sheet.cuts.all) == 3
    for entity, path in zip(cut, sheet.cuts.all, strict=True):
        points, closed = path.polyline()
        assert entity.closed == closed
        assert np.abs(np.array(entity.get_points("xy")) - points).max() < 1e-9
    assert [Polygon(p.points).area for p in sheet.cuts.openings] == sorted(
        Polygon(p.points).area for p in sheet.cuts.openings
    )


def test_dxf_outline_and_openings_enclose_the_sheets_area(plate):
    document, _ = ezdxf.recover.read(io.BytesIO(cut_dxf(sheet_of(plate)).encode()))
    loops = [
        Polygon([(v.x, v.y) for v in make_path(e).control_vertices()])
        for e in document.modelspace()
        if e.dxf.layer == "CUT"
    ]
    assert loops[-1].area - sum(o.area for o in loops[:-1]) == pytest.approx(plate.area, rel=1e-9)


def test_svg_with_kerf_rasterised_by_cairosvg_has_the_paths_area_and_place(plate):
    # CairoSVG draws the outline path filled with the openings as even-odd holes: independent of
    # the writer. 10 pixels a mm.
    sheet = sheet_of(plate, 0.2)
    svg = cut_svg(sheet)
    assert 'width="82mm" height="62mm" viewBox="-1 -1 82 62"' in svg
    paths = [line.split('d="')[1].split('"')[0] for line in svg.splitlines() if "Z" in line[-4:]]
    filled = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="-1 -1 82 62">'
        f'<path fill-rule="evenodd" d="{" ".join(paths)}"/></svg>'
    )
    png = cairosvg.svg2png(filled.encode(), output_width=820, output_height=620)
    alpha = np.asarray(Image.open(io.BytesIO(png)))[:, :, 3] / 255.0
    wanted = shapely.buffer(plate, 0.1, join_style="mitre").area
    assert alpha.sum() / 100 == pytest.approx(wanted, rel=5e-3)
    rows, columns = np.nonzero(alpha > 0.05)
    assert (columns.min() / 10 - 1, columns.max() / 10 + 0.1 - 1) == pytest.approx(
        (-0.1, 80.1), abs=0.01
    )
    assert (rows.min() / 10 - 1, rows.max() / 10 + 0.1 - 1) == pytest.approx((-0.1, 60.1), abs=0.01)


def test_svg_groups_stand_in_working_order(plate):
    svg = cut_svg(sheet_of(plate, 0.2, 1.0))
    groups = [line.split('"')[1] for line in svg.splitlines() if line.startswith("<g ")]
    assert groups == ["engrave", "cut-marks", "cut-openings", "cut-outline"]


def test_a_bare_reader_of_group_codes_finds_the_same_cuts_in_dxf_and_svg(plate):
    # DXF as the standard has it (group code, value, in turn), read without ezdxf; SVG by fontTools.
    from fontTools.pens.perimeterPen import PerimeterPen
    from fontTools.svgLib.path import parse_path

    sheet = sheet_of(plate, kerf=0.17, lead=2.0)
    lines = cut_dxf(sheet).splitlines()
    codes = [int(code) for code in lines[::2]]
    values = lines[1::2]
    assert codes[:2] == [0, 2]
    assert values[:2] == ["SECTION", "HEADER"]
    assert values[-1] == "EOF"
    starts = [k for k, code in enumerate(codes) if code == 0]
    total = 0.0
    layers = set()
    for start, stop in pairwise(starts):
        if values[start] != "LWPOLYLINE":
            continue
        tags = list(zip(codes[start:stop], values[start:stop], strict=True))
        layers |= {value for code, value in tags if code == 8}
        if (8, "CUT") not in tags:
            continue
        xs = [float(value) for code, value in tags if code == 10]
        ys = [float(value) for code, value in tags if code == 20]
        points = np.stack([xs, ys], axis=1)
        if int(next(value for code, value in tags if code == 70)) & 1:
            points = np.concatenate([points, points[:1]])
        total += float(np.hypot(*np.diff(points, axis=0).T).sum())
    assert "CUT" in layers
    assert total == pytest.approx(sheet.cuts.length, rel=1e-9)
    drawn = 0.0
    svg = cut_svg(sheet)
    for group in ("cut-openings", "cut-outline"):
        body = svg[svg.index(f'<g id="{group}"') :]
        body = body[: body.index("</g>")]
        for path in body.split(' d="')[1:]:
            pen = PerimeterPen()
            parse_path(path[: path.index('"')], pen)
            drawn += pen.value
    assert drawn == pytest.approx(sheet.cuts.length, rel=1e-6)
