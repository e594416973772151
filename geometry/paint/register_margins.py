"""Register margins: how far apart two layers' sheets may lie before the picture shows it.

Two layers' edges that run side by side leave a strip between them. What the strip is tells what
goes wrong when the two sheets lie farther apart than the strip is wide:

=====================  ==================================================================
the strip lies in      beyond its width
=====================  ==================================================================
both                   a gap: the lower layer no longer runs under the upper one
the lower only         the upper colour gets outside its place: it reaches the lower's edge
the upper only         the lower colour peeks out from under the upper one
neither                two colours that should stay apart run together
=====================  ==================================================================

The strips are the middle lines between the one layer's edges and the other's, as far as they are
narrow. A crossing of two edges just moves with a sheet and shows nothing, unless they cross so flat
that the strip beside the crossing is long for its width. Edges that coincide have no margin at all.

Each of the two sheets may lie off its place, so that what a strip has to bear is the drift of both,
see ``Allowance``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..colour import ciede2000, hides, lab_from_srgb
from ..planar.arrangement import Partition, distinct_sets
from ..planar.cell_edges import CellEdges, cell_edges
from ..planar.graph import connected_labels, members_of
from ..planar.inside import Insides
from ..planar.medial_axis import MedialAxis, Segments, axis_between
from ..planar.middle_lines import End, MiddleLine, middle_lines
from ..progress import Progress
from ..tolerance import NOT_ZERO
from .spray_order import SEEN
from .wall import Can, final_colours

#: Beside a crossing a strip counts from this many times its width on, and from this length in mm.
LONG = 2.5
LEAST_RUN = 2.0
#: Edges that coincide count from this many times what the sheets may be apart: a trap stops short
#: of the picture's own edge by its own width, and leaves a little of the seam.
BUTTING = 1.5
#: A strip that ends within this length of a crossing, in mm, ends at it.
AT_CROSSING = 0.5
#: Two edges are nearest beside a piece of the strip if no farther apart than this many times its
#: width.
NEAREST = 1.001
#: A strip has come near again where it is narrower by this factor than it was before.
DIP = 1.25
#: Distance of sites as a share of the strip's width, and at least of the reach, and rounds of
#: refining: coarse, for the width is that between the edges themselves.
FINENESS, FINEST, ROUNDS = 0.35, 0.03, 2
#: Margins are looked for up to this many times what sheets may lie apart, and this many mm.
LOOK_AHEAD, LEAST_REACH = 1.25, 5.0
#: Ways in which the drifts of two sheets add up.
WORST_CASE, ROOT_SUM_SQUARE = "worst case", "root sum square"


class Trouble(Enum):
    """What shows when two sheets lie too far apart."""

    GAP = "gap"
    OUTSIDE = "colour outside its place"
    PEEK = "lower colour peeks out"
    TOUCH = "colours run together"


TROUBLES = tuple(Trouble)


@dataclass(frozen=True)
class Allowance:
    """How far each sheet may lie off its place, and how much that is between two of them.

    Parameters
    ----------
    drift_mm : float
        Shift of each sheet, any way.
    turn_deg : float
        Turn of each sheet, either way.
    centre : tuple of float
        That sheets turn about, in mm.
    add_up : str
        ``"worst case"``: both sheets drift and turn as far as they may, against each other.
        ``"root sum square"``: the root of the sum of squares of the four, which independent errors
        exceed seldom. Both are the usual ways of adding up tolerances (Drake, Dimensioning and
        Tolerancing Handbook, 1999, chapter 9; from memory).

    Examples
    --------
    >>> Allowance(1.0, 0.0, (0.0, 0.0)).between(np.array([[500.0, 0.0]])).tolist()
    [2.0]
    """

    drift_mm: float
    turn_deg: float
    centre: tuple[float, float]
    add_up: str = WORST_CASE

    def single(self, points: Floats) -> Floats:
        """Return how far points (n, 2) of one sheet may lie off: drift, and lever times turn."""
        found: Floats = self.drift_mm + self._turned(points)
        return found

    def between(self, points: Floats) -> Floats:
        """Return how far apart points (n, 2) of two sheets may lie that belong together."""
        if self.add_up == ROOT_SUM_SQUARE:
            found: Floats = np.sqrt(2 * (self.drift_mm**2 + self._turned(points) ** 2))
        else:
            found = 2 * self.single(points)
        return found

    def _turned(self, points: Floats) -> Floats:
        lever = np.hypot(*(points - self.centre).T)
        turned: Floats = 2 * lever * np.sin(np.radians(self.turn_deg) / 2)
        return turned

    def sentence(self) -> str:
        """Return what is counted on, in words."""
        how = "the worst of both" if self.add_up == WORST_CASE else "both as root sum square"
        return f"{self.drift_mm:g} mm and {self.turn_deg:g} degrees a sheet, {how}"


@dataclass(frozen=True)
class Margin:
    """A place where two layers' edges run side by side.

    Parameters
    ----------
    lower, upper : int
        Positions of the layers in spray order.
    trouble : Trouble
        What shows beyond the margin.
    width_mm : float
        How far apart the two sheets may lie there.
    needed_mm : float
        How far apart they may come to lie there by the job's allowance.
    turn_deg : float
        How far one sheet alone may turn about the turning centre: a safe bound.
    place, other : tuple of float
        x, y in mm, on the upper layer's edge and on the lower's, where the margin lacks most.
    difference : float
        CIEDE2000 between what would show and what should.
    crossing : bool
        Whether the edges cross beside it; else the width is their distance.
    """

    lower: int
    upper: int
    trouble: Trouble
    width_mm: float
    needed_mm: float
    turn_deg: float
    place: tuple[float, float]
    other: tuple[float, float]
    difference: float
    crossing: bool

    @property
    def lacking_mm(self) -> float:
        """How much wider it would have to be; below 0 where it is wide enough."""
        return self.needed_mm - self.width_mm


def register_margins(
    shapes: Sequence[MultiPolygon],
    cans: Sequence[Can],
    ground: str,
    cells: Partition,
    wanted: Bools,
    allowance: Allowance,
    progress: Progress | None = None,
) -> tuple[Margin, ...]:
    """Return the margins of all pairs of layers.

    Parameters
    ----------
    shapes : sequence of MultiPolygon
        What each layer paints, in spray order, in mm.
    cans : sequence of Can
    ground : str
    cells : Partition
        Of all shapes, and any others.
    wanted : bool array (n, layers)
        Which layers' shapes each cell lies in.
    allowance : Allowance
    progress : Progress, optional

    Returns
    -------
    tuple of Margin
        Those that lack most first. Those in which the difference could not be seen are left out,
        and those that a later, opaque layer hides.
    """
    progress = progress or Progress()
    if not any(not shape.is_empty for shape in shapes):
        return ()
    edges = cell_edges(cells)
    outside = np.zeros((1, wanted.shape[1]), bool)
    inside = np.concatenate([wanted, outside])  # -1 is outside of the frame
    changes = inside[edges.left] != inside[edges.right]
    bounds = np.array([s.bounds for s in shapes if not s.is_empty])
    far = np.array(
        [
            (x, y)
            for x in (bounds[:, 0].min(), bounds[:, 2].max())
            for y in (bounds[:, 1].min(), bounds[:, 3].max())
        ]
    )
    reach = max(LOOK_AHEAD * float(allowance.between(far).max()), LEAST_REACH)
    layers = _Layers(edges, changes, Insides(shapes), cans, ground, allowance)
    pairs = layers.pairs_within(reach)
    found: list[Margin] = []
    for number, (lower, upper) in enumerate(pairs):
        progress(number / len(pairs), "measuring register margins")
        pair = _Pair(layers, lower, upper)
        found += pair.coinciding(inside)
        found += pair.strips(reach)
    found.sort(key=lambda m: (-m.lacking_mm, m.width_mm, m.lower, m.upper, m.place))
    return tuple(_worst_of_neighbours(found))


def _worst_of_neighbours(found: Sequence[Margin]) -> list[Margin]:
    """Leave margins out that lie as near to a worse one of their kind as sheets may be apart."""
    kept: list[Margin] = []
    # Those kept by square, as wide as any margin's needs, so that only nine have to be looked at.
    square = max((m.needed_mm for m in found), default=0.0) or 1.0
    places: dict[tuple[int, int, int, int, Trouble], list[tuple[float, float]]] = {}
    for margin in found:
        x, y = margin.place
        column, row = math.floor(x / square), math.floor(y / square)
        kind = margin.lower, margin.upper, margin.trouble
        near = (
            math.hypot(a - x, b - y)
            for i in (-1, 0, 1)
            for j in (-1, 0, 1)
            for a, b in places.get((column + i, row + j, *kind), ())
        )
        if all(apart > margin.needed_mm for apart in near):
            kept.append(margin)
            places.setdefault((column, row, *kind), []).append(margin.place)
    return kept


class _Layers:
    """All layers, and what their pairs share.

    Parameters
    ----------
    edges : CellEdges
    changes : bool array (n, layers)
        Which layers each edge is one of.
    covering : Insides
        Of the layers' shapes.
    cans : sequence of Can
    ground : str
    allowance : Allowance
    """

    def __init__(
        self,
        edges: CellEdges,
        changes: Bools,
        covering: Insides,
        cans: Sequence[Can],
        ground: str,
        allowance: Allowance,
    ) -> None:
        self.edges, self.covering = edges, covering
        self.cans, self.ground, self.allowance = cans, ground, allowance
        layer, number = np.nonzero(np.ascontiguousarray(changes.T))
        ends = np.searchsorted(layer, np.arange(1, changes.shape[1]))
        #: Numbers of each layer's edges, rising.
        self.own = np.split(number, ends)
        self.hiding = np.array([hides(can.opacity) for can in cans], bool)

    def pairs_within(self, reach: float) -> list[tuple[int, int]]:
        """Return the pairs of layers, lower and upper, whose boxes come within a reach."""
        boxes = np.full((len(self.own), 4), np.nan)
        for layer, own in enumerate(self.own):
            if len(own):
                ends = np.concatenate([self.edges.start[own], self.edges.end[own]])
                boxes[layer] = (*ends.min(axis=0), *ends.max(axis=0))
        low, high = boxes[:, :2], boxes[:, 2:] + reach
        near = ((low[:, None] <= high) & (low <= high[:, None])).all(axis=2)
        upper, lower = np.nonzero(np.tril(near, -1))
        return list(zip(lower.tolist(), upper.tolist(), strict=True))


class _Pair:
    """Two layers, and what shows between them."""

    def __init__(self, layers: _Layers, lower: int, upper: int) -> None:
        self._layers, self._lower, self._upper = layers, lower, upper
        self._edges, self._allowance = layers.edges, layers.allowance
        self._cans, self._ground = layers.cans, layers.ground

    def coinciding(self, inside: Bools) -> list[Margin]:
        """Return a margin of 0 for each stretch along which both layers' edges are one."""
        edges = self._edges
        lower, upper = (self._layers.own[k] for k in (self._lower, self._upper))
        number = np.intersect1d(lower, upper, assume_unique=True)
        if not len(number):
            return []
        left, right = inside[edges.left[number]], inside[edges.right[number]]
        same_side = left[:, self._lower] == left[:, self._upper]
        trouble = np.where(same_side, TROUBLES.index(Trouble.PEEK), TROUBLES.index(Trouble.GAP))
        # On the upper layer's side.
        covered = np.where(left[:, [self._upper]], left, right)
        seen = self._differences(covered, trouble)
        seen[self._hidden(left) & self._hidden(right)] = 0.0
        shown = seen > SEEN
        number, trouble, seen = number[shown], trouble[shown], seen[shown]
        found: list[Margin] = []
        start, end = edges.start[number], edges.end[number]
        length = np.hypot(*(end - start).T)
        needed = self._allowance.between((start + end) / 2)
        for kind in np.unique(trouble).tolist():
            own = np.flatnonzero(trouble == kind)
            _, vertex = np.unique(edges.vertices[number[own]], return_inverse=True)
            vertex = vertex.reshape(-1, 2)
            label = connected_labels(int(vertex.max()) + 1, vertex)[vertex[:, 0]]
            for run in members_of(label, own):
                worst = run[np.argmax(needed[run])]
                if length[run].sum() < max(LEAST_RUN, BUTTING * needed[worst]):
                    continue
                at = _pair((start[worst] + end[worst]) / 2)
                found.append(
                    Margin(
                        self._lower,
                        self._upper,
                        TROUBLES[kind],
                        0.0,
                        float(needed[worst]),
                        0.0,
                        at,
                        at,
                        float(seen[worst]),
                        False,
                    )
                )
        return found

    def strips(self, reach: float) -> list[Margin]:
        """Return the margins of strips between the one layer's edges and the other's."""
        edges = self._edges
        one, other = (self._layers.own[k] for k in (self._lower, self._upper))
        number = np.setxor1d(one, other, assume_unique=True)
        if not len(number):
            return []
        mark = np.where(np.isin(number, other, assume_unique=True), 2, 1).astype(np.int64)
        near = _near_another(edges.start[number], edges.end[number], mark, reach)
        number, mark = number[near], mark[near]
        if not len(number):
            return []
        count = len(number)
        segments = Segments(
            edges.start[number],
            edges.end[number],
            # No two of them round one corner: only strips between the two layers are asked for.
            np.arange(count),
            np.zeros(count),
            np.full(count, np.inf),
            mark,
        )

        def between_layers(middle: Floats, segment: Indices, sites: Indices) -> Bools:
            return (sites == 3).sum(axis=1) + (sites[:, 0] != sites[:, 1]) == 1

        group = _clusters((segments.start + segments.end) / 2, segments, reach)
        axis = axis_between(
            segments, group, reach, between_layers, fineness=FINENESS, finest=FINEST, rounds=ROUNDS
        )
        vertices = edges.vertices
        crossing = np.intersect1d(vertices[one], vertices[other])
        ends = np.concatenate([edges.start[one], edges.end[one]])
        places = ends[np.isin(vertices[one].T.ravel(), crossing)]
        return self._margins(axis, segments, _distance_to(np.unique(places, axis=0), axis))

    def _margins(self, axis: MedialAxis, segments: Segments, to_crossing: Floats) -> list[Margin]:
        if not len(axis.edges):
            return []
        lines = segments.lines()
        middle = axis.points[axis.edges].mean(axis=1)
        covered = self._layers.covering(middle)
        in_lower, in_upper = covered[:, self._lower], covered[:, self._upper]
        trouble = np.select([in_lower & in_upper, in_lower, in_upper], [0, 1, 2], default=3).astype(
            np.int64
        )
        seen = self._differences(covered, trouble)
        shown = (seen > SEEN) & ~self._hidden(covered)
        needed = self._allowance.between(middle)
        lever = np.hypot(*(middle - self._allowance.centre).T)
        share = np.clip(axis.width / np.maximum(2 * lever, NOT_ZERO), 0, 1)
        turn = np.degrees(2 * np.arcsin(share))
        found: list[Margin] = []
        for kind in range(len(TROUBLES)):
            for line in middle_lines(axis, np.flatnonzero(shown & (trouble == kind))):
                spot = _tightest(axis, line, needed, to_crossing)
                if spot is None:
                    continue
                piece, width, crossing = spot
                feet = _feet(axis, piece, lines, width)
                upper_first = segments.mark[axis.segment[piece, 0]] == 2
                place, other = feet if upper_first else feet[::-1]
                found.append(
                    Margin(
                        self._lower,
                        self._upper,
                        TROUBLES[kind],
                        width,
                        float(needed[piece]),
                        float(turn[line.pieces].min()),
                        _pair(place),
                        _pair(other),
                        float(seen[piece]),
                        crossing,
                    )
                )
        return found

    def _hidden(self, covered: Bools) -> Bools:
        """Return which of the sets of layers (n, layers) have a later one that hides the pair."""
        later = self._upper + 1
        return np.asarray((covered[:, later:] & self._layers.hiding[later:]).any(axis=1), np.bool_)

    def _differences(self, covered: Bools, trouble: Indices) -> Floats:
        """Return how different the colour that shows in a trouble is from the one that should."""
        bare = covered.copy()
        bare[:, [self._lower, *range(self._upper, len(self._cans))]] = False
        lower, upper = bare.copy(), bare.copy()
        lower[:, self._lower] = True
        upper[:, self._upper] = True
        gap, peek = trouble == TROUBLES.index(Trouble.GAP), trouble == TROUBLES.index(Trouble.PEEK)
        should = np.where(gap[:, None], upper, bare)
        shows = np.where(gap[:, None], bare, np.where(peek[:, None], lower, upper))
        both, number = distinct_sets(np.concatenate([should, shows], axis=1))
        count = len(self._cans)
        colours = [
            lab_from_srgb(final_colours(half, self._cans, self._ground))
            for half in (both[:, :count], both[:, count:])
        ]
        difference: Floats = ciede2000(*colours)[number]
        return difference


