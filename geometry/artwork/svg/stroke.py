"""Strokes to outlines: the area that a pen covers along a line, with caps, joins and dashes.

The outline of a stroke is the sum of a rectangle on each segment, a wedge at the outside of each
join and the two caps, walked as one ring: at the inside of a join it runs back through the vertex
(or straight to the point where the two edges meet, where both segments are long enough for it), so
that every part is wound round in the same sense. Filled by the nonzero rule it is therefore exactly
the union of those parts; only rings that really overlap themselves need any cutting.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from shapely import MultiPolygon

from ...arrays import Bools, Floats, Indices, ramp
from ...errors import ArtworkError
from ...planar.curves import arc_pieces, balanced_radius
from ...planar.union import unite
from ...tolerance import TOLERANCES, Tolerances
from ..fill.contour import Compound, Contour
from ..fill.fill import fill_each

#: Dashes and gaps along one line; more are a mistake of the drawing.
MOST_DASHES = 20_000

#: Segments shorter than this share of the pen's half width have no direction worth following: at a
#: corner that a drawing program wrote twice they would make two joins of one.
_NEGLIGIBLE = 1e-5

#: A joint that turns further has a tangent too large to compare with anything, in radians.
_ALMOST_BACK = 1.57

#: Share of the pen's half width by which the joint at a corner may be off.
_EXACT = 1e-9

#: Length of a dash without length, in pen widths: it has the direction of its line.
_DOT = 1e-4


@dataclass(frozen=True)
class Pen:
    """How a line is stroked; the names and rules are those of SVG 1.1, section 11.4.

    Parameters
    ----------
    width : float
    cap : {"butt", "round", "square"}
    join : {"miter", "round", "bevel"}
    miter_limit : float
        A miter longer than this many widths becomes a bevel.
    dashes : tuple of float
        Lengths of dashes and gaps in turn; none for a solid line. An odd number is repeated.
    dash_offset : float
        Where in the pattern the line starts.
    """

    width: float
    cap: str = "butt"
    join: str = "miter"
    miter_limit: float = 4.0
    dashes: tuple[float, ...] = ()
    dash_offset: float = 0.0


def stroke(
    points: Floats,
    pen: Pen,
    *,
    closed: bool = False,
    smooth: Bools | None = None,
    tolerances: Tolerances = TOLERANCES,
) -> MultiPolygon:
    """Return the area that a pen covers along a polyline.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
    pen : Pen
    closed : bool
        Whether the last point is joined to the first.
    smooth : ndarray of bool, shape (n,), optional
        Vertices that stand for a bend of a curve and not for a corner; none when left out.
    tolerances : Tolerances
        ``chord`` bounds the distance of round caps, joins and smooth vertices from the true ones.

    Returns
    -------
    MultiPolygon

    Raises
    ------
    ArtworkError
        The dashes are too many.

    Examples
    --------
    >>> line = np.array([[0, 0], [10, 0]], float)
    >>> [round(stroke(line, Pen(2, cap)).area, 2) for cap in ("butt", "square")]
    [20.0, 24.0]
    """
    rings = stroke_outlines(points, pen, closed=closed, smooth=smooth, tolerance=tolerances.chord)
    compound = Compound([Contour(r) for r in rings], "nonzero", quiet=True)
    return unite(fill_each([compound], tolerances=tolerances).polygons, tolerances=tolerances)


def stroke_outlines(
    points: Floats,
    pen: Pen,
    *,
    closed: bool = False,
    smooth: Bools | None = None,
    tolerance: float = TOLERANCES.chord,
) -> list[Floats]:
    """Return outlines that, filled together by the nonzero rule, are the stroke of a polyline.

    Parameters and errors are those of :func:`stroke`.

    Returns
    -------
    list of ndarray, shape (m, 2)
        Rings that may overlap themselves and each other.
    """
    if pen.width <= 0 or len(points) == 0:
        return []
    points = np.asarray(points, np.float64)
    corner = np.ones(len(points), bool) if smooth is None else ~np.asarray(smooth, bool)
    if pen.dashes and sum(pen.dashes) > 0:
        solid = replace(pen, dashes=())
        return [
            ring
            for piece, piece_corner in _dashed(points, corner, closed, pen)
            for ring in _outline(piece, piece_corner, False, solid, tolerance)
        ]
    return _outline(points, corner, closed, pen, tolerance)


def rough_outlines(
    lines: Sequence[Floats], closed: Sequence[bool], widths: Sequence[float]
) -> list[list[Floats]]:
    """Return outlines of thin pens' strokes: flat ends and blunt corners, soon found.

    Parameters
    ----------
    lines : sequence of float64 array (n, 2)
    closed : sequence of bool
        Whether each line's last point is joined to its first.
    widths : sequence of float
        Of the pens.

    Returns
    -------
    list of list of ndarray, shape (m, 2)
        Of each line, to be filled together by the nonzero rule; none of what is a point.

    Examples
    --------
    >>> ((ring,),) = rough_outlines([np.array([[0.0, 0.0], [9.0, 0.0]])], [False], [0.2])
    >>> float(np.ptp(ring[:, 0])), float(np.ptp(ring[:, 1]))
    (9.0, 0.2)
    """
    walked = [
        np.concatenate([points, points[:1]]) if joined or len(points) < 2 else points
        for points, joined in zip(lines, closed, strict=True)
    ]
    drawn = np.array([shapely.LineString(points) for points in walked], object)
    half = np.asarray(widths, np.float64) / 2
    areas = shapely.buffer(drawn, half, quad_segs=1, cap_style="flat", join_style="bevel")
    parts, line = shapely.get_parts(shapely.orient_polygons(areas), return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    found: list[list[Floats]] = [[] for _ in lines]
    for ring, number in zip(rings, line[part].tolist(), strict=True):
        found[number].append(shapely.get_coordinates(ring)[:-1])
    return found


def _outline(
    points: Floats, corner: Bools, closed: bool, pen: Pen, tolerance: float
) -> list[Floats]:
    half = 0.5 * pen.width
    points, corner = _merged(points, corner, closed, half)
    if len(points) == 1:
        return _dot(points[0], pen, tolerance)
    left, right = _sides(points, corner, closed, pen, tolerance)
    if closed:
        return [left, right]
    ahead = _unit(points[-1] - points[-2])
    back = _unit(points[0] - points[1])
    ends = _cap(points[-1], ahead, pen, tolerance), _cap(points[0], back, pen, tolerance)
    return [np.concatenate([left, ends[0], right, ends[1]])]


def _merged(points: Floats, corner: Bools, closed: bool, half: float) -> tuple[Floats, Bools]:
    """Merge points that are next to nothing apart; a merged point is a corner if one of them is."""
    near = _NEGLIGIBLE * half
    fresh = np.ones(len(points), bool)
    fresh[1:] = np.hypot(*np.diff(points, axis=0).T) > near
    first = np.flatnonzero(fresh)
    corner = np.logical_or.reduceat(corner, first)
    points = points[first]
    if closed and len(points) > 1 and np.hypot(*(points[-1] - points[0])) <= near:
        corner = np.concatenate(([corner[0] | corner[-1]], corner[1:-1]))
        points = points[:-1]
    return points, corner


def _sides(
    points: Floats, corner: Bools, closed: bool, pen: Pen, tolerance: float
) -> tuple[Floats, Floats]:
    """Walk along the left of a polyline at half the pen's width, and back along its right."""
    half = 0.5 * pen.width
    step = np.diff(points, axis=0, append=points[:1]) if closed else np.diff(points, axis=0)
    length = np.hypot(*step.T)
    way = step / length[:, None]
    if closed:
        at = points
        come, go = np.roll(way, 1, axis=0), way
        room = 0.5 * np.minimum(np.roll(length, 1), length)
    else:
        at, corner = points[1:-1], corner[1:-1]
        come, go = way[:-1], way[1:]
        room = 0.5 * np.minimum(length[:-1], length[1:])
    left = right = np.empty((0, 2))
    if len(at):
        there, count = _joins(
            np.concatenate([at, at[::-1]]),
            np.concatenate([come, -go[::-1]]),
            np.concatenate([go, -come[::-1]]),
            np.concatenate([room, room[::-1]]),
            np.concatenate([corner, corner[::-1]]),
            pen,
            tolerance,
        )
        turned = int(count[: len(at)].sum())
        left, right = there[:turned], there[turned:]
    if closed:
        return left, right
    aside = half * _left(way[[0, -1]])
    first, last = points[0] + aside[0], points[-1] + aside[1]
    beyond, before = points[-1] - aside[1], points[0] - aside[0]
    return np.vstack([first, left, last]), np.vstack([beyond, right, before])


