import numpy as np
import pytest
import shapely

from sheetstack.geometry.planar.union import (
    cluster_labels,
    union_by_clusters,
    union_by_label,
    unite,
)


@pytest.mark.parametrize("seed", range(10))
def test_union_by_clusters_is_the_union(seed):
    rng = np.random.default_rng(seed)
    discs = shapely.buffer(shapely.points(rng.uniform(0, 50, (80, 2))), rng.uniform(0.5, 4, 80))
    union = union_by_clusters(discs)
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
