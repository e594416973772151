"""A sheet asked for its share of small areas: only the openings near by are looked at.

Cutting a whole sheet with each of two thousand tiles goes through all of its edges each time.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Geometries
from ..planar.morphology import openings_of, without_openings
from ..planar.polygons import as_multipolygon


class LocalSheet:
    """A sheet as its outer edge and its openings, the latter in an index.

    Parameters
    ----------
    shape : MultiPolygon
    """

    def __init__(self, shape: MultiPolygon) -> None:
        self._whole = without_openings(shape)
        self._openings: Geometries = np.asarray(openings_of(shape), object)
        self._tree = shapely.STRtree(self._openings)

    def within(self, area: shapely.Geometry) -> MultiPolygon:
        """Return what of the sheet lies within an area.

        >>> plate = shapely.box(0, 0, 9, 9).difference(shapely.box(2, 2, 4, 4))
        >>> LocalSheet(as_multipolygon(plate)).within(shapely.box(0, 0, 3, 20)).area
        25.0
        """
        near = self._openings[self._tree.query(area, predicate="intersects")]
        share = self._whole.intersection(area)
        if len(near):
            share = share.difference(shapely.multipolygons(near))
        return as_multipolygon(share)

    def crossings(self, lines: Geometries) -> int:
        """Return how many times lines cross openings."""
        line, opening = self._tree.query(lines, predicate="intersects")
        inside = shapely.intersection(np.asarray(lines, object)[line], self._openings[opening])
        parts = shapely.get_parts(shapely.line_merge(inside))
        return int((shapely.length(parts) > 0).sum())
