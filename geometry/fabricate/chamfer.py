"""Chamfers: openings that get wider towards the spray side, as one solid to cut away.

The chamfer is a height field over rings round each opening. The ring between two offsets of an
opening is triangulated in the plane (constrained Delaunay) and its corners are lifted to their
heights; as no two triangles overlap seen from above, the solid above it is closed and cannot cut
itself, whatever the openings do when they are offset: merge, lose corners, or swallow islands.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Floats, Geometries, Indices
from ..mesh.solid import Mesh
from ..planar.polygons import as_multipolygon
from ..planar.union import unite

#: How far the slope runs on past the sheet's faces, as a share of the chamfer's width at most, so
#: that its edges cross the sheet's faces instead of touching them. Never down to the wall side.
_PAST = 0.2
_MITRE_LIMIT = 1.5
#: Points of an opening that move its chamfer by less than this share of its width are left out.
_SIMPLIFY = 0.05


def chamfer_cutter(
    openings: Geometries,
    within: shapely.Geometry,
    width: float,
    land: float,
    top: float,
) -> Mesh:
    """Return the solid that chamfers the upper edges of openings.

    Parameters
    ----------
    openings : array of Polygon
        True shapes, kept below the chamfer.
    within : polygon or polygons
        Where the chamfer may lie; as a rule the sheet's outline eroded a little.
    width : float
        How much wider the openings get at each edge, in mm, at height ``top``.
    land : float
        Height at which the slope begins.
    top : float
        Height of the sheet's upper face.

    Returns
    -------
    Mesh
        Closed, from the slope up to above ``top``. Without faces where there are no openings.
    """
    slope = (top - land) / width
    past = min(_PAST * width, 0.8 * land / slope)
    smooth = shapely.simplify(openings, _SIMPLIFY * width)
    inner, grown = (
        shapely.buffer(smooth, distance, join_style="mitre", mitre_limit=_MITRE_LIMIT)
        for distance in (-past, width + past)
    )
    if len(openings) == 0:
        return Mesh(np.empty((0, 3)), np.empty((0, 3), np.int64))
    # Openings well inside need no clipping; only those that overlap are united.
    shapely.prepare(within)
    clipped = ~shapely.covers(within, grown)
    grown[clipped] = shapely.union(smooth[clipped], shapely.intersection(grown[clipped], within))
    outer = unite(np.array(shapely.get_parts(grown), object))
    inside = as_multipolygon(shapely.geometrycollections(inner))
    heights = (land - slope * past, top + slope * past)
    return _above((inside, outer), heights, heights[1] + 1.0)


def _above(
    rings: tuple[MultiPolygon, MultiPolygon], heights: tuple[float, float], cap: float
) -> Mesh:
    """Return the solid between a sloping field and a flat cap.

    The field runs over what lies in the second shape but not in the first, rising from one's
    edges to the other's.
    """
    inner, outer = rings
    corners = [
        np.column_stack([xy, np.full(len(xy), height)])
        for xy, height in zip(map(shapely.get_coordinates, rings), heights, strict=True)
    ]
    known = np.concatenate(corners)
    xy, inverse = np.unique(known[:, :2], axis=0, return_inverse=True)
    # A corner that both share, where the second was clipped, keeps the lower height.
    z = np.full(len(xy), np.inf)
    np.minimum.at(z, inverse.reshape(-1), known[:, 2])
    field = _triangles(as_multipolygon(outer.difference(inner)), xy)
    if len(field) == 0:
        return Mesh(np.empty((0, 3)), np.empty((0, 3), np.int64))
    count = len(xy)
    lower = np.column_stack([xy, z])
    upper = np.column_stack([xy, np.full(count, cap)])
    # Edges that only one triangle has are the field's border: walls stand there.
    a = field.ravel()
    b = field[:, [1, 2, 0]].ravel()
    forward = a * count + b
    border = ~np.isin(forward, b * count + a)
    a, b = a[border], b[border]
    walls = np.concatenate([np.stack([a, b, b + count], 1), np.stack([a, b + count, a + count], 1)])
    return Mesh(
        np.concatenate([lower, upper]),
        np.concatenate([field[:, ::-1], field + count, walls]),
    )


def _triangles(region: MultiPolygon, xy: Floats) -> Indices:
    """Triangulate a region with corners in ``xy`` (sorted), counter-clockwise."""
    if region.is_empty:
        return np.empty((0, 3), np.int64)
    found = shapely.get_parts(shapely.constrained_delaunay_triangles(shapely.get_parts(region)))
    points = shapely.get_coordinates(found).reshape(-1, 4, 2)[:, :3]
    flat = points.reshape(-1, 2)
    keys = np.ascontiguousarray(xy).view([("x", float), ("y", float)]).reshape(-1)
    wanted = np.ascontiguousarray(flat).view(keys.dtype).reshape(-1)
    corners = np.searchsorted(keys, wanted).reshape(-1, 3)
    p, q, r = (points[:, k] for k in range(3))
    turn = (q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0])
    turned: Indices = np.where(turn[:, None] > 0, corners, corners[:, ::-1])
    return turned
