"""Wall pins and spray schedule of a split job: tiles located twice, none laid on wet paint."""

import csv
import io
import math
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from PIL import ImageFont
from shapely import Point, Polygon, box

from sheetstack.geometry.build import build
from sheetstack.geometry.fabricate.making import making_of_build
from sheetstack.geometry.fabricate.pieces import MadeSheet, SheetToMake
from sheetstack.geometry.fabricate.spray_schedule import schedule_of_build
from sheetstack.geometry.fabricate.tiling import Tile, Tiling
from sheetstack.geometry.fabricate.wall_pins import LOCATED, with_wall_pins
from sheetstack.geometry.fabricate.wall_plan import wall_plan
from sheetstack.geometry.files.wall_plan_svg import wall_plan_csv, wall_plan_svg
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.report.schedule_text import schedule_csv, schedule_text

JOB = """
title = "Wall"
[sheet]
width_mm = 420
height_mm = 300
margin_mm = 10
material = "birch-ply"
thickness_mm = 3
[process]
kind = "laser"
bed_width_mm = 200
bed_height_mm = 150
[tiles]
pins = "every tile"
[spray]
touch_dry_min = 20
recoat_min = 90
tile_min = 5
[[layers]]
name = "Base"
colour = "#335577"
artwork = "wall.svg"
group = "a"
[[layers]]
name = "Top"
colour = "#aa3311"
artwork = "wall.svg"
group = "b"
"""


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wall")
    a = "".join(
        f'<rect x="{30 + 52 * (k % 7)}" y="{30 + 62 * (k // 7)}" width="34" height="24"/>'
        for k in range(28)
    )
    b = "".join(f'<circle cx="{60 + 75 * k}" cy="{90 + 25 * (k % 2)}" r="28"/>' for k in range(5))
    (folder / "wall.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="280mm" '
        f'viewBox="0 0 400 280"><g id="a">{a}</g><g id="b">{b}</g></svg>'
    )
    return build(parse_job(JOB, folder=folder))


@pytest.fixture(scope="module")
def making(built):
    return making_of_build(built)


def test_every_tile_of_every_layer_is_located_twice_by_pins_of_one_pattern(making):
    for sheet in making.sheets:
        for tile in sheet.tiling.tiles:
            whole = shapely.union_all([shapely.Polygon(p.exterior) for p in tile.shape.geoms])
            through = [
                pin
                for pin in making.pins
                if whole.contains(Point(pin.at)) and not tile.shape.intersects(Point(pin.at))
            ]
            assert tile.pins >= LOCATED
            held = [p for p in through if sheet.sheet.name not in p.pulled_for]
            assert len(held) == tile.pins
            apart = max(math.dist(p.at, q.at) for p in held for q in held)
            assert apart > 10
            for pin in held:
                # A round hole of that size, with sheet all round it.
                assert tile.shape.distance(Point(pin.at)) == pytest.approx(pin.diameter / 2, 0.01)
                ring = Point(pin.at).buffer(pin.diameter / 2 + 1.2)
                ring = ring.difference(Point(pin.at).buffer(pin.diameter / 2 + 0.05))
                assert tile.shape.covers(ring)


def test_tiles_with_pins_are_the_sheet_less_the_holes_and_joints(making):
    for sheet in making.sheets:
        exact = [tile.exact[0] for tile in sheet.tiling.tiles]
        whole = sheet.sheet.shape
        assert shapely.union_all(exact).symmetric_difference(whole).area <= 1e-9 * whole.area
        assert sum(e.area for e in exact) == pytest.approx(whole.area, rel=1e-9)
        made = sum(tile.shape.area for tile in sheet.tiling.tiles)
        holes = [p for p in making.pins if sheet.sheet.name not in p.pulled_for]
        lost = sum(math.pi * p.diameter**2 / 4 for p in holes)
        gap = sheet.tiling.joints[0].near(sheet.sheet.shape).intersection(sheet.sheet.shape).area
        assert whole.area - made == pytest.approx(lost + gap, rel=0.01)


def test_pins_where_needed_go_to_tiles_that_keys_do_not_hold_twice(built):
    def made(**keys):
        job = replace(built.job, tiles=replace(built.job.tiles, **keys))
        return making_of_build(replace(built, job=job))

    butted = made(pins="where needed", joint="butt")
    assert all(t.pins >= LOCATED for s in butted.sheets for t in s.tiling.tiles)
    keyed = made(pins="where needed")
    for sheet in keyed.sheets:
        for tile in sheet.tiling.tiles:
            assert tile.keys + tile.pins >= LOCATED
    assert len(keyed.pins) < len(butted.pins)
    bare = made(pins="none", joint="butt")
    told = [f for s in bare.sheets for f in s.findings if f.code == "tiles.not-located"]
    assert len(told) == sum(len(s.tiling.tiles) for s in bare.sheets)


def test_the_schedule_sprays_all_paint_once_and_nothing_on_wet_paint(built, making):
    steps = schedule_of_build(built, making)
    shapes = {(s.sheet.name, t.name): t.shape for s in making.sheets for t in s.tiling.tiles}
    for layer in built.layers:
        mine = [s for s in steps if s.layer == layer.settings.name]
        painted = layer.sheet.openings.difference(layer.sheet.holes).area
        assert sum(s.paint_mm2 for s in mine) == pytest.approx(painted, rel=1e-9)
        for k, late in enumerate(mine):
            for early in mine[:k]:
                a, b = shapes[late.layer, late.tile], shapes[early.layer, early.tile]
                if a.distance(b) < 1.0:
                    assert late.starts_min >= early.dry_min
    first = [s for s in steps if s.layer == "Base"]
    second = [s for s in steps if s.layer == "Top"]
    assert second[0].starts_min == first[-1].ends_min + 90
    for before, after in pairwise(steps):
        assert after.starts_min >= before.ends_min == before.starts_min + 5
    assert all(set(s.masked) <= {"left", "right", "below", "above"} for s in steps)


