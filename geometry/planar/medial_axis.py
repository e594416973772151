"""Medial axis: the middle lines of a shape, with the distance to its edge at every point.

A point of the axis has two nearest points on the edge, its feet. The edge is sampled by points, the
sites; Delaunay triangles of the sites have their circumcentres on the axis, and each Delaunay edge
between two sites is crossed by the piece of axis whose feet they are. Sampling is as fine as the
shape is narrow: between two walls the sites lie ``FINENESS`` of the walls' distance apart, so that
the axis of straight walls is off by less than 0.4 % of it.

Sources: the Voronoi diagram of boundary samples converges to the medial axis (Brandt and Algazi,
1992); an edge of the diagram belongs to the axis where the boundary between its two sites is long
for the sites' distance (chord residual, Ogniewicz and Kuebler 1995). Both from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..threads import map_geometries

#: Distance of neighbouring sites as a share of the distance to the wall opposite.
FINENESS = 0.125
#: Sites lie no nearer than this share of the widest width that is asked for.
FINEST = 0.01
#: First distance of sites as a share of the same width.
COARSEST = 0.25
#: Rounds of refining; two are the rule, more where walls come near only after the first.
MOST_ROUNDS = 10
#: Sites that are coarser than was asked for are close enough when so many times as many are wanted.
ENOUGH = 1.005
#: Where the edge between two feet is shorter than this many times their distance, they lie round
#: one corner: corners of more than 84 degrees, half circles and all blunter have no branch.
ROUND_A_CORNER = 1.5
#: A foot is at a corner where no point of the boundary beside it is nearer by this share.
STILL = 1e-9
#: Four sites are on one circle where the sine of their opposite angles' sum is nearer to 0 than
#: this; rounds of flipping edges that are not Delaunay.
COCIRCULAR, MOST_FLIPS = 1e-9, 200
#: Triangles whose height is under this share of their longest side have no centre worth having.
FLAT = 1e-9
#: Angles in radians by which sites are turned until GEOS triangulates them.
TURNS = (0.0, 0.61, 1.27, 2.03)


@dataclass(frozen=True)
class Segments:
    """Straight pieces of boundary lines.

    Parameters
    ----------
    start, end : float64 array (n, 2)
        In mm.
    ring : int64 array (n,)
        Number of the line that each belongs to.
    at : float64 array (n,)
        Length of the line up to the start.
    around : float64 array (n,)
        Length of the whole line where it is closed, infinite where it is not.
    mark : int64 array (n,)
        Any bits of the caller's, which meet in a site that several segments share.
    """

    start: Floats
    end: Floats
    ring: Indices
    at: Floats
    around: Floats
    mark: Indices

    def __len__(self) -> int:
        return len(self.start)

    def take(self, which: Indices | Bools) -> Segments:
        """Return some of the segments."""
        return Segments(
            self.start[which],
            self.end[which],
            self.ring[which],
            self.at[which],
            self.around[which],
            self.mark[which],
        )

    def lines(self) -> Geometries:
        """Return the segments as line strings."""
        lines: Geometries = shapely.linestrings(np.stack([self.start, self.end], axis=1))
        return lines


def segments_of(rings: Geometries) -> Segments:
    """Return the straight pieces of closed rings.

    Parameters
    ----------
    rings : object array (r,) of LinearRing

    Examples
    --------
    >>> segments_of(shapely.get_rings(shapely.box(0, 0, 3, 1))).at.tolist()
    [0.0, 1.0, 4.0, 5.0]
    """
    points, ring = shapely.get_coordinates(rings, return_index=True)
    first = np.flatnonzero(ring[1:] == ring[:-1])
    first = first[(points[first + 1] != points[first]).any(axis=1)]
    length = np.hypot(*(points[first + 1] - points[first]).T)
    of = ring[first].astype(np.int64)
    around = np.bincount(of, length, len(rings))
    passed = np.cumsum(length) - length
    begin = np.full(len(rings), np.inf)
    np.minimum.at(begin, of, passed)
    return Segments(
        points[first],
        points[first + 1],
        of,
        passed - begin[of],
        around[of],
        np.zeros(len(first), np.int64),
    )


@dataclass(frozen=True)
class MedialAxis:
    """Middle lines as a graph.

    Parameters
    ----------
    points : float64 array (n, 2)
        Nodes in mm.
    clearance : float64 array (n,)
        Distance of each node to its feet.
    mouth : bool array (n,)
        Whether the axis goes on beyond the node, in a part that is wider than was asked for.
    edges : int64 array (m, 2)
        Nodes at the ends of each piece of axis. Along a piece the clearance rises or falls.
    width : float64 array (m,)
        Distance between the boundary at the piece's one side and at its other.
    still : bool array (m,)
        Whether a foot stays at a corner, as where a narrow place opens into a wide one.
    feet : float64 array (m, 2, 2)
        A site on each side.
    segment : int64 array (m, 2)
        Segments that the two sites lie on.
    group : int64 array (m,)
        Group of the segments of each piece.
    coarser : float
        How many times further apart sites lie than was asked for, being too many.
    """

    points: Floats
    clearance: Floats
    mouth: Bools
    edges: Indices
    width: Floats
    still: Bools
    feet: Floats
    segment: Indices
    group: Indices
    coarser: float = 1.0

    @cached_property
    def lengths(self) -> Floats:
        """Length of each piece in mm."""
        steps = self.points[self.edges[:, 1]] - self.points[self.edges[:, 0]]
        lengths: Floats = np.hypot(*steps.T)
        return lengths


Wanted = Callable[[Floats, Indices, Indices], Bools]


def axis_between(
    segments: Segments,
    group: Indices,
    limit: float,
    wanted: Wanted,
    *,
    fineness: float = FINENESS,
    finest: float = FINEST,
    rounds: int = MOST_ROUNDS,
    most_sites: float = np.inf,
) -> MedialAxis:
    """Return the medial axis between boundary segments where it is narrower than a limit.

    Parameters
    ----------
    segments : Segments
        Each at least as far as half the limit from where the axis is wanted.
    group : int64 array (n,)
        Segments of different groups do not see each other.
    limit : float
        Width in mm: the axis is cut off where it gets wider.
    wanted : callable
        Takes the middles (k, 2) between feet, the segments (k, 2) that the feet lie on and their
        marks (k, 2); returns which the axis is wanted between, as a bool array (k,).
    fineness : float
        Distance of sites as a share of the local width. The width of straight walls, and between
        corners, is exact; the axis lies off by less than ``fineness ** 2 / 4`` of it.
    finest : float
        Sites lie no nearer than this share of the limit.
    rounds : int
        Rounds of refining at most.
    most_sites : float
        Where more would be wanted, as on a comb of hundreds of thin teeth, all lie so many times
        further apart.

    Returns
    -------
    MedialAxis
    """
    sites = _Sites(segments, group, COARSEST * limit, limit)
    return _refined(sites, limit, wanted, fineness, finest * limit, rounds, most_sites)


def medial_axis(shape: Polygon | MultiPolygon, spacing: float) -> MedialAxis:
    """Return the whole medial axis of polygons.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        Valid, in mm.
    spacing : float
        Distance of sites in mm where the shape is wide; closer where it is narrow.

    Returns
    -------
    MedialAxis
        No node is a mouth. Corners of more than 84 degrees have no branch.

    Examples
    --------
    >>> axis = medial_axis(shapely.box(0, 0, 20, 2), 0.25)
    >>> round(float(axis.clearance.max()), 3), round(float(axis.lengths.sum()), 1)
    (1.0, 18.0)
    """
    parts = shapely.get_parts(shape)
    rings, part = shapely.get_rings(parts, return_index=True)
    segments = segments_of(rings)
    group = part[segments.ring].astype(np.int64)
    widest = 2 * float(np.hypot(*np.diff(np.reshape(shape.bounds, (2, 2)), axis=0)[0]))
    shapely.prepare(parts)

    def inside(middle: Floats, segment: Indices, mark: Indices) -> Bools:
        found: Bools = shapely.contains_xy(parts[group[segment[:, 0]]], *middle.T)
        return found

    sites = _Sites(segments, group, spacing, widest)
    return _refined(sites, widest, inside, FINENESS, FINEST * spacing / COARSEST, MOST_ROUNDS)


def _refined(
    sites: _Sites,
    limit: float,
    wanted: Wanted,
    fineness: float,
    floor: float,
    rounds: int,
    most_sites: float = np.inf,
) -> MedialAxis:
    """Make the sites as close as the axis between them is narrow, and return that axis."""
    raw = _raw_axis(sites, np.arange(len(sites.points)), limit, wanted)
    coarser = 1.0
    for _ in range(rounds):
        room = np.full(len(sites.points), np.inf)
        apart = np.maximum(fineness * raw.apart, floor)
        np.minimum.at(room, raw.sites.ravel(), np.repeat(apart, 2))
        before = len(sites.points)
        coarser = max(coarser, sites.wanted(room) / most_sites)
        # Too many anyway: a last few more would be as dear as all of them.
        if coarser > 1 and sites.wanted(coarser * room) < ENOUGH * len(sites.pieces):
            break
        if not sites.refine(coarser * room):
            break
        # Most groups have nothing narrow in them, or are fine enough sooner than others.
        changed = np.flatnonzero(np.isin(sites.group, sites.group[before:]))
        raw = raw.renewed(sites, changed, _raw_axis(sites, changed, limit, wanted))
    return replace(_finished(sites, raw, limit), coarser=coarser)


class _Sites:
    """Points on boundary segments, and the pieces of boundary between neighbouring ones."""

    def __init__(self, segments: Segments, group: Indices, spacing: float, far: float) -> None:
        self.segments = segments
        self._group = group
        count = len(segments)
        keys = np.concatenate([segments.start, segments.end])
        both = np.concatenate([group, group])
        order = np.lexsort((keys[:, 1], keys[:, 0], both))
        new = np.ones(2 * count, bool)
        new[1:] = (np.diff(keys[order], axis=0) != 0).any(axis=1) | (np.diff(both[order]) != 0)
        number = np.empty(2 * count, np.int64)
        number[order] = np.cumsum(new) - 1
        first = np.empty(int(new.sum()), np.int64)
        # Of equal points the one that stands first, so that the result has a steady order.
        first[number[::-1]] = np.arange(2 * count)[::-1]
        self.points: Floats = keys[first]
        self.group: Indices = both[first]
        self.segment: Indices = first % count
        at = np.concatenate([segments.at, segments.at + _length(segments.end - segments.start)])
        self.at: Floats = at[first]
        self.mark: Indices = np.zeros(len(first), np.int64)
        np.bitwise_or.at(self.mark, number, np.concatenate([segments.mark, segments.mark]))
        self.pieces: Indices = np.stack([number[:count], number[count:]], axis=1)
        self._piece_segment: Indices = np.arange(count)
        self.refine(np.full(len(first), spacing))
        self._add_far_ones(far)

    def _add_far_ones(self, far: float) -> None:
        """Add four points round each group, so far off that all axes are cut off before them.

        With them no pair of sites is on the hull, and every one has a triangle on either side.
        """
        groups, number = np.unique(self.group, return_inverse=True)
        box = np.full((len(groups), 2, 2), np.inf)
        np.minimum.at(box[:, 0], number, self.points)
        np.minimum.at(box[:, 1], number, -self.points)
        low, high = box[:, 0] - 2 * far, 2 * far - box[:, 1]
        corners = np.stack(
            [low, np.stack([high[:, 0], low[:, 1]], 1), high, np.stack([low[:, 0], high[:, 1]], 1)]
        ).reshape(-1, 2)
        count = len(corners)
        self.points = np.concatenate([self.points, corners])
        self.group = np.concatenate([self.group, np.tile(groups, 4)])
        for name in ("segment", "mark"):
            setattr(self, name, np.concatenate([getattr(self, name), np.zeros(count, np.int64)]))
        self.at = np.concatenate([self.at, np.zeros(count)])

    def wanted(self, room: Floats) -> float:
        """Return about how many sites there are when pieces are as short as their ends' room."""
        a, b = self.pieces.T
        least = np.minimum(room[a], room[b])
        return float(np.maximum(_length(self.points[b] - self.points[a]) / least, 1.0).sum())

    def refine(self, room: Floats) -> bool:
        """Split pieces longer than the room of their ends; return whether any was."""
        a, b = self.pieces.T
        length = _length(self.points[b] - self.points[a])
        least = np.minimum(room[a], room[b])
        parts = np.ones(len(length), np.int64)
        # A hair more room, so that rounding asks for no further part.
        too_long = np.isfinite(least) & (length > 1.001 * least)
        parts[too_long] = np.ceil(length[too_long] / least[too_long] - 1e-3).astype(np.int64)
        cut = parts > 1
        if not cut.any():
            return False
        of = np.repeat(np.flatnonzero(cut), parts[cut] - 1)
        start = np.cumsum(parts[cut] - 1) - (parts[cut] - 1)
        step = np.arange(len(of)) - np.repeat(start, parts[cut] - 1) + 1
        share = (step / parts[of])[:, None]
        added = self.points[a[of]] * (1 - share) + self.points[b[of]] * share
        segment = self._piece_segment[of]
        numbers = len(self.points) + np.arange(len(of))
        last = step == parts[of] - 1
        first = step == 1
        before = np.where(first, a[of], numbers - 1)
        pieces = np.stack([before, numbers], axis=1)
        closing = np.stack([numbers[last], b[of[last]]], axis=1)
        self.pieces = np.concatenate([self.pieces[~cut], pieces, closing])
        self._piece_segment = np.concatenate([self._piece_segment[~cut], segment, segment[last]])
        self.points = np.concatenate([self.points, added])
        self.group = np.concatenate([self.group, self._group[segment]])
        self.segment = np.concatenate([self.segment, segment])
        self.mark = np.concatenate([self.mark, self.segments.mark[segment]])
        along = self.segments.at[segment] + _length(added - self.segments.start[segment])
        self.at = np.concatenate([self.at, along])
        return True

    def beside(self) -> Indices:
        """Return for each site two of the pieces that end at it, (n, 2); twice the same if one."""
        ends = self.pieces.T.ravel()
        order = np.argsort(ends, kind="stable")
        piece = order % len(self.pieces)
        starts = np.searchsorted(ends[order], np.arange(len(self.points) + 1))
        first = np.minimum(starts[:-1], len(ends) - 1)
        second = np.clip(starts[1:] - 1, first, first + 1)
        return np.stack([piece[first], piece[second]], axis=1)


