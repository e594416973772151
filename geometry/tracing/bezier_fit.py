"""Outlines as smooth curves: rings of points fitted by few cubic Beziers within a tolerance.

Least squares with reparametrisation after Schneider, "An algorithm for automatically fitting
digitized curves", Graphics Gems, 1990: fit one cubic, move each point's parameter to the nearest
place on it, fit again; where the farthest point is still out of tolerance, split there. Three
things differ: ends at corners are free to find their direction; a fit that is done again looks at
distance across the curve, not along it; and then fewer cubics are tried, one in the place of two
and two in the place of three, as long as they stay within the tolerance. All pieces of all rings
are fitted at once, as arrays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import MultiPolygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..tolerance import NOT_ZERO

# Shares of the tolerance: points left out before the fit; the fit; rounding has the rest.
_THINNED, _FITTED = 0.1, 0.85
_STRAIGHT = 0.3
_REFITS = 5
# What distance along a curve counts beside distance across it, when a fit is done again.
_ALONG = 0.01
# Fits worse than this many tolerances are split at once: new parameters seldom save them.
_HOPELESS = 12.0
_CORNER = np.radians(50)
# Shares of the tolerance for pieces that cross others.
_CLOSER = (0.3, 0.08, 0.02)
# Rounds of joining; halvings of the room for a new joint; pieces that a ring keeps.
_ROUNDS, _HALVINGS, _LEAST_PIECES = 8, 4, 2
#: Turns (radians) that differ by less are equal.
_EQUAL = 1e-9
#: More than the points of any ring.
_MANY = np.iinfo(np.int64).max
#: Points a cubic is drawn with when shapes are compared, and in pictures.
SAMPLES, FINE_SAMPLES = 16, 40


@dataclass(frozen=True, eq=False)
class CurvedRing:
    """A closed curve.

    Parameters
    ----------
    cubics : float64 array (n, 4, 2)
        Control points; each cubic ends where the next begins, the last where the first does.
    straight : bool array (n,)
        Which of them are straight lines.
    """

    cubics: Floats
    straight: Bools

    def points(self, samples: int = SAMPLES) -> Floats:
        """Return points along the curve, ``samples`` a cubic and one a line; none repeated."""
        return _points([self], samples)[0]


@dataclass(frozen=True, eq=False)
class CurvedShape:
    """Polygons with curved rings: for each the outer ring first, then its holes."""

    polygons: tuple[tuple[CurvedRing, ...], ...]

    @property
    def nodes(self) -> int:
        """Number of nodes that a hand has to edit."""
        return sum(len(ring.cubics) for polygon in self.polygons for ring in polygon)

    def flattened(self, samples: int = SAMPLES) -> MultiPolygon:
        """Return the shape with each cubic as ``samples`` chords."""
        if not self.polygons:
            return MultiPolygon()
        rings = _flat([ring for polygon in self.polygons for ring in polygon], samples)
        ends = np.cumsum([len(polygon) for polygon in self.polygons])[:-1]
        parts = [shapely.polygons(own[0], own[1:]) for own in np.split(rings, ends)]
        return shapely.multipolygons(parts)


def fit_shape(
    shape: MultiPolygon,
    tolerance: float,
    page: tuple[float, float] | None = None,
) -> CurvedShape:
    """Return a shape's outlines as curves within a tolerance.

    Parameters
    ----------
    shape : MultiPolygon
        Valid, in mm.
    tolerance : float
        Largest distance in mm between the outlines and the curves, either way.
    page : tuple of float, optional
        Width and height of a page, its corner at the origin, which no curve may leave: those
        fitted to an outline along its edge could overshoot it by the tolerance.

    Returns
    -------
    CurvedShape
        Its flattened shape is valid: rings that came to cross themselves or others are fitted
        closer, and in the end keep their points.

    Examples
    --------
    >>> disc = MultiPolygon([shapely.Point(0, 0).buffer(10, quad_segs=64)])
    >>> fit_shape(disc, 0.1).nodes
    3
    """
    return fit_shapes([shape], tolerance, page)[0]


def as_it_is(shape: MultiPolygon) -> CurvedShape:
    """Return a shape with its outlines as the straight lines that they are, nothing fitted."""
    rings = [[np.asarray(r.coords)[:-1] for r in (p.exterior, *p.interiors)] for p in shape.geoms]
    return CurvedShape(tuple(tuple(_polyline(ring) for ring in part) for part in rings))


def fit_shapes(
    shapes: Sequence[MultiPolygon],
    tolerance: float,
    page: tuple[float, float] | None = None,
) -> list[CurvedShape]:
    """Return each shape's outlines as curves, all fitted in one go; see ``fit_shape``.

    Parameters
    ----------
    shapes : sequence of MultiPolygon
    tolerance : float
    page : tuple of float, optional
    """
    polygons = [p for shape in shapes for p in shape.geoms]
    rings = [np.asarray(r.coords)[:-1] for p in polygons for r in (p.exterior, *p.interiors)]

    def fit(wanted: Sequence[Floats], within: float) -> list[CurvedRing]:
        curves = fit_rings(wanted, within)
        return curves if page is None else _drawn_in(curves, page)

    owner = np.repeat(np.arange(len(polygons)), [1 + len(p.interiors) for p in polygons])
    home = np.repeat(np.arange(len(shapes)), [len(shape.geoms) for shape in shapes])
    apart = _fitted_apart(rings, tolerance, home[owner], page)
    for closer in (0.4, 0.0):
        bad = np.flatnonzero(apart.bad)
        if not len(bad):
            break
        # Outlines that meet at a point go on meeting there, however closely they are fitted.
        plain = [_polyline(rings[i]) for i in bad]
        meet = _Crossings(plain, home[owner][bad]).bad
        again = bad[~meet] if closer else bad[:0]
        closely = iter(fit([rings[i] for i in again], closer * tolerance))
        is_again = np.isin(bad, again).tolist()
        apart.change(
            bad, [next(closely) if k else ring for k, ring in zip(is_again, plain, strict=True)]
        )
    fitted = apart.rings
    groups: list[list[CurvedRing]] = [[] for _ in polygons]
    for ring, which in zip(fitted, owner.tolist(), strict=True):
        groups[which].append(ring)
    curved: list[list[tuple[CurvedRing, ...]]] = [[] for _ in shapes]
    for group, which in zip(groups, home.tolist(), strict=True):
        curved[which].append(tuple(group))
    return [CurvedShape(tuple(g)) for g in curved]


def _fitted_apart(
    rings: Sequence[Floats], tolerance: float, home: Indices, page: tuple[float, float] | None
) -> _Crossings:
    """Return rings as curves, those pieces fitted closer that came to cross others.

    What crosses is a slit or a spike as a rule: a few pieces of a ring that is long otherwise.
    """
    if not len(rings):
        return _Crossings([], home)
    track = _Track(rings, tolerance)
    pieces = _rejoined(track, _split_until_fitted(track, _FITTED * tolerance), _FITTED * tolerance)
    fitted = _Crossings(_curves(track, pieces, rings, page), home)
    for closer in _CLOSER:
        bad = fitted.bad
        ring = np.searchsorted(track.offset, pieces.first, side="right") - 1
        crosses = np.flatnonzero(bad[ring])
        crosses = crosses[_cross(pieces.taken(crosses), ring[crosses], home)]
        if not len(crosses):
            break
        first, last = pieces.first[crosses], pieces.last[crosses]
        again = _split_until_fitted(track, closer * tolerance, (first, last))
        kept = np.ones(len(pieces.first), bool)
        kept[crosses] = False
        pieces = _together([pieces.taken(kept), again])
        changed = np.unique(ring[crosses])
        fitted.change(changed, _curves(track, pieces, rings, page, changed))
    return fitted


def _cross(pieces: _Pieces, ring: Indices, home: Indices) -> Bools:
    """Return which pieces cross themselves or others of their shape, or meet them out of turn."""
    steps = np.linspace(0, 1, FINE_SAMPLES + 1)
    drawn = shapely.linestrings(_evaluate(pieces.cubics[:, None], steps[None, :, None]))
    bad: Bools = ~shapely.is_simple(drawn)
    a, b = shapely.STRtree(drawn).query(drawn)
    a, b = (v[(a < b) & (home[ring[a]] == home[ring[b]])] for v in (a, b))
    a, b = (v[shapely.intersects(drawn[a], drawn[b])] for v in (a, b))
    # Where one ends and the other begins they share that point, and both ends where no third is.
    begins, ends = pieces.cubics[:, 0], pieces.cubics[:, 3]
    shared = (ends[a] == begins[b]).all(axis=1).astype(np.int64) + (ends[b] == begins[a]).all(
        axis=1
    )
    met = shapely.intersection(drawn[a], drawn[b])
    points = np.isin(shapely.get_type_id(met), (0, 4))  # Point and MultiPoint
    out = (shapely.get_num_coordinates(met) > shared) | ~points | (ring[a] != ring[b])
    bad[a[out]] = bad[b[out]] = True
    return bad


def _curves(
    track: _Track,
    pieces: _Pieces,
    rings: Sequence[Floats],
    page: tuple[float, float] | None,
    which: Indices | None = None,
) -> list[CurvedRing]:
    """Return each ring's pieces as a curve, or of some rings, drawn in from a page's edge."""
    cut = np.searchsorted(pieces.first, track.offset).tolist()
    curves = []
    for number in range(len(rings)) if which is None else which.tolist():
        own = slice(cut[number], cut[number + 1])
        curve = CurvedRing(pieces.cubics[own], pieces.straight[own])
        # Two straight lines enclose nothing: a ring hardly larger than the tolerance keeps its
        # points.
        flat = 2 * len(curve.straight) - int(curve.straight.sum()) < 3
        curves.append(_polyline(rings[number]) if flat else curve)
    return curves if page is None else _drawn_in(curves, page)


class _Crossings:
    """Which rings cross or touch themselves or others of their shape, kept up to date.

    Parameters
    ----------
    rings : sequence of CurvedRing
    home : int array (n,)
        Each ring's shape.
    """

    def __init__(self, rings: Sequence[CurvedRing], home: Indices) -> None:
        self.home = home
        self.rings = list(rings)
        # A loop may lie between few chords, and few chords may cross where the curve does not.
        self._lines = {samples: _flat(rings, samples) for samples in (SAMPLES, FINE_SAMPLES)}
        self._is_looped = np.zeros(len(rings), bool)
        self._pairs = np.empty((0, 2), np.int64)
        self._look(np.arange(len(rings)))

    @property
    def bad(self) -> Bools:
        """Which rings (n,) do."""
        found = self._is_looped.copy()
        found[self._pairs.reshape(-1)] = True
        return found

    def change(self, which: Indices, rings: Sequence[CurvedRing]) -> None:
        """Put others in the place of some rings."""
        for number, ring in zip(which.tolist(), rings, strict=True):
            self.rings[number] = ring
        for samples, lines in self._lines.items():
            lines[which] = _flat(rings, samples)
        self._look(which)

    def _look(self, which: Indices) -> None:
        self._pairs = self._pairs[~np.isin(self._pairs, which).any(axis=1)]
        self._is_looped[which] = False
        for lines in self._lines.values():
            self._is_looped[which] |= ~shapely.is_simple(lines[which])
            first, second = shapely.STRtree(lines).query(lines[which])
            first = which[first]
            own = (first != second) & (self.home[first] == self.home[second])
            near = np.stack([first[own], second[own]], axis=1)
            shapely.prepare(lines[which])
            met = near[shapely.intersects(*lines[near].T)]
            self._pairs = np.concatenate([self._pairs, met])


def _flat(rings: Sequence[CurvedRing], samples: int) -> Geometries:
    """Return each ring as a line of so many chords a cubic."""
    if not len(rings):
        return np.empty(0, object)
    points, count = _points(rings, samples)
    flat: Geometries = shapely.linearrings(points, indices=np.repeat(np.arange(len(rings)), count))
    return flat


def _points(rings: Sequence[CurvedRing], samples: int) -> tuple[Floats, Indices]:
    """Return the points along all rings, one after the other, and how many each has."""
    cubics = np.concatenate([r.cubics for r in rings])
    straight = np.concatenate([r.straight for r in rings])
    t = np.linspace(0, 1, samples, endpoint=False)
    drawn = _evaluate(cubics[:, None], t[None, :, None])
    kept = np.ones(drawn.shape[:2], bool)
    kept[straight, 1:] = False
    starts = np.concatenate([[0], np.cumsum([len(r.cubics) for r in rings])[:-1]])
    count: Indices = np.add.reduceat(kept.sum(axis=1), starts)
    points: Floats = drawn[kept]
    return points, count


def _drawn_in(rings: Sequence[CurvedRing], page: tuple[float, float]) -> list[CurvedRing]:
    """Return rings with those curves drawn in that leave a page."""
    if not len(rings):
        return []
    cubics = np.concatenate([ring.cubics for ring in rings])
    # A curve stays within its points' box.
    out = ((cubics < 0) | (cubics > page)).any(axis=(1, 2))
    drawn = _evaluate(cubics[out][:, None], np.linspace(0, 1, SAMPLES)[None, :, None])
    out[out] = ((drawn < 0) | (drawn > page)).any(axis=(1, 2))
    cut = np.cumsum([len(ring.cubics) for ring in rings])[:-1]
    return [
        _drawn_in_at(ring, own, page) if own.any() else ring
        for ring, own in zip(rings, np.split(out, cut), strict=True)
    ]


def _drawn_in_at(ring: CurvedRing, out: Bools, page: tuple[float, float]) -> CurvedRing:
    """Return the ring with some of its curves drawn in."""
    # Of a quarter curve the handles lie close to it, so that to clip them is to clip it.
    quarters = _halves(_halves(ring.cubics[out]))
    parts = [cubic[None] for cubic in ring.cubics]
    for at, four in zip(
        np.flatnonzero(out).tolist(), np.split(quarters, int(out.sum())), strict=True
    ):
        parts[at] = np.clip(four, 0.0, page)
    count = [len(part) for part in parts]
    return CurvedRing(np.concatenate(parts), np.repeat(ring.straight, count))


def _polyline(ring: Floats) -> CurvedRing:
    following = np.roll(ring, -1, axis=0)
    return CurvedRing(_lines(ring, following), np.ones(len(ring), bool))


def _lines(start: Floats, end: Floats) -> Floats:
    third = (end - start) / 3
    return np.stack([start, start + third, end - third, end], axis=1)


def fit_rings(rings: Sequence[ArrayLike], tolerance: float) -> list[CurvedRing]:
    """Return each ring as a closed curve within a tolerance.

    Parameters
    ----------
    rings : sequence of (n, 2) arrays
        Closed, the first point not repeated, at least three points each.
    tolerance : float
        In the rings' unit.

    Examples
    --------
    >>> square = [[0, 0], [10, 0], [10, 10], [0, 10]]
    >>> fit_rings([square], 0.1)[0].straight.tolist()
    [True, True, True, True]
    """
    if not len(rings):
        return []
    outlines = [np.asarray(r, np.float64) for r in rings]
    track = _Track(outlines, tolerance)
    pieces = _split_until_fitted(track, _FITTED * tolerance)
    return _curves(track, _rejoined(track, pieces, _FITTED * tolerance), outlines, None)


class _Track:
    """All rings' points one after another, each ring closed and begun at a break."""

    def __init__(self, rings: Sequence[Floats], tolerance: float) -> None:
        self.step = 3.0 * tolerance
        reach = 5.0 * tolerance
        dense, count = _dense(rings, self.step, _THINNED * tolerance)
        starts = np.concatenate([[0], np.cumsum(count)[:-1]])
        turn, direction, size = _turns(dense, starts, count, reach)
        sharp = np.abs(turn)
        is_corner = _peaks(sharp, size, starts, count, reach) & (sharp > _CORNER)
        # A ring begins at its first corner, else where it turns most.
        place = np.arange(len(dense)) - np.repeat(starts, count)
        # Of equals, but for rounding, it is the first.
        most = np.repeat(np.maximum.reduceat(sharp, starts), count) - _EQUAL
        most = np.where(sharp >= most, place, _MANY)
        corner = np.minimum.reduceat(np.where(is_corner, place, _MANY), starts)
        begin = np.where(corner < _MANY, corner, np.minimum.reduceat(most, starts))
        self.offset = np.concatenate([[0], np.cumsum(count + 1)])
        turned = np.arange(self.offset[-1]) - np.repeat(self.offset[:-1] - begin, count + 1)
        order = np.repeat(starts, count + 1) + turned % np.repeat(count, count + 1)
        self.points = dense[order]
        self.corner = is_corner[order]
        self.direction = direction[order]
        step = np.linalg.norm(np.diff(self.points, axis=0, prepend=self.points[:1]), axis=1)
        step[self.offset[:-1]] = 0.0
        self.along = np.cumsum(step)

    def first_pieces(self) -> tuple[Indices, Indices]:
        """Return first and last point of each piece: from corner to corner, or half a ring."""
        breaks = self.corner.copy()
        breaks[self.offset[:-1]] = True
        breaks[self.offset[1:] - 1] = True
        inner = np.add.reduceat(breaks.astype(np.int64), self.offset[:-1])
        for ring in np.flatnonzero(inner < 3):  # begin, end, and not one between
            low, high = int(self.offset[ring]), int(self.offset[ring + 1]) - 1
            middle = (self.along[low] + self.along[high]) / 2
            breaks[
                np.clip(np.searchsorted(self.along[low:high], middle) + low, low + 1, high - 1)
            ] = 1
        at = np.flatnonzero(breaks)
        whole = np.ones(len(at) - 1, bool)
        whole[np.isin(at[:-1], self.offset[1:] - 1)] = False
        return at[:-1][whole], at[1:][whole]


