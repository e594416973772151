"""Candidates: places where a bridge could cross an opening from one piece of sheet to another.

Three kinds. The shortest gap between each two near pieces; straight ways from many points of an
island's edge, square to it and aslant, up to the first sheet they meet; and those drawn tight, so
that the narrowest place near each is among them. Of thousands of such ways a few are kept for each
island and each side of it: the cheapest and the shortest.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Bools, Floats, Geometries, Indices, ramp
from ..planar.polygons import largest_piece
from ..tolerance import NOT_ZERO, TOLERANCES
from .gaps import Gaps, join_gaps

#: Returns a quick cost for each gap.
Rough = Callable[[Gaps], Floats]


@dataclass(frozen=True)
class Effort:
    """How closely candidates are looked for.

    Parameters
    ----------
    most_starts : int
        Points of an island's edge that ways start from, at most.
    fan : tuple of float
        Angles to the square way in degrees; the square way first.
    sectors : int
        Sides of an island that keep candidates of their own.
    """

    most_starts: int
    fan: tuple[float, ...]
    sectors: int


#: For sheets of up to ``MANY`` pieces, and for those of more, where each bridge matters less.
CLOSE = Effort(80, (0.0, -15.0, 15.0, -30.0, 30.0, -45.0, 45.0, -60.0, 60.0), 16)
QUICK = Effort(56, (0.0, -28.0, 28.0, -54.0, 54.0), 8)
MANY = 200
#: A gap is drawn tight within so many widths of its ends.
TIGHTENED = 2.0
#: Ways do not meet sheet within this distance of their start, in mm.
START = 1e-3
#: The first edge on a way is looked for in one part of it after the other, up to these shares.
PARTS = (0.15, 0.3, 0.5, 0.75, 1.0)


def crossings(
    pieces: Sequence[Polygon],
    tree: Gaps,
    width: float,
    rough: Rough | None = None,
) -> Gaps:
    """Return candidates for bridges, ``tree`` first.

    Parameters
    ----------
    pieces : sequence of Polygon
        Of one sheet, disjoint, in mm.
    tree : Gaps
        Shortest gaps that join all pieces (see ``spanning_gaps``): with them among the candidates
        any island can be joined.
    width : float
        Of a bridge, in mm.
    rough : callable, optional
        Quick cost of gaps. When None all places are alike: cost is length, and only ways square to
        an edge are looked at.

    Returns
    -------
    Gaps
        None of them crosses sheet on its way.

    Notes
    -----
    Ways reach 3 times the island's shortest gap and 6 widths further: longer ones are weak.
    """
    if len(pieces) < 2:
        return tree
    effort = CLOSE if len(pieces) <= MANY else QUICK
    array = shapely.orient_polygons(np.asarray(pieces, object))
    reach = np.zeros(len(pieces))
    np.maximum.at(reach, tree.pieces.ravel(), np.repeat(tree.length, 2))
    reach = 3 * reach + 6 * width
    rings, owner = shapely.get_rings(array, return_index=True)
    rings, owner = _within_reach(rings, owner, reach, largest_piece(pieces))
    near = _shortest_of_near_pairs(rings, owner, reach, largest_piece(pieces))
    edges = Edges(rings, owner)
    rays = _rays(array, edges, reach, width, effort if rough else replace(effort, fan=(0.0,)))
    rays = rays.take(best_by_sector(rays, array, _cost(rays, rough), effort.sectors))
    short = best_by_sector(rays, array, rays.length, effort.sectors)
    tight = _tightened(rays.take(short), edges, width)
    found = join_gaps([near, rays, tight])
    found = found.take(found.length > TOLERANCES.same_point)
    found = found.take(_crosses_no_sheet(found, array))
    found = found.take(best_by_sector(found, array, _cost(found, rough), effort.sectors))
    return join_gaps([tree, found])


def _within_reach(
    rings: Geometries, owner: Indices, reach: Floats, frame: int
) -> tuple[Geometries, Indices]:
    """Return the rings that ways from an island can meet."""
    island = np.flatnonzero(owner != frame)
    boxes = shapely.bounds(rings[island]) + reach[owner[island]][:, None] * [-1, -1, 1, 1]
    _, near = shapely.STRtree(rings).query(shapely.box(*boxes.T))
    kept = np.unique(near)
    return rings[kept], owner[kept]


def _shortest_of_near_pairs(rings: Geometries, owner: Indices, reach: Floats, frame: int) -> Gaps:
    island = np.flatnonzero(owner != frame)
    a, b = shapely.STRtree(rings).query(
        rings[island], predicate="dwithin", distance=reach[owner[island]] / 2
    )
    a = island[a]
    apart = (owner[a] != owner[b]) & ((a < b) | (owner[b] == frame))
    return _gaps(
        owner[a[apart]], owner[b[apart]], shapely.shortest_line(rings[a[apart]], rings[b[apart]])
    )


def _gaps(first: Indices, second: Indices, lines: Geometries) -> Gaps:
    ends = shapely.get_coordinates(lines).reshape(-1, 2, 2)
    length = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    return Gaps(np.stack([first, second], axis=1).astype(np.int64), ends[:, 0], ends[:, 1], length)


def _rays(pieces: Geometries, sheet: Edges, reach: Floats, width: float, effort: Effort) -> Gaps:
    """Return ways from points of the islands' outer edges to the first sheet they meet."""
    island = np.delete(np.arange(len(pieces)), largest_piece(pieces.tolist()))
    edges = shapely.get_exterior_ring(pieces[island])
    length = shapely.length(edges)
    count = np.clip(np.rint(length / width), 6, effort.most_starts).astype(int)
    which = np.repeat(np.arange(len(edges)), count)
    step = (length / count)[which]
    number = ramp(count)
    along = (number + 0.5) * step
    # The edge's direction over a stretch, not of the one short segment there.
    stretch = np.minimum(0.25 * width, 0.25 * step)
    at, before, after = (
        shapely.get_coordinates(shapely.line_interpolate_point(edges[which], d % length[which]))
        for d in (along, along - stretch, along + stretch)
    )
    tangent = after - before
    size = np.hypot(*tangent.T)
    kept = size > 0
    at, which, tangent = at[kept], which[kept], tangent[kept] / size[kept, None]
    outward = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    turn = np.radians(np.asarray(effort.fan))
    way = (
        outward[:, None] * np.cos(turn)[None, :, None]
        + tangent[:, None] * np.sin(turn)[None, :, None]
    ).reshape(-1, 2)
    start = np.repeat(at, len(effort.fan), axis=0)
    home = np.repeat(island[which], len(effort.fan))
    far = start + way * reach[home][:, None]
    end, other = sheet.first_hits(start, far)
    hit = (other >= 0) & (other != home)
    ends = np.stack([start[hit], end[hit]], axis=1)
    length = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    return Gaps(np.stack([home[hit], other[hit]], axis=1), ends[:, 0], ends[:, 1], length)