@dataclass(frozen=True)
class _RawAxis:
    """Pieces of axis before they are cut off: circumcentres, the group of each, and the pairs of
    sites."""

    centres: Floats
    group: Indices
    ends: Indices
    sites: Indices
    apart: Floats

    def renewed(self, sites: _Sites, changed: Indices, new: _RawAxis) -> _RawAxis:
        """Return the axis with that of the groups of changed sites in the place of theirs.

        All stands in the order in which it would had everything been worked out at once.
        """
        if len(changed) == len(sites.points):
            return new
        gone = sites.group[changed]
        kept = np.flatnonzero(~np.isin(self.group, gone))
        stays = ~np.isin(sites.group[self.sites[:, 0]], gone)
        group = np.concatenate([self.group[kept], new.group])
        order = np.argsort(group, kind="stable")
        place = np.empty(len(order), np.int64)
        place[order] = np.arange(len(order))
        old_place = np.zeros(len(self.group), np.int64)
        old_place[kept] = place[: len(kept)]
        ends = np.concatenate([old_place[self.ends[stays]], place[len(kept) :][new.ends]])
        pairs = np.concatenate([self.sites[stays], new.sites])
        by_pair = np.lexsort((pairs[:, 1], pairs[:, 0]))
        return _RawAxis(
            np.concatenate([self.centres[kept], new.centres])[order],
            group[order],
            ends[by_pair],
            pairs[by_pair],
            np.concatenate([self.apart[stays], new.apart])[by_pair],
        )


