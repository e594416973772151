"""Strips: the shape of a bridge round its middle line."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import ArrayLike

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
    drawn = len(paths) > 0 and isinstance(paths[0], shapely.Geometry)
    lines = np.asarray(paths, object) if drawn else lines_of(list(paths))
    strips: Geometries = shapely.buffer(
        lines, np.asarray(width) / 2 * ROUNDING, quad_segs=quarter_segments
    )
    return strips


def lines_of(ways: Sequence[Floats]) -> Geometries:
    """Return ways, arrays (k, 2), as line strings.

    >>> lines_of([np.array([[0.0, 0.0], [3.0, 4.0]])])[0].length
    5.0
    """
    if not len(ways):
        return np.empty(0, object)
    number = np.repeat(np.arange(len(ways)), [len(way) for way in ways])
    lines: Geometries = shapely.linestrings(np.concatenate(ways), indices=number)
    return lines


def tapered_strips(ways: Sequence[Floats], width: Floats, flare: Floats) -> Geometries:
    """Return strips that are wider at both ends of their middle lines than in the middle.

    Parameters
    ----------
    ways : sequence of float64 array (k, 2)
        Middle lines in mm; strips reach half a width beyond their ends.
    width : float64 array (n,)
        In the middle, in mm.
    flare : float64 array (n, 2)
        How much wider each is at its start and its end, as shares.

    Examples
    --------
    >>> way = np.array([[0.0, 0.0], [10.0, 0.0]])
    >>> (strip,) = tapered_strips([way], np.array([2.0]), np.array([[0.5, 0.5]]))
    >>> round(strip.bounds[3], 2), round(strip.intersection(shapely.box(4.9, -9, 5.1, 9)).area, 2)
    (1.52, 0.4)
    """
    lines = lines_of(ways)
    share = np.linspace(0, 1, TAPER_STEPS + 1)
    places = shapely.line_interpolate_point(lines[:, None], share[None], normalized=True)
    middle = shapely.get_coordinates(places).reshape(len(lines), TAPER_STEPS + 1, 2)
    along = np.gradient(middle, axis=1)
    along /= np.maximum(np.hypot(along[..., 0], along[..., 1]), _LEAST_LENGTH)[..., None]
    half = width[:, None] / 2 * ROUNDING * taper(share, flare)
    further = (width / 2)[:, None]
    first, last = middle[:, 0] - further * along[:, 0], middle[:, -1] + further * along[:, -1]
    middle = np.concatenate([first[:, None], middle, last[:, None]], axis=1)
    along, half = (np.concatenate([v[:, :1], v, v[:, -1:]], axis=1) for v in (along, half))
    side = np.stack([-along[..., 1], along[..., 0]], axis=2) * half[..., None]
    strips: Geometries = shapely.polygons(
        np.concatenate([middle + side, (middle - side)[:, ::-1]], axis=1)
    )
    # Some are bent more tightly than they are wide: their sides cross.
    crossed = (shapely.length(lines) < _LEAST_LENGTH) | ~shapely.is_valid(strips)
    for number in np.flatnonzero(crossed).tolist():
        discs = shapely.points(middle[number])
        strips[number] = shapely.union_all(
            shapely.buffer(discs, half[number], quad_segs=QUARTER_SEGMENTS)
        )
    return strips


def taper(share: Floats, flare: ArrayLike) -> Floats:
    """Return how many times as wide as in their middle tapered strips are at shares of their ways.

    Parameters
    ----------
    share : float64 array (k,)
    flare : float64 array (..., 2)
        How much wider each is at its start and its end, as shares.

    Returns
    -------
    float64 array (..., k)

    Examples
    --------
    >>> taper(np.array([0.0, 0.5, 0.75]), (0.5, 1.0)).tolist()
    [1.5, 1.0, 1.25]
    """
    start, end = np.moveaxis(np.asarray(flare, np.float64)[..., None], -2, 0)
    wide: Floats = 1 + np.where(share < 0.5, start, end) * (2 * share - 1) ** 2
    return wide


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


def fillets(strips: Geometries, openings: Geometries, radius: float) -> tuple[Geometries, Indices]:
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
