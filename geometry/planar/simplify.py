"""Fewer points on contours that must not cross.

Ring by ring the method is Douglas and Peucker's (1973). Chords that then cross another contour, or
jump over one, get back the point farthest from them until none does. GEOS' simplifier that keeps
topology was tried: it takes several times as long and moves small rings by more than the tolerance.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, STRtree

from ..arrays import Floats, Indices

Polygons = NDArray[Any]

# A ring that would lose more than this share of its area is too small for the tolerance.
_MOST_SHRINKAGE = 0.1


def thin_out(polygons: Polygons, tolerance: float, run: int = 0) -> Polygons:
    """Leave out points of polygons so that no contour moves by more than a tolerance.

    Parameters
    ----------
    polygons : (n,) array of Polygon
        Valid, and valid together as one multipolygon.
    tolerance : float
        Largest distance between a point left out and the chord in its stead.
    run : int
        Where not 0, every so many points one is kept. The method's time and depth grow with the
        square and the length of what it looks at in one go, where teeth follow each other.

    Returns
    -------
    (n,) array of Polygon
        In the same order, with the same holes, valid together. Every point is one of the given.
        Rings hardly larger than the tolerance keep all their points.

    Examples
    --------
    >>> stairs = shapely.Polygon([(0, 0), (9, 0), (9, 9), (5, 5.1), (4, 4.1), (1, 1.1)])
    >>> shapely.get_num_coordinates(thin_out(np.array([stairs]), 0.2)).tolist()
    [4]
    """
    if tolerance <= 0 or not len(polygons):
        return polygons
    chords = _Chords(polygons, tolerance, run)
    while True:
        thinned = chords.polygons()
        if MultiPolygon(list(thinned)).is_valid:
            return thinned
        troubled = chords.crossing()
        if not len(troubled):
            troubled = chords.jumping()
        if not len(troubled):
            return polygons
        chords.refine(troubled)


class _Chords:
    """The rings of polygons, and which of their points are kept."""

    def __init__(self, polygons: Polygons, tolerance: float, run: int) -> None:
        self.tolerance = tolerance
        rings, self.owner = shapely.get_rings(polygons, return_index=True)
        coordinates, ring = shapely.get_coordinates(rings, return_index=True)
        last = np.append(ring[1:] != ring[:-1], True)
        self.points: Floats = coordinates[~last]
        self.ring: Indices = ring[~last].astype(np.int64)
        self.start: Indices = np.searchsorted(self.ring, np.arange(len(rings) + 1)).astype(np.int64)
        self.kept = np.zeros(len(self.points), dtype=bool)

        # The height carries each point's number through the simplifier.
        number = np.empty(len(coordinates))
        number[~last] = np.arange(len(self.points))
        number[last] = self.start[:-1]
        numbered = np.column_stack([coordinates, number])
        lines = _runs(numbered, ring, run) if run else shapely.linearrings(numbered, indices=ring)
        simple = shapely.simplify(lines, tolerance, preserve_topology=False)
        self.kept[shapely.get_coordinates(simple, include_z=True)[:, 2].astype(np.int64)] = True

        tiny = np.bincount(self.ring[self.kept], minlength=len(rings)) < 3
        area = shapely.area(shapely.polygons(rings))
        some = self.kept & ~tiny[self.ring]
        left = np.zeros(len(rings))
        left[~tiny] = _areas(self.points[some], self.ring[some])
        tiny[~tiny] = left[~tiny] < (1 - _MOST_SHRINKAGE) * area[~tiny]
        self.kept[tiny[self.ring]] = True

        # GEOS drops a ring's first point without looking again at those already left out near it.
        first, last = self.ends()
        for chord in np.flatnonzero(last <= first):
            self._split(self.run(int(first[chord]), int(last[chord])), forced=False)

    def polygons(self) -> Polygons:
        number = np.flatnonzero(self.kept)
        rings = shapely.linearrings(self.points[number], indices=self.ring[number])
        return np.asarray(shapely.polygons(rings, indices=self.owner), dtype=object)

    def ends(self) -> tuple[Indices, Indices]:
        """Return the numbers of the points where each chord starts and ends."""
        first = np.flatnonzero(self.kept)
        ring = self.ring[first]
        following = np.roll(first, -1)
        closing = np.append(ring[1:] != ring[:-1], True)
        heads = np.append(0, np.flatnonzero(closing)[:-1] + 1)
        following[closing] = first[heads]
        return first, following

    def run(self, first: int, last: int) -> Indices:
        """Return the numbers of all points from one to another along their ring."""
        low, high = self.start[self.ring[first]], self.start[self.ring[first] + 1]
        length = (last - first - 1) % (high - low) + 2
        run: Indices = (first - low + np.arange(length)) % (high - low) + low
        return run

    def crossing(self) -> list[tuple[int, int]]:
        """Return the chords that meet one they are not joined to, and have points to give back."""
        first, last = self.ends()
        lines = shapely.linestrings(np.stack([self.points[first], self.points[last]], axis=1))
        one, other = STRtree(lines).query(lines, "intersects")
        joined = (one == other) | (last[one] == first[other]) | (last[other] == first[one])
        return self._with_points_between(first, last, np.unique(one[~joined]))

    def jumping(self) -> list[tuple[int, int]]:
        """Return the chords between which and their own points another ring lies."""
        first, last = self.ends()
        chords = self._with_points_between(first, last, np.arange(len(first)))
        if not chords:
            return []
        pockets = np.array([shapely.Polygon(self.points[self.run(*chord)]) for chord in chords])
        # Where nothing crosses, one point of a ring stands for all of it.
        marks = shapely.points(self.points[self.start[:-1]])
        pocket, mark = STRtree(marks).query(pockets, "contains_properly")
        own = self.ring[[c[0] for c in chords]][pocket] == mark
        return [chords[index] for index in np.unique(pocket[~own])]

    def refine(self, chords: list[tuple[int, int]]) -> None:
        for first, last in chords:
            self._split(self.run(first, last), forced=True)

    def _with_points_between(
        self, first: Indices, last: Indices, which: NDArray[np.intp]
    ) -> list[tuple[int, int]]:
        pairs = zip(first[which].tolist(), last[which].tolist(), strict=True)
        return [pair for pair in pairs if len(self.run(*pair)) > 2]

    def _split(self, run: Indices, forced: bool) -> None:
        """Keep the point farthest from a run's chord, and more while the tolerance asks for it."""
        waiting = [(run, forced)]
        while waiting:
            run, forced = waiting.pop()
            if len(run) < 3:
                continue
            chord = shapely.LineString(self.points[run[[0, -1]]])
            distance = shapely.distance(shapely.points(self.points[run[1:-1]]), chord)
            farthest = int(np.argmax(distance)) + 1
            if forced or distance[farthest - 1] > self.tolerance:
                self.kept[run[farthest]] = True
                waiting += [(run[: farthest + 1], False), (run[farthest:], False)]


def _areas(points: Floats, ring: Indices) -> Floats:
    """Return the area of each ring that there are points of, in the rings' order."""
    numbers = np.unique(ring, return_inverse=True)[1].reshape(-1)
    area: Floats = shapely.area(shapely.polygons(shapely.linearrings(points, indices=numbers)))
    return area


def _runs(coordinates: Floats, ring: Indices, most: int) -> Polygons:
    """Return closed rings as lines of so many points at most; each begins where the last one ends.

    Parameters
    ----------
    coordinates : float64 array (n, 3)
        The last point of each ring is its first.
    ring : int array (n,)
    most : int
    """
    first = np.append(True, ring[1:] != ring[:-1])
    last = np.append(first[1:], True)
    place = np.arange(len(ring)) - np.flatnonzero(first)[np.cumsum(first) - 1]
    # A point where one run ends and the next begins stands in both.
    seam = (place % most == 0) & ~first & ~last
    twice = np.repeat(np.arange(len(ring)), 1 + seam)
    begins = np.append(True, twice[1:] == twice[:-1]) | first[twice]
    return np.asarray(shapely.linestrings(coordinates[twice], indices=np.cumsum(begins) - 1))
