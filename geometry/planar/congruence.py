"""Congruence: which shapes are the same but for where they lie, and which mirror onto themselves.

Shapes are sorted by what no motion changes (area, length of edge, holes, spread about the
centroid), and those that agree are laid on each other by their centroids. Where they may be turned,
the turn is that at which their outlines, as distances from the centroid by angle, agree best. They
are the same where no vertex of one lies further than a tolerance from the edge of the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Floats, Geometries

#: Shapes this near each other everywhere, in mm, are the same: twice the tolerance of chords.
SAME = 0.1
#: Where a shift alone brings them this near, in mm, no turn is looked for.
_EXACT = 1e-3
#: A shape is symmetric where it is so to this share of its size: outlines of letters are rounded.
_BY_EYE = 0.004
#: Shapes are looked at where they agree in area and edge by this share.
_ALIKE = 0.01
#: And in their spreads about the centroid, which grow with the square of the area, by this share.
_SPREAD = 0.05
#: Angles at which outlines are compared, and best turns that are looked at closely.
_ANGLES, _TURNS = 720, 8
#: Turns whose agreement is less than the best one's by this share are as good, by their steps.
_AS_GOOD = 1e-3
#: Rounds of laying one outline on the other, vertex on nearest edge.
_ROUNDS = 6


@dataclass(frozen=True)
class Motion:
    """A turn, mirroring and scaling, then a shift: p goes to ``matrix @ p + shift``."""

    matrix: Floats
    shift: Floats

    def __call__(self, points: Floats) -> Floats:
        """Return moved points (..., 2)."""
        moved: Floats = points @ self.matrix.T + self.shift
        return moved

    @property
    def factor(self) -> float:
        """How many times longer lengths become."""
        return float(np.sqrt(abs(np.linalg.det(self.matrix))))

    def inverse(self) -> Motion:
        """Return the motion back."""
        back = np.linalg.inv(self.matrix)
        return Motion(back, -back @ self.shift)

    def after(self, first: Motion) -> Motion:
        """Return the motion that does another one first."""
        return Motion(self.matrix @ first.matrix, self.matrix @ first.shift + self.shift)


@dataclass(frozen=True)
class Family:
    """Shapes that are the same.

    Parameters
    ----------
    members : tuple of int
        Positions of the shapes; the first is the pattern.
    motions : tuple of Motion
        From the first to each.
    """

    members: tuple[int, ...]
    motions: tuple[Motion, ...]


def families(
    shapes: Sequence[Polygon], *, turned: bool = False, scaled: bool = False
) -> tuple[Family, ...]:
    """Return the families of congruent shapes; a shape that is like no other is one of its own.

    Parameters
    ----------
    shapes : sequence of Polygon
        In mm.
    turned : bool
        Whether shapes may be turned and mirrored.
    scaled : bool
        Whether they may be larger or smaller.

    Examples
    --------
    >>> square = shapely.box(0, 0, 2, 2)
    >>> [f.members for f in families([square, shapely.box(0, 0, 3, 1), shapely.box(5, 1, 7, 3)])]
    [(0, 2), (1,)]
    """
    if not len(shapes):
        return ()
    array = np.asarray(shapes, object)
    known = _Known(array)
    area = shapely.area(array)
    size = np.sqrt(area)
    edge = shapely.length(array) / (size if scaled else 1.0)
    holes = shapely.get_num_interior_rings(array)
    bounds = shapely.bounds(array)
    box = np.stack([bounds[:, 2] - bounds[:, 0], bounds[:, 3] - bounds[:, 1]], axis=1)
    free = np.ones(len(array), bool)
    found = []
    for first in range(len(array)):
        if not free[first]:
            continue
        like = free & (holes == holes[first])
        like &= np.abs(edge - edge[first]) <= _ALIKE * edge[first]
        if not scaled:
            like &= np.abs(area - area[first]) <= _ALIKE * area[first]
        if not turned:
            ratio = (size / size[first] if scaled else np.ones(len(array)))[:, None]
            like &= (np.abs(box - ratio * box[first]) <= 2 * SAME * np.maximum(ratio, 1)).all(1)
        else:
            ratio = (known.spread / known.spread[first]) / (area / area[first])[:, None] ** 2
            like &= (np.abs(ratio - 1) <= _SPREAD).all(axis=1)
        like[: first + 1] = False
        members = [first]
        motions = [Motion(np.eye(2), np.zeros(2))]
        for other in np.flatnonzero(like).tolist():
            factor = float(size[other] / size[first]) if scaled else 1.0
            motion = _laid_on(known, first, other, factor, turned=turned)
            if motion is not None:
                members.append(other)
                motions.append(motion)
        free[members] = False
        found.append(Family(tuple(members), tuple(motions)))
    return tuple(found)


def mirrors(shape: Polygon) -> tuple[Motion, ...]:
    """Return the mirrorings about an upright or a level line that leave a shape as it is.

    >>> len(mirrors(shapely.box(0, 0, 3, 1)))
    2
    >>> len(mirrors(shapely.Polygon([(0, 0), (4, 0), (2, 3)])))
    1
    """
    centre = shapely.get_coordinates(shapely.centroid(shape))[0]
    found = []
    for matrix in (np.diag([-1.0, 1.0]), np.diag([1.0, -1.0])):
        low_x, low_y, high_x, high_y = shape.bounds
        # The middle of the box is exact where the centroid has rounding.
        middle = np.array([(low_x + high_x) / 2, (low_y + high_y) / 2])
        near = max(SAME, _BY_EYE * float(np.hypot(high_x - low_x, high_y - low_y)))
        if np.abs(middle - centre)[matrix.diagonal() < 0].max() > near:
            continue
        motion = Motion(matrix, middle - matrix @ middle)
        if _same(shape, shape, motion, near):
            found.append(motion)
    return tuple(found)


class _Known:
    """Shapes, and what is worked out of each but once.

    Parameters
    ----------
    shapes : object array of Polygon
    """

    def __init__(self, shapes: Geometries) -> None:
        self.shapes = shapes
        self.centre: Floats = shapely.get_coordinates(shapely.centroid(shapes))
        #: Least and greatest second moment of area about the centroid.
        self.spread: Floats = _spread(shapes, self.centre)
        self._profiles: dict[int, Floats] = {}

    def profile(self, number: int) -> Floats:
        """Return how far a shape's outline reaches from its centroid, by angle."""
        if number not in self._profiles:
            self._profiles[number] = _profile(self.shapes[number], self.centre[number])
        return self._profiles[number]


