"""Block factor: sparse symmetric matrices of 3 x 3 blocks, factored, and inverted where needed.

A stiffness matrix couples few plates with each other. Its factor L D L^T keeps that sparsity when
plates are eliminated in a good order: always those with the fewest neighbours left, and many at
once that do not touch each other, so that each step is one run over arrays. On a tree the number of
steps grows with the logarithm of the number of plates and nothing is filled in; on a net little is,
and what is left at last, where each plate touches nearly each other, is inverted as a whole.

Sources: minimum degree with multiple elimination, J. W. H. Liu, Modification of the minimum-degree
algorithm by multiple elimination (1985); the inverse on the pattern of the factor, K. Takahashi,
J. Fagan and M.-S. Chin, Formation of a sparse impedance matrix and its application to short circuit
study (1973); both from memory, the tests hold the results against dense and SciPy's sparse algebra.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Indices, ramp

#: Nodes with up to this many times the fewest neighbours are eliminated in the same round: fewer
#: rounds for a little more fill.
DEGREE_SLACK = 2.0
#: Once this share of all pairs of nodes that are left touch, the rest is treated as dense.
DENSE_SHARE = 0.2
#: Unless more nodes than this are left, when a dense inverse would cost more than it saves.
MOST_DENSE = 400
#: Sums of up to so many values a place are added up in turns.
_FEW_VALUES = 6
#: Matrices of up to so many rows are inverted as they are, larger ones in four parts.
_ROWS_AT_ONCE = 96


def transposed(blocks: Floats) -> Floats:
    """Return blocks (..., n, m) with rows and columns swapped."""
    return np.swapaxes(blocks, -1, -2)


def inverse_3x3(blocks: Floats) -> Floats:
    """Return the inverses of matrices (n, 3, 3) by their cofactors.

    Several times as fast as the general routine on many small matrices.

    Raises
    ------
    numpy.linalg.LinAlgError
        One of them has no inverse.

    Examples
    --------
    >>> inverse_3x3(np.diag([1.0, 2.0, 4.0])[None])[0].diagonal().tolist()
    [1.0, 0.5, 0.25]
    """
    a, b, c = blocks[:, 0].T, blocks[:, 1].T, blocks[:, 2].T
    result = np.empty_like(blocks)
    for column, (u, v) in enumerate(((b, c), (c, a), (a, b))):
        result[:, 0, column] = u[1] * v[2] - u[2] * v[1]
        result[:, 1, column] = u[2] * v[0] - u[0] * v[2]
        result[:, 2, column] = u[0] * v[1] - u[1] * v[0]
    determinant = (a.T * result[:, :, 0]).sum(axis=1)
    if (determinant == 0).any():
        raise np.linalg.LinAlgError("Singular matrix")
    result /= determinant[:, None, None]
    return result


def inverse_definite(matrix: Floats) -> Floats:
    """Return the inverse of a symmetric positive definite matrix.

    In four parts, by the complement of the first (Schur), so that nearly all of it is products of
    matrices: several hundred rows take less than half the time of the general routine.

    Raises
    ------
    numpy.linalg.LinAlgError
        It has no inverse.

    Examples
    --------
    >>> inverse_definite(np.array([[2.0, 1.0], [1.0, 1.0]])).round(9).tolist()
    [[1.0, -1.0], [-1.0, 2.0]]
    """
    rows = len(matrix)
    if rows <= _ROWS_AT_ONCE:
        return np.asarray(np.linalg.inv(matrix), np.float64)
    half = rows // 2
    first = inverse_definite(matrix[:half, :half])
    share = first @ matrix[:half, half:]
    second = inverse_definite(matrix[half:, half:] - matrix[half:, :half] @ share)
    mixed = share @ second
    return np.block([[first + mixed @ share.T, -mixed], [-mixed.T, second]])


@dataclass(frozen=True)
class _Sums:
    """Adds up values that belong to the same place.

    Where a place has few values the first of all places are taken, then the second of those that
    have one, and so on: NumPy's sums over stretches take several times as long for short ones. Here
    and below ``take`` stands for an index: with small blocks it is four times as fast.

    Parameters
    ----------
    places : int array (p,)
        Each once, rising.
    order : int array or None
        Of values by their places; None where they are so.
    starts : int array or None
        Where the values of each place begin in that order; None where each has few.
    further : tuple of (int array, int array)
        Of each further turn the places, by position, and their values.
    """

    places: Indices
    order: Indices | None
    starts: Indices | None
    further: tuple[tuple[Indices, Indices], ...] = ()

    @staticmethod
    def to(places: Indices) -> _Sums:
        order = np.argsort(places, kind="stable")
        sorted_ = places[order]
        starts = np.flatnonzero(np.append(True, sorted_[1:] != sorted_[:-1])[: len(places)])
        size = np.diff(np.append(starts, len(places)))
        once = sorted_[starts]
        if size.max(initial=0) > _FEW_VALUES:
            return _Sums(once, None if _rising(places) else order, starts)
        further = []
        for turn in range(1, int(size.max(initial=0))):
            have = np.flatnonzero(size > turn)
            further.append((have, order[starts[have] + turn]))
        firsts = order[starts]
        return _Sums(
            once, None if _rising(firsts) and not further else firsts, None, tuple(further)
        )

    def subtract(self, target: Floats, values: Floats) -> None:
        """Take each value from its place in the target."""
        total = values if self.order is None else values.take(self.order, axis=0)
        if self.starts is not None:
            total = np.add.reduceat(total, self.starts, axis=0)
        for have, number in self.further:
            total[have] += values.take(number, axis=0)
        target[self.places] -= total


def _rising(numbers: Indices) -> bool:
    return bool((numbers[1:] >= numbers[:-1]).all())


@dataclass(frozen=True)
class _Round:
    """Nodes that are eliminated at once, with their neighbours that are left.

    An entry is one neighbour of one node; a pair is two entries of the same node, ``first`` and
    ``second``, and ``target`` the place of the block between these two neighbours.
    """

    nodes: Indices
    owner: Indices
    neighbour: Indices
    edge: Indices
    turned: Bools
    first: Indices
    second: Indices
    target: Indices
    to_owner: _Sums
    to_neighbour: _Sums
    to_edge: _Sums
    to_first: _Sums
    to_second: _Sums


@dataclass(frozen=True)
class _Rest:
    """Nodes that are left at last, and all pairs of them with the places of their blocks."""

    nodes: Indices
    first: Indices
    second: Indices
    edge: Indices


@dataclass
class _Left:
    """What is left while nodes are eliminated: edges by key ``a * count + b``, a < b, sorted."""

    nodes: Bools
    keys: Indices
    edges: Indices


class BlockPattern:
    """Which blocks of a symmetric matrix may differ from 0, and the order of its elimination.

    Parameters
    ----------
    count : int
        Blocks on the diagonal.
    pairs : int array (m, 2)
        Places of the blocks beside it, each once in one of its two orders.

    Examples
    --------
    Two masses in a row, each on a spring to the wall and one between them:

    >>> pattern = BlockPattern(2, np.array([[0, 1]]))
    >>> factor = pattern.factor(2 * np.stack([np.eye(3)] * 2), -np.eye(3)[None])
    >>> factor.solve(np.ones((2, 3, 1)))[:, 0, 0].round(9)
    array([1., 1.])
    """

    def __init__(self, count: int, pairs: Indices) -> None:
        pairs = np.asarray(pairs, np.int64).reshape(-1, 2)
        self.count = count
        self.turned: Bools = pairs[:, 0] > pairs[:, 1]
        keys = pairs.min(axis=1, initial=count) * count + pairs.max(axis=1, initial=0)
        order = np.argsort(keys)
        self.blocks = len(keys)
        self._rounds: list[_Round] = []
        # Ties are broken by a fixed shuffle: in a row of nodes about every third goes at once.
        shuffle = np.random.default_rng(0).permutation(count)
        left = _Left(np.ones(count, bool), keys[order], order)
        while left.nodes.any() and not _is_dense(left):
            a, b = left.keys // count, left.keys % count
            degree = np.bincount(a, minlength=count) + np.bincount(b, minlength=count)
            rank = degree * count + shuffle
            stays = ~left.nodes | (degree > max(1, DEGREE_SLACK * degree[left.nodes].min()))
            stays[np.where(rank[a] < rank[b], b, a)] = True
            left = self._eliminate(np.flatnonzero(~stays), left)
        self._rest = self._all_pairs(left)

    def _eliminate(self, nodes: Indices, left: _Left) -> _Left:
        """Note one round; return what is left after it."""
        count = self.count
        a, b = left.keys // count, left.keys % count
        out = np.zeros(count, bool)
        out[nodes] = True
        gone = out[a] | out[b]
        node = np.where(out[a], a, b)[gone]
        neighbour = np.where(out[a], b, a)[gone]
        order = np.lexsort((neighbour, node))
        node, neighbour, edge = node[order], neighbour[order], left.edges[gone][order]
        number = np.full(count, -1)
        number[nodes] = np.arange(len(nodes))
        owner = number[node]
        last = np.cumsum(np.bincount(owner, minlength=len(nodes))) - 1
        behind = last[owner] - np.arange(len(owner))
        first = np.repeat(np.arange(len(owner)), behind)
        second = first + 1 + ramp(behind)
        wanted = neighbour[first] * count + neighbour[second]
        keys, edges = self._with(left.keys[~gone], left.edges[~gone], wanted)
        target = edges[np.searchsorted(keys, wanted)]
        self._rounds.append(
            _Round(
                nodes,
                owner,
                neighbour,
                edge,
                node > neighbour,
                first,
                second,
                target,
                _Sums.to(owner),
                _Sums.to(neighbour),
                _Sums.to(target),
                _Sums.to(first),
                _Sums.to(second),
            )
        )
        return _Left(left.nodes & ~out, keys, edges)

    def _with(self, keys: Indices, edges: Indices, wanted: Indices) -> tuple[Indices, Indices]:
        """Return edges by key with those that are wanted among them."""
        filled = np.setdiff1d(wanted, keys)
        keys = np.append(keys, filled)
        edges = np.append(edges, self.blocks + np.arange(len(filled)))
        self.blocks += len(filled)
        order = np.argsort(keys)
        return keys[order], edges[order]

    def _all_pairs(self, left: _Left) -> _Rest:
        nodes = np.flatnonzero(left.nodes)
        first, second = np.triu_indices(len(nodes), 1)
        wanted = nodes[first] * self.count + nodes[second]
        keys, edges = self._with(left.keys, left.edges, wanted)
        return _Rest(nodes, first, second, edges[np.searchsorted(keys, wanted)])

    def factor(self, diagonal: Floats, beside: Floats) -> BlockFactor:
        """Factor a matrix.

        Parameters
        ----------
        diagonal : float64 array (count, 3, 3)
        beside : float64 array (m, 3, 3)
            Blocks at ``pairs``: rows of the first, columns of the second of each pair.

        Raises
        ------
        numpy.linalg.LinAlgError
            A block on the diagonal has no inverse: something hangs on nothing.
        """
        left = diagonal.copy()
        blocks = np.zeros((self.blocks, 3, 3))
        blocks[: len(beside)] = _turned(beside, self.turned)
        inverses, shares = [], []
        for r in self._rounds:
            inverse = inverse_3x3(left.take(r.nodes, axis=0))
            own = _turned(blocks.take(r.edge, axis=0), r.turned)
            share = inverse.take(r.owner, axis=0) @ own
            r.to_neighbour.subtract(left, transposed(own) @ share)
            first, second = own.take(r.first, axis=0), share.take(r.second, axis=0)
            r.to_edge.subtract(blocks, transposed(first) @ second)
            inverses.append(inverse)
            shares.append(share)
        rest, size = self._rest, len(self._rest.nodes)
        whole = np.zeros((size, 3, size, 3))
        whole[np.arange(size), :, np.arange(size)] = left[rest.nodes]
        whole[rest.first, :, rest.second] = blocks[rest.edge]
        whole[rest.second, :, rest.first] = transposed(blocks[rest.edge])
        inverse = inverse_definite(whole.reshape(3 * size, 3 * size))
        return BlockFactor(self, inverses, shares, inverse.reshape(size, 3, size, 3))


class BlockFactor:
    """A factored matrix, as ``BlockPattern.factor`` returns it."""

    def __init__(
        self, pattern: BlockPattern, inverses: list[Floats], shares: list[Floats], rest: Floats
    ) -> None:
        self._pattern = pattern
        self._steps = list(zip(pattern._rounds, inverses, shares, strict=True))
        self._rest = rest

    def solve(self, right: Floats) -> Floats:
        """Return x with A x = ``right``, both float64 arrays (count, 3, k)."""
        x = right.copy()
        for r, _, share in self._steps:
            r.to_neighbour.subtract(x, transposed(share) @ x.take(r.nodes[r.owner], axis=0))
        nodes = self._pattern._rest.nodes
        size, columns = len(nodes), right.shape[2]
        dense = self._rest.reshape(3 * size, 3 * size) @ x[nodes].reshape(3 * size, columns)
        x[nodes] = dense.reshape(size, 3, columns)
        for r, inverse, share in reversed(self._steps):
            own = inverse @ x.take(r.nodes, axis=0)
            r.to_owner.subtract(own, share @ x.take(r.neighbour, axis=0))
            x[r.nodes] = own
        return x

    def inverse_blocks(self) -> tuple[Floats, Floats]:
        """Return the blocks of the inverse on the diagonal and at the pattern's pairs.

        Returns
        -------
        diagonal : float64 array (count, 3, 3)
        beside : float64 array (m, 3, 3)
            Rows of the first, columns of the second of each pair.
        """
        pattern, rest = self._pattern, self._pattern._rest
        diagonal = np.empty((pattern.count, 3, 3))
        blocks = np.empty((pattern.blocks, 3, 3))
        size = np.arange(len(rest.nodes))
        diagonal[rest.nodes] = self._rest[size, :, size]
        blocks[rest.edge] = self._rest[rest.first, :, rest.second]
        for r, inverse, share in reversed(self._steps):
            # mixed_s = -sum over t of share_t C_ts, where the pairs hold each C_st once.
            mixed = -(share @ diagonal.take(r.neighbour, axis=0))
            between = blocks.take(r.target, axis=0)
            r.to_first.subtract(mixed, share.take(r.second, axis=0) @ transposed(between))
            r.to_second.subtract(mixed, share.take(r.first, axis=0) @ between)
            own = inverse.copy()
            r.to_owner.subtract(own, mixed @ transposed(share))
            diagonal[r.nodes] = own
            blocks[r.edge] = _turned(mixed, r.turned)
        beside = blocks[: len(pattern.turned)]
        return diagonal, _turned(beside, pattern.turned)


def _turned(blocks: Floats, turned: Bools) -> Floats:
    return np.where(turned[:, None, None], transposed(blocks), blocks)


def _is_dense(left: _Left) -> bool:
    nodes = int(left.nodes.sum())
    return nodes <= MOST_DENSE and len(left.keys) > DENSE_SHARE * nodes * (nodes - 1) / 2
