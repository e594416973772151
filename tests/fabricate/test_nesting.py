"""Nesting: pieces on the stock, none over another, the used share told."""

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box

from sheetstack.geometry.fabricate.nesting import nest

SIDES = st.floats(5, 120)


def boxes_of(found, sizes):
    for p in found.placings:
        w, h = sizes[p.piece]
        if p.turned:
            w, h = h, w
        yield p.stock, box(p.x, p.y, p.x + w, p.y + h)


@settings(deadline=None)
@given(st.lists(st.tuples(SIDES, SIDES), max_size=25), st.floats(0, 6), st.floats(0, 10))
def test_pieces_lie_on_the_stock_apart_by_the_spacing(sizes, spacing, edge):
    stock = (150.0, 130.0)
    found = nest(sizes, stock, spacing=spacing, edge=edge)
    placed = list(boxes_of(found, sizes))
    assert len(placed) + len(found.left_over) == len(sizes)
    inner = box(edge, edge, stock[0] - edge, stock[1] - edge).buffer(1e-5)
    assert all(inner.covers(b) for _, b in placed)
    for (one, a), (other, b) in combinations(placed, 2):
        assert one != other or a.distance(b) >= spacing - 1e-5
        assert one != other or a.intersection(b).area < 1e-6
    for k in found.left_over:
        assert min(sizes[k]) > 130 - 2 * edge - 1e-6 or max(sizes[k]) > 150 - 2 * edge - 1e-6
    if placed:
        assert found.used_share == pytest.approx(
            sum(b.area for _, b in placed) / (found.stocks * 150 * 130)
        )


def test_a_sheet_that_parts_exactly_is_used_wholly():
    # Six squares of 50 fill 150 x 100; two dominoes and four squares as well.
    assert nest([(50, 50)] * 6, (150, 100)).used_share == pytest.approx(1.0)
    mixed = nest([(100, 50), (50, 100), (50, 50), (50, 50)], (150, 100))
    assert (mixed.stocks, mixed.used_share) == (1, pytest.approx(1.0))


def test_a_long_piece_is_turned_to_fit():
    found = nest([(20, 140)], (150, 30))
    assert found.placings[0].turned
    assert found.left_over == ()


def test_a_piece_bigger_than_the_stock_is_left_over():
    found = nest([(10, 10), (200, 200)], (100, 100))
    assert found.left_over == (1,)
    assert [p.piece for p in found.placings] == [0]


def test_true_areas_give_the_used_share():
    assert nest([(50, 50)], (100, 100), areas=[1000.0]).used_share == pytest.approx(0.1)
    assert nest([], (100, 100)).used_share == 0.0
