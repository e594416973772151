"""The export and kerf-strip commands through the program's own entry."""

from pathlib import Path

import pytest

from sheetstack.geometry.cli.main import main
from sheetstack.geometry.files.written_list import LIST

DEMO = Path(__file__).parents[2] / "demo_scenes/sign/sign.toml"


def test_export_writes_the_demo_and_prints_the_estimate(tmp_path, capsys):
    code = main(["export", str(DEMO), "--format", "svg,dxf", "--out", str(tmp_path / "out")])
    said = capsys.readouterr().out
    assert code == 0
    assert "Estimate (ranges, not promises)" in said
    assert "Read cautions.txt before you cut, print or spray." in said
    written = {p.name for p in (tmp_path / "out").iterdir()}
    drawn = {
        n[:-4]
        for n in written
        if n.endswith(".svg") and "assembly" not in n and n != "wall-plan.svg"
    }
    assert drawn == {n[:-4] for n in written if n.endswith(".dxf")}
    assert len(drawn) >= 3


def test_export_refuses_an_unknown_format_in_one_sentence(tmp_path, capsys):
    assert main(["export", str(DEMO), "--format", "cdr", "--out", str(tmp_path / "out"), "-q"]) == 2
    said = capsys.readouterr().err
    assert said == ("sheetstack: Format cdr: expected one or more of svg, dxf, pdf, stl, 3mf.\n")
    assert not (tmp_path / "out").exists()


def test_chlorine_bearing_sheet_under_a_laser_spoils_the_export(tmp_path, capsys):
    (tmp_path / "a.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">'
        '<rect x="20" y="20" width="20" height="20"/></svg>'
    )
    job = tmp_path / "job.toml"
    job.write_text(
        """title = "Bad"
[sheet]
width_mm = 60
height_mm = 60
margin_mm = 5
material = "mine"
thickness_mm = 1
[process]
kind = "laser"
[[layers]]
name = "A"
colour = "#000000"
artwork = "a.svg"
[materials.mine]
title = "PVC board"
thicknesses_mm = [1]
density_g_cm3 = 1.4
modulus_mpa = 3000
strength_mpa = 40
least_bridge_mm = 2
least_opening_mm = 1
colour = "#ffffff"
source = "mine"
"""
    )
    assert main(["export", str(job), "--out", str(tmp_path / "out")]) == 1
    assert "SPOILS  PVC board must not go under a laser" in capsys.readouterr().out


@pytest.mark.parametrize("quiet", [False, True])
def test_kerf_strip_writes_two_files_and_the_cautions(tmp_path, capsys, quiet):
    assert main(["kerf-strip", "--out", str(tmp_path), *(["-q"] if quiet else [])]) == 0
    assert {p.name for p in tmp_path.iterdir()} - {LIST} == {"kerf-strip.dxf", "kerf-strip.svg"}
    assert ("Never leave it alone" in capsys.readouterr().out) is not quiet


def test_pieces_of_several_jobs_lie_on_the_same_stock(tmp_path, capsys):
    # Two plates of 90 x 60 mm: each job alone takes a sheet of stock, both share one.
    for name in ("one", "two"):
        (tmp_path / f"{name}.svg").write_text(
            '<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="60mm" '
            'viewBox="0 0 90 60"><rect x="20" y="20" width="20" height="20"/></svg>'
        )
        (tmp_path / f"{name}.toml").write_text(
            f'title = "{name}"\n[sheet]\nwidth_mm = 90\nheight_mm = 60\nmargin_mm = 5\n'
            'material = "card"\nthickness_mm = 0.4\n[process]\nkind = "laser"\n'
            "bed_width_mm = 300\nbed_height_mm = 200\n[[stock]]\nwidth_mm = 100\n"
            f'height_mm = 150\n[[layers]]\nname = "Layer {name}"\ncolour = "#000000"\n'
            f'artwork = "{name}.svg"\n'
        )
    told = {}
    for more in ([], ["--nest-with", str(tmp_path / "two.toml")]):
        out = tmp_path / f"out{len(more)}"
        job = str(tmp_path / "one.toml")
        assert main(["export", job, "--nest", *more, "--out", str(out), "-q"]) == 0
        assert [p.name for p in sorted(out.glob("stock-*.svg"))] == ["stock-1.svg"]
        text = (out / "stock-1.svg").read_text()
        told[len(more)] = text.count("<path") + text.count("<polyline") + text.count("<polygon")
        plan = (out / "stock-plan.txt").read_text()
        assert "Layer one" in plan
        assert ("two: Layer two" in plan) == bool(more)
    # Both plates are cut there: openings and outlines of each.
    assert told[2] >= 2 * told[0] > 0
    (tmp_path / "two.toml").write_text(
        (tmp_path / "two.toml").read_text().replace("thickness_mm = 0.4", "thickness_mm = 0.3")
    )
    job = str(tmp_path / "one.toml")
    other = str(tmp_path / "two.toml")
    assert main(["export", job, "--nest-with", other, "--out", str(tmp_path / "o3"), "-q"]) == 2
    assert "expected 0.4 mm card, as the job that it is nested with" in capsys.readouterr().err
