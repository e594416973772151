"""Enough: further bridges, or wider ones, where an island would flap, turn or tear.

The spanning tree gives each island one way to the frame. Islands are then looked at from the frame
outwards: each is loaded with its own weight, that of the islands that hang on it, and a push of
the hand at the worst place of its rim (see ``hold``). Where it gives way too far, a bridge is
added, well apart from those that it has, or its bridges are widened, whichever spoils less.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from .gaps import Gaps
from .hold import NEWTON_PER_GRAM, Hold, Struts, deflections_with_one_more, hold, rim_points
from .rules import Loads, Rules

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

#: Bridges of one island stand at least so far apart, seen from its centre, in degrees.
LEAST_SPREAD = 40.0
#: Factors by which an island's bridges may be widened.
WIDER = (1.25, 1.5)
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
        loads = self._loads
        rim = rim_points(self._pieces[piece])
        centre = self._centre[piece]
        supports = self._of_piece[piece]
        supports = supports[~self._hangs_on(piece, supports)]
        options = supports[~self._chosen[supports]]
        mine = supports[self._chosen[supports]]
        now = self._hold(piece, mine, rim, weight)
        reason = ""
        while not self._within(now):
            wider = self._widened(piece, mine, rim, weight)
            options = options[self._apart(piece, options, mine)]
            added = None
            if len(mine) >= self._rules.most_per_island:
                reason = f"it has {len(mine)} bridges, the most that the job allows"
            elif len(options) == 0:
                reason = "there is no other place for a bridge"
            else:
                after = deflections_with_one_more(
                    centre,
                    rim,
                    self._struts(piece, mine),
                    self._struts(piece, options),
                    loads.stiffness,
                    weight,
                    loads.handling_n,
                )
                gain = now.deflection_mm - after
                added = self._best_option(piece, options, after, gain, mine, rim, weight)
                if after.min() > (1 - LEAST_GAIN) * now.deflection_mm and not added[1]:
                    reason, added = "further bridges would not stiffen it", None
            if wider and (added is None or not added[1] or wider[1] < self._cost[added[0]]):
                self._width[mine[self._automatic[mine]]] = wider[0]
                now, reason = self._hold(piece, mine, rim, weight), ""
                break
            if added is None:
                break
            self._chosen[added[0]] = True
            mine = np.append(mine, added[0])
            now = self._hold(piece, mine, rim, weight)
        good = self._within(now)
        point = self._pieces[piece].representative_point()
        return HeldIsland(
            (point.x, point.y),
            float(self._area[piece]),
            len(mine),
            now,
            good,
            "" if good else reason,
        )

    def _best_option(
        self,
        piece: int,
        options: Indices,
        after: Floats,
        gain: Floats,
        mine: Indices,
        rim: Floats,
        weight: float,
    ) -> tuple[int, bool]:
        """Return the cheapest option that is enough and True, else the best value and False."""
        order = np.argsort(self._cost[options], kind="stable")
        for position in order[after[order] <= self._loads.deflection_mm].tolist():
            tried = self._hold(piece, np.append(mine, options[position]), rim, weight)
            if self._within(tried):
                return int(options[position]), True
        # Not enough yet: the one that stiffens most for what it spoils.
        return int(options[np.argmax(gain / self._cost[options])]), False

    def _widened(
        self, piece: int, mine: Indices, rim: Floats, weight: float
    ) -> tuple[float, float] | None:
        """Return the least width that is enough and what it costs, None where none is."""
        automatic = mine[self._automatic[mine]]
        if len(automatic) == 0:
            return None
        before = self._width[automatic].copy()
        found = None
        for factor in WIDER:
            self._width[automatic] = factor * self._rules.width
            if self._within(self._hold(piece, mine, rim, weight)):
                extra = (factor - before / self._rules.width) * self._cost[automatic]
                found = factor * self._rules.width, float(extra.sum())
                break
        self._width[automatic] = before
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

    def _hangs_on(self, piece: int, which: Indices) -> NDArray[np.bool_]:
        pair = self._candidates.pieces[which]
        other = np.where(pair[:, 0] == piece, pair[:, 1], pair[:, 0])
        return (self._enter[other] >= self._enter[piece]) & (
            self._enter[other] < self._leave[piece]
        )

    def _apart(self, piece: int, options: Indices, mine: Indices) -> NDArray[np.bool_]:
        """Return which options lie well apart from the island's bridges, seen from its centre."""
        if len(options) == 0:
            return np.zeros(0, bool)
        arms = [self._struts(piece, which).tip - self._centre[piece] for which in (options, mine)]
        a, b = (np.arctan2(arm[:, 1], arm[:, 0]) for arm in arms)
        apart = np.abs((a[:, None] - b[None] + np.pi) % (2 * np.pi) - np.pi)
        spread: NDArray[np.bool_] = (apart >= np.radians(LEAST_SPREAD)).all(axis=1)
        return spread


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
