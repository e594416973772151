"""Loose lines joined end to end into loops."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from ...arrays import Bools, Floats, Indices
from ...finding import Finding, Severity
from ...tolerance import TOLERANCES
from .contour import Contour
from .repairs import called, place_of


def join_ends(
    contours: Sequence[Contour], tolerance: float = TOLERANCES.join
) -> tuple[list[Contour], tuple[Finding, ...]]:
    """Join loose polylines end to end into loops.

    Two ends join where they lie within ``tolerance`` of each other; the nearest pair first. Lines
    that dangle from a loop are left out of the loop, so that a stray end does not open it.

    Parameters
    ----------
    contours : sequence of Contour
        Closed ones pass through unchanged.
    tolerance : float
        Largest gap in mm that counts as joined.

    Returns
    -------
    joined : list of Contour
        Closed loops, and as open contours whatever could not be closed.
    findings : tuple of Finding
        One ``artwork.open-path`` WARNING for each contour that stays open, at one of its ends,
        ``size_mm`` being the distance between them.

    Examples
    --------
    >>> half = Contour(np.array([[0, 0], [9, 0], [9, 9]], float), closed=False)
    >>> rest = Contour(np.array([[0, 0], [9, 9.01]]), closed=False)
    >>> joined, findings = join_ends([half, rest], 0.02)
    >>> joined[0].closed, len(joined[0].points), findings
    (True, 3, ())
    """
    closed = [c for c in contours if c.closed]
    loose = [c for c in contours if not c.closed and len(c.points) >= 2]
    if not loose:
        return closed, ()
    ends = np.array([p for c in loose for p in (c.points[0], c.points[-1])], dtype=np.float64)
    partner = _pair_ends(ends, tolerance)
    findings = []
    taken = np.zeros(len(loose), bool)
    # Open chains first, from an end without partner; what is left then are loops.
    free = [end for end in range(len(ends)) if partner[end] < 0]
    for start in [*free, *range(0, len(ends), 2)]:
        if taken[start // 2]:
            continue
        chain, is_loop = _walk_chain(loose, partner, start, taken)
        closed.append(chain)
        if not is_loop:
            gap = float(np.hypot(*(chain.points[0] - chain.points[-1])))
            findings.append(
                Finding(
                    "artwork.open-path",
                    Severity.WARNING,
                    f"{called(chain.name)} stays open by {gap:.3g} mm: nothing joins this end.",
                    place=place_of(chain.points[0]),
                    size_mm=gap,
                )
            )
    return closed, tuple(findings)


def _pair_ends(ends: Floats, tolerance: float) -> Indices:
    """Partner of each end (ends 2k and 2k + 1 belong to line k), -1 for none."""
    partner = np.full(len(ends), -1, np.int64)
    points = shapely.points(ends)
    pairs = shapely.STRtree(points).query(points, predicate="dwithin", distance=tolerance).T
    pairs = pairs[pairs[:, 0] < pairs[:, 1]]
    if len(pairs) == 0:
        return partner
    alive = np.ones(len(ends), bool)
    # Lines with an end that meets nothing cannot be part of a loop: set aside, again and again.
    while True:
        live = alive[pairs[:, 0]] & alive[pairs[:, 1]]
        degree = np.bincount(pairs[live].ravel(), minlength=len(ends))
        lost = alive & (degree == 0)
        lost |= lost.reshape(-1, 2)[:, ::-1].ravel()
        if not lost.any():
            break
        alive &= ~lost
    distance = np.hypot(*(ends[pairs[:, 0]] - ends[pairs[:, 1]]).T)
    # Loops get their pick first; dangling lines are then joined among themselves.
    in_loop = alive[pairs[:, 0]] & alive[pairs[:, 1]]
    for a, b in pairs[np.lexsort((distance, ~in_loop))]:
        if partner[a] < 0 and partner[b] < 0:
            partner[a], partner[b] = b, a
    return partner


def _walk_chain(
    loose: Sequence[Contour], partner: Indices, start: int, taken: Bools
) -> tuple[Contour, bool]:
    runs: list[Floats] = []
    end = start
    is_loop = False
    while True:
        line = end // 2
        taken[line] = True
        points = np.asarray(loose[line].points, np.float64)
        points = points if end % 2 == 0 else points[::-1]
        if runs:
            # The two ends become one point midway.
            middle = 0.5 * (runs[-1][-1] + points[0])
            runs[-1] = np.vstack([runs[-1][:-1], middle])
            points = points[1:]
        runs.append(points)
        following = int(partner[end ^ 1])
        if following < 0:
            break
        if following == start:
            is_loop = True
            break
        end = following
    chain = np.concatenate(runs)
    if is_loop:
        chain = np.vstack([0.5 * (chain[0] + chain[-1]), chain[1:-1]])
    return Contour(chain, is_loop, loose[start // 2].name), is_loop
