"""Alike: the same bridges in openings of the same shape, and symmetric ones in symmetric shapes.

A bridge crosses one opening, so that what holds the islands of an opening can be carried over to
every other opening of its shape. Bridges are first chosen for the sheet as a whole; then, for each
family of openings, patterns are tried: what was chosen in each of its members, the same with other
bridges where two run into one (a fork), and the same made symmetric. The cheapest for the family
that holds no island worse is laid in all of them. An opening that has a reason to differ keeps its
own: one with bridges drawn by hand, one that reaches into an area kept free, one beside which there
is no room for the roots.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Indices
from ..planar.congruence import Family, Motion, families, mirrors
from ..planar.graph import connected_labels
from ..planar.subdivide import short_lines
from ..tolerance import NOT_ZERO
from .constraints import Rules
from .cost import Prices
from .gaps import Gaps, join_gaps
from .laying import JUST_UNDER

#: Ends of a carried bridge meet sheet within this distance, in mm.
_MEETS = 0.5
#: A bridge this near its own mirror image, or another's, in mm, is made one with it.
_ON_AXIS = 0.05
#: A way through an opening is longer than this, in mm: not a touch.
_LONGER = 1e-3
#: Patterns of one family that are tried, the cheapest first.
_MOST_TRIED = 12
#: What symmetry, or being alike, may cost less than nothing is taken in any case.
_FREE = 1 + 1e-9
#: Mirror images are rooted deeper by this, in mm.
_DEEPER = 0.15
#: Of each kind of pattern so many are fitted to the openings of one family, all counted.
_MOST_FITTED = 1000
#: Patterns nearer to each other than this, in mm, are one.
_ONE = 0.05
#: Rounds of parting forks in one opening.
_MOST_PARTED = 4
#: A root lies this near to the place where it would have its full width, as a share of the width.
_ROOM = 0.02


@dataclass(frozen=True)
class Laid:
    """Bridges that are chosen, and how each is rooted.

    Parameters
    ----------
    gaps : Gaps
    width : float64 array (n,)
    paths : float64 array (n, 4, 2)
        Middle lines from root to root.
    """

    gaps: Gaps
    width: Floats
    paths: Floats

    def __len__(self) -> int:
        return len(self.gaps)

    def take(self, which: Indices | Bools) -> Laid:
        """Return some of them."""
        return Laid(self.gaps.take(which), self.width[which], self.paths[which])


def join_laid(several: Sequence[Laid]) -> Laid:
    """Return several lots as one."""
    return Laid(
        join_gaps([one.gaps for one in several]),
        np.concatenate([one.width for one in several]),
        np.concatenate([one.paths for one in several]),
    )


@dataclass(frozen=True)
class _Pattern:
    """Bridges in the frame of a family's first member: middle lines and widths."""

    paths: Floats
    width: Floats


#: Counts, for bridges laid on the sheet, what is over its limits at each piece.
Weighed = Callable[[Laid], Indices]


@dataclass(frozen=True)
class Ground:
    """The sheet that bridges are laid on.

    Parameters
    ----------
    pieces : sequence of Polygon
    openings : MultiPolygon
        All that is cut out, before bridges.
    prices : Prices
    rules : Rules
    drawn : Gaps
        Where the artist's own bridges lie.
    places : Gaps
        All places for bridges.
    roots : callable
        Returns middle lines (n, 4, 2) from root to root across gaps.
    weighed : callable
    """

    pieces: Sequence[Polygon]
    openings: MultiPolygon
    prices: Prices
    rules: Rules
    drawn: Gaps
    places: Gaps
    roots: Callable[[Gaps], Floats]
    weighed: Weighed


