"""The core of a sheet: what is left when every edge is worn back by half the least width.

Strips narrower than that width vanish from the core, so that a sheet whose core is one piece holds
together at the least width everywhere it has to.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Geometries, Indices
from ..threads import spread
from .polygons import as_multipolygon
from .union import union_by_clusters

#: Segments a quarter circle of the rounds that a worn corner gets. The rounds are drawn outside
#: the true arc (see ``_reach``), so that the core is never larger than the exact one.
QUARTER_SEGMENTS = 16


def _reach(distance: float) -> float:
    # A polygon whose corners lie on the arc cuts inside it by the factor cos(step / 2).
    return distance / float(np.cos(np.pi / 4 / QUARTER_SEGMENTS))


class Core:
    """The core of one outline for changing openings; openings that stay are widened only once.

    Parameters
    ----------
    outline : Polygon
        Outer edge of the sheet in mm.
    radius : float
        How far every edge is worn back, in mm.
    """

    def __init__(self, outline: Polygon, radius: float) -> None:
        self._inner = outline.buffer(-radius, join_style="mitre")
        self._radius = radius
        self._widened: dict[bytes, Polygon] = {}
        self._last: tuple[MultiPolygon, MultiPolygon] | None = None

    def of(self, openings: MultiPolygon) -> MultiPolygon:
        """Return the core of the outline minus ``openings``: its polygons are its pieces."""
        if self._last is None or self._last[0] is not openings:
            self._last = openings, self._worn(openings)
        return self._last[1]

    def _worn(self, openings: MultiPolygon) -> MultiPolygon:
        parts = shapely.get_parts(openings)
        keys = list(shapely.to_wkb(parts))
        new = np.array([key not in self._widened for key in keys], bool)
        reach = _reach(self._radius)
        wide = spread(shapely.buffer, parts[new], distance=reach, quad_segs=QUARTER_SEGMENTS)
        fresh = iter(wide)
        self._widened = {
            key: next(fresh) if is_new else self._widened[key]
            for key, is_new in zip(keys, new.tolist(), strict=True)
        }
        if not keys:
            return as_multipolygon(self._inner)
        gone = union_by_clusters(np.array(list(self._widened.values()), object))
        return as_multipolygon(self._inner.difference(gone))


def piece_of(points: Geometries, pieces: Geometries) -> Indices:
    """Return for each point the piece that it lies in, -1 where none."""
    home = np.full(len(points), -1)
    which, found = shapely.STRtree(pieces).query(points, predicate="intersects")
    home[which] = found
    return home
