"""Clearance at joints: what it takes from the sheet, and clean tiles of what is left."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import shapely
from shapely import MultiPolygon, Polygon

from ..planar.polygons import as_multipolygon, without_spikes
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


def gap_at_joints(
    shape: MultiPolygon,
    areas: Sequence[Polygon],
    exact: Sequence[MultiPolygon],
    grown: Iterable[int],
    clearance: float,
) -> MultiPolygon:
    """Return what the clearance of joints takes from a sheet.

    Parameters
    ----------
    shape : MultiPolygon
        The sheet.
    areas : sequence of Polygon
        Each tile's area with its keys; they border on each other at the joints.
    exact : sequence of MultiPolygon
        Each tile's share of the sheet.
    grown : iterable of int
        Tiles that took over a neighbour's crumb: between the two there is no joint.
    clearance : float
        Width of the gap in mm; 0 for none.
    """
    if clearance == 0:
        return MultiPolygon()
    strips = shapely.buffer(
        seam_lines(areas),
        clearance / 2,
        cap_style="square",
        join_style="mitre",
        mitre_limit=_MITRE_LIMIT,
    )
    gap = shapely.union_all(strips).intersection(shape)
    for tile in grown:
        gap = gap.difference(exact[tile].buffer(-clearance / 2 * _SPARE, join_style="mitre"))
    return as_multipolygon(gap)


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
