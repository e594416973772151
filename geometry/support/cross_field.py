"""Cross field: how a drawing flows inside an opening, along its edges or square to them.

Near an edge the field has four ways: along it, both ways round, and square to it. Between edges it
is their mean, the nearer the heavier: by the third power of the distance. Who follows the way that
is nearest to his own leaves one edge square, runs side by side with those that he passes, and meets
the last one square: so runs the middle line of a bridge that a hand draws. An angle that four ways
share is averaged as a number turned four times as far, exp(4 i angle), as fields that guide meshes
of quadrangles are (from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..arrays import Floats, Indices
from ..tolerance import NOT_ZERO

#: Edges nearer than this share of a bridge's width count as that near.
_NEAR = 0.35
#: Where edges disagree, so that this share of their weight at most is left of the mean, there is no
#: flow, and a line runs on as it did.
_NO_FLOW = 0.15
#: So many pairs of a point and a piece of edge are worked at together: they fit a cache.
_AT_ONCE = 100_000
#: A line bends round a circle of so many widths at least.
TIGHTEST = 1.5


class _Edges(NamedTuple):
    """Pieces of edge about each of some points, float64 arrays (n, e)."""

    x: Floats
    y: Floats
    length: Floats
    cos: Floats
    sin: Floats


class CrossField:
    """The flow about each of several bridges.

    Parameters
    ----------
    at : float64 array (b, e, 2)
        Middles of short pieces of edge round each bridge, in mm.
    angle : float64 array (b, e)
        Their directions in radians.
    length : float64 array (b, e)
        Their lengths; 0 where a bridge has fewer.
    width : float
        Of a bridge in mm.
    """

    def __init__(self, at: Floats, angle: Floats, length: Floats, width: float) -> None:
        self._x, self._y = at[..., 0], at[..., 1]
        self._length, self._width = length, width
        self._cos, self._sin = np.cos(4 * angle), np.sin(4 * angle)

    def flow(self, which: Indices, points: Floats, heading: Floats) -> tuple[Floats, Floats]:
        """Return the way of the field nearest to a heading, and how sure it is, 0 to 1.

        Parameters
        ----------
        which : int array (n,)
            The bridge of each point.
        points, heading : float64 array (n, 2)
            Headings are unit vectors.
        """
        way, sure = np.empty((len(which), 2)), np.empty(len(which))
        step = max(1, _AT_ONCE // max(1, self._x.shape[1]))
        for low in range(0, len(which), step):
            lot = slice(low, low + step)
            way[lot], sure[lot] = self._flow(self._about(which[lot]), points[lot], heading[lot])
        return way, sure

    def _about(self, which: Indices) -> _Edges:
        of_edges = (self._x, self._y, self._length, self._cos, self._sin)
        return _Edges(*(values[which] for values in of_edges))

    def _flow(self, edges: _Edges, points: Floats, heading: Floats) -> tuple[Floats, Floats]:
        across, up = edges.x - points[:, :1], edges.y - points[:, 1:]
        apart = across**2 + up**2 + (_NEAR * self._width) ** 2
        # To the power of 1.5: a root is several times as quick as a power.
        weight = edges.length / (apart * np.sqrt(apart))
        whole = np.maximum(weight.sum(axis=1), NOT_ZERO)
        mean = np.stack(
            [np.einsum("ne,ne->n", weight, turned) / whole for turned in (edges.cos, edges.sin)],
            axis=1,
        )
        sure = np.hypot(mean[:, 0], mean[:, 1])
        # Of the four ways the nearest to the heading: at most an eighth of a turn from it.
        way = np.arctan2(heading[:, 1], heading[:, 0])
        off = (np.arctan2(mean[:, 1], mean[:, 0]) / 4 - way + np.pi / 4) % (np.pi / 2) - np.pi / 4
        angle = way + np.where(sure > _NO_FLOW, off, 0.0)
        return np.stack([np.cos(angle), np.sin(angle)], axis=1), sure

    def lines(
        self, which: Indices, start: Floats, heading: Floats, step: Floats, steps: int
    ) -> Floats:
        """Return lines that follow the field, an array (n, steps + 1, 2).

        Parameters
        ----------
        which : int array (n,)
            The bridge of each.
        start, heading : float64 array (n, 2)
        step : float64 array (n,)
            Length of a step in mm.
        steps : int
        """
        points = np.empty((len(start), steps + 1, 2))
        at_once = max(1, _AT_ONCE // max(1, self._x.shape[1]))
        for low in range(0, len(start), at_once):
            lot = slice(low, low + at_once)
            edges, most = self._about(which[lot]), step[lot] / (TIGHTEST * self._width)
            self._draw(points[lot], edges, start[lot], heading[lot], step[lot], most)
        return points

    def _draw(
        self,
        points: Floats,
        edges: _Edges,
        start: Floats,
        heading: Floats,
        step: Floats,
        most: Floats,
    ) -> None:
        """Draw lines into an array (n, k, 2), turning by ``most`` (n,) at each step at most."""
        points[:, 0] = start
        way, _ = self._flow(edges, start, heading)
        for k in range(points.shape[1] - 1):
            half = points[:, k] + way * (step / 2)[:, None]
            asked, _ = self._flow(edges, half, way)
            turn = np.arctan2(
                way[:, 0] * asked[:, 1] - way[:, 1] * asked[:, 0], (way * asked).sum(axis=1)
            )
            turn = np.clip(turn, -most, most)
            cos, sin = np.cos(turn), np.sin(turn)
            way = np.stack(
                [cos * way[:, 0] - sin * way[:, 1], sin * way[:, 0] + cos * way[:, 1]], axis=1
            )
            points[:, k + 1] = points[:, k] + way * step[:, None]

    def off(self, which: Indices, lines: Floats) -> Floats:
        """Return how badly lines (n, k, 2) agree with the flow: 0 along it, 1 at an eighth of a
        turn from it all the way."""
        steps = np.diff(lines, axis=1)
        size = np.maximum(np.hypot(steps[..., 0], steps[..., 1]), NOT_ZERO)
        heading = (steps / size[..., None]).reshape(-1, 2)
        middle = ((lines[:, 1:] + lines[:, :-1]) / 2).reshape(-1, 2)
        way, sure = self.flow(np.repeat(which, lines.shape[1] - 1), middle, heading)
        sine = way[:, 0] * heading[:, 1] - way[:, 1] * heading[:, 0]
        twice = 4 * sine**2 * (1 - sine**2)  # the square of the sine of twice the angle
        off: Floats = (twice * sure).reshape(len(lines), -1).mean(axis=1)
        return off
