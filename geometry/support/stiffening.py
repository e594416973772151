"""Enough: further bridges, or wider ones, where an island would flap, turn or tear.

The spanning tree gives each island one way to the frame. Islands are then looked at from the frame
outwards: each is loaded with its own weight, that of the islands that hang on it, and a push of
the hand at the worst place of its rim (see ``hold``). Where it gives way too far, a bridge is
added, well apart from those that it has, or its bridges are widened, whichever spoils less.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Bools, Floats, Indices
from .constraints import Loads, Rules
from .gaps import Gaps
from .statics import NEWTON_PER_GRAM, Hold, Struts, deflections_with_more, hold, rim_points

#: Bridges of one island stand at least so far apart, seen from its centre, in degrees.
LEAST_SPREAD = 40.0
#: Factors by which an island's bridges may be widened.
WIDER = (1.25, 1.5)
#: Places of an island of which all sets of up to three are tried.
MOST_OPTIONS = 28
#: A further bridge that does not stiffen the island by this share is no remedy.
LEAST_GAIN = 0.15


@dataclass(frozen=True)
class HeldIsland:
    """How one island is held.

    Parameters
    ----------
    place : tuple of float
        x, y in mm of a point on it.
    area_mm2 : float
    bridges : int
        Bridges that hold it.
    hold : Hold
        Its deflection and the stress in its bridges.
    enough : bool
        Whether both stay within the limits.
    reason : str
        Why no more could be done, empty where enough was.
    """

    place: tuple[float, float]
    area_mm2: float
    bridges: int
    hold: Hold
    enough: bool
    reason: str = ""


@dataclass(frozen=True)
class Enough:
    """Bridges chosen: positions in the candidates, each with its width, and what they do."""

    chosen: Indices
    width: Floats
    islands: tuple[HeldIsland, ...]


def enough_bridges(
    pieces: Sequence[Polygon],
    frame: int,
    candidates: Gaps,
    cost: Floats,
    chosen: Indices,
    width: Floats,
    rules: Rules,
    loads: Loads,
) -> Enough:
    """Add to a tree of bridges, or widen some, until islands are held within the limits.

    Parameters
    ----------
    pieces : sequence of Polygon
    frame : int
        Which piece is the frame.
    candidates : Gaps
    cost : float64 array
        Of each candidate.
    chosen : int array
        Candidates that join all pieces.
    width : float64 array
        Of each candidate as a bridge; those other than the rule's width are not widened.
    rules : Rules
    loads : Loads

    Returns
    -------
    Enough

    Notes
    -----
    Heuristic: islands are treated one after the other; what holds an island is taken as firm, be it
    the frame or an island nearer to it.
    """
    return _Holder(pieces, frame, candidates, cost, chosen, width, rules, loads).run()


class _Holder:
    def __init__(
        self,
        pieces: Sequence[Polygon],
        frame: int,
        candidates: Gaps,
        cost: Floats,
        chosen: Indices,
        width: Floats,
        rules: Rules,
        loads: Loads,
    ) -> None:
        self._pieces = np.asarray(pieces, object)
        self._candidates = candidates
        self._cost = cost
        self._width = width.copy()
        self._rules = rules
        self._loads = loads
        self._chosen = np.zeros(len(candidates), bool)
        self._chosen[chosen] = True
        self._automatic = width == rules.width
        self._relied_on = np.zeros(len(candidates), bool)
        self._frame = frame
        self._area = shapely.area(self._pieces)
        self._centre = shapely.get_coordinates(shapely.centroid(self._pieces))
        self._of_piece = _positions_by_piece(candidates, len(pieces))
        self._order, self._enter, self._leave = _walk(len(pieces), frame, candidates.pieces[chosen])

    def run(self) -> Enough:
        hanging = self._area * self._loads.gram_per_mm2 * NEWTON_PER_GRAM
        load = np.zeros(len(self._area))
        # Entry numbers follow the walk: what hangs on a piece is entered between it and its leave.
        total = np.append(0.0, np.cumsum(hanging[self._order]))
        load = total[self._leave] - total[self._enter]
        islands = [
            self._held(piece, float(load[piece]))
            for piece in self._order.tolist()
            if piece != self._frame
        ]
        chosen = np.flatnonzero(self._chosen)
        return Enough(chosen, self._width[chosen], tuple(islands))

    def _held(self, piece: int, weight: float) -> HeldIsland:
        rim = rim_points(self._pieces[piece])
        supports = self._of_piece[piece]
        supports = supports[~self._hangs_on(piece, supports)]
        mine = supports[self._chosen[supports]]
        reason = ""
        now = self._hold(piece, mine, rim, weight)
        if not self._within(now):
            better = self._best_set(piece, mine, supports, rim, weight)
            if better is None:
                better, reason = self._added(piece, mine, supports, rim, weight)
            wider = self._widened(piece, mine, better, rim, weight)
            if wider is None:
                self._chosen[mine], self._chosen[better] = False, True
                mine = better
            else:
                self._width[mine[self._automatic[mine]]] = wider
                reason = ""
            now = self._hold(piece, mine, rim, weight)
        self._relied_on[mine] = True
        point = self._pieces[piece].representative_point()
        return HeldIsland(
            (point.x, point.y),
            float(self._area[piece]),
            len(mine),
            now,
            self._within(now),
            reason,
        )

    def _best_set(
        self, piece: int, mine: Indices, supports: Indices, rim: Floats, weight: float
    ) -> Indices | None:
        """Return the cheapest set of bridges that is enough, None where none of the small ones is.

        Bridges that other islands rely on, or that were drawn, stay; up to two are set beside
        them, or three where no two are enough. Exact but for the options that are left out.
        """
        loads = self._loads
        stay = mine[self._relied_on[mine] | ~self._automatic[mine]]
        options = np.setdiff1d(supports, stay)
        struts = self._struts(piece, options)
        slack = np.hypot(*(struts.tip - struts.base).T) ** 3 / self._width[options]
        ranks = [self._cost[options], self._cost[options] * np.cbrt(slack)]
        first = [np.argsort(rank, kind="stable")[: MOST_OPTIONS // 2] for rank in ranks]
        options = options[np.unique(np.concatenate(first))]
        options = options[self._apart(piece, options, stay)]
        angle = self._angles(piece, options)
        spread = _turn(angle[:, None], angle[None]) >= np.radians(LEAST_SPREAD)
        firm = self._enter[self._other(piece, options)] < self._enter[piece]
        firm_already = (self._enter[self._other(piece, stay)] < self._enter[piece]).any()
        found: Indices | None = None
        for size in (1, 2, 3):
            if size + len(stay) > self._rules.most_per_island or (size == 3 and found is not None):
                break
            sets = _sets(len(options), size)
            for i, j in combinations(range(size), 2):
                sets = sets[spread[sets[:, i], sets[:, j]]]
            if not firm_already:
                sets = sets[firm[sets].any(axis=1)]
            price = self._cost[options][sets].sum(axis=1)
            if found is not None:
                cheaper = price < self._cost[found].sum() - self._cost[stay].sum()
                sets, price = sets[cheaper], price[cheaper]
            if len(sets) == 0:
                continue
            after = deflections_with_more(
                self._centre[piece],
                rim,
                self._struts(piece, stay),
                self._struts(piece, options),
                sets,
                loads.stiffness,
                weight,
                loads.handling_n,
            )
            order = np.argsort(price, kind="stable")
            for number in order[after[order] <= loads.deflection_mm].tolist():
                tried = np.append(stay, options[sets[number]])
                if self._within(self._hold(piece, tried, rim, weight)):
                    found = tried
                    break
        return found

    def _added(
        self, piece: int, mine: Indices, supports: Indices, rim: Floats, weight: float
    ) -> tuple[Indices, str]:
        """Return an island's bridges with the best value added until enough, or why it is not."""
        loads = self._loads
        options = np.setdiff1d(supports, mine)
        now = self._hold(piece, mine, rim, weight)
        while not self._within(now):
            options = options[self._apart(piece, options, mine)]
            if len(mine) >= self._rules.most_per_island:
                return mine, f"it has {len(mine)} bridges, the most that the job allows"
            if len(options) == 0:
                return mine, "there is no other place for a bridge"
            after = deflections_with_more(
                self._centre[piece],
                rim,
                self._struts(piece, mine),
                self._struts(piece, options),
                np.arange(len(options))[:, None],
                loads.stiffness,
                weight,
                loads.handling_n,
            )
            # What it stiffens for what it spoils; more than is needed counts for nothing.
            gain = now.deflection_mm - np.maximum(after, loads.deflection_mm)
            if now.deflection_mm <= loads.deflection_mm:  # it is the strain that is too great
                gain = now.deflection_mm - after
            if gain.max() < LEAST_GAIN * (now.deflection_mm - loads.deflection_mm):
                return mine, "further bridges would not stiffen it"
            mine = np.append(mine, options[int(np.argmax(gain / self._cost[options]))])
            now = self._hold(piece, mine, rim, weight)
        return mine, ""

    def _widened(
        self, piece: int, before: Indices, mine: Indices, rim: Floats, weight: float
    ) -> float | None:
        """Return the width at which the bridges from before are enough and spoil less than more.

        None where no width is, or where no bridge was added.
        """
        automatic = before[self._automatic[before]]
        more = float(self._cost[mine].sum() - self._cost[before].sum())
        enough = self._within(self._hold(piece, mine, rim, weight))
        if len(automatic) == 0 or (enough and len(mine) == len(before)):
            return None
        was = self._width[automatic].copy()
        found = None
        for factor in WIDER:
            extra = float(((factor - was / self._rules.width) * self._cost[automatic]).sum())
            self._width[automatic] = factor * self._rules.width
            if self._within(self._hold(piece, before, rim, weight)) and (
                not enough or extra < more
            ):
                found = factor * self._rules.width
                break
        self._width[automatic] = was
        return found

    def _within(self, held: Hold) -> bool:
        return (
            held.deflection_mm <= self._loads.deflection_mm
            and held.stress_mpa <= self._loads.stress_mpa
        )

    def _hold(self, piece: int, mine: Indices, rim: Floats, weight: float) -> Hold:
        struts = self._struts(piece, mine)
        loads = self._loads
        return hold(self._centre[piece], rim, struts, loads.stiffness, weight, loads.handling_n)

    def _struts(self, piece: int, which: Indices) -> Struts:
        gaps = self._candidates
        first = (gaps.pieces[which, 0] == piece)[:, None]
        start, end = gaps.start[which], gaps.end[which]
        return Struts(np.where(first, end, start), np.where(first, start, end), self._width[which])

    def _other(self, piece: int, which: Indices) -> Indices:
        pair = self._candidates.pieces[which]
        return np.where(pair[:, 0] == piece, pair[:, 1], pair[:, 0])

    def _hangs_on(self, piece: int, which: Indices) -> Bools:
        other = self._enter[self._other(piece, which)]
        return (other >= self._enter[piece]) & (other < self._leave[piece])

    def _angles(self, piece: int, which: Indices) -> Floats:
        """Return where bridges meet the island, as angles about its centre."""
        arm = self._struts(piece, which).tip - self._centre[piece]
        angle: Floats = np.arctan2(arm[:, 1], arm[:, 0])
        return angle

    def _apart(self, piece: int, options: Indices, mine: Indices) -> Bools:
        """Return which options lie well apart from the island's bridges, seen from its centre."""
        turn = _turn(self._angles(piece, options)[:, None], self._angles(piece, mine)[None])
        spread: Bools = (turn >= np.radians(LEAST_SPREAD)).all(axis=1)
        return spread