class Edges:
    """Edges of rings, sorted once, so that the first one on a way is soon found.

    Parameters
    ----------
    rings : object array of LinearRing
    owner : int array
        Whose each ring is.

    Attributes
    ----------
    sides : Sides
    owner : int array
        Whose each of them is.
    tree : STRtree
    """

    def __init__(self, rings: Geometries, owner: Indices) -> None:
        self.sides: Sides = _sides(rings)
        self.owner: Indices = owner[self.sides.ring]
        self._side: Floats = self.sides.end - self.sides.start
        ends = np.stack([self.sides.start, self.sides.end], axis=1)
        self.tree = shapely.STRtree(shapely.linestrings(ends))

    def first_hits(
        self, start: Floats, far: Floats, parts: Sequence[float] = PARTS
    ) -> tuple[Floats, Indices]:
        """Return where each way from ``start`` to ``far`` first meets a ring, and whose it is.

        Parameters
        ----------
        start, far : float64 array (n, 2)
            Rings within ``START`` of a start do not count.
        parts : sequence of float
            Shares of a way up to which it is looked along in turn: most end soon, and a short one
            has few edges in its box.

        Returns
        -------
        end : float64 array (n, 2)
            ``far`` where there is none.
        owner : int array (n,)
            -1 where there is none.
        """
        end = far.copy()
        other = np.full(len(start), -1)
        left = np.arange(len(start))
        for part in pairwise((0.0, *parts)):
            hit = self.hits(start[left], far[left], *part)
            end[left[hit[0]]], other[left[hit[0]]] = hit[1:]
            left = np.delete(left, hit[0])
        return end, other

    def hits(
        self, start: Floats, far: Floats, low: float, high: float
    ) -> tuple[Indices, Floats, Indices]:
        """Return which ways meet a ring between two shares of them, where first, and whose it is.

        Parameters
        ----------
        start, far : float64 array (n, 2)
            Rings within ``START`` of a start do not count.
        low, high : float
            Shares of the ways.

        Returns
        -------
        way : int array (k,)
        place : float64 array (k, 2)
        owner : int array (k,)
        """
        # Parts overlap, so that no edge is lost between two.
        ends = [start + max(low - NOT_ZERO, 0.0) * (far - start), start + high * (far - start)]
        # Boxes alone: where two straight lines meet is soon computed for all pairs at once.
        ray, segment = self.tree.query(shapely.linestrings(np.stack(ends, axis=1)))
        way, side = (far - start)[ray], self._side[segment]
        offset = self.sides.start[segment] - start[ray]
        cross = way[:, 0] * side[:, 1] - way[:, 1] * side[:, 0]
        # None where the two are parallel: a way meets no edge that it runs along.
        cross[cross == 0] = np.nan
        share = (offset[:, 0] * side[:, 1] - offset[:, 1] * side[:, 0]) / cross
        along = (offset[:, 0] * way[:, 1] - offset[:, 1] * way[:, 0]) / cross
        meets = (along >= -NOT_ZERO) & (along <= 1 + NOT_ZERO)
        meets &= (share >= low - NOT_ZERO) & (share <= high + NOT_ZERO)
        # Not the edge that the way starts from.
        meets &= share * np.hypot(*way.T) > START
        ray, segment, share = ray[meets], segment[meets], share[meets]
        order = np.lexsort((share, ray))
        ray, segment, share = ray[order], segment[order], share[order]
        first = np.append(True, ray[1:] != ray[:-1])[: len(ray)]
        ray, segment, share = ray[first], segment[first], share[first]
        return ray, start[ray] + share[:, None] * (far - start)[ray], self.owner[segment]