def _joins(
    at: Floats, come: Floats, go: Floats, room: Floats, corner: Bools, pen: Pen, tolerance: float
) -> tuple[Floats, Indices]:
    """Points on the left of each vertex, one vertex after another, and how many each has."""
    half = 0.5 * pen.width
    cross = come[:, 0] * go[:, 1] - come[:, 1] * go[:, 0]
    dot = (come * go).sum(axis=1)
    turn = np.arctan2(np.abs(cross), dot)  # 0 straight on, pi straight back
    inner = cross > 0
    with np.errstate(divide="ignore"):
        spread = 1.0 / np.maximum(np.cos(0.5 * turn), 0.0)  # length of the miter in half widths

    # One point, where the two edges meet: inside with room for it, a miter, or next to straight.
    meets = np.where(
        inner,
        half * np.tan(np.minimum(0.5 * turn, _ALMOST_BACK)) <= room,
        half * (spread - 1.0) <= np.where(corner, _EXACT * half, tolerance),
    )
    if pen.join == "miter":
        meets |= ~inner & corner & (spread <= pen.miter_limit)
    rounded = np.flatnonzero(~inner & ~meets & (~corner | (pen.join == "round")))
    sides = arc_pieces(half, turn[rounded], tolerance) if len(rounded) else rounded

    count = np.full(len(at), 2)  # a bevel
    count[meets] = 1
    count[inner & ~meets] = 3
    count[rounded] = np.maximum(sides, 1) + 1
    first = np.cumsum(count) - count
    out = np.empty((int(count.sum()), 2))

    start, end = at + half * _left(come), at + half * _left(go)
    out[first] = start
    out[first + count - 1] = end
    middle = _left(come[meets]) + _left(go[meets])
    out[first[meets]] = at[meets] + half * middle / (1.0 + dot[meets])[:, None]
    back = inner & ~meets
    out[first[back] + 1] = at[back]
    if len(rounded):
        which = np.repeat(rounded, count[rounded])
        nth = ramp(count[rounded])
        share = nth / (count[which] - 1)
        between = (nth > 0) & (share < 1)
        own = np.repeat(balanced_radius(turn[rounded], np.maximum(sides, 1)), count[rounded])
        radius = half * np.where(between, own, 1.0)
        out[first[which] + nth] = at[which] + radius[:, None] * _turned(
            _left(come[which]), -turn[which] * share
        )
    return out, count


