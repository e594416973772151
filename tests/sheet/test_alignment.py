"""Layers that do not register: by their marks, their size, their edges."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from shapely import MultiPoint, MultiPolygon, Point, Polygon, box
from shapely.affinity import rotate, scale, translate

from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.sheet.alignment import (
    alignment,
    fit_marks,
    round_marks,
)
from sheetstack.geometry.sheet.shared_edges import DrawnEdges, SharedEdges, outlines_of

from ..demo_builds import DEMOS, demo

NAMES = ("A", "B", "C")
FRAME = (400.0, 300.0)
MARKS = ((20, 20), (370, 20), (20, 280))


def layer(seed, marks=MARKS):
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(60, 240, (2, 8))
    art = shapely.union_all(shapely.box(x, y, x + rng.uniform(10, 60, 8), y + 25))
    discs = [Point(m).buffer(3, quad_segs=16) for m in marks]
    return MultiPolygon([*shapely.get_parts(art), *discs])


def mismatches(shapes, names, frame, pages=()):
    """Return the findings but for layers that cannot be checked."""
    found = alignment(shapes, names, frame, pages).findings
    return tuple(f for f in found if f.code != "registration.not-checkable")


def codes(*shapes):
    found = mismatches(shapes, NAMES, FRAME)
    return [(f.layer, f.code.split(".")[1]) for f in found]


def test_layers_that_register_give_no_finding():
    assert codes(layer(1), layer(2), layer(3)) == []


@pytest.mark.parametrize("name", DEMOS)
def test_the_demos_register(name):
    assert not [f for f in demo(name).findings if f.code.startswith("registration.")]


def test_dots_amid_the_drawing_are_no_marks():
    dots = [Point(p).buffer(4) for p in ((120, 120), (150, 140), (180, 120))]
    shapes = [MultiPolygon([*layer(k, ()).geoms, *dots[: 3 - k]]) for k in range(3)]
    assert codes(*[MultiPolygon(shapely.get_parts(shapely.union_all(s))) for s in shapes]) == []


def test_a_missing_mark_is_named_with_its_place():
    (finding,) = mismatches([layer(1), layer(2, MARKS[:2]), layer(3)], NAMES, FRAME)
    assert (finding.layer, finding.code) == ("B", "registration.mark-missing")
    assert finding.place == pytest.approx(MARKS[2], abs=1e-6)


def test_a_shifted_layer_is_explained_by_its_shift():
    shapes = [layer(1), layer(2), translate(layer(3), 4.25, -1.5)]
    (finding,) = mismatches(shapes, NAMES, FRAME)
    assert (finding.layer, finding.code) == ("C", "registration.artwork-shifted")
    assert "shifted by +4.25, -1.50 mm" in finding.message
    assert finding.size_mm == pytest.approx(np.hypot(4.25, 1.5))


def test_a_scaled_layer_is_explained_by_its_unit():
    shapes = [layer(1), scale(layer(2), 96 / 72, 96 / 72, origin=(0, 0)), layer(3)]
    (finding,) = mismatches(shapes, NAMES, FRAME)
    assert (finding.layer, finding.code) == ("B", "registration.scale-differs")
    assert "133.33 % of the others' size (as pt read as px)" in finding.message


def test_a_turned_layer_is_told():
    shapes = [layer(1), layer(2), rotate(layer(3), 2.0, origin=(200, 150))]
    (finding,) = mismatches(shapes, NAMES, FRAME)
    assert "turned by 2.00 degrees" in finding.message


def test_fit_of_marks_gives_back_what_was_done_to_them():
    rng = np.random.default_rng(8)
    wanted = rng.uniform(0, 300, (5, 2))
    angle, factor, shift = np.radians(3.0), 1.02, np.array([1.5, -2.5])
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    own = (wanted - (150, 150)) @ turn.T * factor + (150, 150) + shift
    fit = fit_marks(own, wanted, (150, 150))
    assert (fit.scale, fit.turn_deg) == pytest.approx((factor, 3.0))
    assert fit.shift == pytest.approx(tuple(shift))
    assert fit.error_mm < 1e-9


def test_round_marks_are_told_from_other_openings():
    shape = MultiPolygon(
        [Point(5, 5).buffer(2, quad_segs=8), box(20, 20, 24, 24), Point(90, 90).buffer(30)]
    )
    centres, diameters = round_marks(shape)
    assert centres == pytest.approx(np.array([[5, 5]]))
    assert diameters == pytest.approx([4], abs=0.03)


@pytest.mark.parametrize("shift", [(9, -6), (15, 4), (0, 20), (0.7, 0.7), (-2, 2.2)])
def test_a_shifted_layer_of_the_sign_is_found_by_its_edges(shift):
    shapes = [layer.artwork.shape for layer in demo("sign").layers]
    shapes[1] = translate(shapes[1], *shift)
    (finding,) = mismatches(shapes, NAMES, (600, 300))
    assert finding.code == "registration.artwork-shifted"
    # The layer itself or one that it should fit.
    assert finding.size_mm == pytest.approx(np.hypot(*shift), abs=0.1)


def test_layers_that_overlap_unevenly_are_told_not_checkable():
    # The portrait's layers are drawn by hand over each other: no edge keeps a distance.
    shapes = [layer.artwork.shape for layer in demo("portrait").layers]
    shapes[1] = translate(shapes[1], 9, -6)
    found = alignment(shapes, NAMES, (400, 500))
    assert [(f.layer, f.code) for f in found.findings] == [
        (name, "registration.not-checkable") for name in NAMES
    ]


def test_a_place_that_the_job_or_a_common_drawing_states_is_no_finding():
    shapes = [layer(1, ()), layer(2, ()), layer(3, ())]
    found = alignment(shapes, NAMES, FRAME, [None] * 3, [True, True, False])
    assert found.witnesses == ("page", "page", "")
    assert [f.layer for f in found.findings] == ["C"]


def test_size_and_nearness_alone_tell_nothing():
    small = scale(layer(1, ()), 0.265, 0.265)
    found = alignment([layer(1, ()), small, layer(2, ())], NAMES, FRAME)
    assert found.witnesses == ("", "", "")
    assert {f.code for f in found.findings} == {"registration.not-checkable"}
    assert [f.layer for f in found.findings] == list(NAMES)
    # A page of the others' size tells something; one of another size proves nothing.
    pages = [FRAME, (40.0, 30.0), FRAME]
    found = alignment([layer(1, ()), small, layer(2, ())], NAMES, FRAME, pages)
    assert found.witnesses == ("page", "", "page")


def patchwork(seed, apart):
    """Two layers that share out a wild tiling of the page, and one of what lies far from both."""
    rng = np.random.default_rng(seed)
    points = MultiPoint(rng.uniform((60, 60), (340, 240), (60, 2)))
    cells = shapely.get_parts(shapely.voronoi_polygons(points))
    cells = cells[shapely.within(cells, box(40, 40, 360, 260))]
    which = rng.random(len(cells)) < 0.5
    one, two = (as_multipolygon(shapely.union_all(cells[w])) for w in (which, ~which))
    own = as_multipolygon(translate(box(0, 0, 20, 9), *apart))
    return [one, two, own]


@pytest.mark.parametrize("pages", [(), [FRAME] * 3], ids=["no page", "one page"])
@pytest.mark.parametrize("seed", range(4))
def test_a_shifted_layer_is_found_by_its_neighbours_or_told_not_checkable(seed, pages):
    rng = np.random.default_rng(100 + seed)
    shapes = patchwork(seed, (10, 10))
    assert mismatches(shapes, NAMES, FRAME, pages) == ()
    third = "page" if pages else ""
    assert alignment(shapes, NAMES, FRAME, pages).witnesses == ("edges", "edges", third)
    turn = rng.uniform(0, 2 * np.pi)
    for far in (1.0, 3.0, 10.0, 30.0):
        shift = far * np.cos(turn), far * np.sin(turn)
        moved = [translate(shapes[0], *shift), *shapes[1:]]
        (finding,) = mismatches(moved, NAMES, FRAME, pages)
        assert finding.code == "registration.artwork-shifted"
        assert finding.size_mm == pytest.approx(far, abs=0.05)
    # Nothing tells of the third: that is said, not passed over.
    alone = alignment([*shapes[:2], translate(shapes[2], *shift)], NAMES, FRAME, pages)
    assert alone.witnesses[2] == third
    assert [f.layer for f in alone.findings] == ([] if pages else ["C"])


@pytest.mark.parametrize(
    ("factor", "meaning"),
    [(25.4 / 96, "(as px read as mm"), (72 / 96, "(as pt read as px)"), (0.5, "not 2 times")],
)
def test_a_layer_at_another_scale_is_found_by_its_neighbours(factor, meaning):
    shapes = patchwork(1, (10, 10))
    shapes[1] = scale(shapes[1], factor, factor, origin=(0, 0))
    (finding,) = mismatches(shapes, NAMES, FRAME)
    # One layer is too small, or the other too large: two cannot tell which.
    assert (finding.layer, finding.code) == ("A", "registration.scale-differs")
    assert meaning in finding.message


def test_a_motif_drawn_twice_and_a_shadow_are_no_shift():
    star = Point(0, 0).buffer(20, quad_segs=3).symmetric_difference(box(-25, -5, 25, 5))
    one, shadow = translate(star, 100, 100), translate(star, 104, 97)
    again = translate(star, 200, 150)
    shapes = [as_multipolygon(s) for s in (one, shadow, again)]
    assert mismatches(shapes, NAMES, FRAME) == ()


def test_marks_tell_a_shift_on_one_page_too():
    shapes = [layer(1), layer(2), translate(layer(3), 4.25, -1.5)]
    (finding,) = mismatches(shapes, NAMES, FRAME, [FRAME] * 3)
    assert finding.code == "registration.artwork-shifted"


def outlines_in_pieces(count):
    """Return the outlines of layers that tile a square: columns with crooked borders."""
    rng = np.random.default_rng(3)
    borders = [20 + 40 * k + rng.uniform(0, 15, 12) for k in range(count + 1)]
    y = np.linspace(20, 280, 12)
    return [
        outlines_of(
            [
                MultiPolygon(
                    [Polygon([*zip(a, y, strict=True), *zip(b[::-1], y[::-1], strict=True)])]
                )
            ]
        )
        for a, b in itertools.pairwise(borders)
    ]


def test_a_layers_own_edges_do_not_count():
    # The squares lie far apart: neither has an edge of the other near it.
    near, far = (outlines_of([MultiPolygon([box(x, 20, x + 40, 60)])]) for x in (20, 300))
    twice = outlines_of([MultiPolygon([box(60, 20, 90, 60)])])
    assert SharedEdges(DrawnEdges([near, far], FRAME), 0).fit_here(near).share == 0
    assert SharedEdges(DrawnEdges([near, far], FRAME), 0).share_lying_on(near) == 0
    assert SharedEdges(DrawnEdges([near, twice], FRAME), 0).fit_here(near).share > 0.2


@pytest.mark.parametrize("layer", range(4))
def test_no_fit_elsewhere_has_more_than_all_of_the_outline_but_circles(layer):
    outlines = outlines_in_pieces(4)
    share, lines = outlines[layer].most_elsewhere()
    fits = SharedEdges(DrawnEdges(outlines, FRAME), layer).fits_elsewhere(outlines[layer], 100.0)
    assert max(fit.share for fit in fits) > 0.2
    assert all(fit.share <= share and fit.lines <= lines for fit in fits)


def test_circles_tell_nothing_elsewhere():
    assert outlines_of([MultiPolygon([Point(50, 50).buffer(20)])]).most_elsewhere() == (0.0, 0)
    square = outlines_of([MultiPolygon([box(0, 0, 9, 9)])]).most_elsewhere()
    assert square == (1.0, 4)
