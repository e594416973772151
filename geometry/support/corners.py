"""Corners: bridges that are clear of the corners of a drawing, or flush with them.

A sign painter cuts a bridge so that one of its sides carries on the edge of a stem, or well away
from the stem. One that straddles a corner takes a bite out of the stem, and one a little beside it
leaves a tooth on it: both look like slips of the knife.
"""

from __future__ import annotations

import numpy as np
import shapely

from ..arrays import Floats, Geometries, Indices
from ..tolerance import NOT_ZERO
from .gaps import Gaps

#: A corner is where an outline turns by more than this, in degrees: not a chord of a curve.
_TURNS = 30.0
#: Sides of corners are so long at least, as a share of a bridge's width.
_SIDE = 0.3
#: Points that lie as near to a straight side are not looked at, as a share of the width.
_STRAIGHT = 0.01
#: A bridge is clear of a corner where its side lies so many widths from it.
CLEAR = 1.5
#: Its side carries on an edge where it lies as near to a corner, as a share of the width.
_FLUSH = 0.02


class Corners:
    """The corners of a sheet's outlines.

    Parameters
    ----------
    rings : object array of LinearRing
        Outlines of the pieces of sheet, in mm.
    owner : int array
        The piece of each ring.
    width : float
        Of bridges, in mm.
    """

    def __init__(self, rings: Geometries, owner: Indices, width: float) -> None:
        self._width = width
        plain = shapely.simplify(rings, _STRAIGHT * width)
        points, ring = shapely.get_coordinates(plain, return_index=True)
        first = np.append(True, ring[1:] != ring[:-1])[: len(ring)]
        start = np.flatnonzero(first)
        size = np.diff(np.append(start, len(ring)))
        # The last point of a ring is its first.
        before = np.arange(len(ring)) - 1
        before[start] = start + size - 2
        last = start + size - 1
        after = np.arange(len(ring)) + 1
        after[last] = start + 1
        into = points - points[before]
        out = points[np.minimum(after, max(len(points) - 1, 0))] - points
        cross = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
        turn = np.degrees(np.abs(np.arctan2(cross, (into * out).sum(axis=1))))
        long = np.minimum(np.hypot(*into.T), np.hypot(*out.T)) >= _SIDE * width
        kept = (turn > _TURNS) & long
        kept[last] = False
        self._at: Floats = points[kept]
        self._piece: Indices = owner[ring[kept]]
        self._tree = shapely.STRtree(shapely.points(self._at))

    def near(self, pieces: Geometries, reach: float) -> tuple[Indices, Floats]:
        """Return the corners (k, 2) within reach of the boxes about pieces, and whose box it is."""
        boxes = shapely.box(*(shapely.bounds(pieces) + reach * np.array([-1, -1, 1, 1])).T)
        piece, corner = self._tree.query(boxes)
        return piece, self._at[corner]

    def disorder(self, gaps: Gaps) -> Floats:
        """Return how badly bridges sit beside corners of the two pieces that they join.

        Parameters
        ----------
        gaps : Gaps

        Returns
        -------
        float64 array (n,)
            For each end the worst corner counts: 0 where bridges are clear of it, flush with it or
            astride of it by halves, up to 1 where they bite into it or all but reach it.
        """
        total = np.zeros(len(gaps))
        if len(self._at) == 0 or len(gaps) == 0:
            return total
        half = self._width / 2
        reach = half + CLEAR * self._width
        way = (gaps.end - gaps.start) / np.maximum(gaps.length, NOT_ZERO)[:, None]
        aside = np.stack([-way[:, 1], way[:, 0]], axis=1)
        for side, ends in ((0, gaps.start), (1, gaps.end)):
            gap, corner = self._tree.query(
                shapely.points(ends), predicate="dwithin", distance=reach
            )
            own = self._piece[corner] == gaps.pieces[gap, side]
            gap, corner = gap[own], corner[own]
            arm = self._at[corner] - ends[gap]
            off = np.abs((arm * aside[gap]).sum(axis=1))
            # Corners further along the bridge than it is wide lie elsewhere in the drawing.
            beside = np.abs((arm * way[gap]).sum(axis=1)) <= self._width
            beyond = off - half
            bad = np.where(
                beyond > 0, 1 - beyond / (CLEAR * self._width), np.minimum(off / half, 1.0)
            )
            bad[(np.abs(beyond) <= _FLUSH * self._width) | ~beside] = 0
            worst = np.zeros(len(gaps))
            np.maximum.at(worst, gap, np.clip(bad, 0, 1))
            total += worst
        return total
