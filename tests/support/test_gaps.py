import numpy as np
import pytest
import shapely
from scipy.sparse.csgraph import minimum_spanning_tree
from shapely import Polygon, box

from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.support.gaps import spanning_gaps

from ..random_sheets import many_islands, random_shape, rings, sheet_of


def full_tree_length(pieces):
    """Return the tree's length by SciPy on the distances of all pairs."""
    array = np.asarray(pieces, object)
    return minimum_spanning_tree(shapely.distance(array[:, None], array[None])).sum()


@pytest.mark.parametrize("seed", range(60))
def test_total_equals_scipys_tree_over_all_distances(seed):
    pieces = list(sheet_of(random_shape(seed, islands=12)).shape.geoms)
    gaps = spanning_gaps(pieces, first_reach=2.0)
    assert len(gaps.length) == len(pieces) - 1
    assert gaps.length.sum() == pytest.approx(full_tree_length(pieces), rel=1e-12)


@pytest.mark.parametrize("reach", [1e-3, 0.7, 5.0, 1e4])
def test_the_first_reach_does_not_matter(reach):
    pieces = list(sheet_of(random_shape(3, islands=12)).shape.geoms)
    total = spanning_gaps(pieces, first_reach=reach).length.sum()
    assert total == pytest.approx(full_tree_length(pieces), rel=1e-12)


def test_square_and_its_centre():
    # References 11: Euclidean minimum spanning tree of a square of side 10 and its centre,
    # 20 sqrt 2 = 28.2843 by SciPy. Points stand as squares so small that they do not matter.
    points = [(0, 0), (10, 0), (10, 10), (0, 10), (5, 5)]
    tiny = [box(x - 1e-7, y - 1e-7, x + 1e-7, y + 1e-7) for x, y in points]
    assert spanning_gaps(tiny, 1.0).length.sum() == pytest.approx(20 * 2**0.5, abs=1e-5)


def test_each_gap_joins_its_two_pieces():
    pieces = list(sheet_of(rings(5)).shape.geoms)
    gaps = spanning_gaps(pieces, 1.0)
    assert len(gaps.length) == 5
    for (a, b), start, end, length in zip(
        gaps.pieces, gaps.start, gaps.end, gaps.length, strict=True
    ):
        assert pieces[a].distance(shapely.points(start)) < 1e-9
        assert pieces[b].distance(shapely.points(end)) < 1e-9
        assert np.hypot(*(end - start)) == pytest.approx(length)


def test_many_islands_are_measured_exactly():
    shape, side = many_islands(300)
    pieces = list(sheet_of(shape, side, side).shape.geoms)
    assert spanning_gaps(pieces, 1.0).length.sum() == pytest.approx(full_tree_length(pieces))


def test_one_piece_and_none_need_no_gap():
    assert len(spanning_gaps([box(0, 0, 1, 1)], 1.0).length) == 0
    assert len(spanning_gaps([], 1.0).length) == 0


def test_an_empty_piece_is_refused():
    with pytest.raises(GeometryError, match="empty"):
        spanning_gaps([box(0, 0, 1, 1), Polygon()], 1.0)
