"""The mural job: 3 m x 2 m in ply on a bed of 600 x 400, here all but kerf and joints halved.

Wide version, at full size and with the wall of 10 m x 4 m: ``tests/bench/bench_mural.py``.
"""

import re
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import shapely

from sheetstack.geometry.build import build
from sheetstack.geometry.export import export_build
from sheetstack.geometry.fabricate.making import making_of_build
from sheetstack.geometry.fabricate.stock import lay_on_stock, parts_of
from sheetstack.geometry.fabricate.wall_pins import LOCATED
from sheetstack.geometry.job.load import parse_job

sys.path.append(str(Path(__file__).parents[1] / "bench"))
from mural_drawing import mural_job, mural_svg

MACHINE = """[process]
kind = "laser"
kerf_mm = 0.17
bed_width_mm = 300
bed_height_mm = 200
lead_in_mm = 2
[[stock]]
width_mm = 610
height_mm = 305
price = 7
"""


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    folder = tmp_path_factory.mktemp("mural")
    (folder / "mural.svg").write_text(mural_svg(1460, 960, fineness=4))
    layers = ("tide", "birds")
    return build(parse_job(mural_job(1500, 1000, more=MACHINE, layers=layers), folder=folder))


@pytest.fixture(scope="module")
def makings(built):
    def made(sizes):
        job = replace(built.job, tiles=replace(built.job.tiles, sizes=sizes))
        return job, making_of_build(replace(built, job=job))

    return {sizes: made(sizes) for sizes in ("even", "stock")}


@pytest.mark.parametrize("sizes", ["even", "stock"])
def test_tiles_are_located_twice_or_told_and_together_the_sheet(makings, sizes):
    _, making = makings[sizes]
    for one in making.sheets:
        tiles = one.tiling.tiles
        assert len(tiles) >= 30
        loose = sum(tile.keys + tile.pins < LOCATED for tile in tiles)
        assert loose == sum(f.code == "tiles.not-located" for f in one.findings)
        assert loose <= (0 if sizes == "even" else 2)
        whole = one.sheet.shape
        exact = [tile.exact[0] for tile in tiles]
        assert shapely.union_all(exact).symmetric_difference(whole).area <= 1e-9 * whole.area
        assert sum(e.area for e in exact) == pytest.approx(whole.area, rel=1e-9)
        for tile in tiles:
            x0, y0, x1, y1 = tile.shape.bounds
            assert min(x1 - x0, y1 - y0) <= 194 + 1e-6
            assert max(x1 - x0, y1 - y0) <= 294 + 1e-6


def test_tiles_sized_for_stock_take_less_of_it_and_no_nesting_takes_less(makings):
    layouts = {sizes: lay_on_stock(job, parts_of(made)) for sizes, (job, made) in makings.items()}
    even, stock = layouts["even"], layouts["stock"]
    assert not even.left_over
    assert not stock.left_over
    assert stock.count < even.count <= even.shelf_count
    # The bound proves it: rests lie two to a blank, and each other tile needs its own.
    assert stock.count == stock.least_count


def test_the_estimate_is_what_the_files_hold(built, tmp_path):
    # Read by fontTools, which shares nothing with the writer.
    from fontTools.pens.perimeterPen import PerimeterPen
    from fontTools.svgLib.path import parse_path

    found = export_build(built, ["svg"], tmp_path / "out")
    total = 0.0
    for path in found.files:
        if not path.name.endswith("-cut.svg"):
            continue
        text = path.read_text()
        for group in ("cut-openings", "cut-outline"):
            (body,) = re.findall(rf'<g id="{group}".*?</g>', text, re.S)
            for drawn in re.findall(r' d="([^"]*)"', body):
                pen = PerimeterPen()
                parse_path(drawn, pen)
                total += pen.value
    assert total == pytest.approx(found.estimate.total.cut_mm, rel=1e-6)