def made_alike(laid: Laid, ground: Ground) -> Laid:
    """Return the bridges with the same ones in openings of the same shape.

    Parameters
    ----------
    laid : Laid
        Chosen one by one.
    ground : Ground

    Notes
    -----
    Heuristic: patterns come from what was chosen; those of all families are tried at the same time,
    and a family whose islands are then held worse than before gets its own bridges back.
    """
    if ground.rules.alike == "off" or len(laid) == 0:
        return laid
    work = _Work(laid, ground)
    tasks = [task for family in work.families() if (task := work.task(family)) is not None]
    if not tasks:
        return laid
    before = ground.weighed(laid)
    open_ = list(range(len(tasks)))
    kept: dict[int, Laid] = {}
    for turn in range(_MOST_TRIED):
        open_ = [k for k in open_ if len(tasks[k].tries) > turn]
        if not open_:
            break
        trial = work.with_(tasks, {**kept, **{k: tasks[k].tries[turn] for k in open_}})
        after = ground.weighed(trial)
        for k in list(open_):
            if after[tasks[k].pieces].sum() <= before[tasks[k].pieces].sum():
                kept[k] = tasks[k].tries[turn]
                open_.remove(k)
    while kept:
        result = work.with_(tasks, kept)
        after = ground.weighed(result)
        worse = [k for k in kept if (after - before)[tasks[k].pieces].max(initial=0) > 0]
        if not worse and after.sum() <= before.sum():
            return result
        for k in worse or list(kept):
            del kept[k]
    return laid


@dataclass(frozen=True)
class _Task:
    """A family with what may be laid in it, the cheapest first.

    Parameters
    ----------
    replaced : int array
        Positions of the bridges that stand there now.
    pieces : int array
        Pieces of sheet that they hold.
    tries : tuple of Laid
        For all members at once.
    """

    replaced: Indices
    pieces: Indices
    tries: tuple[Laid, ...]