def _turn(first: Floats, second: Floats) -> Floats:
    """Return the angle between directions, 0 to pi."""
    return np.abs((first - second + np.pi) % (2 * np.pi) - np.pi)


def _sets(count: int, size: int) -> Indices:
    sets = np.array(list(combinations(range(count), size)), np.int64)
    return sets.reshape(-1, size)


def _positions_by_piece(gaps: Gaps, count: int) -> list[Indices]:
    pieces = gaps.pieces.ravel()
    order = np.argsort(pieces, kind="stable")
    stops = np.cumsum(np.bincount(pieces, minlength=count))[:-1]
    return [part // 2 for part in np.split(order, stops)]


def _walk(count: int, frame: int, links: Indices) -> tuple[Indices, Indices, Indices]:
    """Walk a tree depth first; return the order, and when each piece is entered and left."""
    pairs = np.concatenate([links, links[:, ::-1]])
    pairs = pairs[np.argsort(pairs[:, 0], kind="stable")]
    stops = np.cumsum(np.bincount(pairs[:, 0], minlength=count))[:-1]
    neighbours = np.split(pairs[:, 1], stops)
    enter = np.full(count, -1)
    leave = np.zeros(count, np.int64)
    order: list[int] = []
    stack = [(frame, False)]
    while stack:
        piece, done = stack.pop()
        if done:
            leave[piece] = len(order)
        elif enter[piece] < 0:
            enter[piece] = len(order)
            order.append(piece)
            stack.append((piece, True))
            stack += [(n, False) for n in neighbours[piece].tolist() if enter[n] < 0]
    return np.array(order, np.int64), enter, leave
