"""Selection: which of the candidates become bridges.

Without loads the cheapest tree is the answer, and exact. With loads the sheet has to be held as one
whole, where a long row of islands on one string is soft whatever each of its bridges is. So several
trees are begun with, from the cheapest to those that are short from the frame; each is stiffened
until it holds (see ``stiffening``), the best is kept for each part of the sheet by itself, and then
each of its dear bridges is given up once, to see whether the sheet can be held for less without.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from shapely import Polygon

from ..arrays import Bools, Floats, Indices
from ..planar.graph import connected_labels, spanning_forest
from ..planar.polygons import largest_piece
from ..progress import Progress
from .constraints import Loads, Rules
from .curved_bars import Bars
from .gaps import Gaps
from .held_islands import HeldIsland, held_islands
from .statics import FRAME, Beams, Grillage, LoadedGrillage, Plates, plates_of
from .stiffening import (
    SLIGHT,
    Budget,
    Scheme,
    Task,
    close_bridges,
    part_of,
    stiffened,
    thinned,
)

#: How much of the way back to the frame counts when a tree is grown: 0 gives the cheapest tree, 1
#: the cheapest way from the frame for each island.
FROM_FRAME = (0.0, 0.3, 1.0)
#: Sheets with more islands than this are begun with one tree only, the middle one.
MANY = 250
#: A part that costs this much more than before, with a dear bridge given up, is left at that.
TOO_DEAR = 1.1
#: Dear bridges of one part of the sheet that are given up once, at most; and of a sheet with more
#: than ``MANY`` islands, where nearly all that can be spared is found with the dearest.
MOST_GIVEN_UP, MOST_QUICKLY = 24, 10
#: Parts of the sheet with more islands than this are left as they are.
MOST_IMPROVED = 120


@dataclass(frozen=True)
class Choice:
    """Bridges chosen.

    Parameters
    ----------
    chosen : int array (k,)
        Positions in the candidates.
    width : float64 array (k,)
        Width of each in mm.
    """

    chosen: Indices
    width: Floats


def cheapest_tree(pieces: int, candidates: Gaps, cost: Floats) -> Indices:
    """Return the positions of candidates that join all pieces at the least total cost.

    Exact (Kruskal's algorithm): no other set of these candidates that joins all pieces costs less,
    where a set costs the sum of its members.

    Parameters
    ----------
    pieces : int
        Number of pieces of sheet, the frame among them.
    candidates : Gaps
        Bridges to choose from; ``candidates.pieces`` tells which two each joins.
    cost : float64 array (n,)
        Of each candidate.
    """
    return spanning_forest(pieces, candidates.pieces, cost)


def tree_from(root: int, pairs: Indices, cost: Floats, share: float) -> Indices:
    """Return the links of a tree that is cheap as a whole and short from its root.

    Parameters
    ----------
    root : int
        An item.
    pairs : int array (m, 2)
        Items that links join; items are numbered from 0, and all can be reached.
    cost : float64 array (m,)
    share : float
        How much of the way back to the root counts: 0 for the cheapest tree (Prim), 1 for the
        shortest ways from the root (Dijkstra).

    Returns
    -------
    int array
        Positions of the links.

    Notes
    -----
    The item joined next is the one with the least cost of its link plus ``share`` times the way
    from the root to the item that it is joined to: C. J. Alpert and others, Prim-Dijkstra tradeoffs
    for improved performance-driven routing tree design (1995), from memory.

    Examples
    --------
    >>> pairs, cost = np.array([[0, 1], [1, 2], [0, 2]]), np.array([2.0, 2.0, 3.0])
    >>> tree_from(0, pairs, cost, 0.0).tolist(), tree_from(0, pairs, cost, 1.0).tolist()
    ([0, 1], [0, 2])
    """
    count = int(pairs.max(initial=root)) + 1
    links: list[list[tuple[int, int]]] = [[] for _ in range(count)]
    # Of links between the same two the cheapest count, and others as cheap but for rounding.
    between = pairs.min(axis=1) * count + pairs.max(axis=1)
    pair = np.unique(between, return_inverse=True)[1].reshape(-1)
    least = np.full(len(pairs), np.inf)
    np.minimum.at(least, pair, cost)
    cheapest = np.flatnonzero(cost <= least[pair] * SLIGHT)
    for link, (a, b) in zip(cheapest.tolist(), pairs[cheapest].tolist(), strict=True):
        links[a].append((b, link))
        links[b].append((a, link))
    prices = cost.tolist()
    joined = [False] * len(links)
    nearest = [(0.0, 0.0, root, -1)]
    chosen = []
    while nearest:
        _, way, item, link = heapq.heappop(nearest)
        if joined[item]:
            continue
        joined[item] = True
        if link >= 0:
            chosen.append(link)
        for other, by in links[item]:
            if not joined[other]:
                key = prices[by] + share * way
                heapq.heappush(nearest, (key, way + prices[by], other, by))
    return np.sort(np.array(chosen, np.int64))


def choose_bridges(
    pieces: Sequence[Polygon],
    candidates: Gaps,
    cost: Floats,
    width: Floats,
    rules: Rules,
    fixed: int = 0,
    accepted: Sequence[int] = (),
    progress: Progress | None = None,
    islands: Islands | None = None,
) -> Choice:
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
        How many candidates, from the first on, are laid in any case.
    accepted : sequence of int
        Pieces that are put up with as they are, however far they give way.
    progress : Progress, optional
    islands : Islands, optional
        Those of the pieces under the loads of the rules, where they have been made before.

    Returns
    -------
    Choice

    Notes
    -----
    Without loads, or where the cheapest tree holds the sheet within its limits: exact. Else a
    heuristic, part by part: parts of a sheet are islands that candidates join by other ways than
    over the frame. Of several results for a part the one that leaves the fewest places over their
    limits counts, then the cheapest.
    """
    progress = progress or Progress()
    start = np.union1d(np.arange(fixed), cheapest_tree(len(pieces), candidates, cost))
    if rules.loads is None or len(pieces) < 2:
        return Choice(start, width[start])
    islands = Islands(pieces, rules.loads) if islands is None else islands
    whole = _task(islands, candidates, cost, width, rules, rules.loads, fixed, accepted)
    laid = np.zeros(len(cost), bool)
    laid[start] = True
    scheme = _held_as_one(whole, Scheme(laid, width), progress)
    chosen = np.flatnonzero(scheme.laid)
    return Choice(chosen, scheme.width[chosen])


class Islands:
    """Islands of a sheet, for all who ask how bridges hold them: their plates are made once.

    Parameters
    ----------
    pieces : sequence of Polygon
        The frame among them.
    loads : Loads or None
        Nothing gives way where there are none.

    Attributes
    ----------
    shapes : list of Polygon
        The pieces but for the frame.
    frame : int
        Its position among the pieces.
    """

    def __init__(self, pieces: Sequence[Polygon], loads: Loads | None) -> None:
        self.loads = loads
        self.frame = largest_piece(pieces)
        self.shapes = [piece for number, piece in enumerate(pieces) if number != self.frame]

    def __len__(self) -> int:
        return len(self.shapes)

    @cached_property
    def plates(self) -> Plates:
        """They as plates that may be pushed at their rims."""
        assert self.loads is not None
        return plates_of(self.shapes, self.loads.gram_per_mm2)


@dataclass(frozen=True)
class HeldBy:
    """How bridges hold a sheet.

    Parameters
    ----------
    over : int array (pieces,)
        Limits that each piece is over: its own deflection, and stresses in bridges that it has.
    loaded : LoadedGrillage or None
        The islands under load; None where there are no loads.
    """

    over: Indices
    loaded: LoadedGrillage | None = None

    def islands(self, of: Islands, rules: Rules) -> tuple[HeldIsland, ...]:
        """Return how each island is held."""
        return () if self.loaded is None else held_islands(of.shapes, self.loaded, rules)


def held_by(
    islands: Islands,
    bridges: Gaps,
    width: Floats,
    rules: Rules,
    accepted: Sequence[int] = (),
    bars: Bars | None = None,
) -> HeldBy:
    """Return how given bridges hold a sheet, all of it solved as one.

    Parameters
    ----------
    islands : Islands
    bridges : Gaps
        They join all pieces.
    width : float64 array (n,)
        In mm.
    rules : Rules
        Nothing is over a limit where they give no loads.
    accepted : sequence of int
        Pieces that are put up with as they are.
    bars : Bars, optional
        How bridges run that are curved or tapered; all are straight when None.
    """
    over = np.zeros(len(islands) + 1, np.int64)
    if rules.loads is None or len(islands) == 0:
        return HeldBy(over)
    nothing = np.zeros(len(bridges))
    fixed, loads, push = len(bridges), rules.loads, rules.loads.handling_n
    task = _task(islands, bridges, nothing, width, rules, loads, fixed, accepted, bars)
    held = Scheme(np.ones(len(bridges), bool), width).under_load(task)
    deflection, stresses = held.deflections(push).max(axis=1), task.stresses(held)
    soft, strained = task.over(held, deflection, stresses.mpa)
    over[np.delete(np.arange(len(over)), islands.frame)] += soft
    np.add.at(over, bridges.pieces[held.which[strained]].ravel(), 1)
    return HeldBy(over, held)


def _task(
    islands: Islands,
    candidates: Gaps,
    cost: Floats,
    width: Floats,
    rules: Rules,
    loads: Loads,
    fixed: int,
    accepted: Sequence[int],
    bars: Bars | None = None,
) -> Task:
    frame, plates = islands.frame, islands.plates
    pairs = candidates.pieces - (candidates.pieces > frame)
    pairs[candidates.pieces == frame] = FRAME
    beams = Beams(pairs, candidates.start, candidates.end, bars)
    ends = np.stack([candidates.start, candidates.end], axis=1)
    return Task(
        Grillage(plates, beams, loads.stiffness),
        cost,
        width,
        np.arange(len(cost)) >= fixed,
        rules.width,
        rules.most_per_island,
        loads,
        close_bridges(plates, pairs, ends, rules.clearance),
        np.isin(np.delete(np.arange(len(islands) + 1), frame), accepted),
    )


def _held_as_one(whole: Task, cheapest: Scheme, progress: Progress) -> Scheme:
    """Return bridges that hold the islands within the limits, as far as that can be."""
    weak = _Parts(whole).standing(cheapest).weak > 0
    if not weak.any():
        return cheapest
    laid, width = cheapest.laid.copy(), cheapest.width.copy()
    plates = np.flatnonzero(weak[_Parts(whole).of_plate])
    task, bridges = part_of(whole, plates)
    start = Scheme(cheapest.laid[bridges], cheapest.width[bridges])
    better = _best_scheme(task, start, progress)
    laid[bridges], width[bridges] = better.laid, better.width
    return Scheme(laid, width)


@dataclass(frozen=True)
class _Standing:
    """How a scheme does in each part: places over their limits, and what it spoils."""

    weak: Indices
    cost: Floats

    def beats(self, other: _Standing) -> Bools:
        """Return in which parts this one is better."""
        less = (self.weak == other.weak) & (self.cost < other.cost * (1 - 1e-9))
        return (self.weak < other.weak) | less

    def where(self, there: Bools, other: _Standing) -> _Standing:
        """Return this one in some parts, and another in the rest: parts do not touch each other."""
        return _Standing(
            np.where(there, self.weak, other.weak), np.where(there, self.cost, other.cost)
        )


class _Parts:
    """Parts of a sheet that can be decided each by itself."""

    def __init__(self, task: Task) -> None:
        pairs = task.grillage.beams.plates
        inner = pairs[(pairs != FRAME).all(axis=1)]
        self._task = task
        #: The part of each plate and of each place for a bridge.
        self.of_plate: Indices = connected_labels(len(task.grillage.plates), inner)
        self.of_bridge: Indices = self.of_plate[pairs.max(axis=1)]
        self.size: Indices = np.bincount(self.of_plate)

    def standing(self, scheme: Scheme, held: LoadedGrillage | None = None) -> _Standing:
        """Return how a scheme does in each part; ``held`` are the islands held by it."""
        task, count = self._task, len(self.size)
        held = held or scheme.under_load(task)
        push = task.loads.handling_n
        deflection, stresses = held.deflections(push).max(axis=1), task.stresses(held)
        soft, strained = task.over(held, deflection, stresses.mpa)
        weak = np.bincount(self.of_plate[soft], minlength=count)
        weak += np.bincount(self.of_bridge[held.which[strained]], minlength=count)
        cost = np.bincount(self.of_bridge, scheme.costs(task), minlength=count)
        return _Standing(weak, cost.astype(np.float64))

    def mixed(self, one: Scheme, other: Scheme, from_other: Bools) -> Scheme:
        """Return a scheme that is the other in some parts."""
        there = from_other[self.of_bridge]
        return Scheme(
            np.where(there, other.laid, one.laid), np.where(there, other.width, one.width)
        )


def _best_scheme(task: Task, cheapest: Scheme, progress: Progress) -> Scheme:
    parts = _Parts(task)
    best: Scheme | None = None
    standing: _Standing | None = None
    pairs = task.grillage.beams.plates
    root = len(task.grillage.plates)
    shares = FROM_FRAME if root <= MANY else FROM_FRAME[1:2]
    for number, share in enumerate(shares):
        progress(0.5 * number / len(shares), "holding islands as one whole")
        laid = cheapest.laid
        if share:
            cost = np.where(task.automatic, task.cost, 0)
            laid = ~task.automatic
            laid[tree_from(root, np.where(pairs == FRAME, root, pairs), cost, share)] = True
        scheme, held = thinned(task, *stiffened(task, Scheme(laid, task.width)))
        its = parts.standing(scheme, held)
        if best is None or standing is None:
            best, standing = scheme, its
            continue
        better = its.beats(standing)
        best = parts.mixed(best, scheme, better)
        standing = its.where(better, standing)
    assert best is not None
    few = parts.size[parts.of_plate] <= MOST_IMPROVED
    if not few.any():
        return best
    part, bridges = part_of(task, np.flatnonzero(few))
    own = Scheme(best.laid[bridges], best.width[bridges])
    own = _improved(part, own, root > MANY, progress.part(0.5, 1.0))
    laid, width = best.laid.copy(), best.width.copy()
    laid[bridges], width[bridges] = own.laid, own.width
    return Scheme(laid, width)


def _improved(task: Task, scheme: Scheme, many: bool, progress: Progress) -> Scheme:
    """Give up dear bridges one after the other, where the rest can be made to hold for less.

    One bridge of each part at a time is taken out and barred, the islands are joined again by the
    cheapest links and stiffened; where a part then does better it stays so.
    """
    parts = _Parts(task)
    standing = parts.standing(scheme)
    dear = np.flatnonzero(scheme.laid & task.automatic)
    costs = scheme.costs(task)[dear]
    dear = dear[np.lexsort((-costs, parts.of_bridge[dear]))]
    part = parts.of_bridge[dear]
    rank = np.arange(len(dear)) - np.searchsorted(part, part)
    turns = min(int(rank.max(initial=-1)) + 1, MOST_QUICKLY if many else MOST_GIVEN_UP)
    for turn in range(turns):
        progress(turn / turns, "looking for bridges that can be spared")
        given_up = dear[rank == turn]
        given_up = given_up[scheme.laid[given_up]]
        if len(given_up) == 0:
            continue
        barred = replace(task, automatic=task.automatic.copy())
        barred.automatic[given_up] = False
        tried = _joined_again(task, scheme, given_up)
        if tried.laid[given_up].all():  # each is the only way to some island
            continue
        most = TOO_DEAR * standing.cost
        if many:
            # What costs more than it saves by a bridge like the one given up hardly ever pays.
            own = np.zeros(len(most))
            own[parts.of_bridge[given_up]] = scheme.costs(task)[given_up]
            most = np.minimum(most, standing.cost + own)
        budget = Budget(parts.of_bridge, most)
        tried, held = thinned(barred, *stiffened(barred, tried, budget))
        its = parts.standing(tried, held)
        better = its.beats(standing)
        if better.any():
            scheme = parts.mixed(scheme, tried, better)
            standing = its.where(better, standing)
    return scheme


def _joined_again(task: Task, scheme: Scheme, without: Indices) -> Scheme:
    """Return a scheme without some bridges, with the cheapest links that join all islands again."""
    pairs, root = task.grillage.beams.plates, len(task.grillage.plates)
    laid = scheme.laid.copy()
    laid[without] = False
    cost = np.where(laid, 0, task.cost)
    cost[without] = np.inf
    laid[spanning_forest(root + 1, np.where(pairs == FRAME, root, pairs), cost)] = True
    return Scheme(laid, np.where(scheme.laid, scheme.width, task.width))
