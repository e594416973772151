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

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..planar.congruence import Family, Motion, families, mirrors
from ..planar.graph import connected_labels
from ..planar.subdivide import short_lines, small_parts
from ..tolerance import NOT_ZERO
from .constraints import Rules
from .cost import Prices
from .gaps import Gaps, join_gaps
from .laying import JUST_UNDER

#: Ends of a carried bridge meet sheet within this distance, in mm.
_MEETS = 0.5
#: Corners of a part of sheet in which pieces are looked up.
_PART = 48
#: Ends this near a piece alone are on its edge.
_ON_EDGE = 0.05
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
#: And patterns of so many bridges, all counted, are made symmetric and fitted: each of thousands of
#: bridges in one opening could be left out in turn.
_MOST_WAYS = 50_000
#: Patterns nearer to each other than this, in mm, are one.
_ONE = 0.05
#: Bridges nearer to where their likes put them than this, in mm, are there.
_ROUNDING = 1e-6
#: Rounds of parting forks in one opening.
_MOST_PARTED = 4
#: So many pairs of ways are compared at once.
_PAIRS = 100_000
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
class Pattern:
    """Bridges in the frame of a family's first member: middle lines from root to root, widths."""

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
    place_cost : float64 array
        What a bridge costs in each, how it looks there counted in.
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
    place_cost: Floats
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
    and a family whose islands are then held worse than before gets its own bridges back. Where some
    of its members take more bridges than others, as large ones among small do, those with as many
    are then a family of their own.
    """
    if ground.rules.alike == "off" or len(laid) == 0:
        return laid
    work = Work(laid, ground)
    families_ = work.families()
    made = _made_alike(work, families_)
    if not any(work.by_count(family) for family in families_):
        return made
    work = Work(made, ground)
    return _made_alike(work, [part for family in families_ for part in work.by_count(family)])


def _made_alike(work: Work, families_: Sequence[Family]) -> Laid:
    laid, ground = work.laid, work.ground
    tasks = [task for family in families_ if (task := work.task(family)) is not None]
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


@dataclass(frozen=True)
class _Fitted:
    """A pattern laid in all members of a family: some bridges of many, and what they cost."""

    pool: Laid
    bridges: Indices
    price: float

    def laid(self) -> Laid:
        """Return the bridges."""
        return self.pool.take(self.bridges)


class _MiddleWays:
    """Ways along an axis of symmetry through an opening.

    Parameters
    ----------
    upright : bool
    middles : float64 array (n, 2)
    gaps : Gaps
    roots : callable
        Returns middle lines (n, 4, 2) from root to root across gaps.
    """

    def __init__(
        self, upright: bool, middles: Floats, gaps: Gaps, roots: Callable[[Gaps], Floats]
    ) -> None:
        self.upright, self.middles = upright, middles
        #: That each joins, the lower number first.
        self.pieces: Indices = np.sort(gaps.pieces, axis=1)
        self._gaps, self._roots = gaps, roots
        self._paths: Floats = np.full((len(gaps), 4, 2), np.nan)

    def paths(self, which: Indices) -> Floats:
        """Return middle lines (n, 4, 2) from root to root of some of them.

        Roots are looked for when they are first asked for: few ways are ever taken.
        """
        new = np.unique(which[np.isnan(self._paths[which, 0, 0])])
        if len(new):
            self._paths[new] = self._roots(self._gaps.take(new))
        paths: Floats = self._paths[which]
        return paths


class Work:
    """Openings with their bridges, and what it takes to lay others there.

    Parameters
    ----------
    laid : Laid
    ground : Ground
    """

    def __init__(self, laid: Laid, ground: Ground) -> None:
        self.laid, self.ground = laid, ground
        self.array = np.asarray(ground.pieces, object)
        # In small parts: the frame of a big sheet has very many corners, and boxes about long parts
        # of rings in rings lie over each other by the hundred.
        self.parts, self.piece_of = small_parts(self.array, _PART)
        self.tree = shapely.STRtree(self.parts)
        self.openings = shapely.get_parts(ground.openings)
        # One opening may have all the corners of a drawing, and be asked about for each bridge.
        opening_parts, self.opening_of = small_parts(self.openings, _PART)
        self.opening_tree = shapely.STRtree(opening_parts)
        self.of_gap = self._opening_of(laid.gaps)

    @cached_property
    def of_place(self) -> Indices:
        """The opening of each candidate."""
        return self._opening_of(self.ground.places)

    @cached_property
    def edges(self) -> shapely.STRtree:
        """Edges of openings, in short pieces: those of a big sheet have very many corners."""
        return shapely.STRtree(short_lines(shapely.get_rings(self.openings))[0])

    @cached_property
    def room(self) -> Floats:
        """How far each bridge's ends lie from other edges at least."""
        least: Floats = self._from_edge(self.laid.paths).min(axis=1)
        return least

    @cached_property
    def cost(self) -> Floats:
        """Of each bridge."""
        return self.costs(self.laid)

    def _opening_of(self, gaps: Gaps) -> Indices:
        middle = shapely.points((gaps.start + gaps.end) / 2)
        which, part = self.opening_tree.query(middle, predicate="intersects")
        found = np.full(len(gaps), -1)
        found[which] = self.opening_of[part]
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

    def by_count(self, family: Family) -> list[Family]:
        """Return a family's members that have as many bridges, where some have more than others."""
        count = [int((self.of_gap == member).sum()) for member in family.members]
        parts = []
        for number in sorted(set(count)):
            which = [k for k, found in enumerate(count) if found == number]
            if 1 < len(which) < len(count):
                back = family.motions[which[0]].inverse()
                parts.append(
                    Family(
                        tuple(family.members[k] for k in which),
                        tuple(family.motions[k].after(back) for k in which),
                    )
                )
        return parts

    def task(self, family: Family) -> _Task | None:
        """Return what may be laid in a family; None where that is what is there."""
        shape = self.openings[family.members[0]]
        symmetries = mirrors(shape)
        own = [np.flatnonzero(self.of_gap == member) for member in family.members]
        patterns = []
        for bridges, motion in zip(own, family.motions, strict=True):
            back = motion.inverse()
            patterns.append(Pattern(back(self.laid.paths[bridges]), self.laid.width[bridges]))
        for member, bridges, motion in zip(family.members, own, family.motions, strict=True):
            if any(self._forks(self.laid.paths[bridges])):
                back = motion.inverse()
                for paths in self._parted(self.laid.paths[bridges], member):
                    patterns.append(Pattern(back(paths), self.laid.width[bridges]))
        every, patterns = patterns, _distinct(patterns)
        if len(patterns) == 1 and not symmetries and _are_one(every):
            return None
        # About all axes first, then about one, the upright one before the level one.
        axes: list[Sequence[Motion]] = [[one] for one in symmetries]
        if len(symmetries) > 1:
            axes.insert(0, symmetries)
        ways = _MOST_WAYS // len(family.members)
        longest = max(len(pattern.paths) for pattern in patterns)
        most = max(1, min(_MOST_FITTED // len(family.members), ways // max(longest, 1)))
        middles = {id(mirror): self._middle_ways(mirror, shape) for mirror in symmetries}
        pairs = self._pairs(patterns)
        ranked = [
            _distinct(
                self._all_symmetric(patterns, pairs, group, [middles[id(m)] for m in group], ways),
                most,
            )
            for group in axes
        ]
        replaced = np.concatenate(own)
        # Fitted in all members, each with what it costs; symmetric ones go first, forks last.
        lots = [*ranked, patterns[:most]]
        rank = [number for number, lot in enumerate(lots) for _ in lot]
        tries: list[tuple[bool, int, float, _Fitted]] = []
        rules = self.ground.rules
        alike = symmetric = rules.alike_share
        if rules.directions.stated(self.laid.gaps.take(replaced)).any():
            # A way in a stated direction may face none: then symmetry takes twice as many.
            symmetric = max(alike, rules.symmetry_share)
        now = self.cost[replaced].sum()
        wanted = [pattern for lot in lots for pattern in lot]
        for number, fitted in enumerate(self._fitted(wanted, family, own)):
            share = symmetric if rank[number] < len(ranked) else alike
            if fitted is not None and fitted.price <= now * (1 + share) * _FREE:
                forked = bool(self._forks(wanted[number].paths))
                tries.append((forked, rank[number], fitted.price, fitted))
        tries.sort(key=lambda one: one[:3])
        if not tries:
            return None
        frame = int(np.argmax(shapely.area(shapely.envelope(self.array))))
        pieces = np.unique(self.laid.gaps.pieces[replaced])
        return _Task(
            replaced, pieces[pieces != frame], tuple(t[3].laid() for t in tries[:_MOST_TRIED])
        )

    def _forks(self, paths: Floats) -> list[tuple[int, int]]:
        """Return the pairs of bridges that run into one."""
        ways = shapely.linestrings(paths[:, 1:3])
        a, b = _nearer(ways, ways, self.ground.rules.width)
        order = np.lexsort((b, a))
        return [(i, k) for i, k in zip(a[order].tolist(), b[order].tolist(), strict=True) if i < k]

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
                clear = np.ones(len(lines), bool)
                clear[_nearer(lines, ways, least)[0]] = False
                ends = self.piece_at(parted[moved, 1:3])
                usable = np.flatnonzero(clear & np.isin(places.pieces, ends).any(axis=1))
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

    def places_in(self, opening: int) -> tuple[Gaps, Floats]:
        """Return all places for bridges in an opening, and what a bridge costs in each."""
        here = self.of_place == opening
        return self.ground.places.take(here), self.ground.place_cost[here]

    def rooted(self, way: Floats) -> Floats:
        """Return the middle line (4, 2) from root to root across a way (2, 2)."""
        length = np.hypot(*(way[1] - way[0]))[None]
        gaps = Gaps(self.piece_at(way)[None], way[:1], way[1:], length)
        return self.ground.roots(gaps)[0]

    def laid_everywhere(
        self, pattern: Pattern, family: Family, own: Sequence[Indices]
    ) -> Laid | None:
        """Return a pattern laid in all members of a family; None where it does not fit in one.

        Parameters
        ----------
        pattern : Pattern
        family : Family
        own : sequence of int array
            The bridges that each member has now.
        """
        paths = np.array([motion(pattern.paths) for motion in family.motions])
        width = np.repeat([pattern.width], len(family.members), axis=0)
        fits, carried = self._carried(paths, width, family, own)
        return carried if fits.all() else None

    def costs(self, laid: Laid) -> Floats:
        """Return what each of some bridges costs, wider ones more."""
        exact = self.ground.prices.exact(laid.gaps, laid.paths[:, [0, 3]])
        return exact * laid.width / self.ground.rules.width

    def _fitted(
        self, patterns: Sequence[Pattern], family: Family, own: Sequence[Indices]
    ) -> list[_Fitted | None]:
        """Return each pattern laid in all members that it fits; the others keep their own."""
        found: list[_Fitted | None] = [None] * len(patterns)
        members = len(family.members)
        sizes = np.array([len(pattern.paths) for pattern in patterns])
        for size in np.unique(sizes).tolist():
            which = np.flatnonzero(sizes == size).tolist()
            paths = np.array(
                [motion(patterns[k].paths) for k in which for motion in family.motions]
            )
            width = np.repeat([patterns[k].width for k in which], members, axis=0)
            fits, carried = self._carried(paths, width, family, own)
            pool = join_laid([carried, self.laid])
            cost = np.full(len(carried), np.nan)
            asked = np.repeat(fits, size)
            cost[asked] = self.costs(carried.take(asked))
            cost = np.append(cost, self.cost)
            for row, k in enumerate(which):
                here = np.arange(row * members, (row + 1) * members)
                if not fits[here].any():
                    continue
                # In the members' order, as if each had been laid by itself.
                bridges = np.concatenate(
                    [
                        at * size + np.arange(size) if fits[at] else len(carried) + own[member]
                        for member, at in enumerate(here.tolist())
                    ]
                )
                found[k] = _Fitted(pool, bridges, float(cost[bridges].sum()))
        return found

    def _carried(
        self, paths: Floats, width: Floats, family: Family, own: Sequence[Indices]
    ) -> tuple[Bools, Laid]:
        """Return in which members of a family bridges fit that are carried there, and all of them.

        Parameters
        ----------
        paths : float64 array (k * members, n, 4, 2)
            Several patterns, each in all members.
        width : float64 array (k * members, n)
        family : Family
        own : sequence of int array
            The bridges that each member has now.
        """
        rows, count = paths.shape[:2]
        times = rows // len(own)
        flat = paths.reshape(-1, 4, 2)
        start, end = flat[:, 1], flat[:, 2]
        pieces = self.piece_at(np.concatenate([start, end])).reshape(2, -1).T
        found = (pieces >= 0).all(axis=1) & (pieces[:, 0] != pieces[:, 1])
        gaps = Gaps(pieces, start, end, np.hypot(*(end - start).T))
        larger = [abs(motion.factor - 1) > NOT_ZERO for motion in family.motions]
        scaled = np.repeat(larger * times, count)
        again = np.flatnonzero(scaled & found)
        if len(again):
            flat = flat.copy()
            flat[again] = self.ground.roots(gaps.take(again))
        found &= ~self.ground.rules.directions.leaning(gaps)
        # Pieces that the bridges of each member hold now, numbered from member to member.
        now = np.concatenate([*own] * times)
        of = np.repeat(np.arange(rows), [len(one) for one in own] * times)
        size = len(self.array) + 1
        keys = of[:, None] * size + self.laid.gaps.pieces[now]
        held = np.unique(keys)
        there = np.repeat(np.arange(rows), count)[:, None] * size + pieces
        place = np.minimum(np.searchsorted(held, there), len(held) - 1)
        found &= (held[place] == there).all(axis=1)
        fits: Bools = found.reshape(rows, count).all(axis=1)
        # It joins what was joined before.
        links = place[np.repeat(fits, count)]
        parts = [
            _parts(connected_labels(len(held), pairs), held // size, rows)
            for pairs in (links, np.searchsorted(held, keys))
        ]
        fits &= parts[0] <= parts[1]
        # Roots have as much sheet about them as bridges need, or as those before had.
        wide = self.ground.rules.width
        wanted = np.full(rows, (wide / 2 * JUST_UNDER) - _ROOM * wide)
        np.minimum.at(wanted, of, self.room[now] - _ROOM * wide)
        asked = np.flatnonzero(np.repeat(fits, count))
        ends = shapely.points(flat[asked][:, [0, 3]].reshape(-1, 2))
        least = np.repeat(np.maximum(wanted, 0.0)[asked // max(count, 1)], 2)
        edge = self.edges.query(ends, predicate="dwithin", distance=least * (1 - NOT_ZERO))
        fits[asked[edge[0] // 2] // max(count, 1)] = False
        return fits, Laid(gaps, width.ravel(), flat)

    def piece_at(self, points: Floats) -> Indices:
        """Return the piece of sheet at each point (n, 2), -1 where none is near."""
        spots = shapely.points(points)
        # Most lie on the edge of one piece and are far from all others; of the rest the nearest.
        which, part = self.tree.query(spots, predicate="dwithin", distance=_ON_EDGE)
        low, high = np.full(len(spots), len(self.array)), np.full(len(spots), -1)
        np.minimum.at(low, which, self.piece_of[part])
        np.maximum.at(high, which, self.piece_of[part])
        left = np.flatnonzero(low != high)
        if len(left):
            near = np.asarray(self.tree.nearest(spots[left]), np.int64)
            far = shapely.distance(self.parts[near], spots[left]) > _MEETS
            high[left] = np.where(far, -1, self.piece_of[near])
        return high

    def _from_edge(self, paths: Floats) -> Floats:
        """Return how far both roots of each bridge are from the sheet's nearest edge."""
        ends = shapely.points(paths[:, [0, 3]].reshape(-1, 2))
        _, far = self.edges.query_nearest(ends, return_distance=True, all_matches=False)
        distance: Floats = np.asarray(far, np.float64).reshape(-1, 2)
        return distance

    def _pairs(self, patterns: Sequence[Pattern]) -> list[Indices]:
        """Return the two pieces, the lower number first, that each bridge of patterns joins."""
        ends = np.concatenate([one.paths[:, 1:3].reshape(-1, 2) for one in patterns])
        pairs = np.sort(self.piece_at(ends).reshape(-1, 2), axis=1)
        return np.split(pairs, np.cumsum([len(one.paths) for one in patterns])[:-1])

    def _all_symmetric(
        self,
        patterns: Sequence[Pattern],
        pairs: Sequence[Indices],
        group: Sequence[Motion],
        middles: Sequence[_MiddleWays | None],
        most: int,
    ) -> Iterator[Pattern]:
        """Return patterns made symmetric about some axes, each in several ways.

        Parameters
        ----------
        patterns : sequence of Pattern
        pairs : sequence of int array
            The pieces that their bridges join.
        group : sequence of Motion
            The axes.
        middles : sequence of _MiddleWays or None
            Ways along each axis.
        most : int
            No more are made once those made have so many bridges.
        """
        seen: set[bytes] = set()
        left = most
        for pattern, joined in zip(patterns, pairs, strict=True):
            onto = [
                _onto_axis(pattern, joined, ways, every=every)
                for ways in middles
                if ways is not None
                for every in (False, True)
            ]
            for one in chain((pattern, *onto), _halves(pattern, joined)):
                # Moved onto an axis, many become the same.
                key = one.paths.tobytes() + one.width.tobytes()
                if key not in seen:
                    seen.add(key)
                    made = _closed(one, group)
                    left -= len(made.paths)
                    if self.clear(made):
                        yield made
                    if left <= 0:
                        return

    def _middle_ways(self, mirror: Motion, shape: Polygon) -> _MiddleWays | None:
        """Return the ways along an axis through an opening; None where there are none."""
        upright = bool(mirror.matrix[0, 0] < 0)
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
        ends = np.array([way[[0, -1]] for way in ways])
        pieces = self.piece_at(ends.reshape(-1, 2)).reshape(-1, 2)
        gaps = Gaps(pieces, ends[:, 0], ends[:, 1], np.hypot(*(ends[:, 1] - ends[:, 0]).T))
        middles = np.array([way.mean(axis=0) for way in ways])
        return _MiddleWays(upright, middles, gaps, self.ground.roots)

    def clear(self, pattern: Pattern) -> bool:
        """Return whether no two bridges run into one another."""
        ways = shapely.linestrings(pattern.paths[:, 1:3])
        least = self.ground.rules.clearance
        a, b = _nearer(ways, ways, least)
        return bool((a == b).all())


def _halves(pattern: Pattern, pairs: Indices) -> Iterator[Pattern]:
    """Give a pattern with one of two bridges between the same pieces left out.

    The mirror image of the other takes its place.
    """
    _, pair, often = np.unique(pairs, axis=0, return_inverse=True, return_counts=True)
    for number in np.flatnonzero(often[pair.reshape(-1)] > 1).tolist():
        kept = np.arange(len(pairs)) != number
        yield Pattern(pattern.paths[kept], pattern.width[kept])


def _onto_axis(pattern: Pattern, pairs: Indices, ways: _MiddleWays, *, every: bool) -> Pattern:
    """Return a pattern with bridges that run along the axis, or all, moved onto it."""
    start, end = pattern.paths[:, 1], pattern.paths[:, 2]
    along = 1 if ways.upright else 0
    runs = np.abs(end - start)[:, along] > np.abs(end - start)[:, 1 - along]
    paths = pattern.paths.copy()
    moved = np.flatnonzero(runs | every)
    if len(moved) == 0:
        return pattern
    nearest = []
    for number in moved.tolist():
        far = np.hypot(*(ways.middles - (start[number] + end[number]) / 2).T)
        # One between the same pieces goes first.
        far[(ways.pieces != pairs[number]).any(axis=1)] += far.max()
        nearest.append(int(np.argmin(far)))
    paths[moved] = ways.paths(np.array(nearest))
    return Pattern(paths, pattern.width)


def _closed(pattern: Pattern, group: Sequence[Motion]) -> Pattern:
    """Return a pattern with the mirror images of its bridges, each of them once.

    What is nearly its own image, or that of another, is made so to rounding.
    """
    ways, width = _Ways(pattern.paths), pattern.width.tolist()
    at = 0
    while at < len(ways.paths):
        for mirror in group:
            path = ways.paths[at]
            image = mirror(path)
            nearest = ways.nearest(image)
            if nearest is None:
                ways.add(_deeper(image))
                width.append(width[at])
            elif nearest == at:
                ways.replace(at, (path + _alongside(image, path)) / 2)
            elif nearest > at:
                ways.replace(nearest, _deeper(image))
        at += 1
    once = _Ways([])
    kept: list[int] = []
    for number, path in enumerate(ways.paths):
        if once.nearest(path) is None:
            once.add(path)
            kept.append(number)
    return Pattern(np.array(once.paths).reshape(-1, 4, 2), np.array(width)[kept])


class _Ways:
    """Bridges' middle lines, sorted by cells of the plane, so that one's like is soon found.

    Parameters
    ----------
    paths : iterable of float64 array (4, 2)
    """

    #: Side of a cell in mm: ways that are one have their middles in it or in the next.
    SIDE = 2.5 * _ON_AXIS

    def __init__(self, paths: Iterable[Floats]) -> None:
        self.paths: list[Floats] = []
        # Plain numbers: one way is held against very few others, too few for arrays.
        self._ways: list[tuple[float, float, float, float]] = []
        self._cells: dict[tuple[int, int], list[int]] = {}
        for path in paths:
            self.add(path)

    def add(self, path: Floats) -> None:
        """Add one more."""
        way = self._way(path)
        self._cells.setdefault(self._cell(way), []).append(len(self.paths))
        self.paths.append(path)
        self._ways.append(way)

    def replace(self, number: int, path: Floats) -> None:
        """Put another in the place of one."""
        way = self._way(path)
        self._cells[self._cell(self._ways[number])].remove(number)
        self._cells.setdefault(self._cell(way), []).append(number)
        self.paths[number], self._ways[number] = path, way

    def nearest(self, path: Floats) -> int | None:
        """Return which is one with a path, the nearest of several; None where none is."""
        way = ax, ay, bx, by = self._way(path)
        column, row = self._cell(way)
        best: tuple[float, int] | None = None
        for x in (column - 1, column, column + 1):
            for y in (row - 1, row, row + 1):
                for number in self._cells.get((x, y), ()):
                    cx, cy, dx, dy = self._ways[number]
                    far = min(
                        max(abs(ax - cx), abs(ay - cy), abs(bx - dx), abs(by - dy)),
                        max(abs(ax - dx), abs(ay - dy), abs(bx - cx), abs(by - cy)),
                    )
                    if far <= _ON_AXIS and (best is None or (far, number) < best):
                        best = far, number
        return None if best is None else best[1]

    @staticmethod
    def _way(path: Floats) -> tuple[float, float, float, float]:
        (ax, ay), (bx, by) = path[1:3].tolist()
        return ax, ay, bx, by

    def _cell(self, way: tuple[float, float, float, float]) -> tuple[int, int]:
        ax, ay, bx, by = way
        return int((ax + bx) / 2 // self.SIDE), int((ay + by) / 2 // self.SIDE)


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


def apart(one: Floats, others: Floats) -> Floats:
    """Return how far ways (n, 4, 2) across an opening are from being the same as one, in mm,
    either way round."""
    a, b = one[1:3], others[:, 1:3]
    apart: Floats = np.minimum(
        np.abs(a - b).max(axis=(1, 2), initial=0),
        np.abs(a - b[:, ::-1]).max(axis=(1, 2), initial=0),
    )
    return apart


def _nearer(ones: Geometries, others: Geometries, limit: float) -> tuple[Indices, Indices]:
    """Return the pairs of lines, of one lot and of another, that are nearer than a limit."""
    a, b = shapely.STRtree(others).query(ones, predicate="dwithin", distance=limit)
    near = shapely.distance(ones[a], others[b]) < limit
    return a[near], b[near]


def _parts(label: Indices, member: Indices, members: int) -> Indices:
    """Return how many parts with labels of their own the items of each member have."""
    first = np.unique(label, return_index=True)[1]
    return np.bincount(member[first], minlength=members)


def _distinct(patterns: Iterable[Pattern], most: int | None = None) -> list[Pattern]:
    """Return the patterns that differ by more than rounding, the first ones if they are many."""
    found: list[Pattern] = []
    by_size: dict[int, list[Floats]] = {}
    for pattern in patterns:
        if len(found) == most:
            break
        others = by_size.setdefault(len(pattern.paths), [])
        if not others or not _alike(pattern.paths, np.array(others)).any():
            others.append(pattern.paths[:, 1:3])
            found.append(pattern)
    return found


def _are_one(patterns: Sequence[Pattern]) -> bool:
    """Whether all patterns lie on the first but for rounding: then nothing is left to be done."""
    first, *others = (pattern.paths[:, 1:3] for pattern in patterns)
    if any(len(other) != len(first) for other in others):
        return False
    return not others or bool(_alike(first, np.array(others), _ROUNDING).all())


def _alike(paths: Floats, others: Floats, within: float = _ONE) -> Bools:
    """Return of which of several patterns (n, k, 2, 2) each way has one that is the same.

    Where no way lies further than ``within`` mm from its like.
    """
    near: Bools = np.ones(len(others), bool)
    # In turns, for the memory; most differ in their first ways.
    step = max(1, _PAIRS // others[..., 0, 0].size)
    for at in range(0, len(paths), step):
        a = paths[at : at + step, None, 1:3]
        apart = [np.abs(a - b[:, None]).max(axis=(-1, -2)) for b in (others, others[..., ::-1, :])]
        near &= (np.minimum(*apart) <= within).any(axis=-1).all(axis=-1)
        if not near.any():
            break
    return near
