"""Stiffening: further bridges, or wider ones, where a sheet would flap, turn or tear.

A tree of bridges gives each island one way to the frame. All islands are then looked at as one (see
``statics``): where one gives way too far, or a bridge is strained too much, the move is made that
takes most off all such excesses for what it spoils in the picture. A move is a new bridge or a
wider one; it may close a loop, or tie the free end of a row of islands. What it would do follows
from the compliance at hand by a small update (Woodbury's identity), with no new solution for each
of thousands of moves. Bridges that the later ones made needless are taken out again at the end.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import Bools, Floats, Indices, ramp
from ..planar.graph import connected_labels
from ..tolerance import NOT_ZERO
from .block_factor import inverse_3x3, transposed
from .constraints import Loads
from .statics import FRAME, Grillage, LoadedGrillage, Plates, Stresses, summed, yielding_at

#: Bridges of one island stand at least so far apart, seen from its centre, in degrees.
LEAST_SPREAD = 40.0
#: Factors by which bridges may be widened.
WIDER = (1.25, 1.5)
#: A move that takes less than this share off every excess that it meets is no remedy.
LEAST_GAIN = 0.15
#: Of islands that hang together so many of the worst excesses are looked at in each round, or one
#: for each so many islands where that is more: rounds of thousands of islands take seconds.
WATCHED, ISLANDS_A_WATCH = 16, 128
#: Where more islands than these hang together, a round that takes less than this share off all by
#: which they give way too far is their last: as little would come of each of hundreds more.
MOST_TOGETHER, LEAST_ROUND = 2_000, 0.02
#: Of islands that hang together so many of the softest are pushed while bridges are looked for; the
#: most strained bridges are nearly always strained by these, or by a push on one of their ends.
PUSHED = 6
#: One more move is made in a round for each so many islands that hang together.
ISLANDS_A_MOVE = 24
#: The same where more than ``MOST_THINNED`` do: fewer rounds for a little more damage.
ISLANDS_A_QUICK_MOVE = 3
#: Bridges of one cluster that are looked at in one round of taking out, dearest first.
LOOKED_AT = 64
#: Where more islands than this hang together no bridge is taken out again.
MOST_THINNED = 200
#: Work goes on with the islands alone where something is left to do, and those that could be joined
#: to them, once they are fewer than this share of those looked at before.
FEW = 0.5
#: A value this far over its limit counts as within it: rounding.
SLIGHT = 1 + 1e-9
#: Half of that, as a share.
_ROUNDING = (SLIGHT - 1) / 2
#: A bridge yields to itself by this share at most where something else holds as well.
LOOSE = 1 - 1e-6


class CloseBridges(NamedTuple):
    """Pairs of possible bridges that are too close to each other at one plate.

    Parameters
    ----------
    bridge, other : int array (k,)
        The pair; each is there in both orders.
    plate : int array (k,)
        Where they meet.
    touching : bool array (k,)
        Whether their ends are so near that they would run into one.
    """

    bridge: Indices
    other: Indices
    plate: Indices
    touching: Bools


@dataclass(frozen=True)
class Task:
    """Places for bridges, and what the bridges laid there have to do.

    Parameters
    ----------
    grillage : Grillage
        Islands, and all places for bridges.
    cost : float64 array (m,)
        What a bridge spoils in each place at the usual width.
    width : float64 array (m,)
        Of a new bridge in each place, in mm.
    automatic : bool array (m,)
        Whether it may be laid, widened and taken out; else it is the artist's and stays.
    usual_width : float
        In mm.
    most_per_island : int
        Bridges that may hold one island.
    loads : Loads
    close : CloseBridges
    accepted : bool array (n,)
        Plates whose giving way, and whose bridges' stress, is put up with as it is.
    """

    grillage: Grillage
    cost: Floats
    width: Floats
    automatic: Bools
    usual_width: float
    most_per_island: int
    loads: Loads
    close: CloseBridges
    accepted: Bools

    def stresses(self, held: LoadedGrillage) -> Stresses:
        """Return the stress in laid bridges, of those that are over the limit by it."""
        return held.stresses(self.loads.handling_n, PUSHED, self.loads.stress_mpa)

    def over(self, held: LoadedGrillage, deflection: Floats, mpa: Floats) -> tuple[Bools, Bools]:
        """Return which plates and which laid bridges are over a limit and not put up with.

        Parameters
        ----------
        held : LoadedGrillage
        deflection : float64 array (n,)
            Of each plate in mm.
        mpa : float64 array (k,)
            Stress in each laid bridge.
        """
        let_be = np.append(self.accepted, False)[self.grillage.beams.plates[held.which]].any(axis=1)
        soft = (deflection > self.loads.deflection_mm * SLIGHT) & ~self.accepted
        return soft, (mpa > self.loads.stress_mpa * SLIGHT) & ~let_be


@dataclass(frozen=True)
class Scheme:
    """Bridges that are laid.

    Parameters
    ----------
    laid : bool array (m,)
        Which places have one.
    width : float64 array (m,)
        In mm, of each place.
    """

    laid: Bools
    width: Floats

    def under_load(self, task: Task, looked_at: Bools | None = None) -> LoadedGrillage:
        """Return the task's islands held by these bridges; places in which others may be laid that
        are looked at, but for those that have one, none when None."""
        which = np.flatnonzero(self.laid)
        others = which[:0] if looked_at is None else np.flatnonzero(looked_at)
        return task.grillage.under_load(which, self.width[which], others)

    def costs(self, task: Task) -> Floats:
        """Return what each laid bridge spoils, 0 where there is none."""
        return np.where(self.laid, task.cost * self.width / task.usual_width, 0.0)


def part_of(task: Task, plates: Indices) -> tuple[Task, Indices]:
    """Return the task of some plates, and the positions of its bridges in the whole.

    Parameters
    ----------
    task : Task
    plates : int array (k,)
        With each of them all that laid bridges join to it by other ways than over the frame. Places
        for bridges to other plates are left out.
    """
    if len(plates) == len(task.grillage.plates):
        return task, np.arange(len(task.cost))
    number = np.full(len(task.grillage.plates) + 1, -2)
    number[plates] = np.arange(len(plates))
    number[FRAME] = FRAME
    pairs = number[task.grillage.beams.plates]
    bridges = np.flatnonzero((pairs != -2).all(axis=1))
    place = np.full(len(pairs), -1)
    place[bridges] = np.arange(len(bridges))
    beams = task.grillage.beams.take(bridges)
    close = task.close
    kept = (place[close.bridge] >= 0) & (place[close.other] >= 0)
    part = replace(
        task,
        grillage=Grillage(
            task.grillage.plates.take(plates),
            replace(beams, plates=pairs[bridges]),
            task.grillage.stiffness,
        ),
        cost=task.cost[bridges],
        width=task.width[bridges],
        automatic=task.automatic[bridges],
        close=CloseBridges(
            place[close.bridge[kept]],
            place[close.other[kept]],
            number[close.plate[kept]],
            close.touching[kept],
        ),
        accepted=task.accepted[plates],
    )
    return part, bridges


def close_bridges(plates: Plates, pairs: Indices, ends: Floats, clear: float) -> CloseBridges:
    """Return which possible bridges are too close to each other to be laid both.

    Parameters
    ----------
    plates : Plates
    pairs : int array (m, 2)
        Plates that each bridge joins, ``FRAME`` for the frame.
    ends : float64 array (m, 2, 2)
        Its two ends in mm.
    clear : float
        How far ends of two bridges on one plate keep from one another, in mm.
    """
    plate, at = pairs.ravel(), ends.reshape(-1, 2)
    bridge = np.repeat(np.arange(len(pairs)), 2)
    order = np.argsort(plate, kind="stable")
    order = order[plate[order] != FRAME]
    plate, at, bridge = plate[order], at[order], bridge[order]
    arm = at - plates.centre[plate]
    angle = np.arctan2(arm[:, 1], arm[:, 0])
    size = np.bincount(plate, minlength=len(plates))
    first = np.repeat(np.arange(len(plate)), size[plate])
    second = (np.cumsum(size) - size)[plate[first]] + ramp(size[plate])
    turn = np.abs((angle[first] - angle[second] + np.pi) % (2 * np.pi) - np.pi)
    touching = np.hypot(*(at[first] - at[second]).T) < clear
    close = (bridge[first] != bridge[second]) & (touching | (turn < np.radians(LEAST_SPREAD)))
    first, second = first[close], second[close]
    return CloseBridges(bridge[first], bridge[second], plate[first], touching[close])


def steps_from_frame(plates: int, pairs: Indices) -> Indices:
    """Return over how many bridges each plate hangs on the frame, by the shortest way.

    Parameters
    ----------
    plates : int
        How many there are.
    pairs : int array (k, 2)
        Plates that laid bridges join, ``FRAME`` for the frame.

    Examples
    --------
    >>> steps_from_frame(3, np.array([[FRAME, 0], [0, 1], [1, 2]]))
    array([1, 2, 3])
    """
    steps = np.full(plates + 1, plates + 1)
    steps[FRAME] = 0
    nearer, further = np.concatenate([pairs, pairs[:, ::-1]]).T
    reached = 0
    while True:
        next_ = further[(steps[nearer] == reached) & (steps[further] > reached + 1)]
        if len(next_) == 0:
            return steps[:FRAME]
        reached += 1
        steps[next_] = reached


def holding(steps: Indices, pairs: Indices) -> Bools:
    """Return for each bridge whether it holds its first and its second plate, an array (k, 2).

    A bridge holds a plate when it leads towards the frame, or to one that is as near to it; it does
    not when the other plate only hangs on this one.

    Parameters
    ----------
    steps : int array (n,)
        From the frame, of each plate.
    pairs : int array (k, 2)
        Plates that the bridges join.
    """
    away = np.append(steps, 0)[pairs]
    return (pairs != FRAME) & (away[:, ::-1] <= away)


@dataclass(frozen=True)
class Budget:
    """What bridges may spoil before it is no use to go on, part by part of the sheet.

    Parameters
    ----------
    part : int array (m,)
        The part that each place for a bridge lies in; parts have no island in common.
    most : float64 array (parts,)
        Greatest cost of all bridges of a part.
    """

    part: Indices
    most: Floats

    def spent(self, task: Task, scheme: Scheme) -> Bools:
        """Return which plates lie in a part where the bridges cost more than they may."""
        cost = np.bincount(self.part, scheme.costs(task), minlength=len(self.most))
        over = np.zeros(len(task.grillage.plates) + 1, bool)
        over[task.grillage.beams.plates[(cost > self.most)[self.part]]] = True
        return over[:FRAME]


def stiffened(
    task: Task, scheme: Scheme, budget: Budget | None = None
) -> tuple[Scheme, LoadedGrillage]:
    """Lay further bridges, or widen some, until all is within the limits or nothing helps.

    Parameters
    ----------
    task : Task
    scheme : Scheme
        Bridges that join every plate to the frame.
    budget : Budget, optional
        Parts that cost more are left as they are then.

    Returns
    -------
    scheme : Scheme
    held : LoadedGrillage
        The islands held by it.

    Notes
    -----
    Heuristic, greedy: of all moves the one with the greatest gain for its cost, where the gain is
    the sum over the worst excesses of what the move takes off the logarithm of value over limit;
    below the limit nothing more is gained. Islands that do not hang together are seen to in the
    same round.
    """
    laid, width = scheme.laid.copy(), scheme.width.copy()
    # The islands that are worked at, and the positions of their places for bridges in the whole.
    part, bridges = task, np.arange(len(laid))
    plates = np.arange(len(task.grillage.plates))
    stuck_at = np.zeros(len(plates), np.int64)
    excess = np.full(len(plates), np.inf)
    while True:
        now = Scheme(laid[bridges], width[bridges])
        held = now.under_load(part, _still_free(part, now))
        if budget is not None:
            spent = budget.spent(task, Scheme(laid, width))[plates]
            stuck_at[plates[spent]] = np.bincount(held.clusters)[held.clusters[spent]]
        watched = _watch(part, held, stuck_at[plates])
        if watched is not None:
            now_over = np.log(np.maximum(watched.deflection / task.loads.deflection_mm, 1))
            watched.over[_in_vain(held.clusters, excess[plates], now_over)] = False
            excess[plates] = now_over
            moves = _moves(part, now, held, watched)
            taken = _taken(moves, watched)
        if watched is None or len(taken) == 0:
            whole = Scheme(laid, width)
            return whole, held if part is task else whole.under_load(task)
        laid[bridges[moves.bridge[taken]]] = True
        width[bridges[moves.bridge[taken]]] = moves.width[taken]
        served = np.zeros(len(watched.size), bool)
        for side in (0, 1):
            cluster = moves.cluster[taken, side]
            served[cluster[cluster != FRAME]] = True
        # Until something else is joined to them, nothing helps these.
        stuck = (watched.over & ~served)[held.clusters]
        stuck_at[plates[stuck]] = watched.size[held.clusters[stuck]]
        # Nothing has changed for the others, nor is there more to do at them.
        next_ = _within_reach(task, laid, plates[served[held.clusters]])
        fewer = next_.sum() < FEW * len(plates)
        if fewer or not np.isin(np.flatnonzero(next_), plates).all():
            plates = np.flatnonzero(next_)
            part, bridges = part_of(task, plates)


def _in_vain(label: Indices, before: Floats, now: Floats) -> Bools:
    """Return in which clusters so many islands hang together that what the last round of moves took
    off their excesses was too little for another one.

    Parameters
    ----------
    label : int array (n,)
        The cluster of each plate.
    before, now : float64 array (n,)
        By how much each gives way too far, as logarithms.
    """
    left = np.bincount(label, now)
    less = np.bincount(label, before) - left
    in_vain: Bools = (np.bincount(label) > MOST_TOGETHER) & (less < LEAST_ROUND * left)
    return in_vain


def _within_reach(task: Task, laid: Bools, plates: Indices) -> Bools:
    """Return which plates hang together with some, or with others that a bridge may join to them.

    Parameters
    ----------
    task : Task
    laid : bool array (m,)
        Which of its bridges are laid.
    plates : int array (k,)
    """
    pairs = task.grillage.beams.plates
    inner = (pairs != FRAME).all(axis=1)
    label = connected_labels(len(task.grillage.plates), pairs[inner & laid])
    there = np.zeros(int(label.max(initial=-1)) + 1, bool)
    there[label[plates]] = True
    near = there.copy()
    for one, other in ((0, 1), (1, 0)):
        near[label[pairs[inner, other]][there[label[pairs[inner, one]]]]] = True
    reached: Bools = near[label]
    return reached


class _Watched(NamedTuple):
    """The worst excesses of each cluster, one column of fields for each rank.

    A push makes the plates move; a gauge, which is the deflection at the pushed place or the stress
    in one bridge, reads ``value`` times its limit. ``moved`` are the motions under the push and the
    weight; ``reading`` is C times the gauge, so that its product with the strain that a move takes
    away is what the gauge would read less.
    """

    size: Indices
    over: Bools
    value: Floats
    limit: Floats
    moved: Floats
    reading: Floats
    plate_rank: Indices
    deflection: Floats


def _watch(task: Task, held: LoadedGrillage, stuck_at: Indices) -> _Watched | None:
    """Return the worst excesses, None where there are none that something might help."""
    grillage, loads = task.grillage, task.loads
    label = held.clusters
    size = np.bincount(label)
    deflections = held.deflections(loads.handling_n)
    rim = _to_compare(deflections).argmax(axis=1)
    deflection = deflections.max(axis=1)
    stresses = task.stresses(held)
    soft, strained = task.over(held, deflection, stresses.mpa)
    over = np.zeros(len(size), bool)
    over[label[soft]] = True
    over[held.beam_clusters[strained]] = True
    still = np.ones(len(size), bool)
    still[label[stuck_at != size[label]]] = False
    over &= ~still
    if not over.any():
        return None
    most = np.maximum(WATCHED, size // ISLANDS_A_WATCH)
    plates, plate_rank = _worst_of(label, deflection, soft & over[label], most)
    beams, beam_rank = _worst_of(
        held.beam_clusters, stresses.mpa, strained & over[held.beam_clusters], most
    )
    first, second = _width(plate_rank), _width(beam_rank)
    pushes = np.zeros((len(grillage.plates), 3, first + second))
    way = np.where(held.at_rest[plates, rim[plates]] < 0, -1.0, 1.0)
    pushes[plates, :, plate_rank] = way[:, None] * grillage.arms[plates, rim[plates]]
    by_beam = stresses.plate[beams], stresses.rim[beams]
    by_push = stresses.way[beams, None] * grillage.arms[by_beam]
    pushes[by_beam[0], :, first + beam_rank] = by_push
    yields = held.moves(pushes)
    moved = held.rest[..., None] + loads.handling_n * yields
    gauges = _stress_gauges(held, beams, beam_rank, moved[..., first:])
    reading = np.concatenate([yields[..., :first], held.moves(gauges)], axis=2)
    value = np.zeros((len(size), first + second))
    value[label[plates], plate_rank] = deflection[plates] / loads.deflection_mm
    value[held.beam_clusters[beams], first + beam_rank] = stresses.mpa[beams] / loads.stress_mpa
    limit = np.append(np.full(first, loads.deflection_mm), np.full(second, loads.stress_mpa))
    ranks = np.full(len(label), -1)
    ranks[plates] = plate_rank
    return _Watched(size, over, value, limit, moved, reading, ranks, deflection)


def _to_compare(values: Floats) -> NDArray[np.float32]:
    """Return values without their last digits, so that of equal ones the first comes first.

    Linear algebra ends in other last digits with other threads, processors and libraries, and beads
    that are alike have many equal places for bridges.
    """
    return values.astype(np.float32)


def _worst_of(
    label: Indices, value: Floats, among: Bools, most: Indices
) -> tuple[Indices, Indices]:
    """Return the worst few of each label, ``most`` of them, and their ranks within it."""
    items = np.flatnonzero(among)
    items = items[np.lexsort((-_to_compare(value[items]), label[items]))]
    counts = np.unique(label[items], return_counts=True)[1]
    rank = ramp(counts)
    watched = rank < most[label[items]]
    return items[watched], rank[watched]


def _width(rank: Indices) -> int:
    return int(rank.max(initial=-1)) + 1


def _stress_gauges(held: LoadedGrillage, beams: Indices, rank: Indices, moved: Floats) -> Floats:
    """Return gauges of the stress in some laid beams, as loads on their plates, one a rank.

    The stress is made linear about its present value, of which it is the root of a sum of squares.
    """
    grillage = held.grillage
    gauges = np.zeros_like(moved)
    which = held.which[beams]
    plates = grillage.beams.plates[which]
    rows = held.stress_rows[beams]
    strain = (
        grillage.at_first[which] @ moved[plates[:, 0], :, rank][:, :, None]
        + grillage.at_second[which] @ moved[plates[:, 1], :, rank][:, :, None]
    )
    terms = (rows @ strain)[..., 0]
    number = np.arange(len(beams))
    bend = np.abs(terms[:, :2]).argmax(axis=1)
    # A beam without strain has no gauge.
    size = np.maximum(np.hypot(terms[number, bend], terms[:, 2]), NOT_ZERO)
    row = (terms[number, bend] / size)[:, None] * rows[number, bend] + (terms[:, 2] / size)[
        :, None
    ] * rows[:, 2]
    for side, at in ((0, grillage.at_first[which]), (1, grillage.at_second[which])):
        on = plates[:, side] != FRAME
        load = (transposed(at) @ row[:, :, None])[..., 0]
        # No bridge meets a plate twice, and no two gauges share a rank and a cluster.
        gauges[plates[on, side], :, rank[on]] += load[on]
    return gauges


class _Moves(NamedTuple):
    """Moves that may be made: ``gain`` (k, 2, v) is what each takes off the excesses of the
    clusters at its two ends, as logarithms; where both are one cluster the second is 0."""

    bridge: Indices
    width: Floats
    price: Floats
    plates: Indices
    cluster: Indices
    gain: Floats


def _moves(task: Task, scheme: Scheme, held: LoadedGrillage, watched: _Watched) -> _Moves:
    grillage = task.grillage
    pairs = grillage.beams.plates
    cluster = np.append(held.clusters, FRAME)[pairs]
    open_ = np.append(watched.over, False)[cluster].any(axis=1)
    new = np.flatnonzero(_may_be_laid(task, scheme, held) & open_)
    wider = scheme.laid & task.automatic & open_
    wider &= scheme.width < WIDER[-1] * task.usual_width / SLIGHT
    old = np.flatnonzero(wider)
    bridge = np.append(new, old)
    now = scheme.width[old]
    widths = np.asarray(WIDER) * task.usual_width
    width = np.append(task.width[new], widths[np.searchsorted(widths, now * SLIGHT, side="right")])
    was = np.append(np.zeros(len(new)), now)
    price = np.maximum(task.cost[bridge] * (width - was) / task.usual_width, 1e-9)
    further = grillage.own_stiffness(bridge, width)
    further[len(new) :] -= grillage.own_stiffness(old, now)
    bearing = inverse_3x3(inverse_3x3(further) + held.yielding(bridge))
    # Of a bridge that holds nothing yet both ends are free, and it is wanted whole.
    gain = _gains(grillage, held, watched, bridge, cluster[bridge], bearing)
    _gains_at_ends(task, held, watched, bridge, cluster[bridge], bearing, gain)
    return _Moves(bridge, width, price, pairs[bridge], cluster[bridge], gain)


def _still_free(task: Task, scheme: Scheme) -> Bools:
    """Return where a further bridge may be laid, now or when others are: it touches none."""
    close = task.close
    free = task.automatic & ~scheme.laid
    free[close.bridge[close.touching & scheme.laid[close.other]]] = False
    return free


def _may_be_laid(task: Task, scheme: Scheme, held: LoadedGrillage) -> Bools:
    """Return where a further bridge may be laid beside those that there are."""
    pairs, count = task.grillage.beams.plates, len(task.grillage.plates)
    steps = steps_from_frame(count, pairs[held.which])
    holds = holding(steps, pairs)
    number = np.bincount(pairs[held.which][holds[held.which]], minlength=count)
    full = (holds & (np.append(number, 0)[pairs] >= task.most_per_island)).any(axis=1)
    close = task.close
    beside = np.flatnonzero(scheme.laid[close.other])
    # Only bridges that hold an island have to be spread: others may hang on it all around.
    both_hold = np.ones(len(beside), bool)
    for bridge in (close.bridge[beside], close.other[beside]):
        at_first = pairs[bridge, 0] == close.plate[beside]
        both_hold &= np.where(at_first, holds[bridge, 0], holds[bridge, 1])
    barred = beside[both_hold | close.touching[beside]]
    free = task.automatic & ~scheme.laid & ~full
    free[close.bridge[barred]] = False
    return free


def _gains(
    grillage: Grillage,
    held: LoadedGrillage,
    watched: _Watched,
    bridge: Indices,
    cluster: Indices,
    bearing: Floats,
) -> Floats:
    """Return what moves take off the watched excesses, where the worst place stays the worst."""
    plates = grillage.beams.plates[bridge]
    inside = (cluster[:, 0] == cluster[:, 1]) | (cluster == FRAME).any(axis=1)
    gain = np.zeros((len(bridge), 2, watched.value.shape[1]))
    for side in (0, 1):
        mine = np.flatnonzero(
            (cluster[:, side] != FRAME) & ((side == 0) | (cluster[:, 0] != cluster[:, 1]))
        )
        strain = np.zeros((len(mine), 3, watched.value.shape[1]))
        lever = np.zeros_like(strain)
        for end, at in ((0, grillage.at_first), (1, grillage.at_second)):
            number = plates[mine, end]
            moved, reading = watched.moved[number], watched.reading[number]
            if end != side:
                # The other end hangs elsewhere: it has its weight, and the gauge is not there.
                apart = ~inside[mine]
                moved[apart] = held.rest[number[apart]][..., None]
                reading[apart] = 0
            strain += at[bridge[mine]] @ moved
            lever += at[bridge[mine]] @ reading
        less = (lever * (bearing[mine] @ strain)).sum(axis=1) / watched.limit
        value = watched.value[cluster[mine, side]]
        now = np.log(np.maximum(value, 1))
        gain[mine, side] = now - np.log(np.maximum(value - less, 1)) * (now > 0)
    return gain


def _gains_at_ends(
    task: Task,
    held: LoadedGrillage,
    watched: _Watched,
    bridge: Indices,
    cluster: Indices,
    bearing: Floats,
    gain: Floats,
) -> None:
    """Set the gains at the plates that moves join: exact, with the push at any place of the rim."""
    grillage, loads = task.grillage, task.loads
    plates = grillage.beams.plates[bridge]
    inside = (cluster[:, 0] == cluster[:, 1]) & (cluster != FRAME).all(axis=1)
    at = grillage.at_first[bridge], grillage.at_second[bridge]
    between = held.between(bridge)
    by_weight = held.strains(bridge, held.rest[..., None])
    for side in (0, 1):
        plate = plates[:, side]
        rank = np.append(watched.plate_rank, -1)[plate]
        k = np.flatnonzero(rank >= 0)
        across = between[k] if side == 0 else transposed(between[k])
        own = held.compliance[plate[k]]
        reach = own @ transposed(at[side][k]) + across @ transposed(at[1 - side][k])
        share = reach @ bearing[k]
        rest = held.rest[plate[k]] - (share @ by_weight[k])[..., 0]
        after = _deflection(
            grillage.arms[plate[k]], rest, own - share @ transposed(reach), loads.handling_n
        )
        now = watched.deflection[plate[k]] / loads.deflection_mm
        row = np.where(inside[k], 0, side)
        gain[k, row, rank[k]] = np.log(now) - np.log(np.maximum(after / loads.deflection_mm, 1))


def _deflection(arms: Floats, rest: Floats, compliance: Floats, push_n: float) -> Floats:
    """Return the greatest deflection of plates at their rims, an array (k,)."""
    at_rest = (arms @ rest[:, :, None])[..., 0]
    greatest: Floats = (np.abs(at_rest) + push_n * yielding_at(arms, compliance)).max(axis=1)
    return greatest


def _taken(moves: _Moves, watched: _Watched) -> Indices:
    """Choose the moves of this round: the best for its cost in each cluster, more in large ones.

    Of several in one cluster none meets another at a plate, and the later ones still have half
    their gain when the earlier ones are made.
    """
    excess = np.log(np.maximum(watched.value, 1))
    total = moves.gain.sum(axis=(1, 2))
    share = np.zeros(len(total))
    for side in (0, 1):
        there = moves.cluster[:, side] != FRAME
        of = excess[moves.cluster[there, side]]
        part = np.divide(moves.gain[there, side], of, out=np.zeros_like(of), where=of > 0)
        share[there] = np.maximum(share[there], part.max(axis=1, initial=0))
    good = np.flatnonzero((share >= LEAST_GAIN) & (total > 0))
    good = good[np.argsort(-_to_compare(total[good] / moves.price[good]), kind="stable")]
    large = watched.size > MOST_THINNED
    left = 1 + watched.size // np.where(large, ISLANDS_A_QUICK_MOVE, ISLANDS_A_MOVE)
    over = set(np.flatnonzero(watched.over).tolist())
    full: set[int] = set()
    met: set[int] = set()
    unmet = np.ones_like(excess)
    taken = []
    for move, plates, clusters in zip(
        good.tolist(), moves.plates[good].tolist(), moves.cluster[good].tolist(), strict=True
    ):
        if not met.isdisjoint(plates) or not full.isdisjoint(clusters):
            continue
        gains = [(c, moves.gain[move, side]) for side, c in enumerate(clusters) if c != FRAME]
        if sum(float(gain @ unmet[c]) for c, gain in gains) < 0.5 * total[move]:
            continue
        taken.append(move)
        met.update(p for p in plates if p != FRAME)
        for cluster, gain in gains:
            part = np.divide(gain, excess[cluster], out=np.zeros_like(gain), where=gain > 0)
            unmet[cluster] *= np.clip(1 - part, 0, 1)
        for cluster in {c for c, _ in gains}:
            left[cluster] -= 1
            if left[cluster] == 0 and cluster in over:
                full.add(cluster)
        if full == over:
            break
    return np.array(taken, np.int64)


def thinned(task: Task, scheme: Scheme, held: LoadedGrillage) -> tuple[Scheme, LoadedGrillage]:
    """Take out bridges that are not needed, the dearest first.

    Parameters
    ----------
    task : Task
    scheme : Scheme
    held : LoadedGrillage
        The islands held by it.

    Returns
    -------
    scheme : Scheme
        No island gives way further than the limit, or than before where that was more; the same
        holds for the stress in bridges.
    held : LoadedGrillage
    """
    loads = task.loads
    stays = ~task.automatic
    stays[held.which[np.bincount(held.clusters)[held.beam_clusters] > MOST_THINNED]] = True
    needless = np.zeros(len(stays), bool)
    while True:
        deflection = held.deflections(loads.handling_n).max(axis=1, initial=0)
        bound = np.maximum(deflection, loads.deflection_mm) * SLIGHT
        looked_at = _dearest(task, scheme, held, stays, needless)
        if len(looked_at) == 0:
            return scheme, held
        new = looked_at[~needless[looked_at]]
        needless[new] = _are_needless(task, held, new, bound)
        stays[new] = ~needless[new]
        out = looked_at[needless[looked_at]]
        if len(out) == 0:
            continue
        out = _joined_without(task, scheme, held, _some_of_each(task, held, out))
        laid = scheme.laid.copy()
        laid[out] = False
        after = Scheme(laid, scheme.width)
        held_after = after.under_load(task)
        worse = _worse(task, held, held_after, bound)
        back = worse[held.clusters[_any_plate(task, out)]]
        laid[out[back]] = True
        stays[out[back]] = True
        if back.all():
            continue
        if back.any():
            after = Scheme(laid, scheme.width)
            held_after = after.under_load(task)
        # What was needless beside those that went may not be so any more.
        changed = np.zeros(len(worse), bool)
        changed[held.clusters[_any_plate(task, out[~back])]] = True
        needless[held.which[changed[held.beam_clusters]]] = False
        scheme, held = after, held_after


def _any_plate(task: Task, bridges: Indices) -> Indices:
    plates: Indices = task.grillage.beams.plates[bridges].max(axis=1)
    return plates


def _dearest(
    task: Task, scheme: Scheme, held: LoadedGrillage, stays: Bools, needless: Bools
) -> Indices:
    """Return laid bridges that may go, some of each cluster, the dearest first.

    Those that cut plates off when they go are noted among those that stay; ``needless`` are known
    not to.
    """
    number = np.flatnonzero(~(stays | needless)[held.which])
    own, yields = held.own[number], held.yielding(held.which[number])
    # All that holds beside the bridge is in what it yields to itself; a cut-off part yields freely.
    root = np.asarray(np.linalg.cholesky(own), np.float64)
    loose = np.linalg.eigvalsh(transposed(root) @ yields @ root)[:, -1] > LOOSE
    stays[held.which[number[loose]]] = True
    number = np.flatnonzero(~stays[held.which])
    costs = scheme.costs(task)[held.which]
    label = held.beam_clusters
    number = number[np.lexsort((-costs[number], label[number]))]
    rank = ramp(np.unique(label[number], return_counts=True)[1])
    dearest: Indices = held.which[number[rank < LOOKED_AT]]
    return dearest


def _are_needless(task: Task, held: LoadedGrillage, bridges: Indices, bound: Floats) -> Bools:
    """Return whether all islands are held within their bounds without each of some laid bridges.

    Parameters
    ----------
    task : Task
    held : LoadedGrillage
    bridges : int array (k,)
        Cluster by cluster.
    bound : float64 array (n,)
        Greatest deflection of each plate in mm.
    """
    if len(bridges) == 0:
        return np.zeros(0, bool)
    grillage = task.grillage
    label = held.clusters[_any_plate(task, bridges)]
    rank = ramp(np.unique(label, return_counts=True)[1])
    number = np.searchsorted(held.which, bridges)
    plates = grillage.beams.plates[bridges]
    loads = np.zeros((len(grillage.plates), 3, _width(rank), 3))
    for side, at in ((0, grillage.at_first[bridges]), (1, grillage.at_second[bridges])):
        on = plates[:, side] != FRAME
        loads[plates[on, side], :, rank[on]] += transposed(at)[on]
    moves = held.moves(loads.reshape(len(grillage.plates), 3, -1)).reshape(loads.shape)
    bearing = inverse_3x3(inverse_3x3(held.own[number]) - held.yielding(bridges))
    by_weight = held.strains(bridges, held.rest[..., None])
    # Each bridge with each plate of its cluster.
    members = np.argsort(held.clusters, kind="stable")
    size = np.bincount(held.clusters)
    count = size[label]
    which = np.repeat(np.arange(len(number)), count)
    plate = members[np.repeat((np.cumsum(size) - size)[label], count) + ramp(count)]
    reach = moves[plate, :, rank[which]]
    share = reach @ bearing[which]
    further = _Further((share @ by_weight[which])[..., 0], share @ transposed(reach))
    needed = np.zeros(len(number), bool)
    # A look at one place tells of most bridges that they are needed, and a bound of most plates
    # that they hang on them too little; what is left is worked out.
    push = task.loads.handling_n
    for look in (_over_where_worst, _over_anywhere):
        left = np.flatnonzero(~needed[which])
        left = left[_may_be_over(held, plate[left], further.take(left), bound, push)]
        needed[which[left[look(held, plate[left], further.take(left), bound, push)]]] = True
    return ~needed


class _Further(NamedTuple):
    """How much further plates sink, arrays (k, 3), and yield, (k, 3, 3), when bridges go."""

    rest: Floats
    compliance: Floats

    def take(self, which: Indices) -> _Further:
        """Return some of them, by position."""
        return _Further(self.rest[which], self.compliance[which])


def _over_where_worst(
    held: LoadedGrillage, plate: Indices, further: _Further, bound: Floats, push_n: float
) -> Bools:
    """Return which plates are over their bound with the push where they give way most now."""
    worst = held.deflections(push_n).argmax(axis=1)[plate]
    return _over(held, plate, held.grillage.arms[plate, worst][:, None], further, bound, push_n)


def _over_anywhere(
    held: LoadedGrillage, plate: Indices, further: _Further, bound: Floats, push_n: float
) -> Bools:
    """Return which plates are over their bound with the push anywhere on their rims."""
    return _over(held, plate, held.grillage.arms[plate], further, bound, push_n)


def _over(
    held: LoadedGrillage,
    plate: Indices,
    arms: Floats,
    further: _Further,
    bound: Floats,
    push_n: float,
) -> Bools:
    rest = held.rest[plate] + further.rest
    after = _deflection(arms, rest, held.compliance[plate] + further.compliance, push_n)
    over: Bools = after > bound[plate]
    return over


def _may_be_over(
    held: LoadedGrillage, plate: Indices, further: _Further, bound: Floats, push_n: float
) -> Bools:
    """Return which plates may be over their bound: no place lies further out than all the farthest
    ones together."""
    reach = held.grillage.farthest[plate]
    most = held.deflections(push_n).max(axis=1, initial=0)[plate]
    most = most + summed(reach * np.abs(further.rest))
    most += push_n * yielding_at(reach[:, None], np.abs(further.compliance))[:, 0]
    # Half the slack that a bound has for rounding is left for that of this one.
    over: Bools = most > bound[plate] * (1 - _ROUNDING)
    return over


def _some_of_each(task: Task, held: LoadedGrillage, bridges: Indices) -> Indices:
    """Return the first bridges of each cluster, more of large ones, with no plate in common."""
    label = held.clusters[_any_plate(task, bridges)]
    left = 1 + np.bincount(held.clusters) // ISLANDS_A_MOVE
    met: set[int] = {FRAME}
    chosen = []
    pairs = task.grillage.beams.plates[bridges]
    for number, (cluster, pair) in enumerate(zip(label.tolist(), pairs.tolist(), strict=True)):
        plates = set(pair) - {FRAME}
        if left[cluster] > 0 and not plates & met:
            left[cluster] -= 1
            met |= plates
            chosen.append(number)
    return bridges[chosen]


def _joined_without(task: Task, scheme: Scheme, held: LoadedGrillage, out: Indices) -> Indices:
    """Return the bridges that can go together: of those that would cut plates off, one a cluster.

    Each is needless by itself, but two of them may be the last two ways to the frame.
    """
    laid = scheme.laid.copy()
    laid[out] = False
    links = task.grillage.beams.plates[laid] + 1  # the frame is item 0
    labels = connected_labels(len(task.grillage.plates) + 1, links)
    adrift = np.unique(held.clusters[labels[1:] != labels[0]])
    cluster = held.clusters[_any_plate(task, out)]
    first = np.zeros(len(out), bool)
    first[np.unique(cluster, return_index=True)[1]] = True
    return out[first | ~np.isin(cluster, adrift)]


def _worse(task: Task, before: LoadedGrillage, after: LoadedGrillage, bound: Floats) -> Bools:
    """Return which clusters of before give way further than they may now, or are strained more."""
    push, limit = task.loads.handling_n, task.loads.stress_mpa
    worse = np.zeros(before.clusters.max(initial=-1) + 1, bool)
    worse[before.clusters[after.deflections(push).max(axis=1, initial=0) > bound]] = True
    had = np.zeros(len(task.cost))
    had[before.which] = task.stresses(before).mpa
    torn = task.stresses(after).mpa > np.maximum(limit, had[after.which]) * SLIGHT
    worse[before.clusters[_any_plate(task, after.which[torn])]] = True
    return worse
