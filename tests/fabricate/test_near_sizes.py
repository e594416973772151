"""Sizes near a job's: tile counts are those that tiling makes, narrow openings those by hand."""

import pytest

from sheetstack.geometry.build import build
from sheetstack.geometry.cli.main import main
from sheetstack.geometry.fabricate.making import making_of_build
from sheetstack.geometry.fabricate.near_sizes import near_sizes
from sheetstack.geometry.files.near_sizes_svg import near_sizes_svg
from sheetstack.geometry.job.load import parse_job

JOB = """
title = "Near"
[sheet]
width_mm = {width}
height_mm = {height}
margin_mm = 10
material = "birch-ply"
thickness_mm = 3
[process]
kind = "laser"
bed_width_mm = 206
bed_height_mm = 156
[[stock]]
width_mm = 420
height_mm = 320
price = 5
[[layers]]
name = "Base"
colour = "#335577"
artwork = "near.svg"
"""
#: The slot is 1.55 mm wide; birch ply's least opening is 1.5 mm.
SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="200mm" viewBox="0 0 300 200">
<rect x="20" y="20" width="60" height="60"/><rect x="150" y="40" width="1.55" height="90"/></svg>"""


@pytest.fixture
def job(tmp_path):
    (tmp_path / "near.svg").write_text(SVG)

    def make(width=400.0, height=300.0):
        (tmp_path / "near.toml").write_text(JOB.format(width=width, height=height))
        return parse_job((tmp_path / "near.toml").read_text(), folder=tmp_path)

    return make


def test_tiles_of_each_size_are_those_that_tiling_makes(job):
    sizes = near_sizes(build(job()), 0.1)
    assert len(sizes) == 21
    assert [s.cost for s in sizes] == sorted(s.cost for s in sizes)
    for s in sizes:
        if round(s.scale * 100) % 5:
            continue
        made = making_of_build(build(job(s.width, s.height)))
        assert len({t.name for t in made.sheets[0].tiling.tiles}) == s.tiles
    assert len({s.tiles for s in sizes}) > 1


def test_an_opening_gets_too_narrow_where_the_scale_says_so(job):
    for s in near_sizes(build(job()), 0.06):
        assert len(s.narrow_openings) == (1.55 * s.scale < 1.5)


def test_the_command_writes_table_and_picture(job, tmp_path, capsys):
    job()
    assert main(["fit", str(tmp_path / "near.toml"), "--out", str(tmp_path / "o")]) == 0
    said = capsys.readouterr().out
    assert (tmp_path / "o/fit.txt").read_text() == said
    assert "<- now" in said
    assert (tmp_path / "o/fit.svg").read_text().count("<rect") == 22
    assert main(["fit", str(tmp_path / "near.toml"), "--within", "90"]) == 2


def test_the_picture_says_so_where_the_size_asked_for_is_the_cheapest(job):
    sizes = near_sizes(build(job()), 0.1)
    now = next(s for s in sizes if s.scale == pytest.approx(1))
    assert "dark: as asked for" in near_sizes_svg("Near", sizes)
    assert sizes[0] is not now
    alone = near_sizes_svg("Near", [now, *(s for s in sizes if s is not now)])
    assert "green: the size asked for" in alone
    assert "dark" not in alone
