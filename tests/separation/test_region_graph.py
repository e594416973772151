"""Which regions hang together, against other ways to the same."""

import numpy as np
import pytest
import shapely

from sheetstack.geometry.planar.arrangement import partition
from sheetstack.geometry.planar.graph import connected_labels
from sheetstack.geometry.separation import region_graph
from sheetstack.geometry.separation.region_graph import (
    RegionGraph,
    flags_of,
    mask_of,
    numbers_of,
)
from sheetstack.geometry.separation.regions import regions_of


@pytest.fixture(scope="module", params=["by eights", "one by one"])
def graph(request):
    """Return the graph of about fifty regions of a page, and these."""
    patch = pytest.MonkeyPatch()
    if request.param == "one by one":
        patch.setattr(region_graph, "_MOST_IN_EIGHTS", 0)
    rng = np.random.default_rng(7)
    discs = [shapely.Point(*rng.uniform(0, 100, 2)).buffer(rng.uniform(2, 9)) for _ in range(40)]
    cells = partition(discs, shapely.box(0, 0, 100, 100))
    label = rng.integers(0, 4, len(cells.cells))
    drawn = np.ones(len(label), bool)
    regions, _ = regions_of(cells, label, drawn, np.ones((5, 5)), 0.1)
    yield RegionGraph(regions), regions
    patch.undo()


def closed_sets(graph, count=40):
    rng = np.random.default_rng(3)
    for _ in range(count):
        yield mask_of(np.append(rng.random(graph.frame) < rng.uniform(0.1, 0.9), False))


def test_bits_are_flags_and_numbers():
    rng = np.random.default_rng(1)
    for count in (1, 7, 8, 9, 130):
        flags = rng.random(count) < 0.4
        mask = mask_of(flags)
        assert (flags_of(mask, count) == flags).all()
        assert numbers_of(mask) == np.flatnonzero(flags).tolist()
    assert numbers_of(0) == []


def test_pieces_are_the_connected_parts_of_what_is_closed(graph):
    graph, regions = graph
    assert graph.frame > 30
    held = regions.pairs[regions.borders > 0.02]
    rim = np.flatnonzero(regions.rim > 0.02)
    held = np.concatenate([held, np.stack([rim, np.full(len(rim), graph.frame)], axis=1)])
    for opened in closed_sets(graph):
        is_open = flags_of(opened, graph.frame + 1)
        label = connected_labels(graph.frame + 1, held[~is_open[held].any(axis=1)])
        wanted = {frozenset(np.flatnonzero((label == k) & ~is_open)) for k in label[~is_open]}
        pieces = graph.pieces(opened)
        assert {frozenset(numbers_of(piece)) for piece in pieces} == wanted
        assert pieces[0] >> graph.frame & 1


def test_beside_each_part_lies_what_borders_on_any_of_it(graph):
    graph, regions = graph
    rim = np.flatnonzero(regions.rim > 0)
    pairs = np.concatenate([regions.pairs, [[k, graph.frame] for k in rim.tolist()]])
    for opened in closed_sets(graph, 20):
        is_open = flags_of(opened, graph.frame + 1)
        label = connected_labels(graph.frame + 1, pairs[is_open[pairs].all(axis=1)])
        wanted = []
        for part in np.unique(label[is_open]):
            own = (label == part) & is_open
            near = np.unique(pairs[own[pairs].any(axis=1)])
            wanted.append(mask_of(np.isin(np.arange(graph.frame + 1), near) & ~is_open))
        assert sorted(graph.beside_parts(opened, opened)) == sorted(wanted)


def test_gaps_are_distances_to_the_nearest_other_piece(graph):
    graph, regions = graph
    edge = shapely.box(0, 0, 100, 100).exterior
    asked = 0
    for opened in closed_sets(graph, 12):
        pieces = graph.pieces(opened)
        shapes = [
            shapely.union_all([regions.shapes[k] for k in numbers_of(p) if k < graph.frame])
            for p in pieces
        ]
        shapes[0] = shapely.union_all([shapes[0], edge])
        held = list(range(1, len(pieces)))
        others = [[s for i, s in enumerate(shapes) if i != k] for k in held]
        wanted = sum(
            min(shapes[k].distance(o) for o in own) for k, own in zip(held, others, strict=True)
        )
        assert graph.gaps(held, pieces) == pytest.approx(wanted, abs=1e-6)
        asked += len(held)
    assert asked > 20


def test_what_walls_shut_off_is_not_reached_from_the_frame(graph):
    graph, _ = graph
    found = 0
    everything = (1 << graph.frame) - 1
    for walls in closed_sets(graph):
        inside = graph.shut_off(walls)
        free = graph.reached(1 << graph.frame, everything & ~walls)
        assert not inside & walls
        assert not inside & free
        assert (inside | walls | free) & everything == everything
        found += inside.bit_count()
    assert found
