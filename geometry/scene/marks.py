"""Marks: islands, bridges and necks of a built layer as outlines to draw over its sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..arrays import Floats
from ..build import BuiltLayer

#: Outlines are for the eye: points that move them by less (mm) are left out.
SIMPLIFY = 0.2


@dataclass(frozen=True)
class Mark:
    """One thing to point out on a sheet.

    Parameters
    ----------
    kind : str
        ``"island"``, or the kind of what holds: ``"bridge"``, ``"neck"`` or ``"mend"``.
    outline : float64 array (k, 2)
        Closed ring in mm, its first point not repeated.
    place : tuple of float
        x, y in mm of a point on it.
    label : str
        Its number and size: ``"3: 41 mm2"``, ``"7: 2.0 mm"``.
    name : str
        Lasting id of a bridge; empty for islands.
    state : str
        ``"automatic"`` or ``"locked"`` for a bridge; empty for islands.
    path : float64 array (k, 2), optional
        Middle line of a bridge.
    width : float
        Of a bridge, in mm.
    """

    kind: str
    outline: Floats
    place: tuple[float, float]
    label: str
    name: str = ""
    state: str = ""
    path: Floats | None = None
    width: float = 0.0


def marks_of(layer: BuiltLayer) -> tuple[Mark, ...]:
    """Return the marks of a built layer: its islands before bridging, then what holds them.

    Each island is outlined by its outer edge; a bridge or neck by its whole strip.
    """
    marks = []
    pieces = shapely.get_parts(layer.plain_sheet.shape)
    if layer.islands:
        tree = shapely.STRtree(pieces)
        places = shapely.points([island.place for island in layer.islands])
        # Numerically a place may lie just beside its piece: the nearest is the piece it is on.
        homes = tree.nearest(places)
        for number, (island, home) in enumerate(
            zip(layer.islands, np.atleast_1d(homes), strict=True), 1
        ):
            marks.append(
                Mark(
                    "island",
                    _ring(pieces[home]),
                    island.place,
                    f"{number}: {island.area_mm2:.0f} mm²",
                )
            )
    for number, bridge in enumerate(layer.bridges, 1):
        marks.append(
            Mark(
                bridge.kind,
                _ring(bridge.shape),
                bridge.place,
                f"{number}: {bridge.width:g} mm"
                + (f", {bridge.state}" if bridge.state != "automatic" else ""),
                bridge.name,
                bridge.state,
                bridge.path,
                bridge.width,
            )
        )
    return tuple(marks)


def _ring(polygon: shapely.Polygon) -> Floats:
    ring = shapely.simplify(polygon.exterior, SIMPLIFY, preserve_topology=True)
    points: Floats = shapely.get_coordinates(ring)[:-1]
    return points
