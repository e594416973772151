"""Connectivity: which items hang together, and the cheapest set of links that joins them all."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Indices


def connected_labels(count: int, links: ArrayLike) -> Indices:
    """Label the connected parts of an undirected graph.

    Every root hooks onto the smallest root that a link shows it, then all paths are shortened;
    the rounds needed grow with the logarithm of ``count``.

    Parameters
    ----------
    count : int
        Number of items.
    links : array_like (m, 2)
        Pairs of items that hang together.

    Returns
    -------
    int array (count,)
        Labels 0, 1, ... in order of each part's first item.

    Examples
    --------
    >>> connected_labels(5, [(0, 3), (4, 1)])
    array([0, 1, 2, 0, 1])
    """
    pairs = np.asarray(links, np.int64).reshape(-1, 2)
    root = np.arange(count)
    a, b = pairs[:, 0], pairs[:, 1]
    while len(a):
        ra, rb = root[a], root[b]
        apart = ra != rb
        a, b, ra, rb = a[apart], b[apart], ra[apart], rb[apart]
        np.minimum.at(root, np.maximum(ra, rb), np.minimum(ra, rb))
        while True:
            shorter = root[root]
            if (shorter == root).all():
                break
            root = shorter
    labels: Indices = (np.cumsum(root == np.arange(count)) - 1)[root]
    return labels


def members_of(labels: Indices, items: Indices) -> list[Indices]:
    """Split items by their labels, in the labels' order; each keeps the order of its items.

    >>> members_of(np.array([1, 0, 1]), np.array([7, 8, 9]))
    [array([8]), array([7, 9])]
    """
    if len(items) == 0:
        return []
    order = np.argsort(labels, kind="stable")
    return np.split(items[order], np.flatnonzero(np.diff(labels[order])) + 1)


def spanning_forest(count: int, links: ArrayLike, cost: ArrayLike) -> Indices:
    """Choose the links of least total cost that join all that the links can join.

    Exact: every part takes its cheapest way out, in rounds (Boruvka's algorithm, from memory). Ties
    are taken in the order given.

    Parameters
    ----------
    count : int
        Number of items.
    links : array_like (m, 2)
    cost : array_like (m,)

    Returns
    -------
    int array
        Positions of the chosen links, cheapest first.

    Examples
    --------
    >>> spanning_forest(3, [(0, 1), (1, 2), (0, 2)], [2.0, 3.0, 1.0])
    array([2, 0])
    """
    pairs = np.asarray(links, np.int64).reshape(-1, 2)
    order = np.argsort(np.asarray(cost, np.float64), kind="stable")
    # By rank no two links are alike, so that there is one such set, and no round closes a loop.
    a, b = pairs[order].T
    rank = np.arange(len(order))
    chosen = np.zeros(len(order), bool)
    while True:
        apart = a != b
        a, b, rank = a[apart], b[apart], rank[apart]
        if len(rank) == 0:
            return order[chosen]
        first = np.full(count, len(rank))
        for ends in (a, b):
            np.minimum.at(first, ends, np.arange(len(rank)))
        taken = np.unique(first[first < len(rank)])
        chosen[rank[taken]] = True
        label = connected_labels(count, np.stack([a[taken], b[taken]], axis=1))
        a, b = label[a], label[b]
