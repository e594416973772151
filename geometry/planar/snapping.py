"""Snapping: shapes put on one grid whose points every file format keeps apart.

Files of triangles hold 32-bit floats, and what reads them takes corners with equal numbers for one.
Two points nearer than such a float can tell would become one there, and a closed solid would leak.
So all vertices of a sheet lie on a grid of a power of two of a millimetre: its points, and those
midway between, are exact in 32 bits up to the sheet's far corner.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.errors import GEOSException

from ..arrays import Bools, Floats, Geometries
from .graph import connected_labels, members_of
from .polygons import as_multipolygon, touching_points
from .winding import winding_numbers

#: The grid of sheets up to 1 m: 0.12 micrometres, which no machine can place. Its points lie
#: further apart than programs merge at (``tolerance.MERGE``), so that no side is lost by that.
FINEST = 2.0**-13
#: Bits of a 32-bit float's fraction (IEEE 754), less one for the points midway.
_BITS = 23
#: Rounds of uniting what snapping has brought together; each leaves fewer, one is the rule.
_MOST_ROUNDS = 8


def grid_of(extent: float) -> float:
    """Return the side of the grid, in mm, for coordinates up to ``extent`` mm.

    >>> grid_of(200.0) == 2**-13, grid_of(20_000.0) == 2**-8
    (True, True)
    """
    if not extent > 0:
        return FINEST
    return max(FINEST, 2.0 ** (math.ceil(math.log2(extent)) - _BITS))


def on_grid(values: Floats, grid: float) -> Floats:
    """Return numbers rounded to the grid, without negative zero."""
    rounded: Floats = np.rint(values / grid) * grid + 0.0
    return rounded


def snapped(shape: shapely.Geometry, grid: float) -> MultiPolygon:
    """Return the polygons of a shape with every vertex on a grid: valid, and apart where they were.

    Vertices move by half a grid diagonal at most. Where that alone keeps the shape valid, which is
    the rule, nothing else happens. A polygon that would cross itself is snap-rounded: cut at its
    crossings, those rounded too, with every edge bent to the grid points that it passes, so that
    no new crossing arises (Hobby, "Practical segment intersection with finite precision output",
    1999). Polygons that come to overlap or to share an edge are united; such that only touch at
    points stay two. What is narrower than the grid closes or vanishes.

    Parameters
    ----------
    shape : Geometry
        In mm. Polygons may be slightly invalid, as a move by rounded numbers leaves them.
    grid : float
        A power of two in mm (see ``grid_of``).

    Returns
    -------
    MultiPolygon
        Valid; shells run counter-clockwise.

    Examples
    --------
    >>> near = [shapely.box(0, 0, 1, 1), shapely.box(1 + 1e-9, 1 + 1e-9, 2, 2)]
    >>> snapped(shapely.multipolygons(near), 2**-12).bounds
    (0.0, 0.0, 2.0, 2.0)
    """
    parts = _polygons_of(shape)
    rounded, sound = _rounded(parts, grid)
    mended = [_snap_rounded(part, grid) for part in parts[~sound]]
    parts = np.concatenate([rounded[sound], *mended])
    for _ in range(_MOST_ROUNDS):
        whole = shapely.multipolygons(parts)
        if shapely.is_valid(whole):
            return shapely.orient_polygons(whole)
        parts = _united_where_they_meet(parts, grid)
    # Everything at once: slow on big shapes, and sure.
    return shapely.orient_polygons(
        as_multipolygon(shapely.union_all(np.asarray(parts, object), grid_size=grid))
    )


def snapped_apart(shape: shapely.Geometry, half: float) -> MultiPolygon:
    """Return a shape snapped to the grid of its extent, opened where it touches itself at a point.

    Parameters
    ----------
    shape : Geometry
        Polygons in mm.
    half : float
        Half the width of the slits that open such points, in mm.

    Examples
    --------
    >>> two = shapely.union_all([shapely.box(0, 0, 1, 1), shapely.box(1, 1, 2, 2)])
    >>> round(snapped_apart(two, 0.02).area, 3)
    1.999
    """
    if shape.is_empty:
        return MultiPolygon()
    grid = grid_of(float(np.abs(shape.bounds).max()))
    clean = snapped(shape, grid)
    for number in range(_MOST_ROUNDS):
        pinches = touching_points(clean)
        if len(pinches) == 0:
            break
        slits = slits_at(pinches, half * (1 + number), grid)
        clean = snapped(clean.difference(shapely.union_all(slits)), grid)
    return clean


def slits_at(points: Floats, half: float, grid: float) -> Geometries:
    """Return squares round points of the grid.

    Parameters
    ----------
    points : float64 array (n, 2)
        On the grid, in mm.
    half : float
        Least distance in mm from a point to the sides of its square, which are on the grid too.
    grid : float
        Spacing of the grid in mm.
    """
    half = math.ceil(half / grid) * grid
    squares: Geometries = shapely.box(*(points - half).T, *(points + half).T)
    return squares


def _polygons_of(shape: shapely.Geometry) -> Geometries:
    parts = shapely.get_parts(shapely.get_parts(shape))
    found: Geometries = parts[
        (shapely.get_type_id(parts) == shapely.GeometryType.POLYGON) & ~shapely.is_empty(parts)
    ]
    return found


def _rounded(parts: Geometries, grid: float) -> tuple[Geometries, Bools]:
    """Return the polygons with rounded vertices, and which of them are valid so.

    Rings that vanish are left out, and with an outer ring its polygon, which counts as valid: it
    is empty.
    """
    rings, owner = shapely.get_rings(parts, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    points = on_grid(points, grid)
    last = np.append(ring[1:] != ring[:-1], True)[: len(ring)]
    repeated = np.zeros(len(ring), bool)
    repeated[1:] = (points[1:] == points[:-1]).all(axis=1) & (ring[1:] == ring[:-1])
    # The closing point stays, whatever lies before it: the point before is dropped instead.
    swallowed = np.flatnonzero(repeated & last)
    repeated[swallowed] = False
    repeated[swallowed - 1] = True
    counts = np.bincount(ring[~repeated], minlength=len(rings))
    kept_ring = counts >= 4
    is_shell = np.append(True, owner[1:] != owner[:-1])[: len(owner)]
    shell_kept = np.zeros(len(parts), bool)
    shell_kept[owner[is_shell]] = kept_ring[is_shell]
    kept_ring &= shell_kept[owner]
    keep = ~repeated & kept_ring[ring]
    result: Geometries = np.full(len(parts), Polygon(), object)
    sound = np.ones(len(parts), bool)
    if keep.any():
        number = np.cumsum(kept_ring) - 1
        made = shapely.linearrings(points[keep], indices=number[ring[keep]])
        shapely.polygons(made, indices=owner[kept_ring], out=result)
        # A ring that turned round, or lost its points to a line, is not rounded but collapsed.
        turned = shapely.is_ccw(made) != shapely.is_ccw(rings[kept_ring])
        sound = shapely.is_valid(result)
        sound[owner[kept_ring][turned]] = False
    sound &= shell_kept | (counts[is_shell] <= 3)
    return result, sound


def _snap_rounded(part: Polygon, grid: float) -> Geometries:
    """Return the polygons that one polygon, valid or not, becomes on the grid."""
    try:
        reduced = shapely.set_precision(part, grid)
    except GEOSException:
        # The polygon crosses itself: its outlines are cut into faces instead.
        return _faces_within(part, grid)
    return _polygons_of(reduced)


def _faces_within(part: Polygon, grid: float) -> Geometries:
    """Return the inside of a polygon that crosses itself: where its outlines wind round once."""
    rings = shapely.get_rings(shapely.orient_polygons(part))
    edges = shapely.get_parts(shapely.union_all(rings, grid_size=grid))
    faces = shapely.get_parts(shapely.polygonize(edges))
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    within = ring[1:] == ring[:-1]
    inner = shapely.get_coordinates(shapely.point_on_surface(faces)).reshape(-1, 2)
    turns = winding_numbers(inner, xy[:-1][within], xy[1:][within])
    return _polygons_of(shapely.coverage_union_all(faces[turns > 0]))


def _united_where_they_meet(parts: Geometries, grid: float) -> Geometries:
    """Return polygons with those united that overlap or share an edge."""
    first, second = shapely.STRtree(parts).query(parts, predicate="intersects")
    own = first < second
    first, second = first[own], second[own]
    # Touching at points is no fault; sharing a stretch of edge or an area is.
    meeting = shapely.intersection(parts[first], parts[second])
    shared = (shapely.length(meeting) > 0) | (shapely.area(meeting) > 0)
    pairs = np.stack([first[shared], second[shared]], axis=1)
    labels = connected_labels(len(parts), pairs)
    united = []
    for group in members_of(labels, np.arange(len(parts))):
        if len(group) == 1:
            united.append(parts[group])
        else:
            united.append(_polygons_of(shapely.union_all(parts[group], grid_size=grid)))
    return np.concatenate(united)
