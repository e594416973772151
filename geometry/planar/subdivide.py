"""Chunks: rings cut into short lines, so that what lies near a point is found without the rest."""

from __future__ import annotations

import numpy as np
import shapely

from ..arrays import Geometries, Indices, ramp

#: Segments a chunk.
SEGMENTS = 8


def chunks(rings: Geometries) -> tuple[Geometries, Indices]:
    """Cut rings into lines of a few segments each.

    Parameters
    ----------
    rings : object array of LinearRing

    Returns
    -------
    lines : object array of LineString
        Neighbours share their end points.
    ring : int array
        The ring that each line is part of.

    Examples
    --------
    >>> lines, ring = chunks(shapely.get_rings(shapely.Point(0, 0).buffer(1, quad_segs=4)))
    >>> len(lines), ring.tolist()
    (2, [0, 0])
    """
    points, ring = shapely.get_coordinates(rings, return_index=True)
    first = np.flatnonzero(np.append(True, ring[1:] != ring[:-1])[: len(ring)])
    last = np.append(first[1:], len(ring)) - 1
    step = np.arange(len(ring)) - first[ring]
    start = np.flatnonzero((step % SEGMENTS == 0) & (np.arange(len(ring)) != last[ring]))
    stop = np.minimum(start + SEGMENTS, last[ring[start]])
    size = stop - start + 1
    line = np.repeat(np.arange(len(start)), size)
    within = ramp(size)
    lines: Geometries = shapely.linestrings(points[start[line] + within], indices=line)
    return lines, ring[start]
