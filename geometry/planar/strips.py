"""Strips: the shape of a bridge round its middle line."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Floats, Geometries, Indices

#: Strips are drawn wider by this factor. The rounds of an offset are polygons, and GEOS leaves out
#: hollows shallower than 1 % of the distance: no strip may come out thinner than asked for.
ROUNDING = 1.012
QUARTER_SEGMENTS = 16
#: Pieces that the sides of a tapered strip are drawn with.
TAPER_STEPS = 24
#: Shorter ways in mm have no direction.
_LEAST_LENGTH = 1e-12

#: How far round a strip, in radii, openings are looked at for fillets, and fillets are kept.
_NEAR, _REACH = 6.0, 1.5
#: An opening is grown again by this much more than it was shrunk: rounds are polygons.
_ROUNDS = 1.001
#: Areas of a fillet in squares of its radius: one in a corner of 60 degrees has 0.7.
_LEAST_FILLET, _MOST_FILLET = 1e-3, 1.0
#: Fillets are grown by this much (mm), so that they overlap the strip that they touch.
_OVERLAP = 2e-3
#: Segments of a quarter circle, where a shape is looked at and where it becomes a fillet.
_ROUGH_SEGMENTS, _FILLET_SEGMENTS = 4, 8


def straight_strips(
    paths: Sequence[Floats] | Geometries, width: Floats, quarter_segments: int = QUARTER_SEGMENTS
) -> Geometries:
    """Return strips with straight sides and round ends.

    Parameters
    ----------
    paths : sequence of float64 array (k, 2) or of LineString
        Middle lines in mm; one that is a single point gives a disc.
    width : float64 array (n,)
        In mm.
    quarter_segments : int

    Returns
    -------
    object array of Polygon
        Nowhere narrower than ``width``.

    Examples
    --------
    >>> strip = straight_strips([np.array([[0.0, 0.0], [10.0, 0.0]])], np.array([2.0]))[0]
    >>> round(strip.area)
    23
    """
    lines = np.array(
        [p if isinstance(p, shapely.Geometry) else shapely.linestrings(p) for p in paths], object
    )
    strips: Geometries = shapely.buffer(
        lines, np.asarray(width) / 2 * ROUNDING, quad_segs=quarter_segments
    )
    return strips


def tapered_strip(way: Floats, width: float, flare: tuple[float, float]) -> Polygon:
    """Return a strip that is wider at both ends of its middle line than in the middle.

    Parameters
    ----------
    way : float64 array (k, 2)
        Middle line in mm; the strip reaches half a width beyond its ends.
    width : float
        In its middle, in mm.
    flare : tuple of float
        How much wider it is at its start and its end, as shares.

    Examples
    --------
    >>> strip = tapered_strip(np.array([[0.0, 0.0], [10.0, 0.0]]), 2.0, (0.5, 0.5))
    >>> round(strip.bounds[3], 2), round(strip.intersection(shapely.box(4.9, -9, 5.1, 9)).area, 2)
    (1.52, 0.4)
    """
    line = shapely.linestrings(way)
    length = shapely.length(line)
    share = np.linspace(0, 1, TAPER_STEPS + 1)
    places = shapely.line_interpolate_point(line, share, normalized=True)
    middle = shapely.get_coordinates(places)
    along = np.gradient(middle, axis=0)
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), _LEAST_LENGTH)[:, None]
    half = width / 2 * ROUNDING * taper(share, flare)
    further = width / 2
    middle = np.concatenate(
        [[middle[0] - further * along[0]], middle, [middle[-1] + further * along[-1]]]
    )
    along = np.concatenate([along[:1], along, along[-1:]])
    half = np.concatenate([half[:1], half, half[-1:]])
    side = np.stack([-along[:, 1], along[:, 0]], axis=1) * half[:, None]
    sides = shapely.polygons(np.concatenate([middle + side, (middle - side)[::-1]]))
    if length < _LEAST_LENGTH or not shapely.is_valid(sides):
        # Bent more tightly than it is wide: its sides cross.
        sides = shapely.union_all(
            shapely.buffer(shapely.points(middle), half, quad_segs=QUARTER_SEGMENTS)
        )
    strip: Polygon = sides
    return strip


def taper(share: Floats, flare: tuple[float, float]) -> Floats:
    """Return how many times as wide as in its middle a tapered strip is at shares of its way.

    >>> taper(np.array([0.0, 0.5, 0.75]), (0.5, 1.0)).tolist()
    [1.5, 1.0, 1.25]
    """
    wide: Floats = 1 + np.where(share < 0.5, *flare) * (2 * np.asarray(share) - 1) ** 2
    return wide


def bars(start: Floats, end: Floats, width: float) -> Geometries:
    """Return straight strips with square ends: a quick stand-in for bridges across gaps.

    Parameters
    ----------
    start, end : float64 array (n, 2)
        Ends of the middle lines in mm; each bar reaches a quarter of its width further.
    width : float
        In mm.

    Returns
    -------
    object array of Polygon

    Examples
    --------
    >>> float(bars(np.array([[0.0, 0.0]]), np.array([[0.0, 9.0]]), 2.0)[0].area)
    20.0
    """
    way = end - start
    way = way / np.maximum(np.hypot(way[:, 0], way[:, 1]), _LEAST_LENGTH)[:, None]
    side = np.stack([-way[:, 1], way[:, 0]], axis=1) * width / 2
    start, end = start - way * width / 4, end + way * width / 4
    corners = np.stack([start + side, start - side, end - side, end + side], axis=1)
    strips: Geometries = shapely.polygons(corners)
    return strips


def fillet_windows(strips: Geometries, radius: float) -> Geometries:
    """Return boxes about strips: what of an opening lies there is enough to find its fillets.

    Parameters
    ----------
    strips : object array of Polygon
    radius : float
        Of the fillets in mm.
    """
    around = shapely.bounds(strips) + _NEAR * radius * np.array([-1, -1, 1, 1])
    windows: Geometries = shapely.box(*around.T)
    return windows


def fillets(
    strips: Geometries, openings: Geometries, radius: float
) -> tuple[Geometries, Indices]:
    """Return what rounds the corners between strips and the edges of openings that they cross.

    Parameters
    ----------
    strips : object array of Polygon
    openings : object array of Polygon or MultiPolygon
        For each strip an opening that it crosses, as it is within the strip's window before the
        strip is taken out of it.
    radius : float
        Of the fillets in mm.

    Returns
    -------
    fillets : object array of Polygon
        Each touches its strip; corners of the drawing itself stay sharp.
    strip : int array
        Whose each of them is.

    Notes
    -----
    An opening shrunk and grown again by the radius loses its corners (morphological opening); those
    beside the strip are its fillets. Narrow ends of an opening, lost as a whole, are left alone.

    Examples
    --------
    >>> strips = np.array([shapely.box(4, -1, 6, 9)])
    >>> found, strip = fillets(strips, np.array([shapely.box(0, 0, 10, 8)]), 1.0)
    >>> strip.tolist(), shapely.area(found).round(1).tolist()
    ([0, 0, 0, 0], [0.2, 0.2, 0.2, 0.2])
    """
    reach = shapely.buffer(strips, _REACH * radius, quad_segs=_ROUGH_SEGMENTS)
    left = shapely.difference(openings, strips)
    shrunk = shapely.buffer(left, -radius, quad_segs=_FILLET_SEGMENTS)
    rounded = shapely.buffer(shrunk, radius * _ROUNDS, quad_segs=_FILLET_SEGMENTS)
    lost = shapely.intersection(shapely.difference(left, rounded), reach)
    parts, strip = shapely.get_parts(lost, return_index=True)
    area = shapely.area(parts) / radius**2
    kept = (area > _LEAST_FILLET) & (area < _MOST_FILLET)
    parts, strip = shapely.buffer(parts[kept], _OVERLAP, join_style="mitre"), strip[kept]
    beside = shapely.intersects(parts, strips[strip])
    return parts[beside], strip[beside]
