"""Shared edges: where a layer's outline runs along those of others, and the move that makes it.

Areas that touch, or are drawn with a trap, run along each other at one distance. A layer that was
moved has lost that, and gets it back under one move only. Edges that merely come near each other
keep no distance, which tells chance from evidence. Only edges with the two areas on opposite sides
count: those with both on one side are as often a motif drawn twice, or its shadow. Where such lie
on each other already, though, they speak for the place.

A move is looked for twice. Correlated rasters of edges give a few places to begin with; from each,
a robust fit of move and distance follows, to hundredths of a millimetre. The fit is linear: a point
of outline with the normal n lies r = n.t + d before the other's line, where t is the move and d the
distance that the two keep.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon

from ..arrays import Bools, Floats, Indices
from ..tolerance import NOT_ZERO

Complexes = NDArray[np.complex128]

#: Pixels of a raster at most, and their least side in mm.
MOST_PIXELS, PIXEL = 60_000, 0.5
#: Points of a layer's outline that are looked at.
SAMPLES = 600
#: Edges run one way within the angle of this cosine, 10 degrees.
SAME_WAY = 0.985
#: Distances that differ by less are one distance, and the widest trap, in mm.
EXACT, WIDEST_TRAP = 0.1, 2.5
#: 4 pi area / perimeter^2 of outlines that are as good as circles.
ROUND = 0.97
#: Angle and offset, in degrees and mm, within which samples lie on one straight line.
_LINE = (5.0, 0.5)
#: Rounds of a fit, each with a narrower sight, and places that fits begin from.
_ROUNDS, _PEAKS = 7, 6
#: Points that a fit of three numbers needs at least.
_FEW = 8


@dataclass(frozen=True)
class EdgeFit:
    """A move of a layer, and how much of its outline then keeps one distance to others' outlines.

    Parameters
    ----------
    move : tuple of float
        In mm.
    share : float
        Of the outline's length, 0 to 1.
    firmness : float
        0 where all of that is parallel, so that the layer could slide along it; 0.5 at most.
    lines : int
        Straight lines that it lies on: few for a rectangle, which fits many places.
    """

    move: tuple[float, float]
    share: float = 0.0
    firmness: float = 0.0
    lines: int = 0


@dataclass(frozen=True, eq=False)
class Outlines:
    """The outlines of areas as directed segments, with what they enclose on the left.

    Parameters
    ----------
    starts, along : complex128 array (n,)
        Where each segment begins, and its direction, of length 1.
    lengths : float64 array (n,)
        In mm.
    round : bool array (n,)
        Whether it belongs to an outline that is as good as a circle.
    """

    starts: Complexes
    along: Complexes
    lengths: Floats
    round: Bools

    def scaled(self, factor: float) -> Outlines:
        """Return the outlines that many times as large about the origin."""
        return replace(self, starts=self.starts * factor, lengths=self.lengths * factor)

    def extent(self) -> float:
        """Return the longer side of the box around the outlines, in mm."""
        return float(max(np.ptp(self.starts.real), np.ptp(self.starts.imag)))

    def most_elsewhere(self) -> tuple[float, int]:
        """Return the share and the straight lines that no fit elsewhere can have more of.

        See :meth:`SharedEdges.fits_elsewhere`: all of the outline but circles.
        """
        z, along, is_round = _sampled(self)
        straight = np.flatnonzero(~is_round)
        return len(straight) / len(z), _count_lines(z[straight], along[straight])


def outlines_of(shapes: Sequence[MultiPolygon]) -> Outlines:
    """Return the outlines of areas as directed segments."""
    parts = shapely.get_parts(np.array(shapes, object))
    rings = shapely.get_rings(shapely.orient_polygons(parts))
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    is_round = (
        4 * np.pi * shapely.area(shapely.polygons(rings)) > ROUND * shapely.length(rings) ** 2
    )
    z = xy @ np.array([1, 1j])
    step = np.diff(z)
    lengths = np.abs(step)
    kept = (ring[1:] == ring[:-1]) & (lengths > NOT_ZERO)
    along = step[kept] / lengths[kept]
    return Outlines(z[:-1][kept], along, lengths[kept], is_round[ring[:-1][kept]])


class DrawnEdges:
    """The edges of all layers of a job, by place: made once, looked at for each layer.

    Parameters
    ----------
    layers : sequence of Outlines
    frame : tuple of float
        Width and height of the sheet in mm.
    """

    def __init__(self, layers: Sequence[Outlines], frame: tuple[float, float]) -> None:
        self.starts: Complexes = np.concatenate([lines.starts for lines in layers])
        self.along: Complexes = np.concatenate([lines.along for lines in layers])
        self.lengths: Floats = np.concatenate([lines.lengths for lines in layers])
        #: The layer of each segment, by its place among the layers.
        self.layer: Indices = np.repeat(
            np.arange(len(layers)), [len(lines.starts) for lines in layers]
        )
        self.pixel = max(PIXEL, float(np.sqrt(frame[0] * frame[1] / MOST_PIXELS)))
        columns, rows = (max(1, round(side / self.pixel)) for side in frame)
        self.raster_size = (rows, columns)
        ends = self.starts + self.along * self.lengths
        sides = np.stack([self.starts, ends], axis=1)
        self.tree = shapely.STRtree(shapely.linestrings(np.stack([sides.real, sides.imag], axis=2)))

    def pieces(self, lines: Outlines | DrawnEdges) -> tuple[Indices, Complexes, Indices]:
        """Cut segments into pieces within a pixel each.

        Returns
        -------
        pixel : int array (n,)
            Of the raster, row by row. Pieces off the sheet are left out.
        step : complex128 array (n,)
            Direction times length in mm.
        segment : int array (n,)
            The segment that each is part of.
        """
        rows, columns = self.raster_size
        parts = np.maximum(1, np.ceil(2 * lines.lengths / self.pixel)).astype(int)
        k = np.repeat(np.arange(len(parts)), parts)
        nth = np.arange(len(k)) - np.repeat(np.cumsum(parts) - parts, parts)
        step = lines.lengths[k] / parts[k]
        z = (lines.starts[k] + lines.along[k] * step * (nth + 0.5)) / self.pixel
        x, y = np.floor(z.real).astype(int), np.floor(z.imag).astype(int)
        inside = (x >= 0) & (x < columns) & (y >= 0) & (y < rows)
        return (y * columns + x)[inside], (lines.along[k] * step)[inside], k[inside]

    @cached_property
    def own_pieces(self) -> tuple[Indices, Complexes, Indices]:
        """The pieces of the layers' own edges: pixel, step, and the layer of each."""
        pixel, step, segment = self.pieces(self)
        return pixel, step, self.layer[segment]

    def transformed(self, pixel: Indices, step: Complexes) -> tuple[Complexes, Complexes]:
        """Return the transforms of the length of edge in each pixel, across and up."""
        rows, columns = self.raster_size
        across, up = (
            np.bincount(pixel, lengths, rows * columns).reshape(rows, columns)
            for lengths in (step.real, step.imag)
        )
        size = (2 * rows, 2 * columns)
        return np.fft.rfft2(across, size), np.fft.rfft2(up, size)


