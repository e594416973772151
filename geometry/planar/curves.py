"""Curves to polylines whose distance from the curve is proven to be within a tolerance.

All functions work on arrays of curves at once. They return the points of all curves one after
another, without each curve's start and with its end exactly as given, and how many points each
curve got.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Bools, Floats, Indices

#: An arc of a small circle keeps at least eight sides to the turn, however wide the tolerance.
_WIDEST_STEP = np.pi / 4


def flatten_cubics(control: Floats, tolerance: Floats | float) -> tuple[Floats, Indices]:
    """Flatten cubic Bezier curves.

    A curve is cut into k pieces of equal parameter length h = 1 / k. The chord of a piece is the
    linear interpolant of the curve there, so that their distance is at most h^2 / 8 max|B''| (error
    of linear interpolation, de Boor, A Practical Guide to Splines, chapter III). Since B'' is 6
    times a convex combination of the second differences of the control points,

        k = ceil(sqrt(3 / 4 max(|P0 - 2 P1 + P2|, |P1 - 2 P2 + P3|) / tolerance))

    suffices. (The same bound as Wang's formula, G. Wang 1984, for degree 3.)

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
    counts = _pieces(np.sqrt(0.75 * bend / tolerance))
    t, which = _parameters(counts)
    # Power form about P0 would lose digits near the end; the Bernstein form does not.
    s = 1.0 - t
    points = (
        (s * s * s) * p0[which]
        + (3 * s * s * t) * p1[which]
        + (3 * s * t * t) * p2[which]
        + (t * t * t) * p3[which]
    )
    points[np.cumsum(counts) - 1] = p3
    return points, counts


def flatten_quadratics(control: Floats, tolerance: Floats | float) -> tuple[Floats, Indices]:
    """Flatten quadratic Bezier curves.

    As :func:`flatten_cubics`; here B'' = 2 (P0 - 2 P1 + P2) is constant and
    k = ceil(sqrt(|P0 - 2 P1 + P2| / (4 tolerance))).

    Parameters
    ----------
    control : ndarray, shape (n, 3, 2)
    tolerance : float or ndarray, shape (n,)

    Returns
    -------
    points : ndarray, shape (sum of counts, 2)
    counts : ndarray of int, shape (n,)
    """
    p0, p1, p2 = np.moveaxis(control, 1, 0)
    counts = _pieces(np.sqrt(0.25 * _length(p0 - 2 * p1 + p2) / tolerance))
    t, which = _parameters(counts)
    s = 1.0 - t
    points = (s * s) * p0[which] + (2 * s * t) * p1[which] + (t * t) * p2[which]
    points[np.cumsum(counts) - 1] = p2
    return points, counts


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
    a = 2 arccos(1 - tolerance / R) keep the distance within the tolerance.

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
    step = arc_step(largest_stretch(arcs.u, arcs.v), tolerance)
    counts = _pieces(np.abs(arcs.turn) / step)
    t, which = _parameters(counts)
    angle = arcs.start[which, None] + arcs.turn[which, None] * t
    points = arcs.centre[which] + np.cos(angle) * arcs.u[which] + np.sin(angle) * arcs.v[which]
    return points, counts


def arc_step(radius: Floats | float, tolerance: Floats | float) -> Floats:
    """Return the widest angle (radians) whose chord is within the tolerance of a circle's arc."""
    sagitta = np.minimum(tolerance / np.maximum(radius, 1e-300), 1.0)
    return np.asarray(np.minimum(2 * np.arccos(1.0 - sagitta), _WIDEST_STEP))


def largest_stretch(u: Floats, v: Floats) -> Floats:
    """Return the larger singular value of the 2 x 2 matrices with columns ``u``, ``v``, (n, 2)."""
    # Half-sum and half-difference of the matrix as a complex map: |p| + |q| (Blinn 1996).
    p = np.hypot(u[..., 0] + v[..., 1], u[..., 1] - v[..., 0])
    q = np.hypot(u[..., 0] - v[..., 1], u[..., 1] + v[..., 0])
    return np.asarray(0.5 * (p + q))


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
