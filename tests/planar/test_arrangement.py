"""The planar partition: cells fill the frame, and each knows what it is inside of."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, box

from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.planar.arrangement import arrange, distinct_sets, partition
from sheetstack.geometry.tolerance import TOLERANCES


def some_regions(seed: int, count: int = 4) -> list[MultiPolygon]:
    """Grid-aligned boxes for even seeds (many coincident edges), discs and rings for odd ones."""
    rng = np.random.default_rng(seed)
    regions = []
    for _ in range(count):
        if seed % 2 == 0:
            x, y, w, h = rng.integers(0, 12, (4, 6))
            parts = shapely.box(x, y, x + w + 1, y + h + 1)
        else:
            x, y, r = rng.uniform(0, 20, (3, 6))
            discs = shapely.buffer(shapely.points(x, y), 1 + r / 4)
            parts = shapely.difference(discs, shapely.buffer(shapely.points(x, y), r / 8))
        union = shapely.union_all(parts)
        regions.append(union if isinstance(union, MultiPolygon) else MultiPolygon([union]))
    return regions


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_cells_fill_the_frame_and_their_sets_are_true(seed):
    frame = box(-1, -1, 22, 22)
    regions = some_regions(seed)
    parts = partition(regions, frame)
    assert parts.areas.sum() == pytest.approx(frame.area, rel=1e-12)
    # Against shapely's own overlay, each of the 16 sets by itself.
    for k in range(2 ** len(regions)):
        bits = np.array([bool(k >> i & 1) for i in range(len(regions))])
        wanted = frame
        for inside, region in zip(bits, regions, strict=True):
            wanted = wanted.intersection(region) if inside else wanted.difference(region)
        mine = parts.areas[(parts.inside == bits).all(axis=1)].sum()
        assert mine == pytest.approx(wanted.area, abs=1e-5)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.integers(0, 255))
def test_edges_under_a_cover_cut_no_cells_and_what_lies_over_it_is_told(seed, hides):
    regions = [*some_regions(seed, 7), MultiPolygon([box(2, 2, 20, 20)])]
    covers = np.array([bool(hides >> k & 1) for k in range(8)])
    frame = box(-1, -1, 22, 22)
    plain, found = partition(regions, frame), partition(regions, frame, covers=covers)
    assert found.areas.sum() == pytest.approx(frame.area, rel=1e-12)
    # Of a cell only the uppermost cover and what lies over that is seen.
    seen = {}
    for cells, sign in ((plain, 1.0), (found, -1.0)):
        for inside, area in zip(cells.inside, cells.areas, strict=True):
            over = np.flatnonzero(inside & covers)
            key = (inside & (np.arange(8) >= (over[-1] if len(over) else 0))).tobytes()
            seen[key] = seen.get(key, 0.0) + sign * area
    assert max(map(abs, seen.values())) < 1e-5
    assert len(found.cells) <= len(plain.cells)


def test_what_a_cover_hides_wholly_leaves_no_cell():
    discs = [MultiPolygon([Point(x, 5).buffer(2)]) for x in (4, 5, 6)]
    regions = [*discs, MultiPolygon([box(1, 1, 9, 9)]), MultiPolygon([Point(5, 5).buffer(1)])]
    covers = np.array([True, True, True, True, False])
    assert len(partition(regions, box(0, 0, 10, 10)).cells) > 7
    assert len(partition(regions, box(0, 0, 10, 10), covers=covers).cells) == 3


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_cells_touch_along_edges_only(seed):
    cells = partition(some_regions(seed), box(-1, -1, 22, 22)).cells
    a, b = shapely.STRtree(cells).query(cells, predicate="intersects")
    first = a < b
    assert (
        shapely.area(shapely.intersection(cells[a[first]], cells[b[first]])).max(initial=0) < 1e-9
    )
    assert shapely.coverage_is_valid(cells)


def test_what_lies_outside_the_frame_is_left_out():
    parts = partition([box(-5, -5, 3, 3), box(20, 20, 30, 30)], box(0, 0, 10, 10))
    assert parts.areas[parts.inside[:, 0]].sum() == pytest.approx(9)
    assert not parts.inside[:, 1].any()
    assert parts.areas.sum() == pytest.approx(100, rel=1e-12)


def test_a_frame_with_a_hole_has_no_cell_there():
    frame = box(0, 0, 10, 10).difference(box(4, 4, 6, 6))
    parts = partition([box(0, 0, 5, 10)], frame)
    assert parts.areas.sum() == pytest.approx(96, rel=1e-12)
    assert parts.areas[parts.inside[:, 0]].sum() == pytest.approx(48, rel=1e-12)


def test_edges_a_hair_apart_become_one():
    parts = partition([box(0, 0, 5, 10), box(5 + 1e-9, 0, 10, 10)], box(0, 0, 10, 10))
    assert len(parts.cells) == 2
    assert (parts.inside.sum(axis=1) == 1).all()


def test_touching_at_a_point_is_two_cells():
    parts = partition([MultiPolygon([box(0, 0, 2, 2), box(2, 2, 4, 4)])], box(0, 0, 4, 4))
    assert sorted(parts.inside[:, 0].tolist()) == [False, False, True, True]


def test_no_layer_leaves_the_frame_whole():
    parts = partition([], box(0, 0, 3, 2))
    assert (len(parts.cells), parts.areas.tolist()) == (1, [6.0])


def test_shape_joins_cells_again():
    disc = Point(5, 5).buffer(3)
    parts = partition([disc, box(0, 0, 5, 10)], box(0, 0, 10, 10))
    joined = parts.shape(parts.inside[:, 0])
    assert len(joined.geoms) == 1
    assert joined.symmetric_difference(disc).area < 1e-5


def test_a_frame_without_area_is_refused():
    with pytest.raises(GeometryError, match="frame"):
        partition([box(0, 0, 1, 1)], box(0, 0, 0, 0))


def test_winding_numbers_of_a_long_zigzag_do_not_depend_on_its_direction():
    # Two zigzags over each other; every ray along them meets thousands of segments.
    n = 3000
    x = np.linspace(0, 200, n)
    up = np.where(np.arange(n) % 2, 3.0, -3.0)
    ring = np.concatenate([np.stack([x, up], 1), np.stack([x, -up], 1)[::-1]])
    for turned in (ring, ring[:, ::-1] * (1.0, -1.0)):
        faces, winding, crossings = arrange(np.array([shapely.linearrings(turned)]), TOLERANCES)
        assert len(crossings) == n - 1
        assert sorted(np.unique(winding)) == [-1, 1]
        # The faces on either side of a crossing are wound the opposite way.
        order = np.argsort(shapely.get_coordinates(shapely.centroid(faces)) @ (1, 1))
        assert (np.diff(winding[order]) != 0).all()


def test_outlines_drawn_twice_give_the_cells_of_one_that_is_drawn_once():
    # An opening is its artwork but for a bridge: most edges are in both, either way round.
    artwork = Point(10, 10).buffer(8, 12)
    opening = (artwork - box(9, 0, 11, 20)).union(box(1, 12, 6, 19))
    frame = box(0, 0, 20, 20)
    parts = partition([opening, artwork, shapely.reverse(artwork)], frame)
    assert np.isclose(parts.areas.sum(), frame.area, rtol=1e-12)
    for number, region in enumerate((opening, artwork, artwork)):
        within = parts.shape(parts.inside[:, number])
        assert within.symmetric_difference(region).area < 1e-4
    assert shapely.coverage_is_valid(parts.cells)
    alone = partition([artwork], frame)
    thrice = partition([artwork] * 3, frame)
    assert np.array_equal(alone.areas, thrice.areas)
    assert thrice.inside.sum() == 3 * alone.inside.sum()


def test_sets_of_bits_are_those_that_numpy_finds_for_any_number_of_columns():
    rng = np.random.default_rng(4)
    for columns in (0, 1, 3, 8, 9, 20):
        table = rng.random((50, columns)) < 0.2
        sets, number = distinct_sets(table)
        assert np.array_equal(sets[number], table)
        assert np.array_equal(sets, np.unique(table, axis=0))
