"""``sheetstack layers JOB --reorder``: the same picture from sheets that cost less."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from sheetstack.geometry import build_job, load_job
from sheetstack.geometry.cli.main import main
from sheetstack.geometry.colour import srgb_from_hex

#: A light disc with a dark eye and brows, in the order of least thought: the eyes are islands of
#: the disc, and the disc one of the ground.
FACE = """<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="200mm"
viewBox="0 0 200 200">
<g id="dark"><circle cx="70" cy="80" r="12"/><circle cx="130" cy="80" r="12"/>
<rect x="60" y="130" width="80" height="14"/></g>
<path id="light" fill-rule="evenodd" d="M100 20A80 80 0 0 1 100 180A80 80 0 0 1 100 20Z
M58 80a12 12 0 0 0 24 0a12 12 0 0 0 -24 0Z M118 80a12 12 0 0 0 24 0a12 12 0 0 0 -24 0Z
M60 130H140V144H60Z"/>
<rect id="under" x="90" y="90" width="9" height="9"/></svg>"""

JOB = """title = "Face"
ground = "#3366aa"
[sheet]
width_mm = 240
height_mm = 240
[registration]
trap_mm = 1.5
[[layers]]
name = "Under"
colour = "#990000"
artwork = "face.svg"
group = "under"
[[layers]]
name = "Dark"
colour = "#101010"
artwork = "face.svg"
group = "dark"
keep_mm = [[90.0, 140.0]]
[[layers]]
name = "Light"
colour = "#f4e04d"
artwork = "face.svg"
group = "light"
"""


@pytest.fixture
def job(tmp_path):
    (tmp_path / "face.svg").write_text(FACE)
    path = tmp_path / "face.toml"
    path.write_text(JOB)
    return path


def _painted(built, points):
    """Colours at points once all sheets are sprayed, islands let out and held as they are."""
    shown = np.tile(srgb_from_hex(built.job.ground), (len(points), 1))
    for layer in built.layers:
        inside = shapely.intersects_xy(layer.plain_sheet.openings, *points.T)
        shown[inside] = srgb_from_hex(layer.settings.colour)
    return shown


def test_a_copy_of_the_job_has_fewer_islands_and_paints_the_same(job, capsys):
    before = {p: p.read_bytes() for p in job.parent.iterdir()}
    assert main(["layers", str(job), "--reorder"]) == 0
    told = capsys.readouterr().out
    assert "as it is: 3 islands" in told
    assert "reordered: 0 islands" in told
    assert {p: p.read_bytes() for p in before} == before
    folder = job.parent / "face-reordered"
    new = load_job(folder / "job.toml")
    # The layer that nothing shows of is left out and told; the others keep what they say.
    assert [layer.name for layer in new.layers] == ["Light", "Dark"]
    assert "Under: Later layers paint over all of it" in told
    assert new.layers[1].keep_mm == ((90.0, 140.0),)
    assert new.registration.trap_mm == 0  # it is in the drawing already
    old, built = build_job(load_job(job)), build_job(new)
    points = np.random.default_rng(3).uniform(0, 240, (4000, 2))
    edges = shapely.union_all([shapely.boundary(s.artwork.shape) for s in old.layers[1:]])
    clear = points[shapely.distance(shapely.points(points), edges) > 0.3]
    assert len(clear) > 3500
    assert (_painted(old, clear) == _painted(built, clear)).all()
    assert sum(len(layer.islands) for layer in built.layers) == 0


@pytest.mark.parametrize(
    ("change", "options", "told"),
    [
        (('colour = "#101010"', 'colour = "#101010"\nopacity = 0.5'), [], "lets what is below"),
        (("", ""), ["--detail", "0.3"], "--detail: does not apply to a job"),
        (("", ""), ["--layers", "3"], "--layers: does not apply to a job"),
    ],
)
def test_what_cannot_be_reordered_is_told(job, capsys, change, options, told):
    job.write_text(JOB.replace(*change) if change[0] else JOB)
    assert main(["layers", str(job), "--reorder", *options]) == 2
    assert told in capsys.readouterr().err


def test_a_job_is_reordered_only_when_asked(job, capsys):
    assert main(["layers", str(job)]) == 2
    assert "give --reorder" in capsys.readouterr().err
    assert main(["layers", str(job.with_name("face.svg")), "--reorder"]) == 2
    assert "expected a job file" in capsys.readouterr().err
