"""How far sheets may drift: shapes of known margin, and brute force on the demos."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, box
from shapely.affinity import rotate, translate

from sheetstack.geometry.paint import register_margins as margins_module
from sheetstack.geometry.paint.drift import drift_between, drift_findings
from sheetstack.geometry.paint.drift_samples import sample_drifts
from sheetstack.geometry.paint.register_margins import (
    ROOT_SUM_SQUARE,
    WORST_CASE,
    Allowance,
    Margin,
    Trouble,
)
from sheetstack.geometry.paint.wall import Can
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.planar.raster import coverage
from sheetstack.geometry.report.drift_picture import drift_picture
from sheetstack.geometry.sheet.trapping import let_under

from ..demo_builds import DEMOS, demo, demo_drift, demo_wall

COLOURS = ("#ee8a34", "#14202b", "#fff0cf")


def drift(*shapes, centre=(0.0, 0.0), allowed=1.0, turn=0.0, ground="#2f8f83", add_up=WORST_CASE):
    shapes = [as_multipolygon(s) for s in shapes]
    paints = [Can(c) for c in COLOURS[: len(shapes)]]
    names = ("A", "B", "C")[: len(shapes)]
    return drift_between(shapes, paints, ground, names, Allowance(allowed, turn, centre, add_up))


@pytest.mark.parametrize("turned", [0, 17, 45])
def test_square_in_square(turned):
    outer, inner = box(-20, -20, 20, 20), box(-17, -16, 16, 16)
    found = drift(rotate(outer, turned, (0, 0)), rotate(inner, turned, (0, 0)))
    (margin,) = found.margins
    assert margin.trouble is Trouble.OUTSIDE
    assert not margin.crossing
    assert margin.width_mm == pytest.approx(3)
    assert found.layer_mm(0) == found.layer_mm(1) == margin.width_mm


@pytest.mark.parametrize(("disc", "trouble"), [(7.0, Trouble.TOUCH), (11.0, Trouble.GAP)])
def test_disc_in_an_annulus(disc, trouble):
    """Ring from 9 to 14 mm: a disc of 11 under it leaves 2 mm of trap, one of 7 is 2 mm clear."""
    ring = Point(0, 0).buffer(14, quad_segs=64).difference(Point(0, 0).buffer(9, quad_segs=64))
    (tightest, *_) = drift(Point(0, 0).buffer(disc, quad_segs=64), ring).margins
    assert tightest.trouble is trouble
    assert tightest.width_mm == pytest.approx(2, abs=5e-3)


def test_lower_colour_hidden_under_a_larger_one_may_peek_out():
    (margin,) = drift(box(-5, -5, 5, 5), box(-6.5, -9, 9, 9)).margins
    assert margin.trouble is Trouble.PEEK
    assert margin.width_mm == pytest.approx(1.5)


@pytest.mark.parametrize("lever", [30.0, 200.0])
def test_turn_that_moves_the_square_out(lever):
    """Slots along a circle about the sheet's centre: turned, they run into each other's ends."""
    wide, narrow = box(lever - 1, -10, lever + 1, 10), box(lever - 0.5, -9, lever + 0.5, 9)
    found = drift(wide, narrow)
    (margin,) = found.margins
    assert margin.width_mm == pytest.approx(0.5)
    # Safe, and not by more than the corners ask for.
    for share, fits in ((0.999, True), (6.0, False)):
        assert wide.covers(rotate(narrow, share * margin.turn_deg, (0, 0))) is fits
    assert margin.turn_deg <= math.degrees(2 * math.asin(0.5 / 2 / (lever - 0.5)))


def test_butting_colours_have_no_margin_and_a_trap_gives_one():
    left, right = box(0, 0, 30, 30), box(30, 0, 60, 30)
    butting = drift(left, right)
    assert [m.trouble for m in butting.margins] == [Trouble.GAP]
    assert butting.margins[0].width_mm < 1e-3
    assert butting.margins[0].place[0] == pytest.approx(30)
    (finding,) = drift_findings(butting)
    assert finding.code == "registration.gap"
    assert "let A run 2.0 mm under B" in finding.message
    for trap in (1.5, 2.5):
        grown = let_under([as_multipolygon(left), as_multipolygon(right)], [True, True], trap)
        after = [m for m in drift(*grown).margins if m.trouble is Trouble.GAP]
        assert min(m.width_mm for m in after) == pytest.approx(trap, abs=0.01)
        assert (min(m.width_mm for m in after) < after[0].needed_mm) == (trap < 2)


def test_a_crossing_is_no_trouble():
    assert drift(box(-50, -5, 50, 5), box(-5, -50, 5, 50)).margins == ()


def test_edges_that_cross_at_a_grazing_angle_are_found_as_crossing():
    strip = box(-60, -3, 60, 3)
    (margin, *_) = drift(strip, rotate(strip, 1.0)).margins
    assert margin.crossing
    assert margin.width_mm < 0.6


def test_each_of_many_scattered_margins_is_found_once_wherever_it_lies():
    """Edges are looked through in groups that lie near each other; no margin lies between two."""
    rng = np.random.default_rng(1)
    places = np.stack(np.meshgrid(*[np.arange(0, 56, 9.3)] * 2), 2).reshape(-1, 2)
    places += rng.uniform(0, 2, places.shape)
    aside = rng.choice([-0.6, 0.6], (len(places), 1)) * [1.0, 0.0]
    wide = shapely.buffer(shapely.points(places), 3.0, quad_segs=32)
    narrow = shapely.buffer(shapely.points(places + aside), 2.0, quad_segs=32)
    margins = drift(shapely.union_all(wide), shapely.union_all(narrow)).margins
    assert [m.width_mm for m in margins] == pytest.approx([0.4] * len(places), abs=1e-3)
    near = shapely.STRtree(wide).nearest(shapely.points([m.place for m in margins]))
    assert sorted(near.tolist()) == list(range(len(places)))


def test_margins_hidden_by_a_later_layer_do_not_count():
    outer, inner = box(-20, -20, 20, 20), box(-17, -16, 16, 16)
    assert [m.width_mm for m in drift(outer, inner).pair(0, 1)] == [pytest.approx(3)]
    # A cover over two thirds: what is tightest, on the left, is hidden; the right is told.
    half = drift(outer, inner, box(-25, -25, 10, 25))
    assert [m.width_mm for m in half.pair(0, 1)] == [pytest.approx(4, abs=1e-6)]
    assert half.pair(0, 1)[0].place[0] >= 10
    whole = drift(outer, inner, box(-25, -25, 25, 25))
    assert whole.pair(0, 1) == ()


def test_troubles_in_nearly_the_same_colour_do_not_count():
    squares = [as_multipolygon(box(-20, -20, 20, 20)), as_multipolygon(box(-17, -16, 16, 16))]
    paints = [Can("#2f8f83"), Can("#308f83")]
    assert (
        drift_between(squares, paints, "#2f8f83", ("A", "B"), Allowance(1.0, 0.0, (0, 0))).margins
        == ()
    )


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
    margins = [m for m in demo_drift(name).margins if not m.crossing and 0.4 < m.width_mm < 4]
    # In the window round each no other margin of the same pair may be tighter, and no edges cross:
    # beside a crossing there is always a narrower strip, which is not told.
    edges = [shapely.boundary(shape) for shape in shapes]
    meet = {
        pair: shapely.intersection(edges[pair[0]], edges[pair[1]])
        for pair in {(m.lower, m.upper) for m in margins}
    }
    margins = [
        m
        for m in margins
        if not shapely.dwithin(meet[m.lower, m.upper], Point(m.place), 12)
        and not any(
            math.dist(m.place, n.place) < 14 and n.width_mm < m.width_mm
            for n in demo_drift(name).pair(m.lower, m.upper)
        )
    ]
    assert len(margins) > 5
    scale, window = 12.0, 11.0
    looked_at = 0
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
        # A strip is told once, at its tightest: in this window another one may run that is told
        # farther off, and then no less tight.
        tightest = shapely.intersection(lower, clip).distance(shapely.intersection(upper, clip))
        if tightest < 0.99 * m.width_mm:
            of_pair = demo_drift(name).pair(m.lower, m.upper)
            assert min(n.width_mm for n in of_pair) <= tightest + 1e-3
            continue
        looked_at += 1
        still = raster(lower)
        # Only what can come into the window.
        upper = shapely.intersection(upper, clip.buffer(2 * m.width_mm))
        pixel = 1 / scale
        for turn in range(16):
            way = np.array([math.cos(turn * math.pi / 8), math.sin(turn * math.pi / 8)])
            moved = raster(translate(upper, *way * (m.width_mm - 3 * pixel)))
            assert not (moved & still).any()
        # Towards the other edge, by the nearest points of the two edges themselves.
        near = Point(m.place).buffer(m.width_mm + 1)
        line = shapely.shortest_line(upper.intersection(near), lower.intersection(near))
        assert line.length == pytest.approx(m.width_mm, rel=0.01)
        way = np.diff(shapely.get_coordinates(line), axis=0)[0] / line.length
        moved = raster(translate(upper, *way * (m.width_mm + pixel)))
        assert (moved & still).any()
    assert looked_at > 5


def test_the_signs_relief_shade_keeps_two_millimetres_clear():
    """As its README says, the shade is kept 2 mm clear of the letters."""
    found = [m for m in demo_drift("sign").pair(1, 2) if m.trouble is Trouble.TOUCH]
    assert found[0].width_mm == pytest.approx(2, abs=0.1)


def test_worst_places_are_drawn():
    wall = demo_wall("sign")
    picture = np.asarray(drift_picture(wall, demo_drift("sign"), pixels=800))
    marked = (np.abs(picture.astype(int) - (0xC7, 0x77, 0x00)) < 30).all(axis=2)
    assert marked[:, :464].sum() > 300


def bare_between(lower, upper, allowance, rng, count=60):
    """Area in mm2 that two sheets may leave bare between them, the worst of random placings.

    Independent of the finder: Shapely moves both. Edges of the whole picture move too; what lies
    within a sheet's own reach of them does not count.
    """
    whole = shapely.union_all([lower, upper])
    corners = shapely.get_coordinates(shapely.box(*whole.bounds))
    inner = whole.buffer(-float(allowance.single(corners).max()) - 1e-6)
    worst = 0.0
    for number in range(count):
        ways = rng.uniform(0, 2 * np.pi, 2)
        turns = rng.choice([-1.0, 1.0], 2) * allowance.turn_deg
        if number % 2:  # against each other, along an axis: the worst case
            ways = np.array([0, np.pi]) + rng.integers(4) * np.pi / 2
            turns = allowance.turn_deg * np.array([1, -1]) * rng.choice([-1, 1])
        both = [
            translate(
                rotate(shape, turn, origin=allowance.centre),
                *allowance.drift_mm * np.array([np.cos(w), np.sin(w)]),
            )
            for shape, w, turn in zip((lower, upper), ways, turns, strict=True)
        ]
        worst = max(worst, inner.difference(shapely.union_all(both)).area)
    return worst


@pytest.mark.parametrize("trap", [0.5, 1.5, 1.9, 2.1, 4.0])
def test_told_fine_is_fine_for_two_sheets_that_drift_apart(trap):
    """A trap of 1.5 is too little for a drift of 1.0: two sheets 1 mm off each leave 0.5 bare."""
    left, right = box(-60, -40, trap, 40), box(0, -40, 60, 40)
    told = [f for f in drift_findings(drift(left, right)) if f.code == "registration.gap"]
    allowance = Allowance(1.0, 0.0, (0.0, 0.0))
    bare = bare_between(left, right, allowance, np.random.default_rng(1))
    assert (bare > 0.5) == bool(told) == (trap < 2)


@pytest.mark.parametrize(("turn", "shift"), [(0.1, 0.0), (0.1, 1.0)])
@pytest.mark.parametrize("share", [0.9, 1.1])
def test_turn_counts_with_its_lever(turn, shift, share):
    """Two sheets of 2 m that turn against each other: overlapping by what the far end needs."""
    centre = (1000.0, 1000.0)
    allowance = Allowance(shift, turn, centre)
    # The seam's ends, 5 mm off the edge, lie 995 mm from the centre.
    need = float(allowance.between(np.array([[1000.0, 1995.0]]))[0])
    assert need == pytest.approx(2 * (shift + 995 * math.radians(turn)), rel=1e-6)
    lower = box(5, 5, 1000 + share * need / 2, 1995)
    upper = box(1000 - share * need / 2, 5, 1995, 1995)
    found = drift(lower, upper, centre=centre, allowed=shift, turn=turn)
    told = [m for m in found.margins if m.trouble is Trouble.GAP and m.lacking_mm > 0]
    bare = bare_between(lower, upper, allowance, np.random.default_rng(2))
    assert bool(told) == (share < 1)
    assert (bare > 1e-3) == (share < 1)
    if told:
        assert abs(told[0].place[1] - 1000) > 900


def test_the_turning_centre_is_what_levers_are_counted_from():
    left, right = box(0, 0, 51, 400), box(50, 0, 100, 400)
    near = drift(left, right, centre=(50.0, 0.0), allowed=0.0, turn=0.1)
    far = drift(left, right, centre=(50.0, 800.0), allowed=0.0, turn=0.1)
    (one,), (other,) = ([m for m in d.margins if m.trouble is Trouble.GAP] for d in (near, far))
    assert one.needed_mm == pytest.approx(2 * 400 * math.radians(0.1), rel=0.02)
    assert other.needed_mm == pytest.approx(2 * 800 * math.radians(0.1), rel=0.02)
    assert one.place[1] > 390
    assert other.place[1] < 10


def test_root_sum_square_asks_for_less_than_the_worst_case():
    spot = np.array([[300.0, 400.0]])
    worst, chance = (
        float(Allowance(1.0, 0.1, (0.0, 0.0), how).between(spot)[0])
        for how in (WORST_CASE, ROOT_SUM_SQUARE)
    )
    turned = 500 * math.radians(0.1)
    assert worst == pytest.approx(2 * (1 + turned), rel=1e-5)
    assert chance == pytest.approx(math.sqrt(2 * (1 + turned**2)), rel=1e-5)
    # Shifts and turns drawn by chance: seldom farther apart (normal errors, allowed as 3 sigma).
    rng = np.random.default_rng(3)
    apart = rng.normal(0, 1 / 3, (100_000, 2)).sum(axis=1)
    apart += rng.normal(0, turned / 3, (100_000, 2)).sum(axis=1)
    assert (np.abs(apart) > chance).mean() < 0.004


def test_a_pair_gets_one_statement_and_one_advice():
    """Edges that cross over and back: no 'keep A inside B' beside 'keep B inside A'."""
    rng = np.random.default_rng(5)
    told = 0
    for _ in range(25):
        wave = np.cumsum(rng.normal(0, 0.4, 60))
        x = np.linspace(-60, 60, 60)
        upper = shapely.Polygon([*zip(x, 10 + wave, strict=True), (60, -30), (-60, -30)]).buffer(0)
        lower = box(-60, -30, 60, 10)
        findings = [
            f for f in drift_findings(drift(lower, upper)) if f.code != "registration.detail-lost"
        ]
        assert len(findings) <= 1
        told += len(findings)
        for finding in findings:
            advice = finding.message.partition("Register closer")[2]
            assert advice
            assert advice.count(" inside ") <= 1
    assert told > 15


@pytest.mark.parametrize("seed", range(8))
def test_random_pairs_that_are_told_fine_leave_nothing_bare(seed):
    """Overlaps of random widths along wavy seams, placed at random: told fine is fine."""
    rng = np.random.default_rng(seed)
    y = np.linspace(-80, 80, 40)
    seam = np.cumsum(rng.normal(0, 1.0, 40))
    overlap = rng.uniform(0.6, 2.4) + rng.uniform(0, 1.5, 40)
    lower = shapely.Polygon([(-90, -80), *zip(seam + overlap, y, strict=True), (-90, 80)])
    upper = shapely.Polygon([(90, -80), *zip(seam, y, strict=True), (90, 80)])
    allowance = Allowance(0.8, 0.2, (0.0, 0.0))
    found = drift(lower.buffer(0), upper.buffer(0), allowed=0.8, turn=0.2)
    told = [m for m in found.margins if m.trouble is Trouble.GAP and m.lacking_mm > 0]
    bare = bare_between(lower.buffer(0), upper.buffer(0), allowance, rng)
    assert bare < 1e-3 or told


def test_edges_in_common_are_told_apart_by_what_shows_there():
    """Two colours butt at the bottom, and lie on each other with the same outline at the top."""
    square = box(0, 60, 30, 90)
    margins = drift(box(0, 0, 30, 30).union(square), box(30, 0, 60, 30).union(square)).margins
    at = {(m.trouble, m.place[1] > 45) for m in margins}
    assert at == {(Trouble.GAP, False), (Trouble.PEEK, True)}
    assert len(margins) == 2


def test_of_neighbouring_margins_the_worst_is_kept_as_a_plain_search_of_all_finds():
    rng = np.random.default_rng(12)
    found = [
        Margin(
            0,
            int(upper),
            (Trouble.GAP, Trouble.PEEK)[kind],
            1.0,
            float(needed),
            0.0,
            (float(x), float(y)),
            (float(x), float(y)),
            9.0,
            False,
        )
        for upper, kind, needed, x, y in zip(
            rng.integers(1, 3, 400),
            rng.integers(0, 2, 400),
            rng.uniform(0.5, 6.0, 400),
            *rng.uniform(-50, 50, (2, 400)),
            strict=True,
        )
    ]
    kept: list[Margin] = []
    for margin in found:
        alike = [k for k in kept if (k.upper, k.trouble) == (margin.upper, margin.trouble)]
        if all(np.hypot(*np.subtract(k.place, margin.place)) > margin.needed_mm for k in alike):
            kept.append(margin)
    assert 50 < len(kept) < 350
    assert margins_module._worst_of_neighbours(found) == kept


def test_edges_near_another_layers_are_those_that_their_distance_tells():
    rng = np.random.default_rng(3)
    start = rng.uniform(0, 120, (300, 2))
    end = start + rng.uniform(-4, 4, (300, 2))
    mark = rng.integers(1, 3, 300)
    lines = shapely.linestrings(np.stack([start, end], axis=1))
    apart = shapely.distance(lines[:, None], lines[None])
    apart[mark[:, None] == mark[None]] = np.inf
    near = margins_module._near_another(start, end, mark, 3.0)
    assert 30 < near.sum() < 270
    assert np.array_equal(near, apart.min(axis=1) <= 3.0)
