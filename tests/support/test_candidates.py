from itertools import combinations

import numpy as np
import pytest
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely import Point, box

from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.support.candidates import START, Edges, crossings
from sheetstack.geometry.support.constraints import Rules
from sheetstack.geometry.support.cost import Prices
from sheetstack.geometry.support.directions import Direction
from sheetstack.geometry.support.gaps import spanning_gaps
from sheetstack.geometry.support.selection import cheapest_tree
from sheetstack.geometry.support.visible_damage import Coat, DamageMap

from ..random_sheets import random_shape, sheet_of

WIDTH = 2.0


def priced(seed, islands=3):
    """Return pieces, candidates and costs of a random sheet under a random later layer."""
    shape = as_multipolygon(random_shape(seed, islands=islands))
    above = as_multipolygon(random_shape(seed + 1000, islands=1))
    pieces = list(sheet_of(shape).shape.geoms)
    damage = DamageMap(Coat(shape, "#14202b"), (), (Coat(above, "#fff0cf"),), "#2f8f83")
    prices = Prices(pieces, Rules(WIDTH), damage)
    tree = spanning_gaps(pieces, 2 * WIDTH)
    candidates = crossings(pieces, tree, WIDTH, prices.rough)
    return pieces, candidates, prices.exact(candidates)


def joined(count, pairs):
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return connected_components(graph, directed=False)[0] == 1


def cheapest_by_trying_all(count, pairs, cost):
    """Return the least cost of any set of candidates that joins all pieces.

    Of candidates between the same two pieces a cheapest set uses the cheapest only.
    """
    best_of = {}
    for (a, b), price in zip(np.sort(pairs, axis=1).tolist(), cost.tolist(), strict=True):
        best_of[a, b] = min(price, best_of.get((a, b), np.inf))
    links = list(best_of)
    return min(
        sum(best_of[link] for link in chosen)
        for chosen in combinations(links, count - 1)
        if joined(count, np.array(chosen).reshape(-1, 2))
    )


def test_the_tree_is_the_best_of_all_sets_on_two_hundred_cases():
    tried = 0
    seed = 0
    while tried < 200:
        pieces, candidates, cost = priced(seed)
        seed += 1
        if not 2 <= len(pieces) <= 6:
            continue
        tree = cheapest_tree(len(pieces), candidates, cost)
        best = cheapest_by_trying_all(len(pieces), candidates.pieces, cost)
        assert cost[tree].sum() == pytest.approx(best, rel=1e-12)
        assert joined(len(pieces), candidates.pieces[tree])
        tried += 1


@pytest.mark.parametrize("seed", range(25))
def test_candidates_cross_no_sheet_and_end_on_their_pieces(seed):
    pieces, candidates, _ = priced(seed, islands=8)
    shape = shapely.union_all(pieces)
    assert len(candidates) >= len(pieces) - 1
    assert joined(len(pieces), candidates.pieces)
    for (a, b), line in zip(candidates.pieces.tolist(), candidates.lines(), strict=True):
        assert a != b
        ends = shapely.get_coordinates(line)
        assert pieces[a].distance(Point(ends[0])) < 1e-6
        assert pieces[b].distance(Point(ends[1])) < 1e-6
        assert line.intersection(shape).length < 2e-3 + 1e-6


def test_a_later_layer_draws_the_bridge_under_it():
    # A disc in a ring; one spoke of the ring is painted over later, where the gap is no shorter.
    ring = as_multipolygon(Point(100, 100).buffer(40).difference(Point(100, 100).buffer(25)))
    spoke = as_multipolygon(shapely.affinity.rotate(box(100, 97, 145, 103), 73, origin=(100, 100)))
    pieces = list(sheet_of(ring).shape.geoms)
    damage = DamageMap(Coat(ring, "#14202b"), (), (Coat(spoke, "#fff0cf"),), "#2f8f83")
    prices = Prices(pieces, Rules(WIDTH), damage)
    candidates = crossings(pieces, spanning_gaps(pieces, 4.0), WIDTH, prices.rough)
    (chosen,) = cheapest_tree(2, candidates, prices.exact(candidates))
    assert damage.of(candidates.lines()[chosen : chosen + 1].copy()).area == 0
    strip = candidates.lines()[chosen].buffer(WIDTH / 2, cap_style="flat")
    assert damage.of([strip]).damage[0] < 0.02 * damage.of([ring]).damage[0] / 100


def test_kept_free_places_are_used_last():
    ring = as_multipolygon(Point(100, 100).buffer(40).difference(Point(100, 100).buffer(25)))
    pieces = list(sheet_of(ring).shape.geoms)
    half = as_multipolygon(box(100, 0, 200, 200))
    prices = Prices(pieces, Rules(WIDTH, keep_free=half))
    candidates = crossings(pieces, spanning_gaps(pieces, 4.0), WIDTH, prices.rough)
    (chosen,) = cheapest_tree(2, candidates, prices.exact(candidates))
    assert not candidates.lines()[chosen].buffer(WIDTH / 2).intersects(half)


def test_along_the_drawing_runs_along_a_long_island():
    leaf = shapely.affinity.rotate(
        shapely.affinity.scale(Point(100, 100).buffer(1, quad_segs=32), 30, 6), 35
    )
    opening = as_multipolygon(leaf.buffer(12).difference(leaf))
    pieces = list(sheet_of(opening).shape.geoms)
    prices = Prices(pieces, Rules(WIDTH, direction=Direction("drawing")))
    candidates = crossings(pieces, spanning_gaps(pieces, 4.0), WIDTH, prices.rough)
    (chosen,) = cheapest_tree(2, candidates, prices.exact(candidates))
    way = candidates.end[chosen] - candidates.start[chosen]
    assert np.degrees(np.arctan2(way[1], way[0])) % 180 == pytest.approx(35, abs=15)


def test_the_first_edge_on_a_way_is_the_nearest_crossing_with_any_ring():
    rng = np.random.default_rng(7)
    discs = [Point(*rng.uniform(0, 100, 2)).buffer(rng.uniform(2, 9)) for _ in range(40)]
    rings, owner = np.array([disc.exterior for disc in discs]), np.arange(40) % 7
    start, far = rng.uniform(0, 100, (2, 200, 2))
    end, other = Edges(rings, owner).first_hits(start, far)
    assert 0 < (other < 0).sum() < 200
    for a, b, hit, whose in zip(start, far, end, other, strict=True):
        met = [shapely.get_coordinates(shapely.LineString([a, b]).intersection(r)) for r in rings]
        away = [np.hypot(*(points - a).T).min(initial=np.inf) for points in met]
        assert (whose < 0) == (min(away) == np.inf)
        if whose >= 0:
            assert min(away) > START
            assert np.hypot(*(hit - a)) == pytest.approx(min(away), abs=1e-9)
            assert whose == owner[np.argmin(away)]
