"""Curves to polylines that keep the curve's area and lie within a tolerance of it.

A polyline with its vertices on the curve loses area wherever the curve bends: a tenth of a disc of
half a millimetre at a tolerance of 0.05. So the vertices between a curve's ends are pushed to its
outer side by just what makes the area between curve and polyline nothing (Green's theorem); chords
then lie on both sides of the curve, none further off than the tolerance. A curve that bends so
little that one chord will do keeps its one chord, at a loss under a thousandth of its disc.

For Bezier curves and arcs the distance is proven; for B-splines it is measured. The functions for
Bezier curves and arcs work on arrays of curves at once. They return the points of all curves one
after another, without each curve's start and with its end exactly as given, and how many points
each curve got.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Indices
from ..tolerance import NOT_ZERO

#: An arc of a small circle keeps at least eight sides to the turn, however wide the tolerance.
_WIDEST_STEP = np.pi / 4

#: One chord must not stand for a curve that turns further, in radians: it would lose more than
#: angle^2 / 6, a thousandth, of the area of such a circle.
_ONE_CHORD = 0.08
#: Fewest chords of a curve whose ends lie near each other.
_LOOP = 5
#: A single vertex between two ends is pushed out by 4/3 of the sagitta.
_SINGLE_PUSH = 4 / 3

#: A span between two knots is looked at in this many pieces at least.
_FIRST_SPLINE_PIECES = 4
#: Where within each piece its distance from the chord is measured.
_PROBES = np.array([0.25, 0.5, 0.75])
#: Steps in which the area of a piece is measured.
_AREA_STEPS = 8
#: Halving this often makes a piece shorter than any drawing can hold.
_MOST_HALVINGS = 20


def flatten_cubics(control: Floats, tolerance: Floats | float) -> tuple[Floats, Indices]:
    """Flatten cubic Bezier curves.

    A curve is cut into k pieces of equal parameter length h = 1 / k. The chord of a piece is the
    linear interpolant of the curve there, so that their distance is at most h^2 / 8 max|B''| (error
    of linear interpolation, de Boor, A Practical Guide to Splines, chapter III). Since B'' is 6
    times a convex combination of the second differences of the control points,

        k = ceil(sqrt(3 / 4 max(|P0 - 2 P1 + P2|, |P1 - 2 P2 + P3|) / tolerance))

    suffices. (The same bound as Wang's formula, G. Wang 1984, for degree 3.) Then vertices are
    pushed out so that the polyline has the curve's area (see ``_with_area``), never by more than
    the tolerance.

    Parameters
    ----------
    control : ndarray, shape (n, 4, 2)
    tolerance : float or ndarray, shape (n,)
        Largest distance between curve and chord, in the units of ``control``.

    Returns
    -------
    points : ndarray, shape (sum of counts, 2)
    counts : ndarray of int, shape (n,)

    Examples
    --------
    >>> line = np.array([[[0, 0], [1, 0], [2, 0], [3, 0]]], float)
    >>> flatten_cubics(line, 0.05)[0].tolist()
    [[3.0, 0.0]]
    """
    p0, p1, p2, p3 = np.moveaxis(control, 1, 0)
    bend = np.maximum(_length(p0 - 2 * p1 + p2), _length(p1 - 2 * p2 + p3))
    least = np.sqrt(0.75 * bend / tolerance)
    counts = _pieces(least)
    # |B''| / |B'| is about the angle that the curve turns by.
    turning = 2 * bend > _ONE_CHORD * np.maximum(_length(p3 - p0), NOT_ZERO)
    counts = np.where(turning, np.maximum(counts, 2), counts)
    # A loop that ends where it began, or nearly so, has no area in fewer chords.
    arms = _length(p1 - p0) + _length(p2 - p1) + _length(p3 - p2)
    loop = 2 * _length(p3 - p0) < arms
    counts = np.where(turning & loop, np.maximum(counts, _LOOP), counts)
    counts = np.where(counts == 2, np.maximum(counts, _pieces(least * _SINGLE_PUSH**0.5)), counts)
    t, which = _parameters(counts)
    # Power form about P0 would lose digits near the end; the Bernstein form does not.
    s = 1.0 - t
    points = (
        (s * s * s) * p0[which]
        + (3 * s * s * t) * p1[which]
        + (3 * s * t * t) * p2[which]
        + (t * t * t) * p3[which]
    )
    last = np.cumsum(counts) - 1
    points[last] = p3
    # A third of the derivative by each piece's own parameter: the arms of its control points.
    arm = s * s * (p1 - p0)[which] + 2 * s * t * (p2 - p1)[which] + t * t * (p3 - p2)[which]
    arm = arm / counts[which, None]
    arm_before = _shifted(arm, counts, (p1 - p0) / counts[:, None])
    chord = points - _shifted(points, counts, p0)
    near, far = arm_before, chord - arm
    # Area of a cubic about its start (Green's theorem on the Bernstein form).
    beside = (3 * _cross(near, far) + 3 * _cross(near, chord) + 6 * _cross(far, chord)) / 20
    return _with_area(p0, points, counts, beside, np.broadcast_to(tolerance, counts.shape)), counts


@dataclass(frozen=True, eq=False)
class Arcs:
    """Elliptical arcs: ``centre + u cos(t) + v sin(t)`` for t from ``start`` by ``turn``.

    Parameters
    ----------
    centre, u, v : ndarray, shape (n, 2)
        ``u`` and ``v`` are conjugate half-diameters: the images of a unit circle's axes.
    start, turn : ndarray, shape (n,)
        Radians; ``turn`` is negative where t falls.
    """

    centre: Floats
    u: Floats
    v: Floats
    start: Floats
    turn: Floats

    def mapped(self, linear: Floats, shift: Floats) -> Arcs:
        """Return the arcs under affine maps ``x -> linear x + shift``, shapes (n, 2, 2), (n, 2)."""

        def turned(vector: Floats) -> Floats:
            product: Floats = np.einsum("nij,nj->ni", linear, vector)
            return product

        return Arcs(
            turned(self.centre) + shift, turned(self.u), turned(self.v), self.start, self.turn
        )


def arcs_from_ends(
    start: Floats,
    end: Floats,
    radii: Floats,
    rotation: Floats,
    large: Bools,
    sweep: Bools,
) -> Arcs:
    """Find the arcs that SVG's path command A describes by its end points.

    SVG 1.1, appendix F.6.5 (end points to centre), with F.6.6 (radii made positive, and scaled up
    where no ellipse of that size reaches both ends).

    Parameters
    ----------
    start, end : ndarray, shape (n, 2)
        Distinct end points.
    radii : ndarray, shape (n, 2)
        Neither is zero.
    rotation : ndarray, shape (n,)
        Of the ellipse's x axis, in degrees.
    large, sweep : ndarray of bool, shape (n,)

    Returns
    -------
    Arcs
    """
    phi = np.radians(rotation)
    cos, sin = np.cos(phi), np.sin(phi)
    rx, ry = np.abs(radii).T
    half = 0.5 * (start - end)
    x = cos * half[:, 0] + sin * half[:, 1]
    y = -sin * half[:, 0] + cos * half[:, 1]
    short = np.maximum(np.hypot(x / rx, y / ry), 1.0)  # F.6.6, equation 6.2
    rx, ry = rx * short, ry * short
    # F.6.5.2 in units of the radii, where it is a matter of a unit circle.
    px, py = x / rx, y / ry
    reach = px * px + py * py
    factor = np.sqrt(np.maximum(1.0 / reach - 1.0, 0.0)) * np.where(large == sweep, -1.0, 1.0)
    cx, cy = factor * py, -factor * px
    centre = 0.5 * (start + end) + np.column_stack(
        [cos * rx * cx - sin * ry * cy, sin * rx * cx + cos * ry * cy]
    )
    first = np.arctan2(py - cy, px - cx)
    last = np.arctan2(-py - cy, -px - cx)
    turn = (last - first) % (2 * np.pi)
    turn = np.where(sweep, turn, turn - 2 * np.pi)
    return Arcs(
        centre,
        np.column_stack([rx * cos, rx * sin]),
        np.column_stack([-ry * sin, ry * cos]),
        first,
        turn,
    )


def flatten_arcs(arcs: Arcs, tolerance: Floats | float) -> tuple[Floats, Indices]:
    """Flatten elliptical arcs.

    The chord over an angle a of a unit circle lies within its sagitta 1 - cos(a / 2) of the arc
    (elementary). The ellipse is the image of that circle under the matrix [u v], which stretches no
    distance by more than its larger singular value R, the greater half-axis. So steps of at most
    a = 2 arccos(1 - tolerance / R) keep the distance within the tolerance. Vertices between the
    ends lie further out, by the factor at which the sector has the arc's area (see
    ``balanced_radius``); affine maps keep shares of area, so the same factor serves ellipses.

    Parameters
    ----------
    arcs : Arcs
    tolerance : float or ndarray, shape (n,)

    Returns
    -------
    points : ndarray, shape (sum of counts, 2)
        The last point of each arc is computed, hence true to rounding only.
    counts : ndarray of int, shape (n,)

    Examples
    --------
    >>> zero = np.zeros(1)
    >>> turn = Arcs(np.zeros((1, 2)), np.array([[9.0, 0]]), np.array([[0, 9.0]]), zero, zero + 6.28)
    >>> int(flatten_arcs(turn, 0.05)[1][0])
    30
    """
    counts = arc_pieces(largest_stretch(arcs.u, arcs.v), np.abs(arcs.turn), tolerance)
    t, which = _parameters(counts)
    angle = arcs.start[which, None] + arcs.turn[which, None] * t
    out = np.where(t[:, 0] < 1.0, balanced_radius(np.abs(arcs.turn), counts)[which], 1.0)[:, None]
    points = out * (np.cos(angle) * arcs.u[which] + np.sin(angle) * arcs.v[which])
    return arcs.centre[which] + points, counts


def arc_pieces(radius: Floats | float, turn: Floats | float, tolerance: Floats | float) -> Indices:
    """Return how many chords an arc needs that is to keep its area within the tolerance.

    Parameters
    ----------
    radius, turn, tolerance : float or ndarray
        ``turn`` in radians, not negative.

    Returns
    -------
    ndarray of int
        One chord for next to no turn only; otherwise there is a vertex to push out.
    """
    counts = _pieces(np.asarray(turn / arc_step(radius, tolerance)))
    counts = np.where(np.asarray(turn) > _ONE_CHORD, np.maximum(counts, 2), counts)
    finer = _pieces(np.asarray(turn / arc_step(radius, np.asarray(tolerance) / _SINGLE_PUSH)))
    return np.asarray(np.where(counts == 2, np.maximum(counts, finer), counts))


def balanced_radius(turn: Floats | float, counts: Indices | int) -> Floats:
    """Return how far out the vertices between an arc's ends lie, as a share of the radius.

    A sector of n chords over equal angles a, its ends at radius 1 and all others at q, has the area
    sin(a) / 2 ((n - 2) q^2 + 2 q); the arc's own sector has n a / 2 (elementary).

    Parameters
    ----------
    turn : float or ndarray
        Radians, not negative.
    counts : int or ndarray of int

    Examples
    --------
    >>> q = balanced_radius(np.pi, 4)
    >>> bool(np.isclose(np.sin(np.pi / 4) / 2 * (2 * q * q + 2 * q), np.pi / 2))
    True
    """
    n = np.asarray(counts, np.float64)
    a = np.asarray(turn) / n
    ratio = np.where(n > 1, 1.0 / np.sinc(np.where(n > 1, a, 0.0) / np.pi), 1.0)
    more = np.maximum(n - 2, 0.0)
    # The root of (n - 2) q^2 + 2 q = n a / sin(a), written so that it holds for n = 2 too.
    q = np.maximum(n, 2.0) * ratio / (1.0 + np.sqrt(1.0 + more * n * ratio))
    return np.asarray(np.where(n > 1, q, 1.0))


def arc_step(radius: Floats | float, tolerance: Floats | float) -> Floats:
    """Return the widest angle (radians) whose chord is within the tolerance of a circle's arc."""
    sagitta = np.minimum(tolerance / np.maximum(radius, np.finfo(np.float64).tiny), 1.0)
    return np.asarray(np.minimum(2 * np.arccos(1.0 - sagitta), _WIDEST_STEP))


