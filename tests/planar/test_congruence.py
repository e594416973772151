"""Congruent shapes, made by known motions and found again."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, scale, translate

from sheetstack.geometry.planar.congruence import families, mirrors

#: A shape like no mirror image of itself, with a hole off its middle.
HOOK = shapely.Polygon(
    [(0, 0), (20, 0), (20, 6), (8, 6), (8, 30), (0, 30)],
    [[(2, 2), (6, 2), (6, 5), (2, 4)]],
)
STAR = shapely.Polygon(
    [
        (r * np.cos(a), r * np.sin(a))
        for r, a in zip([10, 4] * 5, np.arange(10) * np.pi / 5, strict=True)
    ]
)
COPIES = [
    HOOK,
    translate(HOOK, 51.37, -3.1),
    rotate(HOOK, 37.2),
    rotate(scale(HOOK, -1, 1), -111),
    scale(HOOK, 1.7, 1.7),
    STAR,
    rotate(translate(STAR, 40, 1), 13),
]


@pytest.mark.parametrize(
    ("free", "members"),
    [
        ({}, [(0, 1), (2,), (3,), (4,), (5,), (6,)]),
        ({"turned": True}, [(0, 1, 2, 3), (4,), (5, 6)]),
        ({"scaled": True}, [(0, 1, 4), (2,), (3,), (5,), (6,)]),
        ({"turned": True, "scaled": True}, [(0, 1, 2, 3, 4), (5, 6)]),
    ],
)
def test_families_are_found_with_their_motions(free, members):
    found = families(COPIES, **free)
    assert [f.members for f in found] == members
    for family in found:
        for member, motion in zip(family.members, family.motions, strict=True):
            moved = shapely.transform(COPIES[family.members[0]], motion)
            assert shapely.hausdorff_distance(moved, COPIES[member]) < 0.01
            there = shapely.transform(moved, motion.inverse())
            assert shapely.hausdorff_distance(there, COPIES[family.members[0]]) < 1e-9


#: Like a D: turned over about its level axis, it is itself again.
BOW = shapely.union(shapely.box(0, -12, 8, 12), shapely.Point(8, 0).buffer(12))
#: Like an O: half a turn leaves it as it is.
OVAL = scale(shapely.Point(0, 0).buffer(10), 1, 1.4)


@pytest.mark.parametrize("shape", [BOW, OVAL])
@pytest.mark.parametrize("degrees", [-64.3, -20.1, 5.7, 33.9, 71.2])
def test_a_symmetric_shape_is_turned_by_the_least_turn_and_not_turned_over(shape, degrees):
    (family,) = families([shape, rotate(translate(shape, 70, 3), degrees)], turned=True)
    (_, motion) = family.motions
    assert np.linalg.det(motion.matrix) > 0
    turn = np.degrees(np.arctan2(motion.matrix[1, 0], motion.matrix[0, 0]))
    assert turn == pytest.approx(degrees, abs=0.01)


@pytest.mark.parametrize("degrees", [0.0, 0.05, 0.26, -17.3, 141.0])
@pytest.mark.parametrize("hand", [1, -1])
def test_turns_are_found_exactly_where_corners_agree(degrees, hand):
    round_hook = shapely.buffer(HOOK, 2).buffer(-1)
    copy = rotate(translate(scale(round_hook, hand, 1), 44, 7), degrees)
    (family,) = families([round_hook, copy], turned=True)
    moved = family.motions[1](shapely.get_coordinates(round_hook))
    assert np.abs(moved - shapely.get_coordinates(copy)).max() < 1e-9


def test_shapes_that_differ_a_little_are_no_family():
    taller = shapely.Polygon([(0, 0), (20, 0), (20, 6), (8, 6), (8, 30.3), (0, 30.3)])
    moved_hole = shapely.Polygon(HOOK.exterior, [[(2.3, 2), (6.3, 2), (6.3, 5), (2.3, 4)]])
    assert len(families([HOOK, taller, moved_hole], turned=True)) == 3


def test_other_vertices_on_the_same_outline_make_no_difference():
    finer = translate(shapely.segmentize(HOOK, 0.7), 10, 10)
    (family,) = families([HOOK, finer])
    assert np.abs(family.motions[1].shift - 10).max() < 1e-9


@pytest.mark.parametrize(
    ("shape", "count"),
    [(HOOK, 0), (STAR, 1), (shapely.Point(3, 4).buffer(9), 2), (shapely.box(0, 0, 9, 2), 2)],
)
def test_mirrorings_leave_the_shape_where_it_was(shape, count):
    found = mirrors(shape)
    assert len(found) == count
    for mirror in found:
        image = shapely.transform(shape, mirror)
        assert shape.symmetric_difference(image).area < 0.01 * shape.area