def _cap(at: Floats, way: Floats, pen: Pen, tolerance: float) -> Floats:
    """Points between the left and the right of a line's end, walked round the end."""
    half = 0.5 * pen.width
    left = _left(way)
    if pen.cap == "square":
        return np.array([at + half * (left + way), at + half * (way - left)])
    if pen.cap == "round":
        return np.asarray(at + _half_round(half, tolerance) @ np.stack([left, way]))
    return np.empty((0, 2))


@lru_cache(maxsize=256)
def _half_round(half: float, tolerance: float) -> Floats:
    """Return the points of a round cap: shares of the way to its left, and of the way ahead."""
    sides = int(arc_pieces(half, np.pi, tolerance))
    angle = np.pi * np.arange(1, sides) / sides
    out = half * float(balanced_radius(np.pi, sides))
    points: Floats = out * np.column_stack([np.cos(angle), np.sin(angle)])
    points.setflags(write=False)
    return points


def _dot(at: Floats, pen: Pen, tolerance: float) -> list[Floats]:
    """A line without length shows its caps only (SVG 1.1, 11.4, 'stroke-linecap')."""
    if pen.cap == "butt":
        return []
    way = np.array([1.0, 0.0])
    side = 0.5 * pen.width * _left(way)[None, :]
    ring = [at + side, _cap(at, way, pen, tolerance), at - side, _cap(at, -way, pen, tolerance)]
    return [np.concatenate(ring)]


def _dashed(
    points: Floats, corner: Bools, closed: bool, pen: Pen
) -> Sequence[tuple[Floats, Bools]]:
    """Cut a line into its dashes."""
    if closed:
        points, corner = np.vstack([points, points[:1]]), np.append(corner, corner[0])
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    total = float(along[-1])
    if total <= 0:
        return [(points[:1], corner[:1])]
    pattern = np.array(pen.dashes * (1 + len(pen.dashes) % 2))
    period = sum(pattern.tolist())
    offset = pen.dash_offset % period
    rounds = total / period + 1
    if rounds * len(pattern) > MOST_DASHES:
        raise ArtworkError(
            f"a line of {total:.4g} would have {rounds * len(pattern) / 2:.0f} dashes, "
            f"expected at most {MOST_DASHES // 2}"
        )
    edges = np.concatenate(([0.0], np.cumsum(pattern)))[:-1].reshape(-1, 2)
    begin = (edges[:, 0] + period * np.arange(int(rounds) + 1)[:, None] - offset).ravel()
    end = (edges[:, 1] + period * np.arange(int(rounds) + 1)[:, None] - offset).ravel()
    shown = (end >= 0) & (begin <= total) & ((end > 0) | (begin == end))
    begin, end = np.maximum(begin[shown], 0.0), np.minimum(end[shown], total)

    tiny = _DOT * pen.width
    pieces = []
    for a, b in zip(begin, end, strict=True):
        if a == b:
            a, b = max(a - tiny, 0.0), min(b + tiny, total)
        inside = slice(*np.searchsorted(along, [a, b], side="right"))
        ends = np.array([[np.interp(s, along, points[:, k]) for k in (0, 1)] for s in (a, b)])
        pieces.append(
            (
                np.concatenate([ends[:1], points[inside], ends[1:]]),
                np.concatenate([[True], corner[inside], [True]]),
            )
        )
    if closed and len(pieces) > 1 and begin[0] == 0 and end[-1] == total:
        # The dash that runs across the start is one dash, with a join there.
        (head, head_corner), (tail, tail_corner) = pieces[0], pieces[-1]
        over = np.concatenate([tail_corner[:-1], corner[:1], head_corner[1:]])
        pieces = [(np.concatenate([tail[:-1], head]), over), *pieces[1:-1]]
    return pieces


def _left(way: Floats) -> Floats:
    turned: Floats = way[..., ::-1] * (-1.0, 1.0)
    return turned


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.hypot(*vector))


def _turned(vector: Floats, angle: Floats) -> Floats:
    cos, sin = np.cos(angle), np.sin(angle)
    x, y = vector.T
    return np.column_stack([cos * x - sin * y, sin * x + cos * y])
