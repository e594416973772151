"""``sheetstack layers drawing.svg``: its files, its job that builds, hand edits that stay."""

from __future__ import annotations

import json
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely

from sheetstack.geometry import build_job, load_job
from sheetstack.geometry.cli.main import main
from sheetstack.geometry.colour import linear_from_srgb, srgb_from_hex
from sheetstack.geometry.planar.raster import coverage, srgb_bytes
from sheetstack.geometry.separation.job import separated_drawing
from sheetstack.geometry.separation.preview import preview_picture
from sheetstack.geometry.separation.separate import read_and_separate
from sheetstack.geometry.separation.settings import SeparationSettings
from tests.separation.drawings import BOAT, written


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made")
    path = written(folder, "boat.svg", BOAT)
    assert main(["layers", str(path), "--sheet-width-mm", "340", "--quiet"]) == 0
    return path, folder / "boat-layers"


def test_the_job_builds_clean_and_has_a_layer_for_each_group(made):
    _, folder = made
    job = load_job(folder / "job.toml")
    built = build_job(job)
    assert [layer.settings.name for layer in built.layers] == [layer.name for layer in job.layers]
    assert all(layer.mesh is not None for layer in built.layers)
    assert max((f.severity for f in built.findings), default=0) < 2
    assert job.ground == "#bfe3f2"


def test_each_border_of_what_is_seen_is_one_seam_once(tmp_path):
    separation = read_and_separate(
        written(tmp_path, "boat.svg", BOAT), SeparationSettings(sheet_width_mm=340)
    )
    root = ElementTree.fromstring(separated_drawing(separation, "boat"))
    (group,) = (g for g in root.iter() if g.get("id") == "seams")
    height = separation.page[1]
    lines = [
        [[float(v) for v in point.split(",")] for point in path.get("d")[1:].split()]
        for path in group
    ]
    drawn = shapely.linestrings(
        [[0, height] + [1, -1] * np.array(points) for line in lines for points in pairwise(line)]
    )
    borders = shapely.union_all([shapely.boundary(layer.seen) for layer in separation.layers])
    assert drawn.size > 50
    assert shapely.length(drawn).sum() == pytest.approx(borders.length, rel=0.005)
    reach = separation.settings.tolerance(separation.page) + 0.002
    assert shapely.union_all(drawn).hausdorff_distance(borders) < reach


def test_large_curves_are_round_in_the_preview(tmp_path):
    disc = '<circle cx="50" cy="50" r="48" fill="#203060"/>'
    text = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">{disc}</svg>'
    path = written(tmp_path, "disc.svg", text)
    separation = read_and_separate(path, SeparationSettings(sheet_width_mm=340))
    shown = np.asarray(preview_picture(separation, 400), int)
    # The disc itself, an exact circle drawn by Shapely with chords of a thousandth of a pixel.
    exact = shapely.Point(170, 170).buffer(163.2, quad_segs=400)
    share = coverage(exact, (340, 340), 400 / 340)[..., None]
    wanted = srgb_bytes(share * linear_from_srgb(srgb_from_hex("#203060")) + 1 - share)
    painted = shown[:400, -400:]
    # The curve may stray by 0.15 mm, a sixth of a pixel; facets stray by half a pixel and more.
    assert (abs(painted - wanted) > 60).sum() == 0


def test_the_original_lies_under_the_layers_and_is_never_cut(made):
    _, folder = made
    text = (folder / "layers.svg").read_text()
    assert 'inkscape:label="Original, never cut"' in text
    assert "data:image/svg+xml;base64," in text
    assert 'inkscape:label="Seams, never cut"' in text
    assert text.index('id="photo"') < text.index('id="seams"')


def test_the_orders_compared_are_told(made):
    _, folder = made
    orders = json.loads((folder / "orders.json").read_text())
    assert orders["exact"] is True
    assert orders["others"]
    assert all(o["cost"] >= orders["chosen"]["cost"] - 0.1 for o in orders["others"])


def test_a_group_changed_by_hand_is_not_drawn_over(made, tmp_path, capsys):
    path, folder = made
    drawing = folder / "layers.svg"
    before = drawing.read_text()
    # Another point in the first path of the last layer.
    at = before.rindex('<path d="M', 0, before.index('<g id="seams"')) + len('<path d="M')
    drawing.write_text(before[:at] + "1" + before[at:])
    assert main(["layers", str(path), "--sheet-width-mm", "340", "--quiet"]) == 2
    assert "changed by hand" in capsys.readouterr().err
    first = load_job(folder / "job.toml").layers[0].group
    assert main(["layers", str(path), "--sheet-width-mm", "340", "--quiet", "--only", first]) == 0
    assert before[:at] + "1" + before[at:] == drawing.read_text()
    drawing.write_text(before)


def test_options_for_photographs_are_refused(made, capsys):
    path, _ = made
    assert main(["layers", str(path), "--detail", "0.2"]) == 2
    assert "--detail: does not apply to a drawing" in capsys.readouterr().err


@pytest.mark.parametrize("ending", ["csv", "toml"])
def test_layers_take_colours_and_names_from_a_table_of_cans(tmp_path, ending):
    path = written(tmp_path, "boat.svg", BOAT)
    cans = [
        ("Brick red", "#c33b2a"),
        ("Night", "#101820"),
        ("Harbour", "#22709a"),
        ("Egg", "#f2b632"),
    ]
    if ending == "csv":
        text = "name,colour\n" + "".join(f"{name},{colour}\n" for name, colour in cans)
    else:
        text = "".join(f'[[cans]]\nname = "{name}"\ncolour = "{colour}"\n' for name, colour in cans)
    table = written(tmp_path, f"cans.{ending}", text)
    out = tmp_path / "out"
    words = ["layers", str(path), "--cans", str(table), "--cans", "#fff", "-q", "--out", str(out)]
    assert main([*words, "--sheet-width-mm", "340"]) == 0
    found = {(layer.name, layer.colour) for layer in load_job(out / "job.toml").layers}
    assert found == {*cans, ("White", "#ffffff")}


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("cans.csv", "name,colour\n", "holds no can"),
        ("cans.csv", "name,shade\nRed,#f00\n", "unknown column 'shade'"),
        ("cans.toml", '[[cans]]\nname = "Red"\n', "colour"),
        ("none.csv", None, "none.csv"),
    ],
)
def test_a_table_of_cans_that_cannot_be_used_is_told(tmp_path, capsys, name, text, told):
    path = written(tmp_path, "boat.svg", BOAT)
    if text is not None:
        written(tmp_path, name, text)
    assert main(["layers", str(path), "--cans", str(tmp_path / name), "-q"]) == 2
    assert told in capsys.readouterr().err