def _dense(rings: Sequence[Floats], step: float, thin: float) -> tuple[Floats, Indices]:
    """Return points along all rings, none further than a step apart, and how many each has."""
    number = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
    lines = shapely.linearrings(np.concatenate(rings), indices=number)
    thinned = shapely.simplify(lines, thin, preserve_topology=True)
    dense = shapely.segmentize(thinned, step)
    few = shapely.get_num_coordinates(dense) < 7
    dense[few] = shapely.segmentize(thinned[few], shapely.length(thinned[few]) / 12)
    points, number = shapely.get_coordinates(dense, return_index=True)
    count = np.bincount(number, minlength=len(rings))
    kept = np.ones(len(points), bool)
    kept[np.cumsum(count) - 1] = False
    return points[kept], count - 1


def _turns(
    dense: Floats, starts: Indices, count: Indices, reach: float
) -> tuple[Floats, Floats, Floats]:
    """Return how far rings turn at each point, their direction there, and the way to the next."""
    following = np.arange(1, len(dense) + 1)
    following[starts + count - 1] = starts
    size = np.linalg.norm(dense[following] - dense, axis=1)
    length = np.add.reduceat(size, starts)
    # All rings one after another, each closed; nothing is looked for in the gaps between them.
    closed = np.insert(np.arange(len(dense)), starts + count, starts)
    begun = np.concatenate([[0.0], np.cumsum(length + 1.0)[:-1]])
    whole = np.concatenate([[0.0], np.cumsum(size)])
    own = whole[:-1] - np.repeat(whole[starts], count)
    along = np.insert(own, starts + count, length) + np.repeat(begun, count + 1)
    begun, length = np.repeat(begun, count), np.repeat(length, count)
    far = np.minimum(reach, length / 8)

    def at(place: Floats) -> Floats:
        place = place % np.maximum(length, NOT_ZERO) + begun
        return np.column_stack([np.interp(place, along, dense[closed, k]) for k in (0, 1)])

    before, after = at(own - far), at(own + far)
    a, b = dense - before, after - dense
    turn = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1))
    direction = at(own + far / 2) - at(own - far / 2)
    norm = np.linalg.norm(direction, axis=1, keepdims=True)
    return turn, direction / np.maximum(norm, NOT_ZERO), size


