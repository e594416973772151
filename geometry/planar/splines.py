"""B-splines, rational ones too, flattened to polylines."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..arrays import Floats

# A span between two knots is looked at in this many pieces at least.
_FIRST_PIECES = 4

# Where within each piece its distance from the chord is measured.
_PROBES = np.array([0.25, 0.5, 0.75])

# Halving this often makes a piece shorter than any drawing can hold.
_MOST_HALVINGS = 20


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
    steps = np.arange(_FIRST_PIECES) / _FIRST_PIECES if degree > 1 else np.zeros(1)
    t = np.append((spans[:-1, None] + np.diff(spans)[:, None] * steps).ravel(), spans[-1])
    for _ in range(_MOST_HALVINGS):
        far = _distance_from_chords(at, t) > tolerance
        if not far.any():
            break
        t = np.sort(np.append(t, 0.5 * (t[:-1] + t[1:])[far]))
    return at(t)


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