def _raw_axis(sites: _Sites, among: Indices, limit: float, wanted: Wanted) -> _RawAxis:
    """Return the axis between some sites: all those of their groups, by number."""
    triangles, pair, ends = _delaunay(sites, among)
    centres, sound = _centres(sites.points, triangles)
    count = len(sites.points)
    apart = _length(sites.points[pair[:, 1]] - sites.points[pair[:, 0]])
    asked = np.zeros(count, bool)
    asked[among] = True
    neighbours = np.sort(sites.pieces[asked[sites.pieces[:, 0]]], axis=1)
    known = neighbours[:, 0] * count + neighbours[:, 1]
    kept = (apart < limit) & sound[ends].all(axis=1)
    kept &= ~np.isin(pair[:, 0] * count + pair[:, 1], known)
    kept[kept] = _not_round_a_corner(sites, pair[kept], apart[kept])
    middle = (sites.points[pair[kept, 0]] + sites.points[pair[kept, 1]]) / 2
    kept[kept] = wanted(middle, sites.segment[pair[kept]], sites.mark[pair[kept]])
    group = sites.group[triangles[:, 0]]
    return _RawAxis(centres, group, ends[kept], pair[kept], apart[kept])


def _delaunay(sites: _Sites, among: Indices) -> tuple[Indices, Indices, Indices]:
    """Return the Delaunay triangles of some sites, the edges between two, and their two triangles.

    GEOS leaves flat triangles on points that lie on a line but for rounding, with what they hide
    not Delaunay; edges are flipped until all are (Lawson, 1977). Where flat ones lie over each
    other that never comes, and turned points are triangulated instead.
    """
    for number in range(len(TURNS)):
        found = _triangles(sites.points[among], sites.group[among], TURNS[number:])
        triangles, pair, ends, done = _flipped(sites.points, among[found])
        if done:
            break
    return triangles, pair, ends