def _near_another(start: Floats, end: Floats, mark: Indices, reach: float) -> Bools:
    """Return which edges lie within a reach of one that has another mark, of two."""
    # Two points in one square are nearer than its diagonal: most are found like that.
    square = np.floor(np.concatenate([start, end]) / (reach / np.sqrt(2.001))).astype(np.int64)
    square -= square.min(axis=0)
    key = square[:, 0] * (square[:, 1].max() + 1) + square[:, 1]
    _, key = np.unique(key, return_inverse=True)
    both = np.concatenate([mark, mark])
    has = np.zeros((2, int(key.max()) + 1), bool)
    for own in (0, 1):
        has[own, key[both == own + 1]] = True
    near: Bools = has.all(axis=0)[key].reshape(2, -1).any(axis=0)
    for own in (1, 2):
        mine, others = np.flatnonzero((mark == own) & ~near), np.flatnonzero(mark != own)
        if len(mine) and len(others):
            lines = [
                shapely.linestrings(np.stack([start[k], end[k]], axis=1)) for k in (mine, others)
            ]
            found, _ = shapely.STRtree(lines[1]).query_nearest(
                lines[0], max_distance=reach, all_matches=False
            )
            near[mine[found]] = True
    return near


def _clusters(middle: Floats, segments: Segments, reach: float) -> Indices:
    """Return groups of segments that lie farther apart than the reach, by squares of that size."""
    longest = np.hypot(*(segments.end - segments.start).T) / 2
    square = reach + 2 * float(np.quantile(longest, 0.99))
    long = np.flatnonzero(longest > square / 2)
    if len(long):
        return np.zeros(len(middle), np.int64)
    spot = np.floor(middle / square).astype(np.int64)
    spot -= spot.min(axis=0)
    wide = int(spot[:, 1].max()) + 3
    key = (spot[:, 0] + 1) * wide + spot[:, 1] + 1
    used, number = np.unique(key, return_inverse=True)
    links = []
    for step in (1, wide - 1, wide, wide + 1):
        place = np.searchsorted(used, used + step)
        place = np.minimum(place, len(used) - 1)
        hit = np.flatnonzero(used[place] == used + step)
        links.append(np.stack([hit, place[hit]], axis=1))
    return connected_labels(len(used), np.concatenate(links))[number.reshape(-1)]