def _spread(shapes: Geometries, centre: Floats) -> Floats:
    """Return both principal second moments of area of shapes about points, an array (n, 2)."""
    rings, owner = shapely.get_rings(shapely.orient_polygons(shapes), return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    side = np.flatnonzero(ring[1:] == ring[:-1])
    of = owner[ring[side]]
    x0, y0 = (points[side] - centre[of]).T
    x1, y1 = (points[side + 1] - centre[of]).T
    # Green's theorem, triangle by triangle from the centroid.
    cross = (x0 * y1 - x1 * y0) / 12
    xx, yy, xy = (
        np.bincount(of, cross * value, len(shapes))
        for value in (
            x0 * x0 + x0 * x1 + x1 * x1,
            y0 * y0 + y0 * y1 + y1 * y1,
            x0 * y0 + (x0 * y1 + x1 * y0) / 2 + x1 * y1,
        )
    )
    middle, half = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    spread: Floats = np.stack([middle - half, middle + half], axis=1)
    return spread


def _laid_on(
    known: _Known, first: int, other: int, factor: float, *, turned: bool
) -> Motion | None:
    """Return the motion from one shape to another, None where they are not the same."""
    one, two = known.shapes[first], known.shapes[other]
    from_, to = known.centre[first], known.centre[other]
    matrices = [np.eye(2)]
    if turned:
        matrices += _turns(known.profile(first), known.profile(other))
    for matrix in matrices:
        motion = Motion(factor * matrix, to - factor * matrix @ from_)
        near = SAME * max(motion.factor, 1.0)
        level = np.array_equal(matrix, np.eye(2))
        if turned and not (level and _same(one, two, motion, _EXACT)):
            # The turn is known by steps; what is further off by now is not made the same.
            reach = float(known.profile(other).max())
            if not _same(one, two, motion, 2 * near + 2 * reach * 2 * np.pi / _ANGLES):
                continue
            motion = _fitted(one, two, motion)
        if _same(one, two, motion, near):
            return motion if turned or factor != 1.0 else _exact_shift(one, two, motion)
    return None


def _exact_shift(first: Polygon, other: Polygon, motion: Motion) -> Motion:
    """Return a shift without the rounding of the centroids, where the vertices give it."""
    low = np.array(other.bounds) - np.array(first.bounds)
    shift = (low[:2] + low[2:]) / 2
    return Motion(motion.matrix, shift) if np.abs(shift - motion.shift).max() < SAME else motion


def _same(first: Polygon, other: Polygon, motion: Motion, near: float) -> bool:
    edge = other.boundary
    shapely.prepare(edge)
    moved = motion(shapely.get_coordinates(first))
    if not shapely.dwithin(edge, shapely.points(moved), near).all():
        return False
    back = shapely.transform(first.boundary, motion)
    shapely.prepare(back)
    return bool(shapely.dwithin(back, shapely.points(shapely.get_coordinates(other)), near).all())


def _turns(one: Floats, two: Floats) -> list[Floats]:
    """Return turns, and mirrorings with turns, at which two outlines' profiles agree best.

    Of those that are as good, turns stand before mirrorings, and small turns before large ones: a
    symmetric letter on an arc is turned with its neighbours, not turned over.
    """
    scale = two.mean() / one.mean()
    found = []
    for mirrored in (False, True):
        profile = (one[::-1] if mirrored else one) * scale
        agrees = np.fft.irfft(np.fft.rfft(two) * np.conj(np.fft.rfft(profile)), _ANGLES)
        peak = (agrees >= np.roll(agrees, 1)) & (agrees >= np.roll(agrees, -1))
        best = np.flatnonzero(peak)
        best = best[np.argsort(-agrees[best])][:_TURNS]
        for step in best.tolist():
            angle = 2 * np.pi * step / _ANGLES
            turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
            # The profile backwards starts one step early.
            early = 2 * np.pi / _ANGLES
            flip = np.array([[np.cos(early), np.sin(early)], [np.sin(early), -np.cos(early)]])
            least = min(step, _ANGLES - step)
            matrix = turn @ flip.T if mirrored else turn
            found.append((float(agrees[step]), mirrored, least, matrix))
    enough = (1 - _AS_GOOD) * max(agrees for agrees, *_ in found)
    good = sorted((one for one in found if one[0] >= enough), key=lambda one: one[1:3])
    others = sorted((one for one in found if one[0] < enough), key=lambda one: -one[0])
    return [matrix for *_, matrix in good + others]


def _profile(shape: Polygon, centre: Floats) -> Floats:
    """Return how far an outline reaches from a centre, by angle."""
    points = shapely.get_coordinates(shape.exterior)
    passed = np.append(0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T)))
    count = 4 * _ANGLES
    along = np.arange(count) / count * passed[-1]
    arm = np.stack([np.interp(along, passed, values) for values in points.T], axis=1) - centre
    slot = np.floor(np.arctan2(arm[:, 1], arm[:, 0]) / (2 * np.pi) * _ANGLES).astype(int) % _ANGLES
    reach = np.zeros(_ANGLES)
    np.maximum.at(reach, slot, np.hypot(*arm.T))
    known = np.flatnonzero(reach)
    profile: Floats = np.interp(np.arange(_ANGLES), known, reach[known], period=_ANGLES)
    return profile


