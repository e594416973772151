"""Measured lines: lengths of many lines at once, points along them, and their beginnings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Indices
from ..tolerance import NOT_ZERO, TOLERANCES


@dataclass(frozen=True)
class MeasuredLines:
    """Lines laid end to end, and the way passed to each of their points.

    Parameters
    ----------
    points : float64 array (p, 2)
        Those of all lines, one line after the other.
    first, size : int array (n,)
        Where each line begins among them, and how many it has: two at least.
    steps : float64 array (p - 1,)
        From each point to the next; nothing from one line to the next.
    passed : float64 array (p,)
        To each point from the beginning of the first line.
    """

    points: Floats
    first: Indices
    size: Indices
    steps: Floats
    passed: Floats

    @staticmethod
    def of(ways: Sequence[Floats]) -> MeasuredLines:
        """Measure lines, arrays (k, 2)."""
        if not len(ways):
            none = np.empty(0, np.int64)
            return MeasuredLines(np.empty((0, 2)), none, none, np.empty(0), np.empty(0))
        size = np.array([len(way) for way in ways])
        points = np.concatenate(ways)
        first = np.cumsum(size) - size
        steps = np.hypot(*np.diff(points, axis=0).T)
        steps[first[1:] - 1] = 0.0
        return MeasuredLines(points, first, size, steps, np.append(0.0, np.cumsum(steps)))

    def __len__(self) -> int:
        return len(self.size)

    @property
    def length(self) -> Floats:
        """Lengths of the lines, an array (n,)."""
        whole: Floats = self.passed[self.first + self.size - 1] - self.passed[self.first]
        return whole

    def at_shares(self, share: Floats) -> Floats:
        """Return the points at some shares (s,) of the length of each, an array (n, s, 2).

        >>> lines = MeasuredLines.of([np.array([[0.0, 0.0], [6.0, 0.0], [6.0, 2.0]])])
        >>> lines.at_shares(np.array([0.5, 0.875])).tolist()
        [[[4.0, 0.0], [6.0, 1.0]]]
        """
        asked = self.passed[self.first][:, None] + share * self.length[:, None]
        before = self._before(asked)
        return self._beyond(before, asked - self.passed[before])

    def up_to(self, length: Floats) -> list[Floats]:
        """Return the beginnings of lines, each of some length, arrays (k, 2).

        >>> lines = MeasuredLines.of([np.array([[0.0, 0.0], [6.0, 0.0], [6.0, 2.0]])])
        >>> lines.up_to(np.array([7.0]))[0].tolist()
        [[0.0, 0.0], [6.0, 0.0], [6.0, 1.0]]
        """
        begun = self.passed[self.first]
        # The end takes the place of a point that it all but lies on.
        before = self._before((begun + length - TOLERANCES.same_point)[:, None])[:, 0]
        end = self._beyond(before, length - (self.passed[before] - begun))
        return [
            np.concatenate([self.points[low : high + 1], stop[None]])
            for low, high, stop in zip(self.first.tolist(), before.tolist(), end, strict=True)
        ]

    def _before(self, asked: Floats) -> Indices:
        """Return the points that ways (n, s) from the first beginning have passed last; another
        point of the same line follows each."""
        at = np.searchsorted(self.passed, asked, side="right") - 1
        last: Indices = np.clip(at, self.first[:, None], (self.first + self.size - 2)[:, None])
        return last

    def _beyond(self, before: Indices, length: Floats) -> Floats:
        """Return places so far beyond points, at most the next ones."""
        share = np.clip(length / np.maximum(self.steps[before], NOT_ZERO), 0.0, 1.0)
        way = self.points[before + 1] - self.points[before]
        found: Floats = self.points[before] + share[..., None] * way
        return found
