"""Outlines drawn far finer than any tool cuts: corners that nothing hangs on go, and it is told.

A ring of a million corners would make every later step look at a million of them. Below a hundredth
of a millimetre from corner to corner there is nothing left that a knife or a beam could follow.
"""

from __future__ import annotations

import numpy as np
import shapely

from ..arrays import Geometries
from ..finding import Finding, Severity
from ..planar.simplify import thin_out
from ..tolerance import Tolerances

#: Fewer corners than this do no harm, however close they are.
MOST_CORNERS = 50_000
#: Corners nearer to each other than this share of the chord, on average, are drawn too finely.
CLOSE = 0.2
#: Corners go that lie this near the line of their neighbours, as a share of the chord; twice as far
#: and again while too many are left, up to the chord itself, by which curves may be off as well.
FIRST = 0.02
#: So many corners are looked at in one go: the way from one end of a run to the other is simplified
#: in time that may grow with the square of their number.
RUN = 500


def without_fine_corners(
    polygons: Geometries, tolerances: Tolerances
) -> tuple[Geometries, Finding | None]:
    """Leave out corners of outlines that are drawn much finer than curves are.

    Parameters
    ----------
    polygons : object array (n,) of Polygon
        In mm, valid together as one multipolygon.
    tolerances : Tolerances
        ``chord`` is how far outlines may move at most.

    Returns
    -------
    polygons : object array (n,) of Polygon
        The same array where nothing was left out.
    finding : Finding or None
        What was left out, and how far outlines moved at most.

    Examples
    --------
    >>> from ..tolerance import TOLERANCES
    >>> disc = np.array([shapely.Point(0, 0).buffer(20, 12_500)])
    >>> thinned, told = without_fine_corners(disc, TOLERANCES)
    >>> int(shapely.get_num_coordinates(thinned).sum()) < 1000
    True
    """
    before = int(shapely.get_num_coordinates(polygons).sum())
    length = float(shapely.length(polygons).sum())
    if before <= MOST_CORNERS or length >= CLOSE * tolerances.chord * before:
        return polygons, None
    off = FIRST * tolerances.chord
    thinned, left = polygons, before
    while left > MOST_CORNERS and off <= tolerances.chord:
        # From the outlines as drawn each time, so that steps do not add up.
        thinned = thin_out(polygons, off, RUN)
        left, told = int(shapely.get_num_coordinates(thinned).sum()), off
        off *= 2
    if left == before:
        return polygons, None
    place = shapely.get_coordinates(polygons[int(np.argmax(shapely.length(polygons)))])[0]
    return thinned, Finding(
        "artwork.fine-outlines",
        Severity.NOTE,
        f"Outlines with {before} corners, {length / before:.2g} mm apart, are finer than any tool "
        f"cuts: {before - left} corners were left out, and no outline moved by more than "
        f"{told:g} mm.",
        place=(float(place[0]), float(place[1])),
    )
