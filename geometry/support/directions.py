"""Directions: which way bridges run, over the whole sheet and in parts of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Bools, Floats, Indices
from .gaps import Gaps

#: Angles of the directions that have a name, in degrees from the x axis.
NAMED = {"horizontal": 0.0, "vertical": 90.0}
#: A way this many degrees off counts as in its direction: rounding of its ends to the sheet's grid.
ROUNDING_DEG = 0.05


@dataclass(frozen=True)
class Direction:
    """Which way bridges run.

    Parameters
    ----------
    kind : str
        ``"any"``, ``"drawing"`` (rather along an island's long axis) or ``"stated"``.
    angle_deg : float
        Of a stated direction, from the x axis, 0 to 180.
    tolerance_deg : float
        How far a bridge may be off a stated direction, either way.
    """

    kind: str = "any"
    angle_deg: float = 90.0
    tolerance_deg: float = 0.0

    @property
    def stated(self) -> bool:
        """Whether bridges run at an angle that the artist has stated."""
        return self.kind == "stated"

    def off_deg(self, ways: Floats) -> Floats:
        """Return how far vectors (n, 2) are off the angle, 0 to 90 degrees."""
        angle = np.degrees(np.arctan2(ways[:, 1], ways[:, 0])) - self.angle_deg
        off: Floats = np.abs((angle + 90) % 180 - 90)
        return off


def direction_of(name: str, angle_deg: float, tolerance_deg: float) -> Direction:
    """Return the direction that a job's keys say.

    Parameters
    ----------
    name : str
        ``any``, ``drawing``, ``vertical``, ``horizontal``, or another word for the stated angle.
    angle_deg, tolerance_deg : float
        Counter-clockwise from the sheet's width; what a bridge may lean off it.

    Examples
    --------
    >>> direction_of("vertical", 0.0, 2.0)
    Direction(kind='stated', angle_deg=90.0, tolerance_deg=2.0)
    >>> direction_of("drawing", 0.0, 0.0).stated
    False
    """
    if name in ("any", "drawing"):
        return Direction(name)
    return Direction("stated", NAMED.get(name, angle_deg), tolerance_deg)


@dataclass(frozen=True)
class DirectedArea:
    """A part of the sheet where bridges run in a direction of their own."""

    area: MultiPolygon
    direction: Direction


class Directions:
    """Knows the direction of bridges at every place.

    Parameters
    ----------
    everywhere : Direction
    areas : sequence of DirectedArea
        Where several hold a place the last one counts.
    """

    def __init__(self, everywhere: Direction, areas: Sequence[DirectedArea] = ()) -> None:
        self.all: tuple[Direction, ...] = (everywhere, *(a.direction for a in areas))
        self._areas = [a.area for a in areas]
        shapely.prepare(self._areas)

    @property
    def any_stated(self) -> bool:
        """Whether some direction is stated by its angle."""
        return any(direction.stated for direction in self.all)

    @property
    def any_drawn(self) -> bool:
        """Whether bridges shall run along the drawing somewhere."""
        return any(direction.kind == "drawing" for direction in self.all)

    def at(self, gaps: Gaps) -> Indices:
        """Return for each gap the position in ``all`` of the direction at its middle."""
        which = np.zeros(len(gaps), np.int64)
        points = shapely.points((gaps.start + gaps.end) / 2)
        for number, area in enumerate(self._areas, 1):
            which[shapely.intersects(area, points)] = number
        return which

    def along_drawing(self, gaps: Gaps) -> Bools:
        """Return which gaps lie where bridges shall run along the drawing."""
        return np.array([d.kind == "drawing" for d in self.all])[self.at(gaps)]

    def stated(self, gaps: Gaps) -> Bools:
        """Return which gaps lie where a direction is stated."""
        return np.array([d.stated for d in self.all])[self.at(gaps)]

    def leaning(self, gaps: Gaps) -> Bools:
        """Return which gaps run another way than was stated for their place."""
        found = np.zeros(len(gaps), bool)
        which = self.at(gaps)
        ways = gaps.end - gaps.start
        for number, direction in enumerate(self.all):
            if direction.stated:
                off = direction.off_deg(ways) > direction.tolerance_deg + ROUNDING_DEG
                found |= (which == number) & off
        return found