def largest_stretch(u: Floats, v: Floats) -> Floats:
    """Return the larger singular value of the 2 x 2 matrices with columns ``u``, ``v``, (n, 2)."""
    # Half-sum and half-difference of the matrix as a complex map: |p| + |q| (Blinn 1996).
    p = np.hypot(u[..., 0] + v[..., 1], u[..., 1] - v[..., 0])
    q = np.hypot(u[..., 0] - v[..., 1], u[..., 1] + v[..., 0])
    return np.asarray(0.5 * (p + q))


def flatten_spline(
    control: Floats, knots: Floats, degree: int, weights: Floats, tolerance: float
) -> Floats:
    """Flatten a B-spline.

    The curve runs over its natural domain, from knot number ``degree`` to that number from the
    end; with knots that are not repeated at the ends, as periodic splines have them, this is
    less than all knots.

    Parameters
    ----------
    control : (n, 2) array
    knots : (n + degree + 1,) array
        Never falling.
    degree : int
    weights : (n,) or (0,) array
        Positive; empty when the spline is not rational.
    tolerance : float
        Largest distance between curve and chord, measured at three places of each piece.

    Returns
    -------
    (m, 2) array

    Raises
    ------
    ValueError
        The numbers of points, knots and weights do not fit together, knots fall or are all
        equal, or a weight is not positive.

    Examples
    --------
    >>> square = np.array([[0.0, 0], [9, 0], [9, 9], [0, 9]])
    >>> knots = np.array([0.0, 0, 1, 2, 3, 3])
    >>> flatten_spline(square, knots, 1, np.empty(0), 0.1).tolist()
    [[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]]
    """
    count = len(control)
    if degree < 1 or count <= degree or len(knots) != count + degree + 1:
        raise ValueError(f"{count} points of degree {degree} do not fit {len(knots)} knots")
    if len(weights) not in (0, count) or not (weights > 0).all():
        raise ValueError("expected a positive weight for every point")
    if (np.diff(knots) < 0).any() or not knots[degree] < knots[count]:
        raise ValueError("expected knots that rise")
    w = np.ones(count) if len(weights) == 0 else weights
    # Rational curves are projections of plain ones a dimension up.
    lifted = np.column_stack([control * w[:, None], w])

    def at(t: Floats) -> Floats:
        values = spline_points(lifted, knots, degree, t)
        points: Floats = values[..., :2] / values[..., 2:]
        return points

    spans = np.unique(knots[degree : count + 1])
    steps = np.arange(_FIRST_SPLINE_PIECES) / _FIRST_SPLINE_PIECES if degree > 1 else np.zeros(1)
    t = np.append((spans[:-1, None] + np.diff(spans)[:, None] * steps).ravel(), spans[-1])
    for _ in range(_MOST_HALVINGS):
        far = _distance_from_chords(at, t) > tolerance
        if not far.any():
            break
        t = np.sort(np.append(t, 0.5 * (t[:-1] + t[1:])[far]))
    points = at(t)
    if degree == 1:
        return points
    count_of = np.array([len(t) - 1])
    beside = _areas_beside(at, t)
    pushed = _with_area(points[:1], points[1:], count_of, beside, np.array([tolerance]))
    return np.concatenate([points[:1], pushed])