def _tightened(gaps: Gaps, edges: Edges, width: float) -> Gaps:
    """Return for each gap the shortest way between the stretches of edge near its two ends."""
    if len(gaps) == 0:
        return gaps
    sides, best = edges.sides, []
    for k, ends in ((0, gaps.start), (1, gaps.end)):
        far = TIGHTENED * width
        number, side = edges.tree.query(shapely.box(*(ends - far).T, *(ends + far).T))
        mine = edges.owner[side] == gaps.pieces[number, k]
        number, side = number[mine], side[mine]
        order = np.lexsort((side, number))
        number, side = number[order], side[order]
        at = ends[number]
        low, high = _within_octagon(sides.start[side] - at, sides.end[side] - at, far)
        kept = np.flatnonzero(low < high)
        number, side, low, high = (values[kept] for values in (number, side, low, high))
        start, way = sides.start[side], sides.end[side] - sides.start[side]
        clipped = np.stack([start + low[:, None] * way, start + high[:, None] * way], axis=1)
        # Sides that go on from one another are one line.
        goes_on = (number[1:] == number[:-1]) & (side[1:] == side[:-1] + 1)
        goes_on &= (sides.ring[side][1:] == sides.ring[side][:-1]) & (high[:-1] == 1)
        goes_on &= low[1:] == 0
        begins = np.append(True, ~goes_on)[: len(side)]
        line = np.cumsum(begins) - 1
        points = np.stack([begins, np.ones(len(side), bool)], axis=1)
        lines = shapely.linestrings(clipped[points], indices=np.repeat(line, points.sum(axis=1)))
        best.append(shapely.multilinestrings(lines, indices=number[begins]))
    return _gaps(gaps.pieces[:, 0], gaps.pieces[:, 1], shapely.shortest_line(best[0], best[1]))


