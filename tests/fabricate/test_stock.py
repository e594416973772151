"""Stock: blanks by guillotine, nesting by shape on finite stock and offcuts, grain, holes."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from sheetstack.geometry.errors import JobError
from sheetstack.geometry.fabricate.cut_sheet import CutSheet
from sheetstack.geometry.fabricate.guillotine import guillotine
from sheetstack.geometry.fabricate.kerf import CutPaths
from sheetstack.geometry.fabricate.nesting import nest
from sheetstack.geometry.fabricate.shape_nesting import nest_shapes, turned
from sheetstack.geometry.fabricate.stock import NestPart, lay_on_stock, stock_text
from sheetstack.geometry.job.load import job_text, parse_job
from sheetstack.geometry.planar.polygons import as_multipolygon

JOB = """
title = "Stock"
[sheet]
width_mm = 400
height_mm = 300
[[layers]]
name = "A"
colour = "#000000"
artwork = "a.svg"
"""


def lies_true(shapes, blanks, found, spacing, edge):
    """Check a nest with Shapely: within blanks by the edge, apart by the spacing."""
    for blank in found.blanks:
        placed = [
            shapely.affinity.translate(turned(shapes[p.piece], p.turns), p.x, p.y)
            for p in found.placings
            if p.blank == blank
        ]
        for k, a in enumerate(placed):
            assert blanks[blank].covers(a)
            assert a.distance(blanks[blank].exterior) >= edge - 1e-6
            for b in placed[:k]:
                assert a.distance(b) >= spacing - 1e-6
                assert not a.intersects(b)


@pytest.mark.parametrize(
    ("stock", "bed"),
    [((1220, 610), (600, 400)), ((2440, 1220), (600, 400)), ((500, 300), (900, 600))],
)
def test_blanks_fit_the_bed_and_come_of_cuts_from_edge_to_edge(stock, bed):
    plan = guillotine(stock, bed, 3.0)
    boxes = [box(x, y, x + w, y + h) for x, y, w, h in plan.blanks]
    whole = box(0, 0, *stock)
    for k, (_, _, w, h) in enumerate(plan.blanks):
        assert min(w, h) <= min(bed)
        assert max(w, h) <= max(bed)
        assert whole.covers(boxes[k])
        assert all(boxes[k].distance(b) >= 3.0 - 1e-9 for b in boxes[:k])
    # Followed one after the other, each cut parts exactly one part of the sheet, edge to edge.
    parts = [whole]
    for cut in plan.cuts:
        low, high = cut.span
        slot = (
            box(cut.at, low, cut.at + 3, high)
            if cut.upright
            else box(low, cut.at, high, cut.at + 3)
        )
        (hit,) = [p for p in parts if p.intersection(slot).area > 1e-6]
        left = shapely.get_parts(hit.difference(slot))
        assert len(left) <= 2
        parts = [p for p in parts if p is not hit] + list(left)
    for b in boxes:
        assert any(p.symmetric_difference(b).area < 1e-6 for p in parts)


def test_parts_lie_in_the_holes_and_bays_of_others():
    frame = as_multipolygon(box(0, 0, 190, 190).difference(box(20, 20, 170, 170)))
    bay = as_multipolygon(Polygon([(0, 0), (190, 0), (190, 40), (40, 40), (40, 190), (0, 190)]))
    small = as_multipolygon(box(0, 0, 100, 100))
    shapes, blanks = [frame, bay, small, small], [box(0, 0, 200, 200)] * 4
    found = nest_shapes(shapes, blanks, spacing=3, edge=4)
    assert len(found.blanks) == 2
    assert nest([(190, 190), (190, 190), (100, 100), (100, 100)], (200, 200), edge=4).stocks == 4
    lies_true(shapes, blanks, found, 3, 4)


def test_any_nest_keeps_spacing_edge_grain_and_offcuts():
    rng = np.random.default_rng(8)
    shapes = []
    for _ in range(24):
        angle = np.sort(rng.uniform(0, 2 * np.pi, 9))
        radius = rng.uniform(15, 60, 9)
        ring = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
        shapes.append(as_multipolygon(shapely.convex_hull(shapely.MultiPoint(ring))))
    offcut = Polygon([(0, 0), (300, 0), (300, 80), (120, 80), (120, 260), (0, 260)])
    blanks = [offcut, *[box(0, 0, 300, 200)] * 20]
    for turns in ((0, 2), (0, 1, 2, 3)):
        found = nest_shapes(shapes, blanks, spacing=2, edge=3, turns=turns)
        assert found.left_over == ()
        assert 0 in found.blanks
        assert {p.turns for p in found.placings} <= set(turns)
        lies_true(shapes, blanks, found, 2, 3)
        assert nest_shapes(shapes, blanks, spacing=2, edge=3, turns=turns) == found


def test_what_finds_no_stock_is_left_over():
    shapes = [as_multipolygon(box(0, 0, 90, 90))] * 3
    found = nest_shapes(shapes, [box(0, 0, 100, 100)] * 2, spacing=2, edge=2)
    assert len(found.left_over) == 1
    assert len(found.placings) == 2


def test_stock_is_read_checked_and_written_back():
    stock = "[[stock]]\nname = 'ply'\nwidth_mm = 1220\nheight_mm = 610\nprice = 22\n"
    offcut = stock + "outline_mm = [[0, 0], [900, 0], [900, 300]]\ncount = 1\n"
    job = parse_job(JOB + stock + offcut)
    assert parse_job(job_text(job)) == job
    assert job.room == job.made_by.bed
    assert replace(job, process=replace(job.process, bed="none")).room == (1220, 610)
    with pytest.raises(JobError, match=r"\[\[stock\]\] number 1: outline_mm"):
        parse_job(JOB + stock + "outline_mm = [[0, 0], [9000, 0], [900, 300]]\n")


def test_the_plan_names_each_piece_on_the_stock_that_holds_it(tmp_path):
    machine = (
        '[process]\nkind = "laser"\nbed_width_mm = 200\nbed_height_mm = 150\n'
        "[[stock]]\nwidth_mm = 200\nheight_mm = 150\n"
    )
    job = parse_job(JOB + machine, tmp_path / "job.toml")
    sizes = [(150, 120), (30, 140), (180, 60), (170, 50)]
    parts = [
        NestPart(
            CutSheet(f"Sign {k}", size, CutPaths((), (), ()), ()), as_multipolygon(box(0, 0, *size))
        )
        for k, size in enumerate(sizes)
    ]
    layout = lay_on_stock(job, parts)
    assert sorted(name for names in layout.lying for name in names) == [
        f"Sign {k}" for k in range(4)
    ]
    lines = {
        line.split(",")[0].strip(): set(line.split(": ")[1].split(", "))
        for line in stock_text(job, layout).splitlines()
        if line.startswith("  stock-")
    }
    for blank, names in zip(layout.blanks, layout.lying, strict=True):
        assert lines[f"stock-{blank.name}"] == set(names)
        areas = [a * b for k, (a, b) in enumerate(sizes) if f"Sign {k}" in names]
        assert sum(areas) <= blank.shape.area


def test_what_only_the_grain_keeps_off_the_stock_is_said_to_be(tmp_path):
    machine = '[process]\nkind = "laser"\nbed_width_mm = 200\nbed_height_mm = 150\n'
    sheet = JOB.replace("height_mm = 300\n", 'height_mm = 300\nmaterial = "birch-ply"\n')
    across, long = (140, 180), (150, 300)
    parts = [
        NestPart(CutSheet(name, size, CutPaths((), (), ()), ()), as_multipolygon(box(0, 0, *size)))
        for name, size in (("Across", across), ("Long", long))
    ]
    kept = lay_on_stock(parse_job(sheet + machine, tmp_path / "job.toml"), parts)
    told = {line.split()[0]: line for line in kept.left_over}
    assert "grain" in told["Across"]
    assert "140 x 180 mm" in told["Across"]
    assert "grain" not in told["Long"]
    free = machine + '[tiles]\ngrain = "free"\n'
    laid = lay_on_stock(parse_job(sheet + free, tmp_path / "job.toml"), parts)
    assert [line.split()[0] for line in laid.left_over] == ["Long"]
    assert [name for names in laid.lying for name in names] == ["Across"]
