"""The command bridges: what it writes and says, checked against builds of each style."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from sheetstack.geometry.build import build
from sheetstack.geometry.cli.main import main
from sheetstack.geometry.job.load import load_job
from sheetstack.geometry.report.bridge_styles import STYLES, styled_builds

JOB = """
title = "Rings"
ground = "#ffffff"
[sheet]
width_mm = 120
height_mm = 60
material = "polyester"
thickness_mm = 0.35
margin_mm = 5
[bridges]
{keys}
[[layers]]
name = "Ink"
colour = "#102040"
artwork = "rings.svg"
"""
SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="60mm" viewBox="0 0 120 60">
<path fill-rule="evenodd" d="M10,10H55V50H10ZM18,15H47V45H18Z M65,10H110V50H65ZM73,15H102V45H73Z"/>
</svg>"""


@pytest.fixture
def job_file(tmp_path):
    (tmp_path / "rings.svg").write_text(SVG)
    path = tmp_path / "rings.toml"
    path.write_text(JOB.format(keys=""))
    return path


def test_each_style_is_told_as_a_build_of_it_has_it(job_file, capsys):
    assert main(["bridges", str(job_file)]) == 0
    said = capsys.readouterr().out
    folder = job_file.parent / "bridges"
    assert (folder / "bridges.txt").read_text() in said
    job = load_job(job_file)
    for name, keys in STYLES.items():
        built = build(replace(job, bridges=replace(job.bridges, **keys)))
        damage = sum(layer.damage for layer in built.layers)
        lines = said.split(f"\n{name}\n")[1].splitlines()
        assert lines[0].strip().startswith(f"visible damage {damage:.0f}, ")
        assert "gives way" in lines[1]
    picture = np.asarray(Image.open(folder / "bridges.png"))
    ink = (picture == [0x10, 0x20, 0x40]).all(axis=2)
    quarter = picture.shape[1] // 4
    assert all(ink[:, k * quarter : (k + 1) * quarter].any() for k in range(4))


def test_the_job_s_own_style_stands_first_where_it_is_another(job_file):
    job_file.write_text(JOB.format(keys='direction = "angle"\nangle_deg = 45'))
    styles = styled_builds(load_job(job_file))
    assert styles[0].name == "as the job says"
    assert len(styles) == len(STYLES) + 1
    ways = [b.path[2] - b.path[1] for b in styles[0].built.layers[0].bridges]
    assert all(abs(abs(x) - abs(y)) < 1e-9 for x, y in ways)


def test_help_names_what_is_written(capsys):
    with pytest.raises(SystemExit):
        main(["bridges", "--help"])
    assert "bridges.png" in capsys.readouterr().out


def test_a_job_with_curved_bridges_is_shown_with_straight_ones_too(job_file):
    job = load_job(job_file)
    curved = replace(job, bridges=replace(job.bridges, style="curved"))
    made = {style.name: style for style in styled_builds(curved)}
    assert len(made) == len(STYLES)  # its own is one of them
    assert made["curved"].built.job == curved
    assert made["vertical"].built.job.bridges.style == "straight"
    assert ("style", "straight") in made["vertical"].keys