class Sides(NamedTuple):
    """Sides of rings, one after the other round each ring."""

    start: Floats
    end: Floats
    ring: Indices


def _sides(rings: Geometries) -> Sides:
    points, ring = shapely.get_coordinates(rings, return_index=True)
    at = np.flatnonzero(ring[1:] == ring[:-1])
    return Sides(points[at], points[at + 1], ring[at])


def _within_octagon(start: Floats, end: Floats, radius: float) -> tuple[Floats, Floats]:
    """Return between which shares of them ways lie in an octagon about the origin.

    The octagon has its corners on a circle; where the first share is not less than the second a
    way is not in it (Cyrus and Beck).
    """
    low, high = np.zeros(len(start)), np.ones(len(start))
    inner = radius * np.cos(np.pi / 8)
    way = end - start
    for turn in (np.arange(4) + 0.5) * np.pi / 4:
        cos, sin = np.cos(turn), np.sin(turn)
        at = start[:, 0] * cos + start[:, 1] * sin
        out = way[:, 0] * cos + way[:, 1] * sin
        # Between two parallel sides: in by the one, out by the other.
        level = out == 0
        out = np.where(level, np.nan, out)
        one, other = (inner - at) / out, (-inner - at) / out
        high = np.fmin(high, np.fmax(one, other))
        low = np.fmax(low, np.fmin(one, other))
        low[level & (np.abs(at) > inner)] = np.inf
    return low, high


def _cost(gaps: Gaps, rough: Rough | None) -> Floats:
    return gaps.length if rough is None else rough(gaps)


def best_by_sector(gaps: Gaps, pieces: Geometries, cost: Floats, sectors: int) -> Indices:
    """Return positions of the cheapest and the shortest gap on each side of each piece.

    Parameters
    ----------
    gaps : Gaps
    pieces : object array of Polygon
    cost : float64 array (n,)
    sectors : int
        Sides that a piece has.
    """
    kept = []
    centre = shapely.get_coordinates(shapely.centroid(pieces))
    frame = largest_piece(pieces.tolist())
    for k, ends in ((0, gaps.start), (1, gaps.end)):
        piece = gaps.pieces[:, k]
        arm = ends - centre[piece]
        angle = np.arctan2(arm[:, 1], arm[:, 0])
        sector = np.floor(angle / (2 * np.pi) * sectors).astype(np.int64) % sectors
        for value in (cost, gaps.length):
            order = np.lexsort((value, sector, piece))
            p, s = piece[order], sector[order]
            first = np.append(True, (p[1:] != p[:-1]) | (s[1:] != s[:-1]))[: len(order)]
            chosen = order[first]
            kept.append(chosen[piece[chosen] != frame])
    return np.unique(np.concatenate(kept))


def _crosses_no_sheet(gaps: Gaps, pieces: Geometries) -> Bools:
    inset = np.minimum(0.01 * gaps.length, 1e-3)[:, None]
    way = (gaps.end - gaps.start) / np.maximum(gaps.length, NOT_ZERO)[:, None]
    lines = shapely.linestrings(
        np.stack([gaps.start + inset * way, gaps.end - inset * way], axis=1)
    )
    shapely.prepare(pieces)
    _, hit = shapely.STRtree(lines).query(pieces, predicate="intersects")
    free = np.ones(len(gaps), bool)
    free[hit] = False
    return free
