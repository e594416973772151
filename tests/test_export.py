"""Exports: the files asked for, whole or none, and pieces that are what the job says."""

import re
import zipfile

import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from sheetstack.geometry.build import build
from sheetstack.geometry.cautions import cautions_text
from sheetstack.geometry.errors import Cancelled, JobError
from sheetstack.geometry.export import export_build
from sheetstack.geometry.fabricate.drill_template import drill_template
from sheetstack.geometry.fabricate.pieces import cut_pieces, made_sheet, paper_sheet, sheets_to_make
from sheetstack.geometry.files.written_list import LIST
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.progress import Progress
from sheetstack.geometry.sheet.registration import pin_centres

ARTWORK = """<svg xmlns="http://www.w3.org/2000/svg" width="160mm" height="120mm"
viewBox="0 0 160 120"><g id="a"><path fill-rule="evenodd" d="M30 30H70V80H30Z M40 40V65H60V40Z"/>
<rect x="95" y="30" width="30" height="20"/></g>
<g id="b"><circle cx="80" cy="60" r="25"/></g></svg>"""
JOB = """
title = "Small"
[sheet]
width_mm = 160
height_mm = 120
margin_mm = 10
material = "{material}"
thickness_mm = 1.5
[registration]
hole_diameter_mm = 4
{registration}
[process]
{process}
[tiles]
{tiles}
[[layers]]
name = "Base"
colour = "#aa3311"
artwork = "small.svg"
group = "a"
[[layers]]
name = "Top"
colour = "#113355"
artwork = "small.svg"
group = "b"
{more}
"""


@pytest.fixture
def small(tmp_path):
    (tmp_path / "small.svg").write_text(ARTWORK)

    def make(material="acrylic", registration="", process="", tiles="", more=""):
        text = JOB.format(
            material=material, registration=registration, process=process, tiles=tiles, more=more
        )
        return build(parse_job(text, folder=tmp_path))

    return make


def names(export):
    return sorted(path.name for path in export.files)


def test_each_format_has_its_files_with_cautions_and_estimate_beside(small, tmp_path):
    found = export_build(small(), ["svg", "dxf", "pdf", "stl", "3mf"], tmp_path / "out")
    endings = ("-cut.svg", "-cut.dxf", ".pdf", "-print.stl")
    sheets = [f"{s}{e}" for s in ("01-base", "02-top") for e in endings]
    sheets_by_hand = ["01-base-by-hand.txt", "02-top-by-hand.txt"]
    template = [f"drill-template.{e}" for e in ("svg", "dxf", "pdf")]
    assert names(found) == sorted(
        [*sheets, *sheets_by_hand, *template, "small-bed-1.3mf", "cautions.txt", "estimate.txt"]
    )
    assert sorted({p.name for p in (tmp_path / "out").iterdir()} - {LIST}) == names(found)
    assert (tmp_path / "out/cautions.txt").read_text() == cautions_text("laser", "paint", "wall")
    estimate = (tmp_path / "out/estimate.txt").read_text()
    assert "Assumptions" in estimate
    assert "[estimate] paint_loss_percent = 50 %" in estimate


