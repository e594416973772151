"""Bar areas: how much of straight bars lies in each of many polygons.

Many thousand candidates for bridges are priced by it. The area of a polygon within a rectangle is
an integral along the polygon's own edges (Green's theorem), each bounded by the rectangle's sides:
no corner of what they share has to be found, so that all edges of all pairs are one run over
arrays.
"""

from __future__ import annotations

import numpy as np
import shapely

from ..arrays import Floats, Geometries, Indices, ramp
from ..tolerance import NOT_ZERO

#: So many corners of polygons are looked at at once, for the memory.
_AT_ONCE = 200_000
#: An edge that gains less height than this share of a bar's width is level: its middle is enough.
_LEVEL = 1e-6


class BarAreas:
    """Polygons that bars are laid over.

    Parameters
    ----------
    polygons : object array of Polygon
        Valid, of few corners each.

    Examples
    --------
    >>> areas = BarAreas(np.array([shapely.box(0, 0, 4, 9), shapely.box(4, 0, 9, 9)]))
    >>> bar, polygon, area = areas.of(np.array([[1.5, 5.0]]), np.array([[6.5, 5.0]]), 2.0)
    >>> bar.tolist(), polygon.tolist(), area.tolist()
    ([0, 0], [0, 1], [6.0, 6.0])
    """

    def __init__(self, polygons: Geometries) -> None:
        self._tree = shapely.STRtree(polygons)
        rings, owner = shapely.get_rings(shapely.orient_polygons(polygons), return_index=True)
        self._corners, ring = shapely.get_coordinates(rings, return_index=True)
        # The last corner of a ring is its first again; no edge leads on from there.
        self._leads_on = np.append(ring[1:] == ring[:-1], False)[: len(ring)]
        self._count = np.bincount(owner[ring], minlength=len(polygons))
        self._first = np.cumsum(self._count) - self._count

    def of(self, start: Floats, end: Floats, width: float) -> tuple[Indices, Indices, Floats]:
        """Return which bars may meet which polygons, and the area that they share.

        Parameters
        ----------
        start, end : float64 array (n, 2)
            Ends of the bars' middle lines in mm; each bar reaches a quarter of its width further.
        width : float
            In mm.

        Returns
        -------
        bar, polygon : int array (m,)
        area : float64 array (m,)
            In mm2.
        """
        way = end - start
        length = np.hypot(way[:, 0], way[:, 1])
        way = way / np.maximum(length, NOT_ZERO)[:, None]
        start, end, length = start - way * width / 4, end + way * width / 4, length + width / 2
        # Those whose boxes meet: the others among them share nothing, and that is soon found. A
        # line from corner to corner has the box of the bar.
        half = width / 2 * np.abs(way[:, ::-1])
        corners = np.minimum(start, end) - half, np.maximum(start, end) + half
        boxes = shapely.linestrings(np.stack(corners, axis=1))
        bar, polygon = self._tree.query(boxes).astype(np.int64)
        area = np.zeros(len(bar))
        passed = np.cumsum(self._count[polygon])
        cuts = np.searchsorted(passed, np.arange(_AT_ONCE, passed[-1:].sum(), _AT_ONCE))
        for low, high in zip([0, *cuts.tolist()], [*cuts.tolist(), len(bar)], strict=True):
            own = slice(low, high)
            area[own] = self._shared(
                polygon[own], start[bar[own]], way[bar[own]], length[bar[own]], width
            )
        return bar, polygon, area

    def _shared(
        self, polygon: Indices, start: Floats, way: Floats, length: Floats, width: float
    ) -> Floats:
        """Return the area that bars share with a polygon each."""
        count = self._count[polygon]
        pair = np.repeat(np.arange(len(polygon)), count)
        corner = np.repeat(self._first[polygon], count) + ramp(count)
        # Along the bar from its start, and across it from its lower side.
        x, y = (self._corners.take(corner, axis=0) - start.take(pair, axis=0)).T
        cos, sin = way.take(pair, axis=0).T
        along, across = x * cos + y * sin, y * cos - x * sin + width / 2
        within = np.minimum(np.maximum(along, 0), length.take(pair))
        edge = np.flatnonzero(self._leads_on[corner][:-1] & (within[1:] != within[:-1]))
        slope = (across[edge + 1] - across[edge]) / (along[edge + 1] - along[edge])
        low = across[edge] + (within[edge] - along[edge]) * slope
        high = across[edge] + (within[edge + 1] - along[edge]) * slope
        below = _mean_within(low, high, width) * (within[edge + 1] - within[edge])
        # Round a polygon its upper edges run back.
        area = -np.bincount(pair[edge], below, len(polygon)).astype(np.float64)
        return np.maximum(area, 0.0)


def _mean_within(low: Floats, high: Floats, most: float) -> Floats:
    """Return the mean of values bounded to 0 and most, as they go evenly from low to high."""
    rise = high - low
    level = np.abs(rise) <= _LEVEL * most
    flat = np.minimum(np.maximum((low + high) / 2, 0), most)
    # The integral of the bounded value up to v is half of v squared, then goes on straight.
    first, last = np.minimum(np.maximum(low, 0), most), np.minimum(np.maximum(high, 0), most)
    gained = (last**2 - first**2) / 2 + most * (np.maximum(high, most) - np.maximum(low, most))
    return np.where(level, flat, gained / np.where(level, 1.0, rise))
