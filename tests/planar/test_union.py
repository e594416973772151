import tracemalloc

import numpy as np
import pytest
import shapely

from sheetstack.geometry.errors import TooIntricate
from sheetstack.geometry.planar import union
from sheetstack.geometry.planar.graph import connected_labels
from sheetstack.geometry.planar.union import (
    cluster_labels,
    edge_clusters,
    union_by_label,
    unite,
)


@pytest.mark.parametrize("seed", range(10))
def test_what_is_united_is_the_union(seed):
    rng = np.random.default_rng(seed)
    discs = shapely.buffer(shapely.points(rng.uniform(0, 50, (80, 2))), rng.uniform(0.5, 4, 80))
    union = unite(discs)
    assert union.is_valid
    # Unions are snapped to a grid of a millionth of a millimetre.
    assert union.symmetric_difference(shapely.union_all(discs)).area < 1e-5 * union.length


def test_union_by_label_keeps_a_shape_alone_as_it_is_and_the_labels_order():
    shapes = shapely.box(np.array([0.1234567891, 5, 5.5]), 0, np.array([1, 6, 7]), 1)
    assert cluster_labels(shapes).tolist() == [0, 1, 1]
    alone, joined = union_by_label(shapes, cluster_labels(shapes))
    assert alone is shapes[0]
    assert joined.equals(shapely.box(5, 0, 7, 1))
    assert len(union_by_label(shapes[:0], np.empty(0, np.int64))) == 0


def test_nothing_united_is_nothing():
    assert unite(np.empty(0, object)).is_empty


def test_unite_leaves_what_meets_nothing_and_drops_what_is_covered():
    alone, around, within = (
        shapely.box(0.1, 0, 1, 1),
        shapely.box(5, 0, 9, 9),
        shapely.box(6, 1, 7, 2),
    )
    united = unite(np.array([alone, around, within], object))
    assert shapely.to_wkt(united.geoms[0], -1) == shapely.to_wkt(alone, -1)
    assert len(united.geoms) == 2
    assert united.area == alone.area + around.area


def test_what_covers_the_hole_of_another_is_united_with_it():
    # Their edges do not meet, and neither lies in the other.
    ring = shapely.box(0, 0, 9, 9).difference(shapely.box(4, 4, 5, 5))
    patch = shapely.box(2, 2, 7, 7)
    both = np.array([patch, ring], object)
    assert cluster_labels(both).tolist() == [0, 0]
    assert unite(both).equals(shapely.box(0, 0, 9, 9))


@pytest.mark.parametrize("seed", range(10))
def test_clusters_are_those_of_shapely(seed):
    rng = np.random.default_rng(seed)
    shapes = shapely.buffer(shapely.points(rng.uniform(0, 60, (60, 2))), rng.uniform(0.5, 9, 60))
    bitten = shapely.difference(shapes, shapely.buffer(shapely.centroid(shapes), 2.0))
    shapes = np.where(shapely.is_empty(bitten) | (rng.random(60) < 0.5), shapes, bitten)
    pairs = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    assert (cluster_labels(shapes) == connected_labels(60, pairs.T)).all()


def test_thousands_of_shapes_on_top_of_each_other_fit_in_memory():
    # 60 million pairs of boxes meet: two arrays of them would take a gigabyte.
    x = np.linspace(0, 1, 8000)
    shapes = shapely.box(x, 1 - x, x + 10, 11 - x)
    tracemalloc.start()
    united = unite(shapes)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 200e6
    assert united.area == pytest.approx(120, abs=0.01)  # 11 x 11 less two corners, stepped


def _strokes(count: int, width: float) -> np.ndarray:
    ends = np.random.default_rng(2).uniform(0, 100, (count, 2, 2))
    return shapely.buffer(shapely.linestrings(ends), width / 2, cap_style="flat")


def test_thousands_of_hairlines_that_cross_are_refused_before_they_are_united():
    with pytest.raises(
        TooIntricate, match=r"^1300 shapes cross each other and leave about \d+0000"
    ):
        unite(_strokes(1300, 0.01))


def test_as_many_broad_strokes_are_united():
    strokes = _strokes(1300, 4.0)
    assert unite(strokes).area == pytest.approx(shapely.union_all(strokes).area, abs=1e-3)


def test_as_many_rings_of_their_own_are_no_gaps():
    # They cross all over; what lies within each is nearly all filled by the others.
    at = np.random.default_rng(3).uniform(0, 60, (1300, 2))
    discs, holes = (shapely.buffer(shapely.points(at), radius) for radius in (20, 1))
    rings = shapely.difference(discs, holes)
    assert unite(rings).area == pytest.approx(shapely.union_all(rings).area, abs=1e-3)


def rings_in_rings(number):
    radii = np.linspace(40, 4, number)
    discs = shapely.buffer(shapely.points(np.zeros((number, 2))), radii)
    return shapely.difference(discs[::2], discs[1::2])


def test_copies_are_united_as_two_of_each_are(monkeypatch):
    rings = rings_in_rings(12)
    twice = unite(np.tile(rings, 2))
    looked_at = []
    box_pairs = union._box_pairs
    monkeypatch.setattr(union, "_box_pairs", lambda of: looked_at.append(len(of)) or box_pairs(of))
    assert unite(np.tile(rings, 30)).equals_exact(twice, 0)
    # The outer and the inner edge of each ring.
    assert max(looked_at) == 2 * 2 * len(rings)
    alone = unite(rings)
    assert alone.symmetric_difference(twice).area < 1e-5 * twice.length


def test_alike_in_box_and_area_is_not_the_same():
    corner = shapely.Polygon([(0, 0), (4, 0), (4, 4), (0, 4), (0, 2), (1, 2), (1, 1), (0, 1)])
    others = [shapely.affinity.scale(corner, x, y, origin=(2, 2)) for x in (1, -1) for y in (1, -1)]
    assert unite(np.array(others * 3, object)).area == 16


@pytest.mark.parametrize("many", [3, 10_000])
def test_shapes_of_different_owners_are_clusters_of_their_own(monkeypatch, many):
    monkeypatch.setattr(union, "_MANY_OF_ONE", many)
    rng = np.random.default_rng(3)
    owner = rng.integers(0, 20, 120)
    discs = shapely.buffer(shapely.points(rng.uniform(0, 20, (120, 2))), 2)
    labels = edge_clusters(discs, owner)
    assert len(set(zip(labels.tolist(), owner.tolist(), strict=True))) == labels.max() + 1
    edges = shapely.boundary(discs)
    a, b = np.nonzero(shapely.intersects(edges[:, None], edges) & (owner[:, None] == owner))
    alike = connected_labels(120, np.stack([a, b], axis=1))
    assert labels.tolist() == alike.tolist()