def _flipped(points: Floats, triangles: Indices) -> tuple[Indices, Indices, Indices, bool]:
    """Return triangles with their edges flipped until all are Delaunay, edges between two, their
    two triangles, and whether that came."""
    looked_at, done = np.arange(len(triangles)), False
    for _ in range(MOST_FLIPS):
        pair, ends, apex = _shared_edges(triangles[looked_at], len(points))
        ends = looked_at[ends]
        (a, c), (b, d) = (points[v].transpose(1, 0, 2) for v in (pair, apex))
        # Sine of the sum of the angles at b and d: below 0 where d lies in the circle through abc.
        at_b, at_d = (np.abs(_cross(a - v, c - v)) for v in (b, d))
        dot_b, dot_d = (_dot(a - v, c - v) for v in (b, d))
        size_b, size_d = np.hypot(at_b, dot_b), np.hypot(at_d, dot_d)
        sine = (at_b * dot_d + dot_b * at_d) / np.maximum(size_b * size_d, 1e-300)
        convex = _cross(d - b, a - b) * _cross(d - b, c - b) < 0
        bad = np.flatnonzero((sine < -COCIRCULAR) & convex)
        done = not len(bad)
        if done:
            break
        touched = np.zeros(len(points), bool)
        touched[triangles[ends[bad]]] = True
        # Of edges that share a triangle the worst first.
        bad = bad[np.argsort(sine[bad], kind="stable")]
        first = np.full(len(triangles), len(bad))
        np.minimum.at(first, ends[bad].ravel(), np.repeat(np.arange(len(bad)), 2))
        bad = bad[(first[ends[bad]] == np.arange(len(bad))[:, None]).all(axis=1)]
        for k in range(2):
            triangles[ends[bad, k]] = np.concatenate([apex[bad], pair[bad, k : k + 1]], axis=1)
        # Edges elsewhere are what they were.
        looked_at = np.flatnonzero(touched[triangles].sum(axis=1) > 1)
    if len(looked_at) < len(triangles) or not done:
        pair, ends, _ = _shared_edges(triangles, len(points))
    return triangles, pair, ends, done