def _fitted(first: Polygon, other: Polygon, motion: Motion) -> Motion:
    """Return the motion made better: corners on the edge, at last on corners where these agree.

    On the edge each round is a step of Gauss and Newton, in which a corner may slide along its
    edge; on corners it is the best motion of pairs (Procrustes).
    """
    points = shapely.get_coordinates(first)
    edges = _Sides(other)
    for _ in range(_ROUNDS):
        moved = motion(points)
        foot, normal = edges.nearest(moved)
        centre = moved.mean(axis=0)
        arm = moved - centre
        turning = arm[:, 0] * normal[:, 1] - arm[:, 1] * normal[:, 0]
        short = ((foot - moved) * normal).sum(axis=1)
        angle, *shift = np.linalg.lstsq(np.column_stack([turning, normal]), short, rcond=None)[0]
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        motion = Motion(turn, centre - turn @ centre + shift).after(motion)
    corners = shapely.get_coordinates(other)
    if len(corners) != len(points):
        return motion
    pair = shapely.STRtree(shapely.points(corners)).nearest(shapely.points(motion(points)))
    near = corners[pair]
    a, b = points - points.mean(axis=0), near - near.mean(axis=0)
    left, _, right = np.linalg.svd(b.T @ a)
    hand = np.sign(np.linalg.det(motion.matrix) * np.linalg.det(left @ right))
    matrix = motion.factor * left @ np.diag([1.0, hand]) @ right
    return Motion(matrix, near.mean(axis=0) - matrix @ points.mean(axis=0))


class _Sides:
    """The straight sides of a shape's edge, for the nearest one to points."""

    def __init__(self, shape: Polygon) -> None:
        points, ring = shapely.get_coordinates(shapely.get_rings(shape), return_index=True)
        side = np.flatnonzero((ring[1:] == ring[:-1]) & (np.diff(points, axis=0) != 0).any(axis=1))
        self._start = points[side]
        self._along = points[side + 1] - points[side]
        self._tree = shapely.STRtree(shapely.linestrings(points[side[:, None] + [0, 1]]))

    def nearest(self, points: Floats) -> tuple[Floats, Floats]:
        """Return the nearest point of the edge to each point (n, 2), and the side's unit normal."""
        side = self._tree.nearest(shapely.points(points))
        start, along = self._start[side], self._along[side]
        length = np.hypot(*along.T)
        share = ((points - start) * along).sum(axis=1) / length**2
        foot = start + np.clip(share, 0, 1)[:, None] * along
        normal = np.stack([-along[:, 1], along[:, 0]], axis=1) / length[:, None]
        return foot, normal