class SharedEdges:
    """The edges of all layers but one, to lay that layer's edges along.

    Parameters
    ----------
    drawn : DrawnEdges
    layer : int
        The layer whose own edges do not count, by its place among the layers.
    """

    def __init__(self, drawn: DrawnEdges, layer: int) -> None:
        self._drawn, self._layer = drawn, layer

    @cached_property
    def _spectrum(self) -> tuple[Complexes, Complexes]:
        pixel, step, layer = self._drawn.own_pieces
        others = layer != self._layer
        return self._drawn.transformed(pixel[others], step[others])

    def fit_here(self, own: Outlines) -> EdgeFit:
        """Return the fit of an outline that begins where it lies.

        Its move is next to nothing where the outline lies in place.
        """
        z, along, _ = _sampled(own)
        return self._judged(z, along, np.ones(len(z), bool), *self._fitted(z, along, 0j))

    def share_lying_on(self, own: Outlines) -> float:
        """Return the share of an outline that lies on others', the areas on one side of both."""
        z, along, _ = _sampled(own)
        return self._judged(z, -along, np.ones(len(z), bool), 0j, 0.0).share

    def fits_elsewhere(self, own: Outlines, farthest: float) -> tuple[EdgeFit, ...]:
        """Return fits of an outline that begin up to ``farthest`` mm off; best first.

        Circles count for nothing here: they fit every hole of their size.
        """
        z, along, is_round = _sampled(own)
        found = [
            self._judged(z, along, ~is_round, *self._fitted(z, along, begin))
            for begin in self._peaks(own, farthest)
        ]
        return tuple(sorted(found, key=lambda fit: -fit.share))

    def _fitted(self, z: Complexes, along: Complexes, begin: complex) -> tuple[complex, float]:
        """Return the move near ``begin`` that keeps most of an outline at one distance, and that.

        Least squares over ever narrower sights (weights of Cauchy's distribution; Holland and
        Welsch, 1977, from memory); where a point has several lines before it, the one that fits.
        """
        reach = WIDEST_TRAP + (2 * self._drawn.pixel if begin else WIDEST_TRAP)
        point, segment = self._near(z + begin, along, reach)
        normal = -1j * along[point]
        to_line = ((self._drawn.starts[segment] - z[point] - begin) * np.conj(normal)).real
        rows = np.stack([normal.real, normal.imag, np.ones(len(normal))], axis=1)
        model = np.zeros(3)
        for sight in np.geomspace(reach / 2, EXACT, _ROUNDS):
            rest = to_line - rows @ model
            best = _least_of_each(point, np.abs(rest))
            if len(best) < _FEW:
                break
            weighted = rows[best] / (1 + (rest[best, None] / sight) ** 2)
            # A little to hold it back where all edges are parallel.
            model = np.linalg.solve(
                weighted.T @ rows[best] + 1e-3 * np.eye(3), weighted.T @ to_line[best]
            )
        return begin + complex(model[0], model[1]), float(model[2])

    def _judged(
        self, z: Complexes, along: Complexes, counts: Bools, move: complex, distance: float
    ) -> EdgeFit:
        """Return how much of an outline keeps a distance under a move, where it counts."""
        fit = EdgeFit((move.real, move.imag))
        if abs(distance) > WIDEST_TRAP:
            return fit
        point, segment = self._near(z + move, along, abs(distance) + EXACT)
        normal = -1j * along[point]
        to_line = ((self._drawn.starts[segment] - z[point] - move) * np.conj(normal)).real
        kept = np.unique(point[(np.abs(to_line - distance) < EXACT) & counts[point]])
        if not len(kept):
            return fit
        ways = np.stack([along[kept].real, along[kept].imag])
        return replace(
            fit,
            share=len(kept) / len(z),
            firmness=float(np.linalg.eigvalsh(ways @ ways.T)[0]) / len(kept),
            lines=_count_lines(z[kept], along[kept]),
        )

    def _near(self, z: Complexes, along: Complexes, reach: float) -> tuple[Indices, Indices]:
        """Return pairs of points and segments within reach that run in opposite ways."""
        points = shapely.points(z.real, z.imag)
        point, segment = self._drawn.tree.query(points, predicate="dwithin", distance=reach)
        back = (along[point] * np.conj(self._drawn.along[segment])).real < -SAME_WAY
        back &= self._drawn.layer[segment] != self._layer
        return point[back], segment[back]

    def _peaks(self, own: Outlines, farthest: float) -> Iterator[complex]:
        """Yield the moves under which rasters of edges run against each other most."""
        drawn = self._drawn
        rows, columns = drawn.raster_size
        size = (2 * rows, 2 * columns)
        pixel, step, _ = drawn.pieces(own)
        product = sum(
            a * np.conj(b)
            for a, b in zip(self._spectrum, drawn.transformed(pixel, step), strict=True)
        )
        against: Floats = -np.fft.irfft2(product, size)
        # Over 3 x 3 pixels: edges drawn with a trap lie beside each other.
        for axis in (0, 1):
            against = against + np.roll(against, 1, axis) + np.roll(against, -1, axis)
        up = np.fft.fftfreq(size[0], 1 / size[0])[:, None] * drawn.pixel
        right = np.fft.fftfreq(size[1], 1 / size[1])[None, :] * drawn.pixel
        against[up**2 + right**2 >= farthest**2] = -np.inf
        for _ in range(_PEAKS):
            row, column = np.unravel_index(int(np.argmax(against)), against.shape)
            if not against[row, column] > 0:
                break
            yield complex(right[0, column], up[row, 0])
            # Only the window round it is looked at: pictures have a million moves.
            reach = 4 * drawn.pixel
            rows_near = np.flatnonzero(np.abs(up[:, 0] - up[row]) < reach)
            columns_near = np.flatnonzero(np.abs(right[0] - right[0, column]) < reach)
            window = np.ix_(rows_near, columns_near)
            apart = np.hypot(up[rows_near] - up[row], right[:, columns_near] - right[0, column])
            against[window] = np.where(apart < reach, -np.inf, against[window])


def _sampled(own: Outlines) -> tuple[Complexes, Complexes, Bools]:
    """Return points evenly along outlines, the way they run there, and whether on a circle."""
    ends = np.cumsum(own.lengths)
    at = (np.arange(SAMPLES) + 0.5) / SAMPLES * ends[-1]
    k = np.minimum(np.searchsorted(ends, at), len(ends) - 1)
    return (
        own.starts[k] + own.along[k] * (at - ends[k] + own.lengths[k]),
        own.along[k],
        own.round[k],
    )


def _least_of_each(owner: Indices, values: Floats) -> Indices:
    order = np.lexsort((values, owner))
    first = np.ones(len(order), bool)
    first[1:] = np.diff(owner[order]) != 0
    return order[first]


def _count_lines(z: Complexes, along: Complexes) -> int:
    """Return on how many straight lines points of an outline lie."""
    angle = np.rint(np.degrees(np.angle(along)) / _LINE[0])
    offset = np.rint((z * np.conj(-1j * along)).real / _LINE[1])
    return len(np.unique(np.stack([angle, offset]), axis=1).T)