def _feet(axis: MedialAxis, piece: int, lines: Geometries, width: float) -> Floats:
    """Return the nearest points of the two edges beside a piece of axis, (2, 2)."""
    nearest = shapely.shortest_line(*lines[axis.segment[piece]])
    feet: Floats = shapely.get_coordinates(nearest)
    # Edges that run parallel are as near everywhere.
    here = np.hypot(*(feet - axis.feet[piece]).T).max() < width
    return feet if here and nearest.length <= NEAREST * width else axis.feet[piece]


def _distance_to(crossings: Floats, axis: MedialAxis) -> Floats:
    """Return each node's distance to the nearest crossing, infinite beyond ``LEAST_RUN``."""
    distance = np.full(len(axis.points), np.inf)
    if len(crossings):
        (node, _), found = shapely.STRtree(shapely.points(crossings)).query_nearest(
            shapely.points(axis.points),
            max_distance=LEAST_RUN,
            return_distance=True,
            all_matches=False,
        )
        distance[node] = found
    return distance


def _tightest(
    axis: MedialAxis, line: MiddleLine, needed: Floats, to_crossing: Floats
) -> tuple[int, float, bool] | None:
    """Return the piece of a strip where its margin lacks most, that margin, and whether the strip
    ends at a crossing; None where it is only what lies beside one."""
    pieces = line.pieces
    width, length = axis.width[pieces], axis.lengths[pieces]
    tips = [
        end in (End.FREE, End.BRANCHING) and bool(to_crossing[node] < AT_CROSSING)
        for end, node in zip(line.ends, line.nodes[[0, -1]], strict=True)
    ]
    counted: Bools = np.asarray(~np.isfinite(to_crossing[axis.edges[pieces]]).any(axis=1), np.bool_)
    index = np.arange(len(pieces))
    at: list[int] = []
    margins: list[float] = []
    for tip, order in zip(tips, (slice(None), slice(None, None, -1)), strict=True):
        if not tip:
            continue
        widest = np.maximum.accumulate(width[order])
        gone = np.cumsum(length[order])
        runs = np.flatnonzero(gone >= np.maximum(LONG * widest, LEAST_RUN))
        if len(runs):
            at.append(int(index[order][runs[0]]))
            margins.append(float(widest[runs[0]]))
        beyond = index >= (runs[0] if len(runs) else len(pieces))
        counted[order] &= beyond | (width[order] * DIP < widest)
    places = np.concatenate([np.array(at, np.int64), index[counted]])
    if not len(places):
        return None
    margin = np.concatenate([np.array(margins, np.float64), width[counted]])
    worst = int(np.argmax(needed[pieces[places]] - margin))
    return int(pieces[places[worst]]), float(margin[worst]), any(tips)


def _pair(point: Floats) -> tuple[float, float]:
    return float(point[0]), float(point[1])
