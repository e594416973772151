"""Choice: which of the candidates become bridges."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shapely import Polygon

from ..arrays import Floats, Indices
from ..planar.graph import spanning_forest
from ..planar.polygons import largest_piece
from .constraints import Rules
from .gaps import Gaps
from .stiffening import Enough, enough_bridges

#: Where bridges of the cheapest tree are too weak, trees that shun length more are tried too: this
#: much of the mean cost of a mm of candidate is added to each mm.
SHUNNING = (0.3, 1.0, 10.0)


def cheapest_tree(pieces: int, candidates: Gaps, cost: Floats) -> Indices:
    """Return the positions of candidates that join all pieces at the least total cost.

    Exact (Kruskal's algorithm): no other set of these candidates that joins all pieces costs less,
    where a set costs the sum of its members.
    """
    return spanning_forest(pieces, candidates.pieces, cost)


def choose_bridges(
    pieces: Sequence[Polygon],
    candidates: Gaps,
    cost: Floats,
    width: Floats,
    rules: Rules,
    fixed: int = 0,
) -> Enough:
    """Choose bridges that join all pieces and, where loads are given, hold them firmly enough.

    Parameters
    ----------
    pieces : sequence of Polygon
    candidates : Gaps
    cost : float64 array (n,)
        Of each candidate.
    width : float64 array (n,)
        Of each candidate as a bridge.
    rules : Rules
    fixed : int
        The first so many candidates are there anyhow.

    Returns
    -------
    Enough

    Notes
    -----
    Without loads the cheapest tree, exact. With loads a heuristic: starting from several trees,
    each island is given the bridges that it lacks (see ``enough``), and of the results that leave
    the fewest islands weak the cheapest is taken.
    """
    tree = cheapest_tree(len(pieces), candidates, cost)
    start = np.union1d(np.arange(fixed), tree)
    loads = rules.loads
    if loads is None:
        return Enough(start, width[start], ())
    frame = largest_piece(pieces)

    def firm(chosen: Indices) -> Enough:
        return enough_bridges(pieces, frame, candidates, cost, chosen, width, rules, loads)

    best = firm(start)
    if np.array_equal(best.chosen, start) and (best.width == width[start]).all():
        return best
    mean = cost.sum() / max(float(candidates.length.sum()), 1e-12)
    for share in SHUNNING:
        longer = cost + share * mean * candidates.length
        longer[:fixed] = 0
        other = firm(np.union1d(np.arange(fixed), cheapest_tree(len(pieces), candidates, longer)))
        best = min(best, other, key=lambda e: _rank(e, cost, rules))
    return best


def _rank(choice: Enough, cost: Floats, rules: Rules) -> tuple[int, float]:
    weak = sum(not island.enough for island in choice.islands)
    return weak, float((cost[choice.chosen] * choice.width / rules.width).sum())
