"""Bounds on stock: never above what exists, reached where it is known, sharper than area."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box

from sheetstack.geometry.fabricate.blanks import blank_rules
from sheetstack.geometry.fabricate.stock_bound import grown_areas, least_bins, least_stock
from sheetstack.geometry.fabricate.stock_tiles import grid_for_stock, stock_for_boxes
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.planar.polygons import as_multipolygon

JOB = """
title = "Bound"
[sheet]
width_mm = 3000
height_mm = 2000
material = "birch-ply"
thickness_mm = 3
[process]
kind = "laser"
kerf_mm = 0.17
bed_width_mm = 600
bed_height_mm = 400
lead_in_mm = 2
[[stock]]
width_mm = 1220
height_mm = 610
[[layers]]
name = "A"
colour = "#000000"
artwork = "a.svg"
"""


@settings(deadline=None)
@given(st.lists(st.floats(0.01, 1.0), min_size=1, max_size=30))
def test_no_packing_beats_the_bound(sizes):
    # First fit is a packing.
    bins: list[float] = []
    for size in sorted(sizes, reverse=True):
        for k, used in enumerate(bins):
            if used + size <= 1:
                bins[k] += size
                break
        else:
            bins.append(size)
    assert max(1, int(np.ceil(sum(sizes) - 1e-6))) <= least_bins(np.array(sizes)) <= len(bins)


@pytest.mark.parametrize(
    ("sizes", "bins"),
    # Martello and Toth, "Knapsack Problems" (1990), 8.3: L2 sees that big ones never pair.
    [([0.51] * 10, 10), ([0.7, 0.7, 0.6, 0.45, 0.45], 4), ([0.5] * 4, 2), ([0.34] * 3, 2)],
)
def test_the_bound_is_that_of_theory(sizes, bins):
    assert least_bins(np.array(sizes)) == bins


def test_a_hole_counts_as_taken_only_where_nothing_goes_into_it():
    frame = as_multipolygon(box(0, 0, 100, 100).difference(box(10, 10, 90, 90)))
    small, long = (as_multipolygon(box(0, 0, w, 40)) for w in (70, 85))
    assert grown_areas([frame, small], 0.0)[0] == pytest.approx(3600)
    assert grown_areas([frame, long], 0.0)[0] == pytest.approx(10000)


def test_tiles_of_the_mural_take_a_seventh_less_stock_when_they_are_sized_for_it():
    job = parse_job(JOB)
    rules = blank_rules(job)
    grid = grid_for_stock(job, (3000, 2000), 3)
    boxes = grid.boxes(most=True)
    assert sum(boxes.values()) == grid.count == 32
    # Reckoned by hand: 24 a layer fill a blank each, 8 go two to a blank; 3 blanks a sheet.
    assert stock_for_boxes(rules, boxes, 3) == (24 * 3 + 8 * 3 // 2) // 3 == 28
    tiles = [as_multipolygon(box(0, 0, *size)) for size, n in boxes.items() for _ in range(3 * n)]
    assert least_stock(tiles, rules) == 28
    # Even tiles, each more than half a blank both ways, take a blank each.
    even = [as_multipolygon(box(0, 0, 380, 505))] * 96
    assert least_stock(even, rules) == 32