def spline_points(control: Floats, knots: Floats, degree: int, t: Floats) -> Floats:
    """Return points of a plain B-spline by de Boor's recurrence (de Boor 1978, chapter X).

    Parameters
    ----------
    control : (n, k) array
    knots : (n + degree + 1,) array
        Never falling.
    degree : int
    t : (m,) array
        Parameters within the natural domain.

    Returns
    -------
    (m, k) array
    """
    span = np.clip(np.searchsorted(knots, t, side="right") - 1, degree, len(control) - 1)
    near = [control[span - degree + j] for j in range(degree + 1)]
    for level in range(1, degree + 1):
        for j in range(degree, level - 1, -1):
            low, high = knots[span - degree + j], knots[span + 1 + j - level]
            wide = np.where(high > low, high - low, 1.0)
            share = np.where(high > low, (t - low) / wide, 0.0)[:, None]
            near[j] = (1 - share) * near[j - 1] + share * near[j]
    return near[degree]


def _with_area(
    start: Floats, points: Floats, counts: Indices, beside: Floats, most: Floats
) -> Floats:
    """Push vertices between the ends of polylines so that these have their curves' areas.

    Parameters
    ----------
    start : ndarray, shape (n, 2)
    points : ndarray, shape (sum of counts, 2)
        On the curves, each curve's start left out.
    counts : ndarray of int, shape (n,)
    beside : ndarray, shape (sum of counts,)
        Signed area between each chord and its piece of curve: positive on the right.
    most : ndarray, shape (n,)
        No vertex is pushed further.

    Notes
    -----
    Each chord's area goes in halves to its two vertices, or whole to the one that may move. A move
    v of a vertex between p and q adds v x (q - p) / 2. Where neighbours move, v x v' / 2 comes to
    it; a factor for all moves of a curve, the root of a quadratic, takes that into account.
    """
    last = np.cumsum(counts) - 1
    first = last - counts + 1
    which = np.repeat(np.arange(len(counts)), counts)
    ends = np.zeros(len(points), bool)
    ends[last] = True
    begins = np.zeros(len(points), bool)
    begins[first] = True
    span = np.roll(points, -1, axis=0) - _shifted(points, counts, start)
    gain = beside * np.where(begins, 1.0, 0.5)
    gain += np.roll(beside * np.where(ends, 1.0, 0.5), -1)
    square = np.maximum((span * span).sum(axis=1), NOT_ZERO**2)
    move = (2 * gain / square)[:, None] * np.column_stack([span[:, 1], -span[:, 0]])
    move[ends] = 0.0
    far = _length(move)
    move *= np.minimum(1.0, most[which] / np.maximum(far, NOT_ZERO))[:, None]
    linear = 0.5 * np.bincount(which, _cross(move, span), len(counts))
    mixed = 0.5 * np.bincount(which, _cross(move, np.roll(move, -1, axis=0)), len(counts))
    wanted = np.bincount(which, beside, len(counts))
    root = linear * linear + 4 * mixed * wanted
    # Where the sides of an S cancel out there is no factor to be found, nor a need for it.
    plain = (np.abs(linear) > 4 * np.abs(mixed)) & (root >= 0) & (linear * wanted > 0)
    factor = np.ones(len(counts))
    factor[plain] = (
        2 * wanted[plain] / (linear[plain] + np.copysign(np.sqrt(root[plain]), linear[plain]))
    )
    factor = np.clip(factor, 0.0, 1.25)
    return np.asarray(points + move * factor[which, None])