def test_a_step_names_the_pins_whose_holes_its_tile_has(built, making):
    shapes = {(s.sheet.name, t.name): t.shape for s in making.sheets for t in s.tiling.tiles}
    steps = schedule_of_build(built, making)
    assert sum(len(step.pins) for step in steps) > len(steps)
    for step in steps:
        outlines = [Polygon(p.exterior) for p in shapely.get_parts(shapes[step.layer, step.tile])]
        hung = [p.number for p in making.pins if any(o.covers(Point(p.at)) for o in outlines)]
        assert step.pins == tuple(hung)


def test_the_schedule_asks_for_drying_times_and_reads_as_a_table(built, making):
    steps = schedule_of_build(built, making)
    job = replace(built.job, spray=replace(built.job.spray, recoat_min=None))
    text = schedule_text(job, steps)
    assert "ASKED FOR: [spray] recoat_min" in text
    assert "ASKED FOR: [spray] touch_dry_min" not in text
    rows = list(csv.DictReader(io.StringIO(schedule_csv(steps))))
    assert [int(r["step"]) for r in rows] == [s.number for s in steps]
    assert all(r["tile"] in text for r in rows)


def test_the_wall_plan_gives_holes_from_one_datum_and_equal_diagonals(built, making):
    plan = wall_plan(built.job, making.pins)
    assert plan.diagonal == pytest.approx(math.hypot(420, 300))
    lengths = [line.length for line in plan.lines if line.name.startswith("diagonal")]
    assert lengths == pytest.approx([plan.diagonal] * 2)
    rows = list(csv.DictReader(io.StringIO(wall_plan_csv(plan))))
    found = {r["what"]: (float(r["x_mm"]), float(r["y_mm"])) for r in rows if r["what"][0] == "P"}
    assert found.keys() == {f"P{p.number}" for p in making.pins}
    wanted = np.array([p.at for p in making.pins])
    assert np.array(list(found.values())) == pytest.approx(wanted, abs=0.006)
    assert "datum" in wall_plan_svg(plan, "Wall & more")


def test_the_wall_plan_shows_every_opening_not_only_those_at_seams(built, making):
    tiles = [tile.shape for tile in making.sheets[0].tiling.tiles]
    inner = sum(len(part.interiors) for shape in tiles for part in shape.geoms)
    parts = sum(len(shape.geoms) for shape in tiles)
    assert inner > 10
    text = wall_plan_svg(wall_plan(built.job, making.pins), "Wall", tiles)
    assert text.count("<polygon") == parts + inner


def test_names_of_holes_in_a_row_lie_over_no_other_name_nor_hole(built, making):
    row = [(f"P{k}", (50.0 + 4.0 * k, 150.0 + k % 3), 4.0, "") for k in range(1, 61)]
    plan = replace(wall_plan(built.job, making.pins), holes=tuple(row))
    root = ElementTree.fromstring(wall_plan_svg(plan, "Wall"))
    size = max(plan.size) / 100 * 0.9
    names = {name for name, *_ in row}
    texts = [e for e in root.iter() if e.tag.endswith("text") and e.text in names]
    assert len(texts) > 20
    # As wide as Pillow sets them; pixels large enough for hinting not to count.
    font = ImageFont.load_default(100)
    boxes = []
    for text in texts:
        x, y = float(text.get("x")), float(text.get("y"))
        left, top, right, bottom = font.getbbox(text.text, anchor="ls")
        left, top, right, bottom = (v * size / 100 for v in (left, top, right, bottom))
        boxes.append(box(x + left, y + top, x + right, y + bottom))
    a, b = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    assert (a == b).all()
    holes = [Point(x, plan.size[1] - y).buffer(2.0) for _, (x, y), *_ in row]
    assert not len(shapely.STRtree(boxes).query(holes, predicate="intersects")[0])


def test_a_crumb_that_no_neighbour_took_is_told_as_one(built):
    def tile(name, *corners):
        shape = as_multipolygon(box(*corners))
        return Tile(name, (shape, shape), shape, shape, 0)

    tiles = (
        tile("A1", 0, 0, 190, 140),
        tile("A1b", 186, 141, 190, 144),
        tile("A2", 191, 0, 380, 144),
    )
    whole = as_multipolygon(shapely.union_all([t.lower for t in tiles]))
    sheet = SheetToMake("one", 1, "Base", "#335577", whole, 3.0)
    made = MadeSheet(sheet, Tiling(tiles, (), (), ()), ())
    (found,), pins = with_wall_pins([made], replace(built.job.tiles, pins="where needed"))
    assert all(whole.contains(Point(pin.at)) for pin in pins)
    (told,) = [f for f in found.findings if f.code == "tiles.not-located"]
    assert "crumb of 12 mm2" in told.message
    assert "A1b" in told.message
    assert box(186, 141, 190, 144).contains(Point(told.place))