def _shared_edges(triangles: Indices, count: int) -> tuple[Indices, Indices, Indices]:
    """Return edges of two triangles: their sites, the triangles, and the sites opposite."""
    one, other = triangles.ravel(), triangles[:, [1, 2, 0]].ravel()
    sides = np.stack([np.minimum(one, other), np.maximum(one, other)], axis=1)
    apex = triangles[:, [2, 0, 1]].ravel()
    owner = np.repeat(np.arange(len(triangles)), 3)
    key = sides[:, 0] * count + sides[:, 1]
    order = np.argsort(key, kind="stable")
    same = np.flatnonzero(key[order][1:] == key[order][:-1])
    two = np.stack([order[same], order[same + 1]], axis=1)
    return sides[two[:, 0]], owner[two], apex[two]


def _triangles(points: Floats, group: Indices, turns: Sequence[float] = TURNS) -> Indices:
    """Return the Delaunay triangles of each group's points, as numbers of points, (t, 3).

    GEOS loses its way among some points that lie on lines but for rounding; turned, they are other
    numbers with the same triangles.
    """
    for turn in turns[:-1]:
        try:
            return _triangles_between(_turned(points, turn), group)
        except shapely.errors.GEOSException:
            continue
    return _triangles_between(_turned(points, turns[-1]), group)


