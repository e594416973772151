"""Flowing: bridges whose middle lines follow the flow of the drawing, as a hand would draw them.

Bridges are chosen as straight ones; then each may bend. From its ends, and from places beside them,
lines are drawn that follow the opening's own edges (see ``cross_field``) to the other piece of
sheet. The one that costs least, how well it goes with the flow counted in, takes the place of the
straight one, for no more than a stated share. Equal openings keep equal bridges and symmetric ones
symmetric: a line is drawn once for all bridges that are each other's images. Bridges in a stated
direction stay straight. Where islands would be held worse than by the straight ones, bridges are
made a little wider; where that is not enough, the straight ones stay.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import shapely

from ..arrays import Bools, Floats, Geometries, Indices, ramp
from ..planar.congruence import Motion, mirrors
from ..planar.measured_lines import MeasuredLines
from ..planar.strips import ROUNDING, lines_of, straight_strips
from ..planar.subdivide import short_lines
from ..tolerance import NOT_ZERO, TOLERANCES
from .alike import Ground, Laid, Work, apart
from .candidates import START
from .cross_field import CrossField
from .curved_bars import evenly
from .gaps import Gaps
from .selection import HeldBy

#: A bridge may cost so much more than the straight one, as a share, and be so many times as long.
DEARER, LONGER = 0.4, 1.6
#: What disagreement with the flow costs: a line an eighth of a turn off it costs so much more, as a
#: share, than one along it.
AGAINST_FLOW = 1.0
#: And what a line costs more that doubles back where it leaves the sheet, seen from its root;
#: roots nearer to the edge than this share of the width have no direction.
KINKED, _ROOTED = 1.5, 0.1
#: Depths in widths at which the sheet is as broad as a bridge that is wider at its end.
_BROAD = (0.25, 0.5)
#: Places beside an end that lines begin at, too, in widths; not where more bridges than this bend.
_BESIDE, MANY = (-0.5, 0.5, -1.0, 1.0), 200
#: Edges are looked at in pieces of this many widths, up to so many widths beyond the bridge, and so
#: many of the nearest.
_PIECE, _AROUND, _EDGES = 0.5, 5.0, 96
#: Steps of a line a width, and at most.
_STEPS, _MOST_STEPS = 6.0, 90
#: Smooth curves from end to end: how long their handles are, as a share of the straight way, with
#: how many pieces they are drawn, and how far they are carried on into the sheet, in mm.
_HANDLE, _SMOOTH_STEPS, _INTO = 0.4, 32, 0.05
#: A line keeps clear of edges on its way by a width, or by this share of its length; the shares of
#: it at both ends are not looked at.
_CLEAR, _ENDS = 0.2, 0.35
#: Lines of one bridge that are priced, the ones that go best with the flow.
_PRICED = 6
#: Bridges this near each other's images, in mm, are the same.
_SAME = TOLERANCES.same_point
#: A line that leaves the straight one by less than this share of the width is straight.
_STRAIGHT = 0.02
#: Most that a line moves when points are left out, in mm.
_CHORD = 0.005
#: Middle lines of two bridges in one opening keep so many widths apart, where they did.
LEAST_APART = 1.5
#: A bridge that would hold worse than the straight one, being longer, is made so much wider, times.
WIDER = 1.2
#: Rounds in which bridges that run into others, or hold worse even so, are made straight again.
_ROUNDS, _LAST_ROUNDS = 8, 3

#: Returns how bridges laid along given ways hold the sheet.
HeldAlong = Callable[[Laid, Sequence[Floats]], HeldBy]


@dataclass(frozen=True)
class _Image:
    """A bridge as the image of another: which, and the motion from there to here."""

    of: int
    motion: Motion


@dataclass(frozen=True)
class _Try:
    """A way that is tried for a bridge, and how many times as wide the bridge is then."""

    way: Floats
    wider: float


def straight_ways(laid: Laid) -> list[Floats]:
    """Return the ways across openings of straight bridges, arrays (2, 2)."""
    return list(np.stack([laid.gaps.start, laid.gaps.end], axis=1))


def flowing(laid: Laid, ground: Ground, held: HeldAlong) -> tuple[Laid, list[Floats], HeldBy]:
    """Return the bridges with ways that follow the drawing, from edge to edge.

    Parameters
    ----------
    laid : Laid
    ground : Ground
    held : callable

    Returns
    -------
    laid : Laid
        The same bridges; ends and roots of those that bend may lie elsewhere.
    ways : list of float64 array (k, 2)
    held : HeldBy
        How they hold the sheet.
    """
    ways = straight_ways(laid)
    directions = ground.rules.directions
    free = ~directions.stated(laid.gaps) | directions.leaning(laid.gaps)
    if not free.any():
        return laid, ways, held(laid, ways)
    work = Work(laid, ground)
    free &= work.of_gap >= 0
    images = _images(work)
    own = sorted({images[k].of for k in np.flatnonzero(free).tolist()})
    tries = _Bending(work, [k for k in own if free[k]], images).tries()
    turn = dict.fromkeys(tries, 0)
    of_own: dict[int, list[int]] = {one: [] for one in tries}
    for k in np.flatnonzero(free).tolist():
        if images[k].of in of_own:
            of_own[images[k].of].append(k)
    straight = lines_of(ways)
    as_straight: HeldBy | None = None
    chosen: dict[int, _Try] = {}
    asked = set(tries)
    for round_ in range(_ROUNDS):
        for one in asked:
            for k in of_own[one]:
                if turn[one] < len(tries[one]):
                    chosen[k] = _placed(tries[one][turn[one]], images[k].motion, laid, k)
                else:
                    chosen.pop(k, None)
        if not chosen:
            break
        every = [chosen[k].way if k in chosen else way for k, way in enumerate(ways)]
        worse = _runs_into(straight, lines_of(every), work.of_gap, ground.rules.width)
        if not worse:
            result = _with_ways(laid, chosen, ground)
            if as_straight is None:
                as_straight = held(laid, ways)
            so_held = held(result, every)
            over = np.flatnonzero(so_held.over > as_straight.over)
            if len(over) == 0:
                return result, every, so_held
            worse = set(np.flatnonzero(np.isin(laid.gaps.pieces, over).any(axis=1)).tolist())
        # All images of a bridge go with it: to what is tried next, and late to the straight one.
        asked = {images[k].of for k in worse & set(chosen)} or {images[k].of for k in chosen}
        for one in asked:
            turn[one] = turn[one] + 1 if round_ < _ROUNDS - _LAST_ROUNDS else _ROUNDS
    return laid, ways, held(laid, ways) if as_straight is None else as_straight


def flares(ways: Sequence[Floats], width: Floats, flare: float, sheet: shapely.STRtree) -> Floats:
    """Return how much wider each bridge is at its start and its end, as shares, an array (n, 2).

    Where the sheet itself is hardly wider than a bridge, as at the tip of a strand, it is not.

    Parameters
    ----------
    ways : sequence of float64 array (k, 2)
        Middle lines from edge to edge.
    width : float64 array (n,)
    flare : float
        How much wider they are where there is room.
    sheet : STRtree
        Pieces of sheet, in small parts.
    """
    found = np.zeros((len(ways), 2))
    if not flare or not len(ways):
        return found
    half = (width / 2 * (1 + flare) * ROUNDING)[:, None]
    for side, (last, before) in enumerate(((0, 1), (-1, -2))):
        edge = np.array([way[last] for way in ways])
        along = edge - np.array([way[before] for way in ways])
        along /= np.maximum(np.hypot(*along.T), NOT_ZERO)[:, None]
        aside = half * np.stack([-along[:, 1], along[:, 0]], axis=1)
        broad = np.ones(len(ways), bool)
        for depth, sign in product(_BROAD, (1, -1)):
            spots = shapely.points(edge + depth * width[:, None] * along + sign * aside)
            inside = np.zeros(len(ways), bool)
            inside[sheet.query(spots, predicate="intersects")[0]] = True
            broad &= inside
        found[broad, side] = flare
    return found


def _with_ways(laid: Laid, chosen: dict[int, _Try], ground: Ground) -> Laid:
    """Return the bridges with the ends, widths and roots of ways that were chosen for some."""
    which = np.array(sorted(chosen), np.int64)
    gaps, paths, width = laid.gaps, laid.paths.copy(), laid.width.copy()
    start, end, length = gaps.start.copy(), gaps.end.copy(), gaps.length.copy()
    start[which] = [chosen[k].way[0] for k in which.tolist()]
    end[which] = [chosen[k].way[-1] for k in which.tolist()]
    length[which] = shapely.length(lines_of([chosen[k].way for k in which.tolist()]))
    gaps = replace(gaps, start=start, end=end, length=length)
    paths[which] = ground.roots(gaps.take(which))
    width[which] *= [chosen[k].wider for k in which.tolist()]
    return replace(laid, gaps=gaps, width=width, paths=paths)


def _placed(one: _Try, motion: Motion, laid: Laid, number: int) -> _Try:
    """Return what is tried for a bridge, moved to an image of it, from its first piece on."""
    way = motion(one.way)
    start, end = laid.gaps.start[number], laid.gaps.end[number]
    right = np.hypot(*(way[0] - start)) + np.hypot(*(way[-1] - end))
    wrong = np.hypot(*(way[-1] - start)) + np.hypot(*(way[0] - end))
    return replace(one, way=way if right <= wrong else way[::-1])


def _images(work: Work) -> list[_Image]:
    """Return for each bridge the one that it is an image of, itself where it is of no other."""
    paths = work.laid.paths
    found = [_Image(k, Motion(np.eye(2), np.zeros(2))) for k in range(len(paths))]
    if work.ground.rules.alike == "off":
        return found
    for family in work.families():
        shape = work.openings[family.members[0]]
        # Distinct bridges of the family, in the frame of its first opening.
        known: list[int] = []
        in_frame: list[Floats] = []
        back_from: list[Motion] = []
        for member, motion in zip(family.members, family.motions, strict=True):
            back = motion.inverse()
            for k in np.flatnonzero(work.of_gap == member).tolist():
                here = back(paths[k])
                image = None
                for turn in (None, *mirrors(shape)):
                    placed = here if turn is None else turn(here)
                    far = apart(placed, np.array(in_frame)) if in_frame else np.empty(0)
                    if len(far) and far.min() <= _SAME:
                        first = int(np.argmin(far))
                        from_first = back_from[first]
                        to_here = motion if turn is None else motion.after(turn)
                        image = _Image(known[first], to_here.after(from_first))
                        break
                if image is None:
                    known.append(k)
                    in_frame.append(here)
                    back_from.append(back)
                else:
                    found[k] = image
    return found


class _Bending:
    """Bridges that may bend, each for all of its images.

    Parameters
    ----------
    work : Work
    own : sequence of int
        Those that are images of no others.
    images : sequence of _Image
        Of all bridges.
    """

    def __init__(self, work: Work, own: Sequence[int], images: Sequence[_Image]) -> None:
        self._work, self._width = work, work.ground.rules.width
        self._own = np.array([k for k in own if not _on_an_axis(work, k)], np.int64)
        self._of_own: dict[int, list[Motion]] = {k: [] for k in self._own.tolist()}
        for image in images:
            if image.of in self._of_own:
                self._of_own[image.of].append(image.motion)
        gaps = work.laid.gaps.take(self._own)
        self._start, self._end, self._pieces = gaps.start, gaps.end, gaps.pieces
        self._opening = work.of_gap[self._own]
        openings = np.unique(self._opening)
        rings, of = shapely.get_rings(work.openings[openings], return_index=True)
        self._edges, ring = short_lines(rings)
        self._edge_opening = openings[of[ring]]
        self._ring_of_edge, self._rings = ring, rings
        self._edge_tree = shapely.STRtree(self._edges)

    def tries(self) -> dict[int, list[_Try]]:
        """Return what is tried for bridges that are better bent, the best first."""
        if len(self._own) == 0:
            return {}
        field = self._field()
        lines, which = self._that_fit(*self._drawn(field))
        if len(which) == 0:
            return {}
        off = AGAINST_FLOW * field.off(which, evenly(lines)) + KINKED * self._kinks(lines, which)
        score = (shapely.length(lines_of(lines)) * (1 + off)).round(9)
        order = np.lexsort((score, which))
        rank = ramp(np.bincount(which, minlength=len(self._own)))
        order = order[rank < _PRICED]
        straight = list(np.stack([self._start, self._end], axis=1))
        every = np.arange(len(straight))
        off_straight = AGAINST_FLOW * field.off(every, evenly(straight))
        off_straight += KINKED * self._kinks(straight, every)
        return self._better(
            [*straight, *(lines[k] for k in order.tolist())],
            np.append(every, which[order]),
            np.append(off_straight, off[order]),
        )

    def _field(self) -> CrossField:
        """Return the flow about each bridge, made by the edges of its own opening."""
        points, line = shapely.get_coordinates(
            shapely.segmentize(self._edges, _PIECE * self._width), return_index=True
        )
        inner = np.flatnonzero(line[1:] == line[:-1])
        step = points[inner + 1] - points[inner]
        middle = (points[inner + 1] + points[inner]) / 2
        length = np.hypot(step[:, 0], step[:, 1])
        angle = np.arctan2(step[:, 1], step[:, 0])
        opening = self._edge_opening[line[inner]]
        ways = shapely.linestrings(np.stack([self._start, self._end], axis=1))
        near, edge = shapely.STRtree(shapely.points(middle)).query(
            ways, predicate="dwithin", distance=_AROUND * self._width
        )
        own = opening[edge] == self._opening[near]
        near, edge = near[own], edge[own]
        far = shapely.distance(ways[near], shapely.points(middle[edge])).round(9)
        order = np.lexsort((far, near))
        near, edge = near[order], edge[order]
        rank = ramp(np.bincount(near, minlength=len(ways)))
        kept = rank < _EDGES
        near, edge, rank = near[kept], edge[kept], rank[kept]
        size = (len(ways), int(rank.max(initial=0)) + 1)
        at, angles, lengths = np.zeros((*size, 2)), np.zeros(size), np.zeros(size)
        at[near, rank], angles[near, rank] = middle[edge], angle[edge]
        lengths[near, rank] = length[edge]
        return CrossField(at, angles, lengths, self._width)

    def _drawn(self, field: CrossField) -> tuple[list[Floats], Indices]:
        """Return lines that follow the flow from both ends, and the bridge of each.

        Each as long as a bridge may be at most; where it leaves the opening is not known yet.
        """
        chord = np.hypot(*(self._end - self._start).T)
        every = np.arange(len(chord))
        longest = LONGER * chord + self._width
        steps = int(np.clip(_STEPS * longest.max() / self._width, 8, _MOST_STEPS))
        places = [self._beside(ends) for ends in (self._start, self._end)]
        starts, headings = [], []
        for here, others in ((places[0], self._end), (places[1], self._start)):
            towards = (others - here[0]) / np.maximum(chord, NOT_ZERO)[:, None]
            for at in here:
                starts += [at, at]
                headings += [towards, self._square(at, towards)]
        which = np.tile(every, len(starts))
        step = longest[which] / steps
        drawn = field.lines(which, np.concatenate(starts), np.concatenate(headings), step, steps)
        smooth = self._smooth(field, places)
        which = np.append(which, np.tile(every, len(smooth)))
        return [*drawn, *(line for lot in smooth for line in lot)], which

    def _beside(self, ends: Floats) -> list[Floats]:
        """Return the ends of bridges, and places beside them on the same edges."""
        ring = self._rings[self._ring_of_edge[self._edge_near(ends)]]
        round_ = np.maximum(shapely.length(ring), NOT_ZERO)
        along = shapely.line_locate_point(ring, shapely.points(ends))
        shifts = _BESIDE if len(ends) <= MANY else ()
        moved = [(along + beside * self._width) % round_ for beside in shifts]
        return [
            ends,
            *(shapely.get_coordinates(shapely.line_interpolate_point(ring, at)) for at in moved),
        ]

    def _smooth(self, field: CrossField, places: Sequence[Sequence[Floats]]) -> list[Floats]:
        """Return smooth curves between places at both ends that leave and arrive as the drawing
        flows there, or as a strand of it runs that ends there: on from the bridge's root."""
        which = np.arange(len(self._own))
        share = np.linspace(0, 1, _SMOOTH_STEPS + 1)[None, :, None]
        rest = 1 - share
        found = []
        for start, end in product(*places):
            chord = np.hypot(*(end - start).T)
            towards = (end - start) / np.maximum(chord, NOT_ZERO)[:, None]
            flows = [field.flow(which, at, towards)[0] for at in (start, end)]
            roots = self._work.ground.roots(Gaps(self._pieces, start, end, chord))
            strands = []
            for way in (start - roots[:, 0], roots[:, 3] - end):
                size = np.hypot(*way.T)[:, None]
                on = way / np.maximum(size, NOT_ZERO)
                strands.append(np.where(size > _ROOTED * self._width, on, towards))
            for out, home in (flows, strands):
                reach = _HANDLE * chord[:, None]
                corners = (start, start + reach * out, end - reach * home, end)
                a, b, c, d = (corner[:, None] for corner in corners)
                curve = (
                    rest**3 * a + 3 * rest**2 * share * b + 3 * rest * share**2 * c + share**3 * d
                )
                # A little into the sheet, so that it is seen where it meets it.
                further = (end + _INTO * home)[:, None]
                found.append(np.concatenate([curve, further], axis=1))
        return found

    def _edge_near(self, points: Floats) -> Indices:
        """Return for the end of each bridge the nearest edge of its own opening."""
        spots = shapely.points(points)
        spot, edge = self._edge_tree.query(spots, predicate="dwithin", distance=START)
        own = self._edge_opening[edge] == self._opening[spot]
        found = np.asarray(self._edge_tree.nearest(spots), np.int64)
        found[spot[own]] = edge[own]
        return found

    def _square(self, at: Floats, towards: Floats) -> Floats:
        """Return ways square to the edge at places on it, to the side of a way each."""
        edges = self._edges[self._edge_near(at)]
        along = shapely.line_locate_point(edges, shapely.points(at))
        step = np.minimum(_PIECE * self._width, shapely.length(edges)) / 2
        before, after = (
            shapely.get_coordinates(shapely.line_interpolate_point(edges, np.maximum(place, 0.0)))
            for place in (along - step, along + step)
        )
        way = after - before
        way /= np.maximum(np.hypot(way[:, 0], way[:, 1]), NOT_ZERO)[:, None]
        square = np.stack([-way[:, 1], way[:, 0]], axis=1)
        side = np.where((square * towards).sum(axis=1) < 0, -1.0, 1.0)
        turned: Floats = square * side[:, None]
        return turned

    def _that_fit(self, drawn: Sequence[Floats], which: Indices) -> tuple[list[Floats], Indices]:
        """Return lines up to the sheet that they meet, where that is what the bridge joins."""
        lines = lines_of(drawn)
        line, edge = self._edge_tree.query(lines, predicate="intersects")
        own = self._edge_opening[edge] == self._opening[which[line]]
        line, edge = line[own], edge[own]
        points, pair = shapely.get_coordinates(
            shapely.intersection(lines[line], self._edges[edge]), return_index=True
        )
        line = line[pair]
        at = shapely.line_locate_point(lines[line], shapely.points(points))
        ahead = at > max(START, 0.01 * self._width)
        line, at = line[ahead], at[ahead]
        first = np.full(len(lines), np.inf)
        np.minimum.at(first, line, at)
        met = np.flatnonzero(np.isfinite(first))
        ways = MeasuredLines.of([drawn[k] for k in met.tolist()]).up_to(first[met])
        of = which[met]
        if not ways:
            return [], of
        # From the bridge's first piece to its second.
        pieces = self._work.piece_at(np.array([way[[0, -1]] for way in ways]).reshape(-1, 2))
        pieces = pieces.reshape(-1, 2)
        forward = (pieces == self._pieces[of]).all(axis=1)
        back = (pieces[:, ::-1] == self._pieces[of]).all(axis=1)
        ways = [way if right else way[::-1] for way, right in zip(ways, forward, strict=True)]
        measured = MeasuredLines.of(ways)
        length, chord = measured.length, np.hypot(*(self._end - self._start)[of].T)
        fits = (forward | back) & (length <= LONGER * chord) & (length > TOLERANCES.same_point)
        fits &= self._inside(measured, of) & self._clear(measured)
        kept = np.flatnonzero(fits)
        return [ways[k] for k in kept.tolist()], of[kept]

    def _inside(self, ways: MeasuredLines, of: Indices) -> Bools:
        """Return which ways lie in their opening: those drawn to the wrong side do not."""
        middle = shapely.points(ways.at_shares(np.array([0.5]))[:, 0])
        which, part = self._work.opening_tree.query(middle, predicate="intersects")
        inside = np.zeros(len(ways), bool)
        inside[which[self._work.opening_of[part] == self._opening[of][which]]] = True
        return inside

    def _clear(self, ways: MeasuredLines) -> Bools:
        """Return which ways keep clear of edges between their ends."""
        share = np.linspace(_ENDS, 1 - _ENDS, 9)
        points = shapely.points(ways.at_shares(share).reshape(-1, 2))
        # Whether an edge is near is soon known, which one is nearest is not.
        least = np.repeat(np.minimum(self._width, _CLEAR * ways.length), len(share))
        near, _ = self._edge_tree.query(points, predicate="dwithin", distance=least)
        clear = np.ones(len(ways), bool)
        clear[near // len(share)] = False
        return clear

    def _better(self, lines: Sequence[Floats], of: Indices, off: Floats) -> dict[int, list[_Try]]:
        """Return what is tried of each bridge's lines, the straight one of which comes first."""
        # No line comes so near to itself that it would cross itself without some of its points.
        simple = shapely.simplify(lines_of(lines), _CHORD, preserve_topology=False)
        points, row = shapely.get_coordinates(simple, return_index=True)
        size = np.bincount(row, minlength=len(lines))
        # Lines that are as good as straight are no gain.
        start, chord = self._start[of[row]], (self._end - self._start)[of[row]]
        arm = points - start
        whole = np.maximum((chord**2).sum(axis=1), NOT_ZERO)
        off_way = arm - np.clip((arm * chord).sum(axis=1) / whole, 0, 1)[:, None] * chord
        aside = np.maximum.reduceat(np.hypot(off_way[:, 0], off_way[:, 1]), np.cumsum(size) - size)
        bent = aside > _STRAIGHT * self._width
        ways = np.split(points, np.cumsum(size)[:-1])
        placed, of_line = [], []
        # The straight ones come first, one of each bridge.
        for number in np.flatnonzero(bent | (np.arange(len(lines)) < len(self._own))).tolist():
            motions = self._of_own[int(self._own[of[number]])]
            placed += [motion(ways[number]) for motion in motions]
            of_line += [number] * len(motions)
        strips = straight_strips(placed, np.full(len(placed), self._width), quarter_segments=4)
        price = self._work.ground.prices.of_strips(strips, shapely.length(lines_of(placed)))
        total = np.bincount(of_line, price, len(lines))
        liked = total * (1 + off)
        good = bent & (liked < liked[of] * (1 - 1e-9)) & (total <= (1 + DEARER) * total[of])
        found: dict[int, list[_Try]] = {}
        order = np.flatnonzero(good)[np.lexsort((liked[good].round(9), of[good]))]
        length = shapely.length(simple)
        shortest: dict[int, float] = {}
        for line in order.tolist():
            way, own = ways[line], int(self._own[of[line]])
            mine = found.setdefault(own, [])
            if not mine:
                mine += [_Try(way, 1.0), _Try(way, WIDER)]
                shortest[own] = length[line]
            elif length[line] < shortest[own]:
                # Shorter, if not so fair: it may hold where the best does not.
                mine[2:] = [_Try(way, WIDER)]
                shortest[own] = length[line]
        return found

    def _kinks(self, lines: Sequence[Floats], of: Indices) -> Floats:
        """Return how sharply lines turn where they leave the sheet, seen from their roots."""
        start, end = (np.array([line[k] for line in lines]) for k in (0, -1))
        length = np.hypot(*(end - start).T)
        paths = self._work.ground.roots(Gaps(self._pieces[of], start, end, length))
        kinks = np.zeros(len(lines))
        for root, edge, step in ((0, 0, 1), (3, -1, -2)):
            into = np.array([line[edge] for line in lines]) - paths[:, root]
            out = np.array([line[step] - line[edge] for line in lines])
            size = np.hypot(*into.T) * np.hypot(*out.T)
            cos = (into * out).sum(axis=1) / np.maximum(size, NOT_ZERO)
            kinks += np.where(np.hypot(*into.T) > _ROOTED * self._width, (1 - cos) / 2, 0.0)
        return kinks


def _on_an_axis(work: Work, number: int) -> bool:
    """Return whether a bridge is its own image in its opening: it is straight there."""
    if work.ground.rules.alike == "off":
        return False
    path = work.laid.paths[number]
    shape = work.openings[work.of_gap[number]]
    return any(apart(turn(path), path[None])[0] <= _SAME for turn in mirrors(shape))


def _runs_into(before: Geometries, after: Geometries, opening: Indices, width: float) -> set[int]:
    """Return bridges that bend nearer to another one of their opening than a width between their
    middle lines and half of one, and nearer than they were as straight ones."""
    a, b = shapely.STRtree(after).query(after, predicate="dwithin", distance=LEAST_APART * width)
    pairs = (a < b) & (opening[a] == opening[b])
    a, b = a[pairs], b[pairs]
    nearer = shapely.distance(after[a], after[b]) < shapely.distance(before[a], before[b]) - _SAME
    return set(a[nearer].tolist()) | set(b[nearer].tolist())
