"""Cutting by hand: small before large, outline last, neighbours apart, numbers and blades."""

import numpy as np
import shapely
from shapely import MultiPolygon, box

from sheetstack.geometry.fabricate.hand_cutting import (
    blade_changes,
    cut_numbers,
    hand_cutting_text,
    in_hand_order,
)
from sheetstack.geometry.fabricate.kerf import cut_paths

PLATE = MultiPolygon(
    [
        box(0, 0, 300, 200).difference(
            shapely.union_all(
                [box(10 + 28 * k, 20, 20 + 28 * k, 30) for k in range(10)]
                + [box(10 + 70 * k, 80, 60 + 70 * k, 150) for k in range(4)]
            )
        )
    ]
)


def test_small_cuts_come_first_and_neighbours_apart():
    plain = cut_paths(PLATE, 0.0)
    found = in_hand_order(plain)
    assert {p.points.tobytes() for p in found.openings} == {
        p.points.tobytes() for p in plain.openings
    }
    assert found.outline == plain.outline
    areas = [shapely.Polygon(p.points).area for p in found.openings]
    assert max(areas[:10]) < min(areas[10:])
    middles = np.array([p.points.mean(axis=0) for p in found.openings[:7]])
    # Side by side lie 28 mm; the plain order goes from one to the next.
    assert np.hypot(*np.diff(middles, axis=0).T).min() > 30


def test_each_cut_has_its_number_on_its_waste():
    found = in_hand_order(cut_paths(PLATE, 0.0))
    lines = shapely.MultiLineString([line for line in cut_numbers(found) if len(line) > 1])
    for path in found.openings:
        assert shapely.Polygon(path.points).contains(
            lines.intersection(shapely.Polygon(path.points))
        )
        assert lines.intersects(shapely.Polygon(path.points))


def test_a_blade_is_changed_before_the_cut_that_would_wear_it_out():
    cuts = in_hand_order(cut_paths(PLATE, 0.0))
    blades = blade_changes(cuts.all, 0.5)
    assert sum(b.length for b in blades) == cuts.length
    assert [b.first for b in blades[1:]] == [b.last + 1 for b in blades[:-1]]
    # 40 mm round each small square: 12 of them would make 480 mm, and there are ten.
    assert (blades[0].first, blades[0].last, blades[0].length) == (1, 10, 400)
    assert len(blade_changes(cuts.all, 0.0)) == 1
    assert "fresh blade 2" in hand_cutting_text("Base", cuts, 0.5)