def _peaks(sharp: Floats, size: Floats, starts: Indices, count: Indices, reach: float) -> Bools:
    """Return where rings turn more than anywhere within the reach."""
    mean = np.add.reduceat(size, starts) / count
    most = np.minimum(np.round(reach / np.maximum(mean, NOT_ZERO)), count // 4)
    shifts = np.repeat(np.maximum(most, 1).astype(np.int64), count)
    first, own = np.repeat(starts, count), np.repeat(count, count)
    best = sharp.copy()
    at = np.arange(len(sharp))
    for shift in range(1, int(shifts.max()) + 1):
        at = at[shifts[at] >= shift]
        place = at - first[at]
        earlier, later = ((place - shift) % own[at], (place + shift) % own[at])
        # Of equals the first is the peak.
        near = np.maximum(sharp[first[at] + earlier] + _EQUAL, sharp[first[at] + later])
        best[at] = np.maximum(best[at], near)
    return sharp >= best


@dataclass(frozen=True, eq=False)
class _Pieces:
    first: Indices
    last: Indices
    cubics: Floats
    straight: Bools
    error: Floats

    def taken(self, which: Bools | Indices) -> _Pieces:
        return _Pieces(
            self.first[which],
            self.last[which],
            self.cubics[which],
            self.straight[which],
            self.error[which],
        )


def _together(parts: Sequence[_Pieces]) -> _Pieces:
    first = np.concatenate([p.first for p in parts])
    order = np.argsort(first, kind="stable")
    return _Pieces(
        first[order],
        np.concatenate([p.last for p in parts])[order],
        np.concatenate([p.cubics for p in parts])[order],
        np.concatenate([p.straight for p in parts])[order],
        np.concatenate([p.error for p in parts])[order],
    )


def _split_until_fitted(
    track: _Track, tolerance: float, spans: tuple[Indices, Indices] | None = None
) -> _Pieces:
    """Fit spans of points, whole rings when None, and split them until all are within."""
    first, last = track.first_pieces() if spans is None else spans
    done: list[_Pieces] = []
    while len(first):
        pieces, worst = _fit(track, first, last, tolerance)
        good = (pieces.error <= tolerance) | (last - first < 2)
        done.append(pieces.taken(good))
        first, last, middle = first[~good], last[~good], worst[~good]
        # Never so near an end that a piece of one chord is split off a long one.
        room = np.minimum((last - first) // 2, 2)
        middle = np.clip(middle, first + room, last - room)
        first, last = np.concatenate([first, middle]), np.concatenate([middle, last])
    return _together(done)


def _rejoined(track: _Track, pieces: _Pieces, tolerance: float) -> _Pieces:
    """Let fewer cubics do: one for two neighbours, then two for three, until none can go."""
    # For each point, up to where pieces that begin there were tried in vain.
    single = np.full(len(track.points), -1, np.int64)
    double = single.copy()
    for _ in range(_ROUNDS):
        pieces = _joined(track, pieces, tolerance, single)
        count = len(pieces.first)
        pieces = _shifted(track, pieces, tolerance, double)
        if len(pieces.first) == count:
            break
    return pieces


def _joined(track: _Track, pieces: _Pieces, tolerance: float, vain: Indices) -> _Pieces:
    """Join neighbours where one cubic does for both, the best joints first."""
    while True:
        at = _neighbours(track, pieces, 2)
        at = at[vain[pieces.first[at]] != pieces.last[at + 1]]
        if not len(at):
            return pieces
        joined, _ = _fit(track, pieces.first[at], pieces.last[at + 1], tolerance)
        good = joined.error <= tolerance
        vain[joined.first[~good]] = joined.last[~good]
        taken = _apart(at[good], joined.error[good], 2)
        taken = taken[_spared(track, pieces, at[good][taken])]
        if not len(taken):
            return pieces
        pieces = _replaced(pieces, at[good][taken], 2, joined.taken(np.flatnonzero(good)[taken]))


def _shifted(track: _Track, pieces: _Pieces, tolerance: float, vain: Indices) -> _Pieces:
    """Put two cubics in the place of three, parted where the first reaches as far as it can."""
    at = _neighbours(track, pieces, 3)
    at = at[vain[pieces.first[at]] != pieces.last[at + 2]]
    if not len(at):
        return pieces
    first, last = pieces.first[at], pieces.last[at + 2]
    low, high = pieces.last[at].copy(), pieces.last[at + 1].copy()
    for _ in range(_HALVINGS):
        middle = (low + high) // 2
        reached = _fit(track, first, middle, tolerance)[0].error <= tolerance
        low, high = np.where(reached, middle, low), np.where(reached, high, middle)
    begun, _ = _fit(track, first, low, tolerance)
    ended, _ = _fit(track, low, last, tolerance)
    error = np.maximum(begun.error, ended.error)
    good = error <= tolerance
    vain[first[~good]] = last[~good]
    taken = _apart(at[good], error[good], 3)
    taken = taken[_spared(track, pieces, at[good][taken])]
    if not len(taken):
        return pieces
    which = np.flatnonzero(good)[taken]
    return _replaced(pieces, at[which], 3, _together([begun.taken(which), ended.taken(which)]))


def _neighbours(track: _Track, pieces: _Pieces, count: int) -> Indices:
    """Return where so many pieces follow each other in one ring, and no corner parts them."""
    smooth = (pieces.last[:-1] == pieces.first[1:]) & ~track.corner[pieces.last[:-1]]
    for _ in range(count - 2):
        smooth = smooth[:-1] & smooth[1:]
    return np.flatnonzero(smooth)


def _apart(at: Indices, error: Floats, count: int) -> Indices:
    """Return which runs of so many pieces to take so that none meet, those of least error first."""
    used: set[int] = set()
    taken = []
    for which in np.argsort(error, kind="stable").tolist():
        own = range(int(at[which]), int(at[which]) + count)
        if used.isdisjoint(own):
            used.update(own)
            taken.append(which)
    return np.array(sorted(taken), np.int64)


def _spared(track: _Track, pieces: _Pieces, at: Indices) -> Indices:
    """Return which runs may lose a piece: a ring keeps some."""
    ring = np.searchsorted(track.offset, pieces.first, side="right")
    left = np.bincount(ring, minlength=len(track.offset) + 1) - _LEAST_PIECES
    own = ring[at]
    turn = np.arange(len(at)) - np.searchsorted(own, own)  # at is ascending, and so are rings
    return np.flatnonzero(turn < left[own])


def _replaced(pieces: _Pieces, at: Indices, count: int, by: _Pieces) -> _Pieces:
    kept = np.ones(len(pieces.first), bool)
    for more in range(count):
        kept[at + more] = False
    return _together([pieces.taken(np.flatnonzero(kept)), by])


class _Spans:
    """The points of some pieces one after another, and what stays while they are fitted.

    Points and vectors lie as rows of x and of y, each piece's own numbers are spread over its
    points: most of the time goes into passes over these.
    """

    def __init__(self, track: _Track, first: Indices, last: Indices) -> None:
        self.count = last - first + 1
        self.starts = np.concatenate([[0], np.cumsum(self.count)[:-1]])
        self.piece = np.repeat(np.arange(len(first)), self.count)
        self.index = np.arange(self.count.sum()) + np.repeat(first - self.starts, self.count)
        self.points = np.take(track.points.T, self.index, axis=1)
        self.p0, self.p3 = track.points[first], track.points[last]
        self.arc = track.along[last] - track.along[first]
        along = track.along[self.index] - self.spread(track.along[first])
        self.even = along / self.spread(np.maximum(self.arc, NOT_ZERO))
        self.u, self.v = _end_frames(track, first, 1.0), _end_frames(track, last, -1.0)
        # The chord that leads to each point; a piece's first has none.
        begun = np.repeat(self.starts, self.count)
        self.before = np.maximum(np.arange(len(self.index)) - 1, begun)
        self.chords = _Chords(self.points[:, self.before], self.points)

    def spread(self, own: Floats) -> Floats:
        """Return each piece's values (..., n) for each of its points."""
        over: Floats = np.repeat(own, self.count, axis=-1)
        return over

    def worst(self, square: Floats) -> Floats:
        """Return the root of the greatest of the points' values in each piece."""
        most: Floats = np.sqrt(np.maximum.reduceat(square, self.starts))
        return most


class _Chords:
    """Chords from some points to others, both (2, n), to measure distances from."""

    def __init__(self, a: Floats, b: Floats) -> None:
        self.a = a
        self.way = b - a
        square = self.way[0] ** 2 + self.way[1] ** 2
        self.unit = self.way / np.maximum(square, 1e-24)

    def square(self, points: Floats) -> Floats:
        """Return the square of each point's distance from its chord."""
        off = points - self.a
        share = np.clip(off[0] * self.unit[0] + off[1] * self.unit[1], 0, 1)
        off -= share * self.way
        found: Floats = off[0] ** 2 + off[1] ** 2
        return found


def _fit(track: _Track, first: Indices, last: Indices, tolerance: float) -> tuple[_Pieces, Indices]:
    """Fit one cubic to each piece; also return the point that is farthest from it."""
    spans = _Spans(track, first, last)
    t = spans.even
    cubics = _least_squares(spans, t)
    off = _errors(cubics, spans, t)
    error = spans.worst(off)
    worst = _farthest(off, spans)
    # Straight where a straight line does.
    whole = _Chords(spans.spread(spans.p0.T), spans.spread(spans.p3.T))
    bow = spans.worst(whole.square(spans.points))
    # Between corners only: chords of a gentle curve would put kinks into it.
    cornered = track.corner[first] & track.corner[last]
    straight = (cornered & (bow <= _STRAIGHT * tolerance)) | (spans.count == 2)
    cubics[straight], error[straight] = _lines(spans.p0, spans.p3)[straight], bow[straight]
    # Once more with better parameters, where there is hope.
    at, part, trial = np.arange(len(first)), spans, cubics
    for _ in range(_REFITS):
        near = (error[at] > tolerance) & (error[at] <= _HOPELESS * tolerance)
        if not near.any():
            break
        t, trial, at = t[near[part.piece]], trial[near], at[near]
        part = _Spans(track, first[at], last[at])
        t = _nearer(trial, part, t)
        trial = _least_squares(part, t, trial)
        now = part.worst(_errors(trial, part, t))
        better = now < error[at]
        cubics[at[better]], error[at[better]] = trial[better], now[better]
    return _Pieces(first, last, cubics, straight, error), worst


def _end_frames(track: _Track, end: Indices, sign: float) -> Floats:
    """Return, for each end, the two directions in which its handle may go: (n, 2, 2).

    At a corner both axes; elsewhere the outline's direction alone, the second being zero.
    """
    frames = np.zeros((len(end), 2, 2))
    corner = track.corner[end]
    frames[corner] = np.eye(2)
    frames[~corner, 0] = sign * track.direction[end[~corner]]
    return frames


def _least_squares(spans: _Spans, t: Floats, earlier: Floats | None = None) -> Floats:
    """Return the cubics nearest to the points at given parameters.

    Given the cubics of an earlier fit, distance along them counts little: points may slide, so that
    parameters and handles find their places together within a few steps (tangent distance; see
    Wang, Pottmann and Liu, "Fitting B-spline curves to point clouds by curvature-based squared
    distance minimization", ACM Trans. Graphics 25, 2006).
    """
    starts, p0, p3 = spans.starts, spans.p0, spans.p3
    u, v, arc = spans.u, spans.v, spans.arc
    s = 1 - t
    b1, b2 = 3 * s * s * t, 3 * s * t * t
    rest = spans.points - (s**3 + b1) * spans.spread(p0.T) - (b2 + t**3) * spans.spread(p3.T)
    s11, s12, s22 = (np.add.reduceat(w, starts) for w in (b1 * b1, b1 * b2, b2 * b2))
    r1 = np.add.reduceat(b1 * rest, starts, axis=1).T
    r2 = np.add.reduceat(b2 * rest, starts, axis=1).T
    # Unknown: two numbers a handle, along its frame's directions.
    frames = np.concatenate([u, v], axis=1)  # (n, 4, 2)
    dots = np.einsum("nik,njk->nij", frames, frames)
    weights = np.empty_like(dots)
    weights[:, :2, :2] = s11[:, None, None]
    weights[:, :2, 2:] = weights[:, 2:, :2] = s12[:, None, None]
    weights[:, 2:, 2:] = s22[:, None, None]
    matrix = dots * weights
    right = np.concatenate([np.einsum("nik,nk->ni", u, r1), np.einsum("nik,nk->ni", v, r2)], axis=1)
    if earlier is not None:
        across = _normals(earlier, spans, t)
        rows = [
            bend * (x * across[0] + y * across[1])
            for bend, frame in ((b1, u), (b2, v))
            for x, y in (spans.spread(frame[:, k].T) for k in (0, 1))
        ]
        off = rest[0] * across[0] + rest[1] * across[1]
        aside = np.empty_like(matrix)
        for i, row in enumerate(rows):
            for j in range(i, 4):
                aside[:, i, j] = aside[:, j, i] = np.add.reduceat(row * rows[j], starts)
        matrix = _ALONG * matrix + (1 - _ALONG) * aside
        pull = np.stack([np.add.reduceat(row * off, starts) for row in rows], axis=1)
        right = _ALONG * right + (1 - _ALONG) * pull
    # A touch of preference for handles of a third, which also settles what the points leave open.
    idle = np.einsum("nik,nik->ni", frames, frames) == 0
    touch = 1e-6 * np.maximum(s11 + s22, 1e-9)[:, None] * np.ones(4) + idle
    matrix[:, np.arange(4), np.arange(4)] += touch
    third = _lines(p0, p3)
    wish = np.concatenate(
        [
            np.einsum("nik,nk->ni", u, third[:, 1] - p0),
            np.einsum("nik,nk->ni", v, third[:, 2] - p3),
        ],
        axis=1,
    )
    right += touch * np.where(idle, 0.0, wish)
    x = np.linalg.solve(matrix, right[..., None])[..., 0]
    # Handles that point backwards or far away make loops: a third of the length instead.
    for slot, frame in ((0, u), (2, v)):
        tied = (frame[:, 1] == 0).all(axis=1)
        wild = tied & ((x[:, slot] < 0.02 * arc) | (x[:, slot] > 1.2 * arc))
        x[wild, slot] = arc[wild] / 3
    c1 = p0 + np.einsum("ni,nik->nk", x[:, :2], u)
    c2 = p3 + np.einsum("ni,nik->nk", x[:, 2:], v)
    return np.stack([p0, c1, c2, p3], axis=1)


def _powers(cubics: Floats) -> Floats:
    """Return the coefficients (4, 2, n) of each cubic by rising powers of its parameter."""
    p0, p1, p2, p3 = np.moveaxis(cubics, 1, 0)
    rising = np.stack([p0, 3 * (p1 - p0), 3 * (p0 - 2 * p1 + p2), p3 - p0 + 3 * (p1 - p2)])
    return np.ascontiguousarray(np.swapaxes(rising, 1, 2))


def _normals(cubics: Floats, spans: _Spans, t: Floats) -> Floats:
    """Return unit vectors (2, n) across each point's cubic at a parameter."""
    c = spans.spread(_powers(cubics)[1:])
    way = (3 * c[2] * t + 2 * c[1]) * t + c[0]
    length = np.sqrt(way[0] ** 2 + way[1] ** 2)
    return np.stack([-way[1], way[0]]) / np.maximum(length, NOT_ZERO)


def _evaluate(c: Floats, t: Floats) -> Floats:
    s = 1 - t
    outer = s**3 * c[..., 0, :] + t**3 * c[..., 3, :]
    inner = 3 * s * s * t * c[..., 1, :] + 3 * s * t * t * c[..., 2, :]
    return np.asarray(outer + inner, np.float64)


def _halves(cubics: Floats) -> Floats:
    """Return each cubic as two, one after the other (de Casteljau)."""
    middle = (cubics[:, 1:] + cubics[:, :-1]) / 2
    bend = (middle[:, 1:] + middle[:, :-1]) / 2
    tip = bend.mean(axis=1)
    first = np.stack([cubics[:, 0], middle[:, 0], bend[:, 0], tip], axis=1)
    second = np.stack([tip, bend[:, 1], middle[:, 2], cubics[:, 3]], axis=1)
    return np.stack([first, second], axis=1).reshape(-1, 4, 2)


def _errors(cubics: Floats, spans: _Spans, t: Floats) -> Floats:
    """Return the square of how far each point is from the curve, or the curve half-way to it \
from the chord."""
    c = spans.spread(_powers(cubics))
    off = ((c[3] * t + c[2]) * t + c[1]) * t + c[0] - spans.points
    half = (t[spans.before] + t) / 2
    between = ((c[3] * half + c[2]) * half + c[1]) * half + c[0]
    found: Floats = np.maximum(off[0] ** 2 + off[1] ** 2, spans.chords.square(between))
    return found


def _farthest(square: Floats, spans: _Spans) -> Indices:
    most = np.maximum.reduceat(square, spans.starts)
    at = np.flatnonzero(square >= spans.spread(most))
    which, where = np.unique(spans.piece[at], return_index=True)
    result = spans.index[spans.starts].copy()
    result[which] = spans.index[at[where]]
    return result


def _nearer(cubics: Floats, spans: _Spans, t: Floats) -> Floats:
    """Return each point's parameter after one Newton step to the nearest place on its cubic."""
    c = spans.spread(_powers(cubics))
    off = ((c[3] * t + c[2]) * t + c[1]) * t + c[0] - spans.points
    first = (3 * c[3] * t + 2 * c[2]) * t + c[1]
    second = 6 * c[3] * t + 2 * c[2]
    slope = off[0] * first[0] + off[1] * first[1]
    bend = first[0] ** 2 + first[1] ** 2 + off[0] * second[0] + off[1] * second[1]
    step = np.where(bend > NOT_ZERO, slope / np.where(bend > NOT_ZERO, bend, 1.0), 0.0)
    moved = np.clip(t - np.clip(step, -0.2, 0.2), 0, 1)
    ends = spans.starts + spans.count - 1
    moved[spans.starts], moved[ends] = 0.0, 1.0
    # Along the curve in order: a running maximum within each piece.
    ordered: Floats = np.maximum.accumulate(moved + 2.0 * spans.piece) - 2.0 * spans.piece
    return ordered