def test_an_unknown_format_is_refused_with_the_known_ones(small, tmp_path):
    with pytest.raises(
        JobError, match=r"Format ai: expected one or more of svg, dxf, pdf, stl, 3mf"
    ):
        export_build(small(), ["svg", "ai"], tmp_path / "out")
    with pytest.raises(JobError, match="none"):
        export_build(small(), [], tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_cancelling_leaves_nothing(small, tmp_path):
    def stop(share, what):
        if share > 0.5:
            raise Cancelled("Stopped.")

    with pytest.raises(Cancelled):
        export_build(small(), ["svg", "stl"], tmp_path / "out", progress=Progress(stop))
    assert not (tmp_path / "out").exists()


def test_kerf_is_taken_off_what_is_cut_and_not_off_paper(small):
    built = small(process="kerf_mm = 0.2")
    job = built.job
    sheet = sheets_to_make(built)[1]
    (piece,) = cut_pieces(job, made_sheet(job, sheet))
    outline = Polygon(piece.cuts.outline[0].points)
    assert outline.bounds == pytest.approx((-0.1, -0.1, 160.1, 120.1))
    assert piece.pad == 1.0
    paper = paper_sheet(job, sheet)
    assert Polygon(paper.cuts.outline[0].points).bounds == (0, 0, 160, 120)
    inside = sum(Polygon(p.points).area for p in paper.cuts.openings)
    assert 160 * 120 - inside == pytest.approx(sheet.shape.area)


def test_tiles_are_written_with_labels_and_an_assembly_picture(small, tmp_path):
    built = small(process="bed_width_mm = 100\nbed_height_mm = 90")
    found = export_build(built, ["svg"], tmp_path)
    written = names(found)
    assert "01-base-A1-cut.svg" in written
    assert "01-base-assembly.svg" in written
    assert "01-base-cut.svg" not in written
    for sheet in sheets_to_make(built):
        made = made_sheet(built.job, sheet)
        assert made.is_split
        for tile, piece in zip(made.tiling.tiles, cut_pieces(built.job, made), strict=True):
            x0, y0, _, _ = tile.shape.bounds
            drawn = shapely.MultiLineString([line + (x0, y0) for line in piece.engraved])
            assert piece.engraved
            # On the tile, and its name once more on what falls out of it.
            waste = shapely.MultiPolygon(
                [Polygon(r) for p in tile.shape.geoms for r in p.interiors]
            )
            assert tile.shape.union(waste).covers(drawn)
            assert not drawn.intersects(tile.shape.boundary)
            if any(p.area > 400 for p in waste.geoms):
                assert waste.intersects(drawn)


def test_laps_become_keys_where_the_machine_cannot_cut_them(small):
    tiles, bed = 'joint = "lap"', "bed_width_mm = 100\nbed_height_mm = 90"
    built = small(process=bed, tiles=tiles)
    made = made_sheet(built.job, sheets_to_make(built)[0])
    assert [f.code for f in made.findings][:1] == ["tiles.no-laps"]
    assert all(t.lower is t.upper for t in made.tiling.tiles)
    printed = small("pla", process=bed, tiles=tiles)
    made = made_sheet(printed.job, sheets_to_make(printed)[0])
    assert any(t.lower is not t.upper for t in made.tiling.tiles)


def test_marks_are_engraved_on_the_sheet_and_only_when_wanted(small):
    plain = small()
    assert cut_pieces(plain.job, made_sheet(plain.job, sheets_to_make(plain)[0]))[0].engraved == ()
    marked = small(registration="marks = true")
    sheet = sheets_to_make(marked)[0]
    (piece,) = cut_pieces(marked.job, made_sheet(marked.job, sheet))
    assert sheet.shape.covers(shapely.MultiLineString(list(piece.engraved)))
    starts = {tuple(line[0]) for line in piece.engraved}
    assert {(80.0, 0.0), (0.0, 60.0)} <= starts


def test_nested_pieces_lie_on_the_stock_and_tell_the_used_share(small, tmp_path):
    built = small(process="bed_width_mm = 340\nbed_height_mm = 130\nkerf_mm = 0.2")
    found = export_build(built, ["svg"], tmp_path, nested=True)
    assert "stock-1.svg" in names(found)
    assert "stock-2.svg" not in names(found)
    areas = sum(s.shape.area for s in sheets_to_make(built))
    assert found.used_share == pytest.approx(areas / (340 * 130), rel=0.01)
    text = (tmp_path / "stock-1.svg").read_text()
    paths = re.findall(r'<path d="M([^"Z]*)Z', text)
    loops = [Polygon([tuple(map(float, p.split(","))) for p in path.split()]) for path in paths]
    sheets = [loop for loop in loops if loop.area > 10000]
    assert len(sheets) == 2
    assert sheets[0].distance(sheets[1]) >= 4.0
    assert all(box(0, 0, 340, 130).covers(loop) for loop in sheets)


def test_patches_are_written_for_the_bridges_asked_for(small, tmp_path):
    built = small()
    assert built.layers[0].bridges
    found = export_build(built, ["svg"], tmp_path, patches="1.1")
    assert {"patches.svg", "01-base-patch-places.svg"} <= set(names(found))
    with pytest.raises(
        JobError, match=r"Patch '2\.1': expected layer and bridge number, one of 1\.1"
    ):
        export_build(built, ["svg"], tmp_path, patches="2.1")


def test_solids_of_one_bed_carry_their_layers_names_and_colours(small, tmp_path):
    built = small("pla", process="bed_width_mm = 330\nbed_height_mm = 130")
    found = export_build(built, ["3mf"], tmp_path)
    assert [n for n in names(found) if n.endswith("3mf")] == ["small-bed-1.3mf"]
    with zipfile.ZipFile(tmp_path / "small-bed-1.3mf") as package:
        model = package.read("3D/3dmodel.model").decode()
    for name, colour in (("1 Base", "#AA3311"), ("2 Top", "#113355")):
        assert f'<base name="{name}" displaycolor="{colour}"/>' in model


def test_the_drill_template_shows_the_pins_where_the_sheets_have_holes(small):
    job = small().job
    template = drill_template(job)
    middles = [Polygon(p.points).centroid for p in template.cuts.openings]
    found = np.array([(m.x, m.y) for m in middles])
    assert found == pytest.approx(np.array(pin_centres(job.registration, job.sheet)))
    assert template.size == (160, 120)


def test_a_job_without_pins_has_no_template(tmp_path, small):
    job = parse_job(
        JOB.format(material="card", registration="", process="", tiles="", more="").replace(
            "hole_diameter_mm = 4", ""
        )
    )
    assert drill_template(job) is None


def test_notches_are_cut_with_the_outline_and_keep_the_sheet_sound(small):
    built = small(registration='feature = "notches"')
    for layer, sheet in zip(built.layers, sheets_to_make(built), strict=True):
        assert layer.soundness.watertight
        assert layer.islands_left == ()
        (piece,) = cut_pieces(built.job, made_sheet(built.job, sheet))
        outline = Polygon(piece.cuts.outline[0].points)
        # Three half discs of 4 mm are missing from the plate, and half a kerf is added round it.
        plate = box(0, 0, 160, 120).buffer(built.job.made_by.kerf_mm / 2, join_style="mitre")
        missing = plate.difference(outline)
        assert missing.area == pytest.approx(3 * np.pi * 2**2 / 2, rel=0.1)
    template = drill_template(built.job)
    assert [round(Polygon(p.points).area, 1) for p in template.cuts.openings] == [12.6] * 3
