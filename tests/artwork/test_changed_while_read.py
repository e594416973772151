"""A drawing that is saved while it is being read is told: its layers would not belong together."""

import os

import pytest

from sheetstack.geometry import load_job
from sheetstack.geometry.artwork.read import read_all
from sheetstack.geometry.errors import ArtworkError
from sheetstack.geometry.progress import Progress

SVG = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 60"><g id="a"><path
d="M5 5h40v40h-40z"/></g><g id="b"><path d="M15 15h20v20h-20z"/></g></svg>"""
LAYER = '[[layers]]\nname = "{0}"\ncolour = "#204060"\nartwork = "art.svg"\ngroup = "{0}"\n'
SHEET = '[sheet]\nwidth_mm = 99\nheight_mm = 99\nmaterial = "card"\nthickness_mm = 0.4\n'


@pytest.fixture
def job(tmp_path):
    (tmp_path / "art.svg").write_text(SVG)
    (tmp_path / "job.toml").write_text(
        f'title = "Read"\n{SHEET}{LAYER.format("a")}{LAYER.format("b")}'
    )
    return load_job(tmp_path / "job.toml")


def written_over(path):
    path.write_text(SVG.replace("M15 15", "M16 15"))


def saved_beside_and_renamed(path):
    beside = path.with_name("new")
    beside.write_text(SVG.replace("M15 15", "M16 15"))
    os.replace(beside, path)


@pytest.mark.parametrize("change", [written_over, saved_beside_and_renamed])
def test_between_two_layers_it_is_told(job, tmp_path, change):
    def save(_, what):
        if what.startswith("b: reading"):
            change(tmp_path / "art.svg")

    with pytest.raises(ArtworkError, match=r"Layer 'a': .*art.svg: was changed while it was being"):
        read_all(job, Progress(save))
    assert len(read_all(job)) == 2
