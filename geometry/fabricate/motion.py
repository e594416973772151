"""Motion: how long a machine takes along its path when it must slow down for corners and curves.

Speed rises and falls by a steady acceleration. A corner is passed as if it were rounded by an arc
that leaves it by the chord tolerance, a curve of chords by the arc that they stand for; along an
arc of radius r the speed is at most the root of acceleration x r (centripetal acceleration).
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats
from ..tolerance import NOT_ZERO, TOLERANCES


def motion_seconds(
    points: Floats, speeds: Floats, stops: Bools, acceleration: float = 0.0
) -> float:
    """Return the time in seconds along a polyline, from rest to rest.

    Parameters
    ----------
    points : float64 array (n, 2)
        In mm.
    speeds : float64 array (n - 1,)
        The most on each step, in mm/s.
    stops : bool array (n,)
        Where the machine stands still: a beam is switched, a blade lifted.
    acceleration : float
        In mm/s2; 0 for a machine that never slows down.

    Examples
    --------
    A straight metre at 100 mm/s takes 10 s, and with 1000 mm/s2 as much longer as it takes to reach
    that speed:

    >>> way, both = np.array([[0.0, 0.0], [1000.0, 0.0]]), np.array([True, True])
    >>> motion_seconds(way, np.array([100.0]), both)
    10.0
    >>> round(motion_seconds(way, np.array([100.0]), both, 1000.0), 9)
    10.1
    """
    if len(points) < 2:
        return 0.0
    steps = np.diff(points, axis=0)
    lengths = np.hypot(*steps.T)
    moved = lengths > NOT_ZERO
    if not moved.all():
        # A step of no length has no direction; a stop at either end of it is one.
        kept = np.concatenate([[True], moved])
        group = np.cumsum(kept) - 1
        halted = np.zeros(int(group[-1]) + 1, np.bool_)
        np.logical_or.at(halted, group, stops)
        return motion_seconds(points[kept], speeds[moved], halted, acceleration)
    if acceleration <= 0:
        return float((lengths / speeds).sum())
    most = np.append(speeds[0], np.append(np.minimum(speeds[1:], speeds[:-1]), speeds[-1])) ** 2
    most[1:-1] = np.minimum(most[1:-1], acceleration * _radii(steps, lengths))
    most[stops] = 0.0
    most[[0, -1]] = 0.0
    # Squares of speeds grow by at most 2 a s over a way s: the least over all points before, then
    # over all points after.
    way = 2 * acceleration * np.concatenate([[0.0], np.cumsum(lengths)])
    square = np.minimum.accumulate(most - way) + way
    square = np.minimum.accumulate((square + way)[::-1])[::-1] - way
    square = np.maximum(square, 0.0)
    first, last = square[:-1], square[1:]
    peak = np.minimum(speeds**2, (first + last) / 2 + acceleration * lengths)
    peak = np.maximum(peak, np.maximum(first, last))
    fast = np.sqrt(peak)
    ramps = (2 * fast - np.sqrt(first) - np.sqrt(last)) / acceleration
    steady = lengths - (2 * peak - first - last) / (2 * acceleration)
    return float((ramps + np.maximum(steady, 0.0) / fast).sum())


def _radii(steps: Floats, lengths: Floats) -> Floats:
    """Return the radius of the arc by which each inner corner is passed, in mm."""
    along = steps / lengths[:, None]
    cross = along[:-1, 0] * along[1:, 1] - along[:-1, 1] * along[1:, 0]
    turn = np.abs(np.arctan2(cross, (along[:-1] * along[1:]).sum(axis=1)))
    half = np.cos(turn / 2)
    # An arc that touches both legs leaves the corner by r / cos(turn / 2) - r.
    rounded = TOLERANCES.chord * half / np.maximum(1 - half, NOT_ZERO)
    curved = (lengths[:-1] + lengths[1:]) / 2 / np.maximum(turn, NOT_ZERO)
    found: Floats = np.minimum(rounded, curved)
    return found
