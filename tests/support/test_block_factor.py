import numpy as np
import pytest
from scipy.sparse import bsr_array
from scipy.sparse.linalg import splu
from scipy.spatial import Delaunay

from sheetstack.geometry.support.block_factor import BlockPattern, inverse_3x3


def net(count, rng):
    """Return the edges of a plane net of random points."""
    triangles = Delaunay(rng.uniform(0, 1, (count, 2))).simplices
    sides = np.concatenate([triangles[:, :2], triangles[:, 1:], triangles[:, ::2]])
    return np.unique(np.sort(sides, axis=1), axis=0)


def tree(count, rng):
    return np.array([(k, rng.integers(0, k)) for k in range(1, count)]).reshape(-1, 2)


def row(count, rng):
    return np.stack([np.arange(count - 1), np.arange(1, count)], axis=1)


def blocks_of(count, pairs, rng):
    """Return pairs in random orders, and a random symmetric positive definite matrix's blocks."""
    turned = rng.random(len(pairs)) < 0.5
    pairs = np.where(turned[:, None], pairs[:, ::-1], pairs)
    own = rng.normal(size=(len(pairs), 3, 3))
    own = own @ np.swapaxes(own, 1, 2)
    first, second = rng.normal(size=(2, len(pairs), 3, 3))
    diagonal = np.tile(np.eye(3) * 0.1, (count, 1, 1))
    np.add.at(diagonal, pairs[:, 0], np.swapaxes(first, 1, 2) @ own @ first)
    np.add.at(diagonal, pairs[:, 1], np.swapaxes(second, 1, 2) @ own @ second)
    return pairs, diagonal, np.swapaxes(first, 1, 2) @ own @ second


def stiffness(count, pairs, rng):
    """Return the same, and the whole matrix."""
    pairs, diagonal, beside = blocks_of(count, pairs, rng)
    whole = np.zeros((count, 3, count, 3))
    whole[np.arange(count), :, np.arange(count)] = diagonal
    whole[pairs[:, 0], :, pairs[:, 1]] = beside
    whole[pairs[:, 1], :, pairs[:, 0]] = np.swapaxes(beside, 1, 2)
    return pairs, diagonal, beside, whole.reshape(3 * count, 3 * count)


@pytest.mark.parametrize("kind", [net, tree, row])
@pytest.mark.parametrize("count", [5, 40, 150])
def test_solutions_and_inverse_are_those_of_dense_algebra(kind, count):
    rng = np.random.default_rng(count)
    pairs, diagonal, beside, whole = stiffness(count, kind(count, rng), rng)
    factor = BlockPattern(count, pairs).factor(diagonal, beside)
    right = rng.normal(size=(count, 3, 4))
    dense = np.linalg.solve(whole, right.reshape(-1, 4))
    np.testing.assert_allclose(factor.solve(right).reshape(-1, 4), dense, rtol=1e-6, atol=1e-9)
    inverse = np.linalg.inv(whole).reshape(count, 3, count, 3)
    own, between = factor.inverse_blocks()
    number = np.arange(count)
    scale = np.abs(inverse).max()
    np.testing.assert_allclose(own, inverse[number, :, number], atol=1e-9 * scale)
    a, b = pairs.T
    np.testing.assert_allclose(between, inverse[a, :, b], atol=1e-9 * scale)


def test_parts_that_do_not_touch_and_single_nodes():
    rng = np.random.default_rng(1)
    pairs, diagonal, beside, whole = stiffness(7, np.array([[1, 5], [2, 6], [6, 3]]), rng)
    own, between = BlockPattern(7, pairs).factor(diagonal, beside).inverse_blocks()
    inverse = np.linalg.inv(whole).reshape(7, 3, 7, 3)
    np.testing.assert_allclose(own[4], inverse[4, :, 4])
    np.testing.assert_allclose(between[0], inverse[pairs[0, 0], :, pairs[0, 1]])
    empty = BlockPattern(0, np.empty((0, 2), int)).factor(np.empty((0, 3, 3)), np.empty((0, 3, 3)))
    assert empty.solve(np.empty((0, 3, 2))).shape == (0, 3, 2)
    assert empty.inverse_blocks()[0].shape == (0, 3, 3)


def test_a_large_net_is_solved_as_by_scipy():
    rng = np.random.default_rng(3)
    count = 3000
    pairs, diagonal, beside = blocks_of(count, net(count, rng), rng)
    factor = BlockPattern(count, pairs).factor(diagonal, beside)
    right = rng.normal(size=(count, 3, 1))
    rows = np.concatenate([np.arange(count), pairs[:, 0], pairs[:, 1]])
    columns = np.concatenate([np.arange(count), pairs[:, 1], pairs[:, 0]])
    blocks = np.concatenate([diagonal, beside, np.swapaxes(beside, 1, 2)])
    order = np.lexsort((columns, rows))
    pointers = np.append(0, np.cumsum(np.bincount(rows, minlength=count)))
    matrix = bsr_array(
        (blocks[order], columns[order], pointers), shape=(3 * count, 3 * count)
    ).tocsc()
    expected = splu(matrix).solve(right.reshape(-1))
    np.testing.assert_allclose(factor.solve(right).reshape(-1), expected, rtol=1e-6, atol=1e-8)


def test_a_row_takes_few_rounds_and_little_fill():
    # Each node that goes joins its two neighbours: at most as many blocks again.
    pattern = BlockPattern(4000, row(4000, np.random.default_rng(5)))
    assert len(pattern._rounds) < 40
    assert pattern.blocks <= 2 * 4000


def test_small_inverses_are_numpys():
    matrices = np.random.default_rng(2).normal(size=(50, 3, 3))
    np.testing.assert_allclose(inverse_3x3(matrices), np.linalg.inv(matrices), rtol=1e-8, atol=1e-9)


def test_what_hangs_on_nothing_is_an_error():
    with pytest.raises(np.linalg.LinAlgError):
        BlockPattern(2, np.empty((0, 2), int)).factor(np.zeros((2, 3, 3)), np.empty((0, 3, 3)))
