"""A job's files as they lie on disk, read by trimesh, admesh, lib3mf, resvg, Cairo and ezdxf.

The same for all demos: ``python tests/bench/judge_demos.py``.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

pytest.importorskip("lib3mf", reason="lib3mf, the reference reader, is not installed")
pytest.importorskip("resvg_py")
sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))

from judge_demos import judge_dxf, judge_folder, judge_job, judge_svg

JOB = """
title = "Ring and dot"
[sheet]
width_mm = 90
height_mm = 70
material = "polyester"
thickness_mm = 0.25
[[layers]]
name = "Ring"
colour = "#203040"
artwork = "ring.svg"
[[layers]]
name = "Dot"
colour = "#c04020"
artwork = "dot.svg"
"""
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
RING = '<circle cx="30" cy="20" r="12" fill="none" stroke="#000" stroke-width="5"/>'
DOT = '<circle cx="30" cy="20" r="5"/>'


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("judged")
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    for name, body in (("ring", RING), ("dot", DOT)):
        (folder / f"{name}.svg").write_text(f"{HEAD}{body}</svg>", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def judged(folder):
    return judge_job(folder / "job.toml", folder)


def test_all_files_of_a_job_are_sound_by_other_readers(judged):
    faults, read = judged
    assert faults == []
    assert read[".3mf"] >= 1
    assert min(read[suffix] for suffix in (".svg", ".dxf", ".stl")) >= 2


def test_the_judges_find_what_is_damaged(judged, folder, tmp_path):
    assert judged[1]
    out = tmp_path / "damaged"
    shutil.copytree(folder / "export", out)
    solid = next(out.glob("*.stl"))
    data = solid.read_bytes()
    solid.write_bytes(data[:80] + (len(data[84:]) // 50 - 1).to_bytes(4, "little") + data[84:-50])
    faults, _ = judge_folder(out)
    assert {name for name, _ in faults} == {solid.name}
    drawing = next(out.glob("*-cut.svg"))
    text = drawing.read_text(encoding="utf-8")
    drawing.write_text(text.replace("<path", "<nothing", 1), encoding="utf-8")
    assert judge_dxf(drawing.with_suffix(".dxf"))
    drawing.write_text(text.replace("<path", "<nothing"), encoding="utf-8")
    assert judge_svg(drawing) == ["blank"]
