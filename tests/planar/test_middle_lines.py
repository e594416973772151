"""Middle lines: a known axis comes apart into known paths."""

import numpy as np
import pytest
import shapely
from shapely import Point, box

from sheetstack.geometry.planar.medial_axis import medial_axis
from sheetstack.geometry.planar.middle_lines import End, middle_lines


def split(shape, spacing=0.25):
    axis = medial_axis(shape, spacing)
    lines = middle_lines(axis)
    # Every piece of axis once.
    pieces = np.concatenate([line.pieces for line in lines])
    assert np.sort(pieces).tolist() == list(range(len(axis.edges)))
    for line in lines:
        ends = axis.edges[line.pieces]
        for k, (a, b) in enumerate(zip(line.nodes[:-1], line.nodes[1:], strict=True)):
            assert {a, b} == set(ends[k].tolist())
    return axis, [(float(axis.lengths[line.pieces].sum()), *line.ends) for line in lines]


def test_a_bar_is_one_line():
    _, lines = split(box(0, 0, 20, 2))
    assert lines == [(pytest.approx(18), End.FREE, End.FREE)]


def test_a_ring_is_closed():
    ring = Point(0, 0).buffer(10, quad_segs=64).difference(Point(0, 0).buffer(9, quad_segs=64))
    _, lines = split(ring)
    assert lines == [(pytest.approx(2 * np.pi * 9.5, rel=2e-3), End.CLOSED, End.CLOSED)]


def test_the_longest_way_goes_through_and_others_branch_off():
    comb = shapely.union_all([box(0, 0, 40, 2), *(box(x, 0, x + 2, 5 + x / 4) for x in (12, 20))])
    _, lines = split(comb)
    assert lines[0] == (pytest.approx(38, abs=0.3), End.FREE, End.FREE)
    assert [line[1:] for line in lines[1:]] == [(End.BRANCHING, End.FREE)] * 2
    assert sorted(line[0] for line in lines[1:]) == pytest.approx([6, 8], abs=0.3)


def test_a_lattice_has_a_line_for_every_bar():
    grid = box(0, 0, 31, 31)
    for x in (1, 11, 21):
        for y in (1, 11, 21):
            grid = grid.difference(box(x, y, x + 9, y + 9))
    axis, lines = split(grid)
    # 24 bars of 10 mm between 16 knots; rounder ways round the four corners.
    assert axis.lengths.sum() == pytest.approx(240, abs=4)
    assert not {End.BODY, End.CLOSED} & {end for line in lines for end in line[1:]}
    # A tree through 16 knots, and one line more for every mesh.
    assert len(lines) >= 9