def _turned(points: Floats, turn: float) -> Floats:
    cos, sin = np.cos(turn), np.sin(turn)
    return points @ np.array([[cos, sin], [-sin, cos]]) if turn else points


def _triangles_between(points: Floats, group: Indices) -> Indices:
    order = np.argsort(group, kind="stable")
    number = np.cumsum(np.diff(group[order], prepend=group[order[:1]]) != 0)
    # Lines through the sites: quicker made than points, and GEOS takes the corners alone.
    clouds = shapely.linestrings(points[order], indices=number)
    found = map_geometries(shapely.delaunay_triangles, clouds)
    # Triangle after triangle, its first corner once more at its end.
    corners, cloud = shapely.get_coordinates(found, return_index=True)
    corners, cloud = corners.reshape(-1, 4, 2)[:, :3].reshape(-1, 2), cloud[::4]
    if not len(corners):
        return np.empty((0, 3), np.int64)
    # Corners are sites to the last bit, and found by sorting both together, sites first.
    xy = np.concatenate([points[order], corners])
    of = np.concatenate([number, np.repeat(cloud, 3)])
    by = np.lexsort((xy[:, 1], xy[:, 0], of) if of.any() else (xy[:, 1], xy[:, 0]))
    is_site = by < len(order)
    last_site = by[is_site][np.cumsum(is_site) - 1]
    result = np.empty(len(xy), np.int64)
    result[by] = order[last_site]
    return result[len(order) :].reshape(-1, 3)


def _centres(points: Floats, triangles: Indices) -> tuple[Floats, Bools]:
    """Return the circumcentres of triangles, and which triangles are not flat."""
    a = points[triangles[:, 0]]
    b, c = points[triangles[:, 1]] - a, points[triangles[:, 2]] - a
    bb, cc = _dot(b, b), _dot(c, c)
    twice = 2 * (b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0])
    sound = np.abs(twice) > FLAT * (bb + cc)
    under = np.where(sound, twice, 1.0)
    x = (c[:, 1] * bb - b[:, 1] * cc) / under
    y = (b[:, 0] * cc - c[:, 0] * bb) / under
    return a + np.stack([x, y], axis=1), sound


def _not_round_a_corner(sites: _Sites, pair: Indices, apart: Floats) -> Bools:
    segment = sites.segment[pair]
    ring = sites.segments.ring[segment]
    way = np.abs(sites.at[pair[:, 0]] - sites.at[pair[:, 1]])
    around = sites.segments.around[segment[:, 0]]
    way = np.minimum(way, np.abs(around - way))
    far: Bools = (ring[:, 0] != ring[:, 1]) | (way > ROUND_A_CORNER * apart)
    return far


