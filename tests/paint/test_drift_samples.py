"""Sampled drifts: what is left of small patches, against counting points on a grid."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, box

from sheetstack.geometry.paint import drift_samples
from sheetstack.geometry.paint.drift_samples import SAMPLES, lost_details, sample_drifts
from sheetstack.geometry.paint.wall import Can
from sheetstack.geometry.planar.polygons import as_multipolygon

SOLID = (Can("#c8691e"), Can("#0c1622"), Can("#ffffff"))
CENTRE = (20.0, 20.0)


def blots(seed, number, layers=3):
    """Layers of random discs that lie over each other."""
    rng = np.random.default_rng(seed)
    return [
        as_multipolygon(
            shapely.union_all(
                shapely.buffer(
                    shapely.points(rng.uniform(0, 40, (number, 2))),
                    rng.uniform(0.8, 4, number),
                    quad_segs=4,
                )
            )
        )
        for _ in range(layers)
    ]


def counted_left(shapes, owner, patch, around_mm, drift_mm, drift_deg):
    """Return the area left of a patch in each sample, from points 0.1 mm apart that are carried
    back to where each sheet was cut."""
    around = patch.buffer(around_mm)
    x0, y0, x1, y1 = around.bounds
    points = np.stack(np.meshgrid(np.arange(x0, x1, 0.1), np.arange(y0, y1, 0.1)), -1)
    points = points.reshape(-1, 2)
    points = points[shapely.contains_xy(around, *points.T)]
    left = []
    for shift, turn in zip(*sample_drifts(SAMPLES, len(shapes), drift_mm, drift_deg), strict=True):
        there = np.ones(len(points), bool)
        for layer in range(max(owner, 0), len(shapes)):
            angle = np.radians(turn[layer])
            forth = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
            back = (points - CENTRE - shift[layer]) @ forth + CENTRE
            painted = shapely.contains_xy(shapes[layer], *back.T)
            there &= painted if layer == owner else ~painted
        left.append(0.01 * there.sum())
    return np.array(left)


@pytest.mark.parametrize("seed", [1, 2])
def test_what_is_told_as_lost_is_lost_by_counting_points(seed):
    shapes = blots(seed, 24)
    found = lost_details(shapes, SOLID, CENTRE, 1.0, 0.5)
    assert len(found) >= 3
    for detail in found[:6]:
        over = shapely.union_all(shapes[detail.layer + 1 :])
        under = shapes[detail.layer] if detail.layer >= 0 else box(*shapely.total_bounds(shapes))
        (patch,) = [
            p
            for p in shapely.get_parts(under.difference(over))
            if p.intersects(Point(detail.place))
        ]
        corners = np.array(shapely.total_bounds(shapes)).reshape(2, 2)
        reach = 1.0 + np.hypot(*(corners - CENTRE).T).max() * np.radians(0.5)
        left = counted_left(shapes, detail.layer, patch, reach, 1.0, 0.5)
        # Near the half, points count a little otherwise than areas.
        sure = np.abs(left - patch.area / 2) > 0.03 * patch.area
        lost = left < patch.area / 2
        assert lost[sure].sum() <= detail.lost_share * SAMPLES <= (lost | ~sure).sum()


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_patches_that_are_not_looked_at_closely_are_not_lost(seed, monkeypatch):
    """Most are passed over by a bound; with all of them measured the same are found."""
    shapes = blots(seed, 30)
    found = lost_details(shapes, SOLID, CENTRE, 0.7, 0.4)
    seen = []

    def everything(cells, *rest):
        bound = real(cells, *rest)
        seen.append(bound < 0.5 * shapely.area(cells)[:, None])
        return np.full_like(bound, np.inf)

    real = drift_samples._most_covered
    monkeypatch.setattr(drift_samples, "_most_covered", everything)
    assert lost_details(shapes, SOLID, CENTRE, 0.7, 0.4) == found
    assert found
    assert seen[0].mean() > 0.2


def test_a_slot_moves_with_its_sheet_and_is_not_lost():
    """The ground is whole round about: the same of it is seen elsewhere."""
    ground = MultiPolygon([box(0, 0, 40, 40)])
    slotted = as_multipolygon(box(0, 0, 40, 40).difference(box(10, 19.7, 30, 20.3)))
    assert lost_details([ground, slotted], SOLID[:2], CENTRE, 1.0, 0.0) == ()


def test_a_coat_that_does_not_hide_takes_nothing_away():
    spot, glaze = MultiPolygon([box(19, 19, 21, 21)]), MultiPolygon([box(0, 0, 40, 40)])
    cans = (SOLID[0], Can("#0c1622", 0.5))
    assert lost_details([spot, glaze], cans, CENTRE, 1.0, 0.0) == ()


def test_rings_in_rings_are_held_against_what_is_near_each_only():
    discs = [Point(*CENTRE).buffer(radius) for radius in np.arange(1.0, 18.5, 0.5)]
    rings = as_multipolygon(
        shapely.union_all([b.difference(a) for a, b in zip(discs[::2], discs[1::2], strict=False)])
    )
    parts = np.array(rings.geoms, object)
    found = drift_samples._clipped(rings, parts, 1.2)
    near = [(shapely.distance(parts, part) <= 1.2).sum() for part in parts]
    assert [len(clip.geoms) for clip in found] == near
    assert max(near) == 3 < len(parts)
