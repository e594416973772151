"""Rows: bridges of neighbours in one line of lettering line up.

Of letters side by side, level bridges are brought to one height, and upright ones to the same end
of their letters (above, in the middle, below); upright bridges of one letter to one axis. A bridge
is moved only within its opening and between the pieces that it joins, for no more than a stated
share of what the opening's bridges cost, and equal letters keep equal bridges. Only bridges in a
stated direction are looked at: others lie where they show least. Lines of lettering are level.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from ..arrays import Bools, Floats, Indices
from ..planar.congruence import Family, Motion, mirrors
from ..tolerance import TOLERANCES
from .alike import Ground, Laid, Pattern, Work, apart, join_laid
from .gaps import Gaps

#: Letters of a line overlap in height by this share of the smaller, and stand so many heights apart
#: at most: letters that need no bridge may stand between them.
_OVERLAP, _APART = 0.5, 3.0
#: Upright bridges are at the same end of their letters where their middles are as near in height,
#: in widths: round letters are a little taller than flat ones.
_SAME_END = 1.5
#: Level bridges are at one height where they are as near in mm: no eye tells them apart.
_SAME_HEIGHT = 0.05
#: Times that all bridges are gone through, and that letters are left out which it would weaken.
_ROUNDS = 3
#: More openings with bridges than this are pattern, not lettering.
MOST_LETTERS = 600
#: So are openings with more bridges than this.
MOST_BRIDGES = 40
#: Bridges this near each other, in mm, are the same.
_SAME = TOLERANCES.same_point
#: What costs this little more costs nothing.
_FREE = 1 + 1e-9


def neighbours(boxes: Floats) -> list[list[int]]:
    """Return for each box of a drawing those next to it in its line of lettering.

    Parameters
    ----------
    boxes : float64 array (n, 4)
        Lowest x and y, highest x and y.

    Examples
    --------
    >>> neighbours(np.array([[0, 0, 4, 9], [5, 1, 9, 6], [12, 0, 16, 9], [0, 20, 4, 29.0]]))
    [[1], [0, 2], [1], []]
    """
    found: list[list[int]] = [[] for _ in boxes]
    low, high = boxes[:, 1], boxes[:, 3]
    tall = high - low
    middle = (boxes[:, 0] + boxes[:, 2]) / 2
    for k in range(len(boxes)):
        shared = np.minimum(high, high[k]) - np.maximum(low, low[k])
        gap = boxes[:, 0] - boxes[k, 2]
        near = (shared >= _OVERLAP * np.minimum(tall, tall[k])) & (middle > middle[k])
        near &= gap <= _APART * np.maximum(tall, tall[k])
        if near.any():
            right = int(np.flatnonzero(near)[np.argmin(middle[near])])
            found[k].append(right)
            found[right].append(k)
    return [sorted(one) for one in found]


@dataclass
class _Letters:
    """Openings of one shape, with the same bridges in each."""

    family: Family
    own: list[Indices]
    pattern: Pattern
    most: float
    axes: list[Motion]


def lined_up(laid: Laid, ground: Ground) -> Laid:
    """Return the bridges, those of neighbours in a line of lettering lined up.

    Parameters
    ----------
    laid : Laid
    ground : Ground

    Notes
    -----
    Heuristic: bridge by bridge, the move that lines up most, while any lines up more than before.
    Letters whose islands are then held worse get their own bridges back.
    """
    if not ground.rules.directions.any_stated or len(laid) == 0:
        return laid
    work = Work(laid, ground)
    number = np.unique(work.of_gap, return_counts=True)[1]
    if len(number) > MOST_LETTERS or number.min() > MOST_BRIDGES:
        return laid
    rows = _Rows(work)
    before = None
    fixed: set[int] = set()
    for _ in range(_ROUNDS):
        moved = rows.lined_up(fixed)
        if not moved:
            return laid
        result = _with_moved(laid, list(moved.values()))
        before = ground.weighed(laid) if before is None else before
        after = ground.weighed(result)
        worse = {
            letters
            for letters, (old, _) in moved.items()
            if (after - before)[np.unique(laid.gaps.pieces[old])].max(initial=0) > 0
        }
        if not worse and after.sum() <= before.sum():
            return result
        # The others may line up with these where they are.
        fixed |= worse or set(moved)
    return laid


def _with_moved(laid: Laid, moved: Sequence[tuple[Indices, Laid]]) -> Laid:
    stays = np.ones(len(laid), bool)
    for old, _ in moved:
        stays[old] = False
    return join_laid([laid.take(stays), *(new for _, new in moved)])


class _Rows:
    def __init__(self, work: Work) -> None:
        self._work = work
        self._rules = work.ground.rules
        self._letters = [made for family in work.families() for made in self._same(family)]
        self._begun = [one.pattern for one in self._letters]
        openings = [m for one in self._letters for m in one.family.members]
        #: Of each opening: which letters it is one of, and which of those.
        self._which = [
            (a, b) for a, one in enumerate(self._letters) for b in range(len(one.family.members))
        ]
        boxes = shapely.bounds(work.openings[openings]).reshape(-1, 4)
        self._next = neighbours(boxes)
        first = np.cumsum([0, *(len(one.family.members) for one in self._letters)])
        self._first = first.tolist()

    def _same(self, family: Family) -> Iterator[_Letters]:
        """Return a family's openings parted by what bridges they have; shifted ones only."""
        work = self._work
        left = list(range(len(family.members)))
        while left:
            head = left[0]
            own = np.flatnonzero(work.of_gap == family.members[head])
            back = family.motions[head].inverse()
            members, motions, owns = [], [], []
            for k in list(left):
                motion = family.motions[k].after(back)
                mine = np.flatnonzero(work.of_gap == family.members[k])
                there = motion(work.laid.paths[own])
                order = [
                    mine[np.argmin(far)] if far.min(initial=np.inf) <= _SAME else -1
                    for far in (apart(path, work.laid.paths[mine]) for path in there)
                ]
                same = len(own) == len(mine) and -1 not in order
                if k == head or (same and np.array_equal(motion.matrix, np.eye(2))):
                    members.append(family.members[k])
                    motions.append(motion)
                    owns.append(np.array(order, np.int64))
                    left.remove(k)
            laid = work.laid.take(own)
            pattern = Pattern(laid.paths, laid.width)
            shape = work.openings[members[0]]
            yield _Letters(
                Family(tuple(members), tuple(motions)),
                owns,
                pattern,
                float(work.costs(laid).sum()) * (1 + self._rules.rows_share) * _FREE,
                [m for m in mirrors(shape) if _symmetric(pattern, m)]
                if len(own) <= MOST_BRIDGES
                else [],
            )

    def lined_up(self, fixed: set[int]) -> dict[int, tuple[Indices, Laid]]:
        """Return for letters that were moved, but for some, their bridges and those in their place.

        Letters are told by their number.
        """
        for letters, old in zip(self._letters, self._begun, strict=True):
            letters.pattern = old
        for _ in range(_ROUNDS):
            changed = False
            for number, letters in enumerate(self._letters):
                if number in fixed or len(letters.pattern.paths) > MOST_BRIDGES:
                    continue
                for bridge in range(len(letters.pattern.paths)):
                    better = self._better(number, letters, bridge)
                    if better is not None:
                        letters.pattern = better
                        changed = True
            if not changed:
                break
        moved = {}
        for number, (letters, old) in enumerate(zip(self._letters, self._begun, strict=True)):
            if letters.pattern is not old:
                made = self._work.laid_everywhere(letters.pattern, letters.family, letters.own)
                if made is not None:
                    moved[number] = (np.concatenate(letters.own), made)
        return moved

    def _better(self, number: int, letters: _Letters, bridge: int) -> Pattern | None:
        """Return the pattern with a bridge where it lines up best; None where it is best now."""
        path = letters.pattern.paths[bridge]
        if self._work.ground.rules.directions.leaning(_gaps([path])).any():
            return None
        best = None
        most = self._agreeing(number, letters.pattern)
        for way in self._elsewhere(number, letters, bridge):
            pattern = self._with(letters, bridge, way)
            if pattern is None:
                continue
            agreeing = self._agreeing(number, pattern)
            if agreeing > most:
                best, most = pattern, agreeing
        return best

    def _agreeing(self, number: int, pattern: Pattern) -> int:
        """Return how often bridges of some letters line up with others, all openings counted."""
        count = 0
        letters = self._letters[number]
        for member, motion in enumerate(letters.family.motions):
            mine = motion(pattern.paths[:, 1:3])
            for other in self._next[self._first[number] + member]:
                count += self._pairs(mine, self._ways_of(other, number, pattern))
        middle = pattern.paths[:, 1:3].mean(axis=1)
        upright = _upright(pattern.paths[:, 1:3])
        x = middle[upright, 0]
        one_axis = (np.abs(x[:, None] - x[None]) <= _SAME).sum() - len(x)
        return count + len(letters.family.members) * int(one_axis)

    def _ways_of(self, opening: int, number: int, pattern: Pattern) -> Floats:
        which, member = self._which[opening]
        letters = self._letters[which]
        paths = pattern.paths if which == number else letters.pattern.paths
        ways: Floats = letters.family.motions[member](paths[:, 1:3])
        return ways

    def _pairs(self, one: Floats, other: Floats) -> int:
        """Return how many bridges of one letter line up with one of the other."""
        near = np.where(_upright(one)[:, None], _SAME_END * self._rules.width, _SAME_HEIGHT)
        apart_ = np.abs(one[:, :, 1].mean(axis=1)[:, None] - other[:, :, 1].mean(axis=1)[None])
        same_kind = _upright(one)[:, None] == _upright(other)[None]
        return int(((apart_ <= near) & same_kind).any(axis=1).sum())

    def _elsewhere(self, number: int, letters: _Letters, bridge: int) -> Iterator[Floats]:
        """Return other ways for a bridge, in the frame of the first opening."""
        way = letters.pattern.paths[bridge, 1:3]
        opening = letters.family.members[0]
        upright = bool(_upright(way[None])[0])
        heights = set()
        for member, motion in enumerate(letters.family.motions):
            for other in self._next[self._first[number] + member]:
                ways = self._ways_of(other, number, letters.pattern)
                ways = ways[_upright(ways) == upright]
                heights |= set((ways[:, :, 1].mean(axis=1) - motion.shift[1]).tolist())
        if not upright:
            for height in sorted(heights):
                yield from self._at(opening, way, way + [0, height - way[:, 1].mean()])
            return
        for x in sorted(set(letters.pattern.paths[:, 1:3, 0].mean(axis=1).tolist())):
            yield from self._at(opening, way, way + [x - way[:, 0].mean(), 0])
        places, cost = self._work.places_in(opening)
        high = (places.start[:, 1] + places.end[:, 1]) / 2
        stated = ~self._work.ground.rules.directions.leaning(places)
        stated &= (np.sort(places.pieces, axis=1) == np.sort(self._pair(way))).all(axis=1)
        # One that looks poor, beside a stem, is no gain.
        stated &= cost <= cost[stated].min(initial=np.inf) * (1 + self._rules.rows_share) * _FREE
        for height in sorted(heights):
            same_end = np.abs(high - height) <= _SAME_END * self._rules.width
            near = np.flatnonzero(stated & same_end)
            if len(near):
                cheapest = near[np.argmin(cost[near])]
                yield np.stack([places.start[cheapest], places.end[cheapest]])

    def _pair(self, way: Floats) -> Indices:
        return self._work.piece_at(way)

    def _at(self, opening: int, way: Floats, moved: Floats) -> Iterator[Floats]:
        """Return the way on a moved line between the same pieces that lies nearest."""
        middle, along = moved.mean(axis=0), moved[1] - moved[0]
        along = along / np.hypot(*along)
        low_x, low_y, high_x, high_y = self._work.openings[opening].bounds
        far = high_x - low_x + high_y - low_y
        line = shapely.LineString([middle - far * along, middle + far * along])
        parts = shapely.get_parts(shapely.intersection(line, self._work.openings[opening]))
        pair = set(self._pair(way).tolist())
        ways = [shapely.get_coordinates(part)[[0, -1]] for part in parts if part.length > 0]
        ways = [one for one in ways if set(self._pair(one).tolist()) == pair]
        if ways:
            yield min(ways, key=lambda one: float(np.hypot(*(one.mean(axis=0) - middle))))

    def _with(self, letters: _Letters, bridge: int, way: Floats) -> Pattern | None:
        """Return a pattern with a bridge moved, and its mirror images; None where it cannot be."""
        paths = letters.pattern.paths.copy()
        old, new = paths[bridge], self._work.rooted(way)
        if np.abs(old[1:3].mean(axis=0) - new[1:3].mean(axis=0)).max() <= _SAME:
            return None
        paths[bridge] = new
        for mirror in letters.axes:
            image = mirror(old)
            partner = int(np.argmin(apart(image, letters.pattern.paths)))
            paths[partner] = mirror(new) if partner != bridge else new
        pattern = Pattern(paths, letters.pattern.width)
        if not all(_symmetric(pattern, mirror) for mirror in letters.axes):
            return None
        made = self._work.laid_everywhere(pattern, letters.family, letters.own)
        if made is None or not self._work.clear(pattern):
            return None
        count = len(letters.family.members)
        return pattern if self._work.costs(made).sum() <= count * letters.most else None


def _upright(ways: Floats) -> Bools:
    across = np.abs(ways[:, 1] - ways[:, 0])
    upright: Bools = across[:, 1] > across[:, 0]
    return upright


def _symmetric(pattern: Pattern, mirror: Motion) -> bool:
    return all(apart(mirror(path), pattern.paths).min() <= _SAME for path in pattern.paths)


def _gaps(paths: Sequence[Floats]) -> Gaps:
    array = np.array(paths)
    start, end = array[:, 1], array[:, 2]
    none = np.zeros((len(array), 2), np.int64)
    return Gaps(none, start, end, np.hypot(*(end - start).T))
