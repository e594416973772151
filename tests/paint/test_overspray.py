"""Soft edges and the shade of thick sheets."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, box

from sheetstack.geometry.build import build
from sheetstack.geometry.finding import Severity
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.job.sections import SpraySettings
from sheetstack.geometry.paint.overspray import (
    cone,
    dose,
    shade_findings,
    shaded,
    soft_edge,
    soft_picture,
)


@pytest.mark.parametrize("side", [0, 37, 90, 200])
@pytest.mark.parametrize("angle", [15, 45, 60])
def test_a_disc_is_shaded_to_the_lens_of_two_discs(side, angle):
    """Worn by a segment of length d, a disc becomes the lens of two discs d apart (geometry).

    Area of that lens: 2 r^2 acos(d / 2r) - d / 2 sqrt(4 r^2 - d^2).
    """
    r, t = 10.0, 6.0
    d = t * math.tan(math.radians(angle))
    lens = 2 * r * r * math.acos(d / 2 / r) - d / 2 * math.sqrt(4 * r * r - d * d)
    lit = shaded(Point(3, 4).buffer(r, quad_segs=256), t, angle, side)
    assert lit.area == pytest.approx(lens, rel=1e-4)


def test_a_slot_narrower_than_the_shade_gets_nothing_across_and_all_along():
    slot = box(0, 0, 40, 2)
    assert shaded(slot, 3, 45, from_deg=90).is_empty
    assert shaded(slot, 3, 45, from_deg=0).area == pytest.approx(37 * 2)


def test_an_island_shades_the_opening_behind_it():
    ring = box(0, 0, 20, 20).difference(box(8, 8, 12, 12))
    lit = shaded(ring, 2, 45, from_deg=0)
    assert lit.area == pytest.approx(18 * 20 - 4 * 4 - 2 * 4)
    assert not lit.intersects(Point(7, 10))
    assert lit.intersects(Point(13, 10))


def test_a_lifted_sheet_moves_the_picture_away_from_the_can():
    lit = shaded(box(0, 0, 10, 10), 0.0, 45, from_deg=90, lift=1.5)
    assert lit.bounds == pytest.approx((0, -1.5, 10, 8.5))


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_shade_is_what_a_droplets_whole_way_meets(seed):
    """By brute force: points looked at along their way, on shapes with holes and corners."""
    rng = np.random.default_rng(seed)
    shape = shapely.union_all(
        shapely.buffer(shapely.points(rng.uniform(0, 20, (5, 2))), 4, quad_segs=3)
    )
    shape = shape.difference(
        shapely.union_all(shapely.box(*rng.uniform(5, 15, (2, 3)), *rng.uniform(8, 18, (2, 3))))
    )
    side, angle = rng.uniform(0, 360), rng.uniform(5, 60)
    lit = shaded(shape, 2.0, angle, side)
    points = rng.uniform(-2, 22, (300, 2))
    reach = 2.0 * math.tan(math.radians(angle))
    way = reach * np.array([math.cos(math.radians(side)), math.sin(math.radians(side))])
    ends = shapely.linestrings(np.stack([points, points + way], axis=1))
    wanted = shapely.covers(shape, ends)
    doubtful = shapely.distance(lit.boundary, shapely.points(points)) < 1e-6
    got = shapely.contains_xy(lit, *points.T)
    assert (got == wanted)[~doubtful].all()


def test_the_dose_beside_a_straight_edge_follows_the_cone():
    """Beside an edge, what lands is the share of the cone that clears it: counted, not blurred."""
    spray = SpraySettings(cone_deg=90, lift_mm=2.0)
    thickness, scale = 2.0, 4.0
    landed = dose(box(20, -50, 90, 150), (60, 10), scale, thickness, spray, directions=400)
    across = landed[20]
    slopes, shares = cone(spray, 400)
    x = (np.arange(len(across)) + 0.5) / scale - 20
    # A droplet that leans towards the edge passes it at the top, one that leans away below.
    limit = np.where(slopes[:, 0] < 0, -slopes[:, 0] * 4.0, -slopes[:, 0] * 2.0)
    wanted = (shares * (x[:, None] > limit)).sum(axis=1)
    # The frame cuts the opening off at x = 40.
    assert np.abs(across - wanted)[x < 35].max() < 0.04
    edge = soft_edge(thickness, spray)
    assert across[x < -edge.creep_mm - 0.3].max() == 0
    assert across[(x > edge.shade_mm + 0.3) & (x < 30)].min() > 0.999
    assert 0.05 < across[np.abs(x + 0.5).argmin()] < across[np.abs(x - 0.5).argmin()] < 0.7


def test_a_dose_is_the_same_wherever_else_there_are_openings():
    spray = SpraySettings(angle_deg=20, from_deg=30, lift_mm=2)
    one, far = box(60, 60, 70, 66), MultiPolygon([box(1, 1, 3, 3), box(117, 117, 119, 119)])
    alone = dose(one, (120, 120), 4, 3, spray, 16)
    both = dose(MultiPolygon([one, *far.geoms]), (120, 120), 4, 3, spray, 16)
    assert np.array_equal(alone[160:320, 160:320], both[160:320, 160:320])
    assert alone[160:320, 160:320].sum() == pytest.approx(alone.sum())
    assert alone.sum() > 0.5 * 60 * 16


def test_a_sheet_that_lies_flat_and_thin_has_sharp_edges():
    spray = SpraySettings(lift_mm=0.0)
    landed = dose(box(2, 2, 8, 6), (10, 8), 3.0, 1e-6, spray)
    assert landed.sum() / 9 == pytest.approx(24, rel=1e-4)
    assert set(np.unique(landed.round(3)).tolist()) == {0.0, 1.0}


JOB = """
title = "Slots"
[sheet]
width_mm = 120
height_mm = 100
material = "birch-ply"
thickness_mm = 6
[spray]
angle_deg = {angle}
cone_deg = {cone}
from_deg = 90
[[layers]]
name = "Slots"
colour = "#202020"
artwork = "slots.svg"
"""
SLOTS = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">'
    '<path d="M5 5H70V7.5H5Z M5 20H70V40H5Z"/></svg>'
)


@pytest.fixture
def slots(tmp_path):
    (tmp_path / "slots.svg").write_text(SLOTS)
    return lambda angle, cone=30: build(
        parse_job(JOB.format(angle=angle, cone=cone), folder=tmp_path)
    )


def test_openings_that_get_no_paint_spoil_the_stencil(slots):
    codes = {f.code: f for f in shade_findings(slots(40))}
    lost = codes["spray.no-paint"]
    assert lost.severity is Severity.SPOILS
    assert lost.message.startswith("1 openings get no paint")
    # The upper slot of the drawing, 5 to 7.5 mm under its top edge.
    assert lost.place[1] == pytest.approx(80 - 6.25, abs=1.3)
    assert "hamfer" in lost.message


def test_openings_narrow_for_the_thickness_are_told_with_their_width(slots):
    codes = {f.code: f for f in shade_findings(slots(0, cone=60))}
    assert "spray.no-paint" not in codes
    assert codes["spray.narrow-for-thickness"].size_mm == pytest.approx(2.5, abs=0.15)
    assert "spray.narrow-for-thickness" not in {f.code for f in shade_findings(slots(0))}


def test_spray_wider_than_the_margin_is_told(slots):
    (told,) = [f for f in shade_findings(slots(0)) if f.code == "spray.past-the-edge"]
    # 200 mm x tan 15 deg = 53.6 mm each side of the can, margin 20 mm.
    assert "107 mm wide" in told.message
    assert "mask the wall 34 mm" in told.message


def test_soft_pictures_show_pass_after_pass(slots):
    bare, sprayed = soft_picture(slots(0), pixels=240)
    assert (bare == 255).all()
    assert sprayed.shape == (200, 240, 3)
    assert sprayed.min() == 0x20
    assert len(np.unique(sprayed)) > 10


def test_multipolygons_are_shaded_part_by_part():
    two = MultiPolygon([box(0, 0, 10, 10), box(11, 0, 21, 10)])
    assert shaded(two, 1, 45, 0).area == pytest.approx(180)
