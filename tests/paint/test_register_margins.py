"""How far sheets may drift: shapes of known margin, and brute force on the demos."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, box
from shapely.affinity import rotate, translate

from sheetstack.geometry.paint.register_margins import (
    Trouble,
    drift_between,
    drift_findings,
    sample_drifts,
)
from sheetstack.geometry.paint.wall import Can
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.planar.raster import coverage
from sheetstack.geometry.report.drift_picture import drift_picture
from sheetstack.geometry.sheet.trapping import let_under

from ..demo_builds import DEMOS, demo, demo_drift, demo_wall

COLOURS = ("#ee8a34", "#14202b", "#fff0cf")


def drift(*shapes, centre=(0.0, 0.0), allowed=1.0, ground="#2f8f83"):
    shapes = [as_multipolygon(s) for s in shapes]
    paints = [Can(c) for c in COLOURS[: len(shapes)]]
    return drift_between(shapes, paints, ground, ("A", "B", "C")[: len(shapes)], centre, allowed)


@pytest.mark.parametrize("turned", [0, 17, 45])
def test_square_in_square(turned):
    outer, inner = box(-20, -20, 20, 20), box(-17, -16, 16, 16)
    found = drift(rotate(outer, turned, (0, 0)), rotate(inner, turned, (0, 0)))
    (margin,) = found.margins
    assert margin.trouble is Trouble.OUTSIDE
    assert margin.exact
    assert margin.drift_mm == pytest.approx(3)
    assert found.layer_mm(0) == found.layer_mm(1) == margin.drift_mm


@pytest.mark.parametrize(("disc", "trouble"), [(7.0, Trouble.TOUCH), (11.0, Trouble.GAP)])
def test_disc_in_an_annulus(disc, trouble):
    """Ring from 9 to 14 mm: a disc of 11 under it leaves 2 mm of trap, one of 7 is 2 mm clear."""
    ring = Point(0, 0).buffer(14, quad_segs=64).difference(Point(0, 0).buffer(9, quad_segs=64))
    (tightest, *_) = drift(Point(0, 0).buffer(disc, quad_segs=64), ring).margins
    assert tightest.trouble is trouble
    assert tightest.drift_mm == pytest.approx(2, abs=5e-3)


def test_lower_colour_hidden_under_a_larger_one_may_peek_out():
    (margin,) = drift(box(-5, -5, 5, 5), box(-6.5, -9, 9, 9)).margins
    assert margin.trouble is Trouble.PEEK
    assert margin.drift_mm == pytest.approx(1.5)


@pytest.mark.parametrize("lever", [30.0, 200.0])
def test_turn_that_moves_the_square_out(lever):
    """Slots along a circle about the sheet's centre: turned, they run into each other's ends."""
    wide, narrow = box(lever - 1, -10, lever + 1, 10), box(lever - 0.5, -9, lever + 0.5, 9)
    found = drift(wide, narrow)
    (margin,) = found.margins
    assert margin.drift_mm == pytest.approx(0.5)
    # Safe, and not by more than the corners ask for.
    for share, fits in ((0.999, True), (6.0, False)):
        assert wide.covers(rotate(narrow, share * margin.turn_deg, (0, 0))) is fits
    assert margin.turn_deg <= math.degrees(2 * math.asin(0.5 / 2 / (lever - 0.5)))


def test_butting_colours_have_no_margin_and_a_trap_gives_one():
    left, right = box(0, 0, 30, 30), box(30, 0, 60, 30)
    butting = drift(left, right)
    assert [m.trouble for m in butting.margins] == [Trouble.GAP]
    assert butting.margins[0].drift_mm < 1e-3
    assert butting.margins[0].place[0] == pytest.approx(30)
    (finding,) = drift_findings(butting)
    assert finding.code == "registration.gap"
    assert "let A run 1 mm under B" in finding.message
    grown = let_under([as_multipolygon(left), as_multipolygon(right)], [True, True], 1.5)
    after = [m for m in drift(*grown).margins if m.trouble is Trouble.GAP]
    assert min(m.drift_mm for m in after) == pytest.approx(1.5, abs=0.01)
    assert drift_findings(drift(*grown)) == ()


def test_a_crossing_is_no_trouble():
    assert drift(box(-50, -5, 50, 5), box(-5, -50, 5, 50)).margins == ()


def test_edges_that_cross_at_a_grazing_angle_are_found_as_not_exact():
    strip = box(-60, -3, 60, 3)
    (margin, *_) = drift(strip, rotate(strip, 1.0)).margins
    assert not margin.exact
    assert margin.drift_mm < 0.6


def test_margins_hidden_by_a_later_layer_do_not_count():
    outer, inner = box(-20, -20, 20, 20), box(-17, -16, 16, 16)
    hidden = drift(outer, inner, box(-25, -25, 25, 25))
    assert all((m.lower, m.upper) != (0, 1) for m in hidden.margins)


def test_troubles_in_nearly_the_same_colour_do_not_count():
    squares = [as_multipolygon(box(-20, -20, 20, 20)), as_multipolygon(box(-17, -16, 16, 16))]
    paints = [Can("#2f8f83"), Can("#308f83")]
    assert drift_between(squares, paints, "#2f8f83", ("A", "B"), (0, 0)).margins == ()


def test_a_hair_of_lower_colour_is_a_detail_that_gets_lost():
    upper = box(-30, -30, 30, 0).union(box(-30, 0.8, 30, 30)).difference(box(-40, -40, -5, 40))
    found = drift(box(-4, -20, 4, 0.8), upper)
    assert [d.layer for d in found.details] == [0]
    assert 0.2 < found.details[0].lost_share < 0.9
    broad = drift(box(-4, -20, 4, 9), upper.difference(box(-30, 0, 30, 9)))
    assert broad.details == ()


def test_sampled_drifts_fill_the_disc_and_are_the_same_each_time():
    shifts, turns = sample_drifts(4000, 2, 1.5, 0.2)
    again, _ = sample_drifts(4000, 2, 1.5, 0.2)
    assert (shifts == again).all()
    length = np.hypot(*shifts.reshape(-1, 2).T)
    assert length.max() <= 1.5
    # Even over the disc: a quarter lies within half its radius.
    assert (length < 0.75).mean() == pytest.approx(0.25, abs=0.02)
    assert np.abs(turns).max() <= 0.2
    assert np.abs(shifts.mean(axis=(0, 1))).max() < 0.05


def _component(shape: MultiPolygon, place) -> shapely.Geometry:
    """The polygon of a shape whose edge passes a place."""
    parts = shapely.get_parts(shape)
    return parts[shapely.distance(shapely.boundary(parts), Point(place)).argmin()]


@pytest.mark.parametrize("name", DEMOS)
def test_brute_force_shifts_of_pixels_agree_with_exact_margins(name):
    """Every exact margin of a demo: the upper layer's raster is shifted all round.

    Shifted by less than the margin the two edges' pixels stay apart near the place; by more, and
    towards the other edge, they fall on each other.
    """
    shapes = [layer.artwork.shape for layer in demo(name).layers]
    margins = [m for m in demo_drift(name).margins if m.exact and 0.4 < m.drift_mm < 4]
    assert len(margins) > 10
    scale, window = 12.0, 11.0
    for m in margins[:: max(1, len(margins) // 8)]:
        corner = np.array(m.place) - window / 2
        clip = box(*corner, *(corner + window))

        def raster(edge, corner=corner, clip=clip):
            thin = shapely.intersection(edge, clip).buffer(0.5 / scale, quad_segs=2)
            moved = as_multipolygon(translate(thin, *-corner))
            return coverage(moved, (window, window), scale) > 0.02

        # The two rings that the margin lies between.
        lower, upper = (
            min(
                shapely.get_rings(_component(shapes[k], place)),
                key=lambda ring, place=place: ring.distance(Point(place)),
            )
            for k, place in ((m.lower, m.other), (m.upper, m.place))
        )
        still = raster(lower)
        # Only what can come into the window.
        upper = shapely.intersection(upper, clip.buffer(2 * m.drift_mm))
        pixel = 1 / scale
        for turn in range(16):
            way = np.array([math.cos(turn * math.pi / 8), math.sin(turn * math.pi / 8)])
            moved = raster(translate(upper, *way * (m.drift_mm - 3 * pixel)))
            assert not (moved & still).any()
        way = (np.array(m.other) - m.place) / m.drift_mm
        moved = raster(translate(upper, *way * (m.drift_mm + pixel)))
        assert (moved & still).any()


def test_the_signs_relief_shade_keeps_two_millimetres_clear():
    """As its README says, the shade is kept 2 mm clear of the letters."""
    found = [m for m in demo_drift("sign").pair(1, 2) if m.trouble is Trouble.TOUCH]
    assert found[0].drift_mm == pytest.approx(2, abs=0.1)


def test_worst_places_are_drawn():
    wall = demo_wall("sign")
    picture = np.asarray(drift_picture(wall, demo_drift("sign"), pixels=800))
    marked = (np.abs(picture.astype(int) - (0xC7, 0x77, 0x00)) < 30).all(axis=2)
    assert marked[:, :464].sum() > 300