class _Work:
    def __init__(self, laid: Laid, ground: Ground) -> None:
        self.laid, self.ground = laid, ground
        self.array = np.asarray(ground.pieces, object)
        self.tree = shapely.STRtree(self.array)
        self.openings = shapely.get_parts(ground.openings)
        self.opening_tree = shapely.STRtree(self.openings)
        self.of_gap = self._opening_of(laid.gaps)
        self.of_place = self._opening_of(ground.places)
        # In short pieces: the openings of a big sheet have one edge of very many corners.
        self.edges = shapely.STRtree(short_lines(shapely.get_rings(self.openings))[0])

    def _opening_of(self, gaps: Gaps) -> Indices:
        middle = shapely.points((gaps.start + gaps.end) / 2)
        which, opening = self.opening_tree.query(middle, predicate="intersects")
        found = np.full(len(gaps), -1)
        found[which] = opening
        return found

    def families(self) -> list[Family]:
        """Return families of openings that have bridges and no reason to differ."""
        rules = self.ground.rules
        held = np.unique(self.of_gap[self.of_gap >= 0])
        own = np.unique(self._opening_of(self.ground.drawn))
        held = held[~np.isin(held, own)]
        if not rules.barred.is_empty and len(held):
            barred = rules.barred
            shapely.prepare(barred)
            held = held[~shapely.intersects(barred, self.openings[held])]
        shapes = self.openings[held].tolist()
        found = families(
            shapes, turned=rules.alike in ("turned", "scaled"), scaled=rules.alike == "scaled"
        )
        return [replace(f, members=tuple(held[list(f.members)].tolist())) for f in found]

    def task(self, family: Family) -> _Task | None:
        """Return what may be laid in a family; None where that is what is there."""
        shape = self.openings[family.members[0]]
        symmetries = mirrors(shape)
        own = [np.flatnonzero(self.of_gap == member) for member in family.members]
        patterns = []
        for bridges, motion in zip(own, family.motions, strict=True):
            back = motion.inverse()
            patterns.append(_Pattern(back(self.laid.paths[bridges]), self.laid.width[bridges]))
        for member, bridges, motion in zip(family.members, own, family.motions, strict=True):
            if any(self._forks(self.laid.paths[bridges])):
                back = motion.inverse()
                for paths in self._parted(self.laid.paths[bridges], member):
                    patterns.append(_Pattern(back(paths), self.laid.width[bridges]))
        patterns = _distinct(patterns)
        if len(patterns) == 1 and not symmetries:
            return None
        # About all axes first, then about one, the upright one before the level one.
        axes: list[Sequence[Motion]] = [[one] for one in symmetries]
        if len(symmetries) > 1:
            axes.insert(0, symmetries)
        ranked = [
            _distinct([made for one in patterns for made in self._symmetric(one, group, shape)])
            for group in axes
        ]
        replaced = np.concatenate(own)
        cost = self._cost(self.laid.take(replaced))
        # Fitted in all members, each with what it costs; symmetric ones go first, forks last.
        tries: list[tuple[bool, int, float, Laid]] = []
        allowed = cost * (1 + self.ground.rules.alike_share) * _FREE
        for rank, lot in enumerate([*ranked, patterns]):
            for pattern in lot[: max(1, _MOST_FITTED // len(family.members))]:
                fitted = self._fitted(pattern, family, own)
                if fitted is not None:
                    price = self._cost(fitted)
                    if price <= allowed:
                        forked = bool(self._forks(pattern.paths))
                        tries.append((forked, rank, price, fitted))
        tries.sort(key=lambda one: one[:3])
        if not tries:
            return None
        frame = int(np.argmax(shapely.area(shapely.envelope(self.array))))
        pieces = np.unique(self.laid.gaps.pieces[replaced])
        return _Task(replaced, pieces[pieces != frame], tuple(t[3] for t in tries[:_MOST_TRIED]))

    def _forks(self, paths: Floats) -> list[tuple[int, int]]:
        """Return the pairs of bridges that run into one."""
        ways = shapely.linestrings(paths[:, 1:3])
        near = shapely.distance(ways[:, None], ways[None, :]) < self.ground.rules.width
        return [(a, b) for a, b in np.argwhere(near).tolist() if a < b]

    def _parted(self, paths: Floats, opening: int) -> list[Floats]:
        """Return bridges of an opening with other places for those that run into one.

        For each of the first two that do, the cheapest other place that is clear of all others.
        """
        places = self.ground.places.take(self.of_place == opening)
        price = self.ground.prices.exact(places)
        lines = places.lines()
        least = self.ground.rules.clearance
        found = []
        for first in self._forks(paths)[0]:
            parted = paths.copy()
            for turn in range(_MOST_PARTED):
                forks = self._forks(parted)
                if not forks:
                    found.append(parted)
                    break
                moved = first if turn == 0 else forks[0][1]
                others = np.delete(parted, moved, axis=0)
                ways = shapely.linestrings(others[:, 1:3])
                clear = shapely.distance(lines[:, None], ways[None, :]).min(axis=1) >= least
                ends = [set(self._piece_at(parted[moved, k : k + 1]).tolist()) for k in (1, 2)]
                meets = [bool(set(pair) & (ends[0] | ends[1])) for pair in places.pieces.tolist()]
                usable = np.flatnonzero(clear & np.array(meets, bool))
                if len(usable) == 0:
                    break
                best = usable[np.argmin(price[usable])]
                parted[moved] = self.ground.roots(places.take(np.array([best])))[0]
        return found

    def with_(self, tasks: Sequence[_Task], chosen: dict[int, Laid]) -> Laid:
        """Return all bridges, those of some tasks replaced."""
        kept = np.ones(len(self.laid), bool)
        for k in chosen:
            kept[tasks[k].replaced] = False
        return join_laid([self.laid.take(kept), *chosen.values()])

    def _cost(self, laid: Laid) -> float:
        exact = self.ground.prices.exact(laid.gaps, laid.paths[:, [0, 3]])
        return float((exact * laid.width / self.ground.rules.width).sum())

    def _fitted(self, pattern: _Pattern, family: Family, own: Sequence[Indices]) -> Laid | None:
        """Return a pattern laid in all members that it fits; the others keep their own."""
        lots, fits = [], 0
        for member, motion, bridges in zip(family.members, family.motions, own, strict=True):
            carried = self._carried(pattern, motion, member, bridges)
            fits += carried is not None
            lots.append(carried or self.laid.take(bridges))
        return join_laid(lots) if fits else None

    def _carried(
        self, pattern: _Pattern, motion: Motion, opening: int, bridges: Indices
    ) -> Laid | None:
        """Return a pattern carried to one opening; None where it does not fit there."""
        paths = motion(pattern.paths)
        start, end = paths[:, 1], paths[:, 2]
        pieces = np.stack([self._piece_at(start), self._piece_at(end)], axis=1)
        if (pieces < 0).any() or (pieces[:, 0] == pieces[:, 1]).any():
            return None
        gaps = Gaps(pieces, start, end, np.hypot(*(end - start).T))
        if motion.factor != 1.0:
            paths = self.ground.roots(gaps)
        if self.ground.rules.directions.leaning(gaps).any():
            return None
        # It joins what was joined before.
        held = np.unique(self.laid.gaps.pieces[bridges])
        number = np.full(len(self.array), -1)
        number[held] = np.arange(len(held))
        pairs = number[pieces]
        if (pairs < 0).any():
            return None
        joined = connected_labels(len(held), pairs)
        if len(np.unique(joined)) > len(
            np.unique(connected_labels(len(held), number[self.laid.gaps.pieces[bridges]]))
        ):
            return None
        if not self._has_room(paths, self.laid.paths[bridges]):
            return None
        return Laid(gaps, pattern.width, paths)

    def _piece_at(self, points: Floats) -> Indices:
        near = self.tree.nearest(shapely.points(points))
        near = np.asarray(near, np.int64)
        far = shapely.distance(self.array[near], shapely.points(points)) > _MEETS
        return np.where(far, -1, near)

    def _has_room(self, paths: Floats, before: Floats) -> bool:
        """Return whether roots have as much sheet about them as bridges need, or as they had."""
        width = self.ground.rules.width
        wanted = (width / 2 * JUST_UNDER) - _ROOM * width
        room = self._from_edge(paths).min(axis=1)
        old = self._from_edge(before).min(axis=1)
        return bool((room >= min(wanted, old.min(initial=np.inf) - _ROOM * width)).all())

    def _from_edge(self, paths: Floats) -> Floats:
        """Return how far both roots of each bridge are from the sheet's nearest edge."""
        ends = shapely.points(paths[:, [0, 3]].reshape(-1, 2))
        _, far = self.edges.query_nearest(ends, return_distance=True, all_matches=False)
        distance: Floats = np.asarray(far, np.float64).reshape(-1, 2)
        return distance

    def _symmetric(
        self, pattern: _Pattern, group: Sequence[Motion], shape: Polygon
    ) -> list[_Pattern]:
        """Return a pattern made symmetric about some axes, in several ways."""
        onto = [
            self._onto_axis(pattern, mirror, shape, every=every)
            for mirror in group
            for every in (False, True)
        ]
        starts = [pattern, *(p for p in onto if p is not None), *self._halves(pattern)]
        found = [_closed(one, group) for one in starts]
        return [one for one in found if self._clear(one)]

    def _halves(self, pattern: _Pattern) -> list[_Pattern]:
        """Return a pattern with one of two bridges between the same pieces left out.

        The mirror image of the other takes its place.
        """
        ends = [frozenset(self._piece_at(path[1:3]).tolist()) for path in pattern.paths]
        found = []
        for number, pair in enumerate(ends):
            if ends.count(pair) > 1:
                kept = np.arange(len(ends)) != number
                found.append(_Pattern(pattern.paths[kept], pattern.width[kept]))
        return found

    def _clear(self, pattern: _Pattern) -> bool:
        """Return whether no two bridges run into one another."""
        ways = shapely.linestrings(pattern.paths[:, 1:3])
        least = self.ground.rules.clearance
        apart = shapely.distance(ways[:, None], ways[None, :])
        return bool((apart[~np.eye(len(ways), dtype=bool)] >= least).all())

    def _onto_axis(
        self, pattern: _Pattern, mirror: Motion, shape: Polygon, *, every: bool
    ) -> _Pattern | None:
        """Return a pattern with bridges that run along the axis, or all, moved onto it."""
        upright = mirror.matrix[0, 0] < 0
        at = mirror.shift[0 if upright else 1] / 2
        low_x, low_y, high_x, high_y = shape.bounds
        far = high_x - low_x + high_y - low_y
        if upright:
            line = shapely.LineString([(at, low_y - far), (at, high_y + far)])
        else:
            line = shapely.LineString([(low_x - far, at), (high_x + far, at)])
        ways = [
            shapely.get_coordinates(part)
            for part in shapely.get_parts(shapely.intersection(line, shape))
            if isinstance(part, shapely.LineString) and part.length > _LONGER
        ]
        if not ways:
            return None
        middles = np.array([way.mean(axis=0) for way in ways])
        joins = [set(self._piece_at(way[[0, -1]]).tolist()) for way in ways]
        start, end = pattern.paths[:, 1], pattern.paths[:, 2]
        along = 1 if upright else 0
        runs = np.abs(end - start)[:, along] > np.abs(end - start)[:, 1 - along]
        moved: list[Floats] = []
        width = []
        for number in range(len(pattern.paths)):
            if not (every or runs[number]):
                moved.append(pattern.paths[number])
                width.append(pattern.width[number])
                continue
            middle = (start[number] + end[number]) / 2
            pair = set(self._piece_at(pattern.paths[number, 1:3]).tolist())
            far = np.hypot(*(middles - middle).T)
            # One between the same pieces goes first.
            far[[other != pair for other in joins]] += far.max()
            nearest = int(np.argmin(far))
            moved.append(self._rooted(ways[nearest]))
            width.append(pattern.width[number])
        return _Pattern(np.array(moved), np.array(width))

    def _rooted(self, way: Floats) -> Floats:
        """Return a middle line from root to root across a way through an opening."""
        gaps = Gaps(
            np.stack([self._piece_at(way[:1]), self._piece_at(way[-1:])], axis=1),
            way[:1],
            way[-1:],
            np.hypot(*(way[-1:] - way[:1]).T),
        )
        return self.ground.roots(gaps)[0]


def _closed(pattern: _Pattern, group: Sequence[Motion]) -> _Pattern:
    """Return a pattern with the mirror images of its bridges, each of them once.

    What is nearly its own image, or that of another, is made so to rounding.
    """
    paths, width = list(pattern.paths), pattern.width.tolist()
    at = 0
    while at < len(paths):
        for mirror in group:
            image = mirror(paths[at])
            far = [_apart(image, other) for other in paths]
            nearest = int(np.argmin(far))
            if far[nearest] > _ON_AXIS:
                paths.append(_deeper(image))
                width.append(width[at])
            elif nearest == at:
                paths[at] = (paths[at] + _alongside(image, paths[at])) / 2
            elif nearest > at:
                paths[nearest] = _deeper(image)
        at += 1
    kept: list[int] = []
    for number, path in enumerate(paths):
        if all(_apart(path, paths[k]) > _ON_AXIS for k in kept):
            kept.append(number)
    return _Pattern(np.array(paths)[kept], np.array(width)[kept])


def _deeper(path: Floats) -> Floats:
    """Return a mirror image rooted a little deeper: shapes are symmetric by eye only."""
    ends = path[[0, 3]] - path[[1, 2]]
    ends = ends / np.maximum(np.hypot(*ends.T), NOT_ZERO)[:, None]
    deeper: Floats = np.stack(
        [path[0] + _DEEPER * ends[0], path[1], path[2], path[3] + _DEEPER * ends[1]]
    )
    return deeper


def _alongside(path: Floats, other: Floats) -> Floats:
    """Return a path the way round that another one runs."""
    same = np.abs(path[1:3] - other[1:3]).max() <= np.abs(path[2:0:-1] - other[1:3]).max()
    return path if same else path[::-1]


def _apart(one: Floats, other: Floats) -> float:
    """Return how far two ways across an opening are from being one, in mm, either way round."""
    a, b = one[1:3], other[1:3]
    return float(min(np.abs(a - b).max(), np.abs(a - b[::-1]).max()))


def _distinct(patterns: Sequence[_Pattern]) -> list[_Pattern]:
    """Return the patterns that differ by more than rounding."""
    found: list[_Pattern] = []
    for pattern in patterns:
        if not any(_alike(pattern, other) for other in found):
            found.append(pattern)
    return found


def _alike(one: _Pattern, other: _Pattern) -> bool:
    return len(one.paths) == len(other.paths) and all(
        min(_apart(a, b) for b in other.paths) <= _ONE for a in one.paths
    )