def _areas_beside(at: Callable[[Floats], Floats], t: Floats) -> Floats:
    """Return the signed area between each piece of a curve and its chord, by Richardson's rule.

    The polygon through 2 k points lies a quarter as far from the area as that through k.
    """
    fine = np.linspace(0.0, 1.0, _AREA_STEPS + 1)[:, None]
    inner = at((t[:-1] + np.diff(t) * fine).ravel()).reshape(_AREA_STEPS + 1, -1, 2)
    inner = inner - inner[0]

    def polygon(step: int) -> Floats:
        rows = inner[::step]
        return np.asarray(0.5 * _cross(rows[:-1], rows[1:]).sum(axis=0))

    return (4 * polygon(1) - polygon(2)) / 3


def _shifted(rows: Floats, counts: Indices, start: Floats) -> Floats:
    """Return the row before each row of its curve; before the first one the curve's start."""
    before = np.roll(rows, 1, axis=0)
    before[np.cumsum(counts) - counts] = start
    return before


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _length(vector: Floats) -> Floats:
    return np.asarray(np.hypot(vector[..., 0], vector[..., 1]))


def _pieces(least: Floats) -> Indices:
    # The tiny shrink keeps a whole number from being rounded up by its last bit.
    counts: Indices = np.maximum(np.ceil(least * (1 - 1e-12)), 1).astype(np.int64)
    return counts


def _parameters(counts: Indices) -> tuple[Floats, Indices]:
    """Parameters 1/k .. 1 of each curve as a column, and the curve that each belongs to."""
    which = np.repeat(np.arange(len(counts)), counts)
    first = np.cumsum(counts) - counts
    step = np.arange(len(which)) - first[which] + 1
    return (step / counts[which])[:, None], which


def _distance_from_chords(at: Callable[[Floats], Floats], t: Floats) -> Floats:
    """Return for each piece its largest distance from its chord, at the probes."""
    ends = at(t)
    start, chord = ends[:-1], np.diff(ends, axis=0)
    probes = at((t[:-1] + np.diff(t) * _PROBES[:, None]).ravel()).reshape(len(_PROBES), -1, 2)
    from_start = probes - start
    square = np.maximum((chord**2).sum(axis=1), np.finfo(np.float64).tiny)
    along = np.clip((from_start * chord).sum(axis=2) / square, 0, 1)
    distance: Floats = np.linalg.norm(from_start - along[..., None] * chord, axis=2)
    return np.asarray(distance.max(axis=0))