def _finished(sites: _Sites, raw: _RawAxis, limit: float) -> MedialAxis:
    """Cut pieces of axis off at the limit and split them where they are narrowest."""
    a, b = sites.points[raw.sites[:, 0]], sites.points[raw.sites[:, 1]]
    middle, half = (a + b) / 2, raw.apart / 2
    across = (b - a) / np.maximum(raw.apart, 1e-300)[:, None]
    way = np.stack([-across[:, 1], across[:, 0]], axis=1)
    from_, to = (np.einsum("ni,ni->n", raw.centres[raw.ends[:, k]] - middle, way) for k in (0, 1))
    turned = from_ > to
    low, high = np.where(turned, to, from_), np.where(turned, from_, to)
    ends = np.where(turned[:, None], raw.ends[:, ::-1], raw.ends)
    reach = np.sqrt(np.maximum((limit / 2) ** 2 - half * half, 0.0))
    kept = (low < reach) & (high > -reach) & (half < limit / 2)
    number = np.flatnonzero(kept)
    low, high, reach, ends = low[kept], high[kept], reach[kept], ends[kept]
    cut_low, cut_high = low < -reach, high > reach
    low, high = np.maximum(low, -reach), np.minimum(high, reach)
    split = (low < 0) & (high > 0)
    # Nodes: circumcentres, then new ones where pieces are cut off, then where they are split.
    count = len(raw.centres)
    added_low = count + np.cumsum(cut_low) - 1
    added_high = count + int(cut_low.sum()) + np.cumsum(cut_high) - 1
    added_split = count + int(cut_low.sum() + cut_high.sum()) + np.cumsum(split) - 1
    first = np.where(cut_low, added_low, ends[:, 0])
    last = np.where(cut_high, added_high, ends[:, 1])
    spot, direction = middle[number], way[number]
    points = np.concatenate(
        [
            raw.centres,
            (spot + low[:, None] * direction)[cut_low],
            (spot + high[:, None] * direction)[cut_high],
            spot[split],
        ]
    )
    edges = np.concatenate(
        [
            np.stack([first, np.where(split, added_split, last)], axis=1),
            np.stack([added_split, last], axis=1)[split],
        ]
    )
    of = np.concatenate([number, number[split]])
    clearance = np.full(len(points), np.inf)
    pair = raw.sites[of]
    # Boundary beside both feet of each piece: (foot, piece, end, xy, m), quick to go along.
    near = sites.points.T[:, sites.pieces.T[:, sites.beside().T[:, pair.T]]]
    near = near.transpose(3, 2, 1, 0, 4)
    # Distance from either end of a piece to the boundary beside either foot: (end, foot, m).
    nodes = points.T[:, edges.T].transpose(1, 0, 2)
    gaps = np.array([[_to_edge(nodes[e], near[f]) for f in (0, 1)] for e in (0, 1)])
    for end in range(2):
        np.minimum.at(clearance, edges[:, end], gaps[end].min(axis=0))
    mouth = np.zeros(len(points), bool)
    mouth[count : count + int(cut_low.sum() + cut_high.sum())] = True
    is_used = np.zeros(len(points), bool)
    is_used[edges] = True
    used, place = np.flatnonzero(is_used), (np.cumsum(is_used) - 1)[edges]
    return MedialAxis(
        points[used],
        clearance[used],
        mouth[used],
        place.astype(np.int64),
        _widths(near),
        _still(gaps, sites.points[pair], points[edges]),
        sites.points[pair],
        sites.segment[pair],
        sites.group[pair[:, 0]],
    )


def _widths(near: Floats) -> Floats:
    """Return the distance between the boundary round the one foot and round the other."""
    found = [_between(near[0, k], near[1, m]) for k in (0, 1) for m in (0, 1)]
    width: Floats = np.min(found, axis=0)
    return width


def _still(gaps: Floats, feet: Floats, ends: Floats) -> Bools:
    """Return which pieces have a foot at a corner, seen from both of their ends."""
    found = np.zeros(len(feet), bool)
    for foot in range(2):
        still = np.ones(len(feet), bool)
        for end in range(2):
            straight = _length(ends[:, end] - feet[:, foot])
            still &= gaps[end, foot] > straight * (1 - STILL)
        found |= still
    return found


def _to_edge(points: Floats, pieces: Floats) -> Floats:
    """Return the distance of points (2, n) to two pieces of boundary each, (piece, end, 2, n)."""
    distance: Floats = np.minimum(_to_piece(points, pieces[0]), _to_piece(points, pieces[1]))
    return distance


def _between(one: Floats, other: Floats) -> Floats:
    """Return the distances of straight pieces (end, 2, n) that do not cross."""
    found = [_to_piece(one[k], other) for k in (0, 1)]
    found += [_to_piece(other[k], one) for k in (0, 1)]
    least: Floats = np.min(found, axis=0)
    return least


def _to_piece(point: Floats, piece: Floats) -> Floats:
    (x, y), (along_x, along_y) = point - piece[0], piece[1] - piece[0]
    share = (x * along_x + y * along_y) / np.maximum(along_x**2 + along_y**2, 1e-300)
    share = np.minimum(np.maximum(share, 0.0), 1.0)
    distance: Floats = np.hypot(x - share * along_x, y - share * along_y)
    return distance


def _cross(one: Floats, other: Floats) -> Floats:
    cross: Floats = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    return cross


def _dot(one: Floats, other: Floats) -> Floats:
    # Products summed over an axis of two are slow.
    dot: Floats = np.einsum("ni,ni->n", one, other)
    return dot


def _length(steps: Floats) -> Floats:
    length: Floats = np.hypot(steps[:, 0], steps[:, 1])
    return length
