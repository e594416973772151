from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components, minimum_spanning_tree

from sheetstack.geometry.planar.graph import connected_labels, spanning_forest

graphs = st.integers(1, 30).flatmap(
    lambda n: st.tuples(
        st.just(n),
        st.lists(st.tuples(*[st.integers(0, n - 1)] * 2, st.integers(1, 50)), max_size=60),
    )
)


@given(graphs)
def test_labels_equal_scipy(graph):
    count, links = graph
    pairs = np.array([(a, b) for a, b, _ in links], np.int64).reshape(-1, 2)
    matrix = coo_matrix((np.ones(len(pairs)), pairs.T), (count, count))
    _, expected = connected_components(matrix, directed=False)
    found = connected_labels(count, pairs)
    assert len(set(zip(found.tolist(), expected.tolist(), strict=True))) == expected.max() + 1
    assert found.max() == expected.max()


@given(graphs)
def test_forest_costs_what_scipys_costs(graph):
    count, links = graph
    lightest: dict[tuple[int, int], int] = {}
    for a, b, cost in links:
        if a != b:
            key = (min(a, b), max(a, b))
            lightest[key] = min(cost, lightest.get(key, cost))
    matrix = np.zeros((count, count))
    for (a, b), cost in lightest.items():
        matrix[a, b] = cost
    pairs = [(a, b) for a, b, _ in links]
    costs = np.array([c for *_, c in links], float)
    chosen = spanning_forest(count, pairs, costs)
    assert costs[chosen].sum() == minimum_spanning_tree(matrix).sum()


def test_a_square_and_its_centre_are_joined_by_20_roots_of_2():
    # scipy.sparse.csgraph.minimum_spanning_tree gives 28.2843 for the same five points.
    points = np.array([(0, 0), (10, 0), (10, 10), (0, 10), (5, 5)])
    pairs = [(i, j) for i in range(5) for j in range(i)]
    costs = [float(np.hypot(*(points[i] - points[j]))) for i, j in pairs]
    chosen = spanning_forest(5, pairs, costs)
    assert sum(costs[k] for k in chosen) == pytest.approx(20 * 2**0.5)


def test_a_long_chain_is_one_part():
    count = 100_000
    order = np.random.default_rng(3).permutation(count)
    assert connected_labels(count, np.stack([order[:-1], order[1:]], axis=1)).max() == 0
