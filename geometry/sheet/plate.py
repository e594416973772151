"""Plates: an outline minus what is cut out, on the grid of its files, touching itself nowhere."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Floats
from ..errors import GeometryError
from ..planar.polygons import as_multipolygon, touching_points
from ..planar.snapping import grid_of, slits_at, snapped
from ..tolerance import TOLERANCES, Tolerances

#: Rounds of opening points where a plate touches itself; a slit can run onto a further one.
_MOST_ROUNDS = 6
#: Share of the outline that the area of what is left may be off.
_ASTRAY = 1e-6


@dataclass(frozen=True)
class Plate:
    """What is left of an outline.

    Parameters
    ----------
    shape : MultiPolygon
        Valid, every vertex on the grid; no two of its rings share a point.
    voids : MultiPolygon
        The outline minus the shape: all that is cut out, the slits at opened points too.
    opened : float64 array (n, 2)
        Points where the plate touched itself, now opened.
    """

    shape: MultiPolygon
    voids: MultiPolygon
    opened: Floats


def plate_grid(outline: Polygon) -> float:
    """Return the grid for a plate, in mm (see ``planar.snapping.grid_of``)."""
    return grid_of(float(np.abs(outline.bounds).max()))


def cut_plate(
    outline: Polygon, voids: shapely.Geometry, layer: str, tolerances: Tolerances = TOLERANCES
) -> Plate:
    """Cut voids out of an outline.

    Where the plate would touch itself at a point only, which holds nothing and which no mesh can
    stand for, the point is opened by a slit of twice ``tolerances.pinch``.

    Parameters
    ----------
    outline : Polygon
        On the grid.
    voids : Geometry
        Polygons in mm; what lies beyond the outline counts for nothing.
    layer : str
        For the sentence of an error.
    tolerances : Tolerances

    Raises
    ------
    GeometryError
        Nothing is left, or what is left has another area than it should.
    """
    grid = plate_grid(outline)
    gone = snapped(_within(voids, outline), grid)
    left = as_multipolygon(shapely.difference(outline, gone))
    if left.is_empty:
        raise GeometryError(f"{layer}: the openings leave nothing of the sheet.")
    astray = left.area - (outline.area - gone.area)
    if abs(astray) > _ASTRAY * outline.area:
        raise GeometryError(
            f"{layer}: the openings cannot be cut out exactly (off by {astray:.3f} mm2); "
            "simplify the artwork where its outlines nearly touch."
        )
    opened = []
    for number in range(_MOST_ROUNDS):
        pinches = touching_points(left)
        if len(pinches) == 0:
            break
        opened.append(pinches)
        slits = slits_at(pinches, (1 + number) * tolerances.pinch, grid)
        slits = shapely.intersection(slits, outline)
        gone = snapped(shapely.geometrycollections([*gone.geoms, *slits]), grid)
        left = as_multipolygon(shapely.difference(outline, gone))
    return Plate(left, gone, np.concatenate(opened) if opened else np.empty((0, 2)))


def _within(voids: shapely.Geometry, outline: Polygon) -> shapely.Geometry:
    if voids.is_empty:
        return voids
    x0, y0, x1, y1 = outline.bounds
    a0, b0, a1, b1 = voids.bounds
    if a0 >= x0 and b0 >= y0 and a1 <= x1 and b1 <= y1:
        return voids
    return as_multipolygon(shapely.intersection(voids, outline))
