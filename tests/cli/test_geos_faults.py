"""An error of GEOS, wherever it befalls a command, is one sentence with what, and where."""

import sys

import pytest
import shapely
from shapely.errors import GEOSException

from sheetstack.geometry.cli.main import main

SVG = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 60"><g id="mid"><path
d="M5 5h40v40h-40z"/><path d="M40 9h9" stroke="#000"/></g><g id="dark"><path fill-rule="evenodd"
d="M15 15h20v20h-20z M20 20v10h10v-10z"/></g></svg>"""
JOB = """\
title = "Leaf"
[sheet]
width_mm = 140
height_mm = 120
material = "card"
thickness_mm = 0.4
[registration]
hole_diameter_mm = 5
inset_mm = 8
[process]
kind = "laser"
bed_width_mm = 100
bed_height_mm = 90
[[layers]]
name = "Mid"
colour = "#4f7f3a"
artwork = "art.svg"
group = "mid"
scale = 5.0
[[layers]]
name = "Dark"
colour = "#203010"
artwork = "art.svg"
group = "dark"
scale = 5.0
split = true
"""


@pytest.fixture
def job(tmp_path):
    (tmp_path / "art.svg").write_text(SVG)
    (tmp_path / "job.toml").write_text(JOB)
    return tmp_path / "job.toml"


OVERLAYS = ("buffer", "clip_by_rect", "coverage_union", "difference", "intersection", "polygonize")


@pytest.fixture
def fails_in(monkeypatch):
    """Let the first call of GEOS that comes from a module fail, as GEOS does."""

    def arm(module):
        def failing(real):
            def call(*given, **more):
                frame = sys._getframe(1)
                while frame is not None and "/shapely/" in frame.f_code.co_filename:
                    frame = frame.f_back
                if frame is not None and module in frame.f_code.co_filename:
                    raise GEOSException("TopologyException: side location conflict at 12.34 56.7")
                return real(*given, **more)

            return call

        for name in (*OVERLAYS, "unary_union", "unary_union_prec"):
            monkeypatch.setattr(shapely.lib, name, failing(getattr(shapely.lib, name)))

    return arm


@pytest.mark.parametrize(
    ("command", "module", "told"),
    [
        ("build", "planar/union.py", "Layer 'Mid': {}/art.svg"),
        ("check", "support/laying.py", "Dark ({}/art.svg)"),
        ("build", "geometry/build.py", "Dark ({}/art.svg)"),
        ("build", "report/stack_picture.py", "{}/job.toml"),
        ("proof", "planar/arrangement.py", "Painting 'Leaf'"),
        ("plan", "paint/drift_samples.py", "Painting 'Leaf'"),
        ("offer", "scene/scale_objects.py", "{}/job.toml"),
        ("export", "fabricate/tiling.py", "Fitting Mid to the bed"),
        ("export", "fabricate/kerf.py", "Laying the cuts of Mid"),
        ("fit", "fabricate/near_sizes.py", "{}/job.toml"),
        ("layers", "planar/arrangement.py", "{}/art.svg"),
    ],
)
def test_the_step_it_befalls_is_told_and_nothing_is_written(
    job, fails_in, capsys, command, module, told
):
    before = sorted(job.parent.rglob("*"))
    fails_in(module)
    asked = job.with_name("art.svg") if command == "layers" else job
    assert main([command, str(asked), *([] if command == "check" else ["--quiet"])]) == 2
    said = capsys.readouterr().err
    assert said.startswith(f"sheetstack: {told.format(job.parent)}: "), said
    assert "near (12.3, 56.7) mm" in said
    assert sorted(job.parent.rglob("*")) == before
