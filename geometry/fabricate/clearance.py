"""Clearance at joints: what it takes from the sheet, and clean tiles of what is left."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Geometries
from ..planar.polygons import without_spikes
from ..planar.snapping import FINEST, snapped_apart
from ..tolerance import TOLERANCES
from .cells import seam_lines

#: Specks of tiles under this area (mm2) are dropped.
_SPECK = 0.05
#: Mitres of the gap at corners of seams are pointed up to this many times half the clearance.
_MITRE_LIMIT = 2.0
#: A tile that has taken over a crumb is worn back by this much more than the clearance is wide, so
#: that all of the gap between the two closes.
_SPARE = 1.01


class JointGap:
    """What the clearance of joints takes from a sheet, to be asked near each tile.

    Parameters
    ----------
    areas : sequence of Polygon
        Each tile's area with its keys; they border on each other at the joints.
    exact : sequence of MultiPolygon
        Each tile's share of the sheet.
    grown : iterable of int
        Tiles that took over a neighbour's crumb: between the two there is no joint.
    clearance : float
        Width of the gap in mm; 0 for none.
    """

    def __init__(
        self,
        areas: Sequence[Polygon],
        exact: Sequence[MultiPolygon],
        grown: Iterable[int],
        clearance: float,
    ) -> None:
        self._strips: Geometries = np.array([], object)
        worn: list[shapely.Geometry] = []
        if clearance > 0:
            self._strips = shapely.buffer(
                np.array(seam_lines(areas), object),
                clearance / 2,
                cap_style="square",
                join_style="mitre",
                mitre_limit=_MITRE_LIMIT,
            )
            wear = -clearance / 2 * _SPARE
            worn = [exact[tile].buffer(wear, join_style="mitre") for tile in sorted(grown)]
        self._worn: Geometries = np.array(worn, object)
        self._strip_tree, self._worn_tree = shapely.STRtree(self._strips), shapely.STRtree(worn)

    def near(self, area: shapely.Geometry) -> shapely.Geometry:
        """Return what clearance takes within and round an area."""
        strips = self._strips[self._strip_tree.query(area, predicate="intersects")]
        gap = shapely.union_all(strips)
        for worn in self._worn[self._worn_tree.query(gap, predicate="intersects")]:
            gap = gap.difference(worn)
        return gap


def makeable(shape: shapely.Geometry) -> MultiPolygon:
    """Return a tile without what joints leave.

    Specks, pinholes, corners that touch at a point, spikes thinner than the grid.
    """
    return MultiPolygon(
        [
            without_spikes(
                Polygon(p.exterior, [r for r in p.interiors if Polygon(r).area > _SPECK]), FINEST
            )
            for p in snapped_apart(shape, TOLERANCES.pinch).geoms
            if p.area > _SPECK
        ]
    )
