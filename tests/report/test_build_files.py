import dataclasses
import json
import os
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image
from shapely import MultiPolygon, Polygon, box

from sheetstack.geometry.errors import Cancelled, WriteError
from sheetstack.geometry.files.stl import read_stl
from sheetstack.geometry.files.written_list import LIST
from sheetstack.geometry.progress import Progress
from sheetstack.geometry.report import build_files as outputs_module
from sheetstack.geometry.report.build_files import drawn_sheet, write_outputs

from ..small_builds import DISC, NESTED, RING, built

SVG = "{http://www.w3.org/2000/svg}"


def loops(path, group):
    """The closed loops of one group of a cut file, as polygons."""
    root = ElementTree.parse(path).getroot()
    (found,) = [g for g in root.iter(f"{SVG}g") if g.get("id") == group]
    return [
        Polygon([[float(v) for v in p.split(",")] for p in e.get("d")[1:-1].split()]) for e in found
    ]


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """A build and the files written of it."""
    build = built({"Mid-tone": RING, "Shadow": NESTED, "Light": DISC})
    folder = tmp_path_factory.mktemp("out") / "new"
    return build, folder, write_outputs(build, folder).files


def test_all_files_are_there_and_nothing_else(written):
    _, folder, paths = written
    names = [
        *(
            f"{s}{e}"
            for s in ("01-mid-tone", "02-shadow", "03-light")
            for e in (".stl", "-as-drawn.svg")
        ),
        "preview.png",
        "stack.png",
        "report.json",
        "report.html",
    ]
    assert [p.name for p in paths] == names
    assert sorted(os.listdir(folder)) == sorted([LIST, *names])
    assert all(p.parent == folder and p.stat().st_size > 500 for p in paths)


def test_solids_are_the_sheets(written):
    build, folder, _ = written
    for layer, name in zip(build.layers, ("01-mid-tone", "02-shadow", "03-light"), strict=True):
        vertices, faces = read_stl(folder / f"{name}.stl")
        a, b, c = (vertices[faces[:, k]] for k in range(3))
        volume = np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6
        # Reference: Shapely's area x thickness; STL holds 32-bit floats.
        assert volume == pytest.approx(layer.sheet.shape.area * 0.35, rel=1e-5)
        assert sorted(set(vertices[:, 2])) == pytest.approx([0, 0.35])


def test_cut_files_hold_openings_registration_holes_and_outline(written):
    build, folder, _ = written
    for layer, name in zip(build.layers, ("01-mid-tone", "02-shadow", "03-light"), strict=True):
        openings = loops(folder / f"{name}-as-drawn.svg", "cut-openings")
        (outline,) = loops(folder / f"{name}-as-drawn.svg", "cut-outline")
        sheet = layer.sheet
        assert len(openings) == len(sheet.openings.geoms) + 3
        assert outline.area - sum(o.area for o in openings) == pytest.approx(
            sheet.shape.area, rel=1e-5
        )


def test_report_file_is_the_report(written):
    build, folder, _ = written
    data = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    assert data["title"] == build.job.title
    assert [layer["files"]["stl"] for layer in data["layers"]] == sorted(
        p.name for p in folder.glob("*.stl")
    )


def test_pictures_open(written):
    _, folder, _ = written
    for name in ("preview.png", "stack.png"):
        with Image.open(folder / name) as image:
            image.load()
            assert image.mode == "RGB"


@pytest.mark.parametrize("step", range(1, 12, 3))
def test_cancelling_at_any_step_leaves_nothing(tmp_path, step):
    build = built({"Ring": RING, "Disc": DISC})
    calls = []

    def report(share, what):
        calls.append(share)
        if len(calls) == step:
            raise Cancelled("Stopped; nothing was written.")

    with pytest.raises(Cancelled):
        write_outputs(build, tmp_path / "a" / "b", Progress(report))
    assert list(tmp_path.iterdir()) == []


def test_progress_rises_to_one(tmp_path):
    shares = []
    build = built({"Ring": RING, "Disc": DISC})
    write_outputs(build, tmp_path, Progress(lambda share, what: shares.append(share)))
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_interrupt_while_drawing_keeps_the_older_files(monkeypatch, tmp_path):
    build = built({"Ring": RING})
    write_outputs(build, tmp_path)
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}

    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(outputs_module, "report_html", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_outputs(built({"Ring": DISC}), tmp_path)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


def test_same_build_gives_the_same_bytes(tmp_path):
    for name in ("a", "b"):
        write_outputs(built({"Ring": RING, "Nested": NESTED}), tmp_path / name)
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes(), path.name


def test_file_in_the_folders_place_is_told(tmp_path):
    (tmp_path / "out").write_text("mine")
    with pytest.raises(WriteError, match="found a file"):
        write_outputs(built({"Ring": RING}), tmp_path / "out")
    assert (tmp_path / "out").read_text() == "mine"


def test_a_sheet_with_an_island_left_is_cut_with_the_islands_edge():
    build = built({"Ring": RING})
    layer = build.layers[0]
    plain = dataclasses.replace(layer, sheet=layer.plain_sheet)
    cuts = drawn_sheet(build, plain).cuts
    # Ring's outer and inner loop, and three registration holes.
    assert len(cuts.openings) == 5
    assert [Polygon(path.points).area for path in cuts.outline] == [100 * 100]


def test_the_outline_follows_the_edge_that_an_opening_cuts_open():
    build = built({"Ring": RING})
    layer = build.layers[0]
    shape = box(0, 0, 10, 10).difference(box(8, 4, 12, 6))
    open_edge = dataclasses.replace(layer.sheet, shape=MultiPolygon([shape]))
    cuts = drawn_sheet(build, dataclasses.replace(layer, sheet=open_edge)).cuts
    assert cuts.openings == ()
    assert Polygon(cuts.outline[0].points).equals(shape)


def test_the_drift_of_very_many_layers_is_left_to_the_proof(tmp_path, monkeypatch):
    build = built({"Ring": RING, "Disc": DISC})
    monkeypatch.setattr(outputs_module, "MOST_LAYERS", len(build.layers) - 1)
    write_outputs(build, tmp_path)
    assert "<code>sheetstack proof</code>" in (tmp_path / "report.html").read_text("utf-8")
    assert json.loads((tmp_path / "report.json").read_text("utf-8"))["painting"] is None
