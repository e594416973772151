"""Pictures: flat shapes in mm drawn into arrays of pixels with exact anti-aliasing.

A pixel's coverage is the exact share of its square that lies inside the shape, not a count of
samples. Every edge adds, to each pixel that it crosses, the area to its right within the pixel's
row; summing along the row gives the area inside (the signed area method of scan conversion, as
font renderers use it). The cost grows with the vertices plus the pixels that edges cross.

Row 0 of a picture is its top row; y points up in mm.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Indices
from ..colour import srgb_from_linear
from ..errors import GeometryError

Coverage = NDArray[np.float32]

#: Pictures beyond this many pixels are refused: a scale given in the wrong unit, as a rule.
MOST_PIXELS = 400_000_000

#: Less coverage is a leftover of rounding.
_LEAST_COVERAGE = 1e-6


def pixel_shape(frame: tuple[float, float], pixels_per_mm: float) -> tuple[int, int]:
    """Return the rows and columns of a picture of a frame.

    Parameters
    ----------
    frame : tuple of float
        Width and height in mm.
    pixels_per_mm : float

    Raises
    ------
    GeometryError
        A length is not positive and finite, or the picture would be absurdly big.

    Examples
    --------
    >>> pixel_shape((400, 500), 2.0)
    (1000, 800)
    """
    width, height = frame
    sizes = np.array([width, height, pixels_per_mm], float)
    if not (np.isfinite(sizes).all() and (sizes > 0).all()):
        raise GeometryError(
            f"A picture needs a positive size and scale, found {width:g} x {height:g} mm at "
            f"{pixels_per_mm:g} pixels per mm."
        )
    if width * height * pixels_per_mm**2 > MOST_PIXELS:
        raise GeometryError(
            f"A picture of {width:g} x {height:g} mm at {pixels_per_mm:g} pixels per mm would have "
            f"more than {MOST_PIXELS} pixels."
        )
    return max(1, round(height * pixels_per_mm)), max(1, round(width * pixels_per_mm))


def coverage(
    shape: Polygon | MultiPolygon, frame: tuple[float, float], pixels_per_mm: float
) -> Coverage:
    """Return how much of each pixel a shape covers.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        Valid, in mm, y up; what lies outside the frame is cut off.
    frame : tuple of float
        Width and height in mm; its lower left corner is the origin.
    pixels_per_mm : float

    Returns
    -------
    float32 array (rows, columns)
        0 outside to 1 inside, exact to rounding; holes are empty.

    Raises
    ------
    GeometryError
        See :func:`pixel_shape`.

    Examples
    --------
    >>> from shapely import box
    >>> coverage(box(0.5, 0, 2, 1.25), (3, 2), 1)
    array([[0.125, 0.25 , 0.   ],
           [0.5  , 1.   , 0.   ]], dtype=float32)
    """
    rows, columns = pixel_shape(frame, pixels_per_mm)
    start, end = directed_edges(shape)
    # The picture hangs on its top edge, y = frame's height.
    to_pixels = np.array([pixels_per_mm, -pixels_per_mm])
    origin = np.array([0.0, frame[1]])
    start, end = (start - origin) * to_pixels, (end - origin) * to_pixels
    return edge_coverage(start, end, 1.0, rows, columns)


def edge_coverage(
    start: Floats, end: Floats, weight: ArrayLike, rows: int, columns: int
) -> Coverage:
    """Return the coverage by closed loops, each edge with a weight.

    Parameters
    ----------
    start, end : float64 array (n, 2)
        Ends of the edges in pixels: x to the right, y DOWN from the picture's top left corner. The
        edges must form closed loops, in any order.
    weight : float, float array (n,) or (n, k)
        Factor of an edge, the same all round a loop, or one for each of k pictures. With 1, a loop
        that is counter-clockwise as seen in the picture fills, one that is clockwise empties.
    rows, columns : int

    Returns
    -------
    float32 array (rows, columns) or (rows, columns, k)
        Sum over all loops of weight x covered share, below 0 cut to 0. Loops that do not overlap
        give 0 to 1.
    """
    x0, y0 = np.asarray(start, np.float64).T
    x1, y1 = np.asarray(end, np.float64).T
    weights = np.asarray(weight, np.float64)
    if weights.ndim < 2:
        weights = np.broadcast_to(weights, x0.shape)
    # Level edges bound no area, nor do edges above, below, or to the right of the picture.
    used = (
        (y0 != y1)
        & (np.maximum(y0, y1) > 0)
        & (np.minimum(y0, y1) < rows)
        & (np.minimum(x0, x1) < columns)
    )
    x0, y0, x1, y1, weights = _split(x0[used], y0[used], x1[used], y1[used], weights[used], rows)
    y0, x0, y1, x1, weights = _split(y0, x0, y1, x1, weights, columns)
    row = np.floor((y0 + y1) / 2).astype(np.int64)
    inside = (row >= 0) & (row < rows) & (y0 != y1)
    x0, x1, row = x0[inside], x1[inside], row[inside]
    rise = ((y1 - y0) * weights.T).T[inside]
    # Left of the picture all pixels of the row are to the right; right of it none is.
    middle = np.clip((x0 + x1) / 2, 0, columns)
    column = np.minimum(np.floor(middle).astype(np.int64), columns)
    right = (rise.T * (middle - column)).T
    covered: Coverage = np.zeros((rows, columns, *weights.shape[1:]), np.float32)
    if not len(row):
        return covered
    # Above, below and to the left of all edges nothing is covered; to their right each row stays
    # as it is.
    top, left, low = int(row.min()), int(column.min()), int(row.max()) + 1
    wide = int(column.max()) + 2 - left
    cell = (row - top) * wide + column - left
    size = (low - top) * wide
    pictures = covered.reshape(rows, columns, -1)
    rise, right = (values.reshape(len(row), -1).T for values in (rise, right))
    for number, (own, aside) in enumerate(zip(rise, right, strict=True)):
        change = np.bincount(cell, own - aside, size) + np.bincount(cell + 1, aside, size)
        area = np.cumsum(change.reshape(low - top, wide), axis=1)
        picture = pictures[..., number]
        near = picture[top:low, left : left + wide]
        near[:] = np.maximum(area, 0.0)[:, : near.shape[1]]
        picture[top:low, left + wide :] = np.maximum(area[:, -1:], 0.0)
    covered[covered < _LEAST_COVERAGE] = 0.0
    return covered


def _split(
    a0: Floats, b0: Floats, a1: Floats, b1: Floats, weight: Floats, most: int
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Split edges (a0, b0)-(a1, b1) where b passes the whole numbers 0 to ``most``."""
    low, high = np.minimum(b0, b1), np.maximum(b0, b1)
    first = np.clip(np.floor(low) + 1, 0, most + 1).astype(np.int64)
    last = np.clip(np.ceil(high) - 1, -1, most).astype(np.int64)
    cuts = np.maximum(last - first + 1, 0)
    if not cuts.any():
        return a0, b0, a1, b1, weight
    pieces = cuts + 1
    which = np.repeat(np.arange(len(a0)), pieces)
    offset = np.cumsum(pieces) - pieces
    number = np.arange(len(which)) - offset[which]
    ascending = b1 >= b0
    # The cut that ends piece k, counted along the edge.
    level = np.where(ascending[which], first[which] + number, last[which] - number)
    final = number == cuts[which]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (level - b0[which]) / (b1 - b0)[which]
    along = a0[which] + np.clip(share, 0, 1) * (a1 - a0)[which]
    end_a = np.where(final, a1[which], along)
    end_b = np.where(final, b1[which], level)
    start_a, start_b = np.empty_like(end_a), np.empty_like(end_b)
    start_a[1:], start_b[1:] = end_a[:-1], end_b[:-1]
    start_a[offset], start_b[offset] = a0, b0
    return start_a, start_b, end_a, end_b, weight[which]


def directed_edges(shape: Polygon | MultiPolygon) -> tuple[Floats, Floats]:
    """Return the starts and the ends of all edges of a shape, its inside on the left of each.

    Parameters
    ----------
    shape : Polygon or MultiPolygon

    Returns
    -------
    start, end : float64 array (n, 2)

    Examples
    --------
    >>> from shapely import box
    >>> start, end = directed_edges(box(0, 0, 2, 1))
    >>> float((start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]).sum() / 2)  # shoelace
    2.0
    """
    rings, owner = shapely.get_rings(shapely.get_parts(shape), return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    joined = ring[1:] == ring[:-1]
    turned = (shapely.is_ccw(rings) != _is_shell(owner))[ring[:-1][joined], None]
    one, other = points[:-1][joined], points[1:][joined]
    return np.where(turned, other, one), np.where(turned, one, other)


def _is_shell(owner: Indices) -> Bools:
    """Return which rings are the first of their polygon."""
    return np.append(True, owner[1:] != owner[:-1])[: len(owner)]


def extent_of(marked: Bools, reach: int = 0) -> tuple[slice, slice]:
    """Return the rows and columns that hold all marked pixels, and so many more on each side.

    >>> extent_of(np.array([[0, 0, 0], [0, 0, 1]], bool))
    (slice(1, 2, None), slice(2, 3, None))
    """
    rows, columns = (
        slice(max(0, int(at[0]) - reach), int(at[-1]) + reach + 1) if len(at) else slice(0, 0)
        for at in (np.flatnonzero(marked.any(axis=1)), np.flatnonzero(marked.any(axis=0)))
    )
    return rows, columns


def one_colour(colour: ArrayLike, rows: int, columns: int) -> Coverage:
    """Return a picture of one colour.

    Parameters
    ----------
    colour : three numbers, 0 to 1
    rows, columns : int

    Returns
    -------
    float32 array (rows, columns, 3)
    """
    return np.broadcast_to(np.asarray(colour, np.float32), (rows, columns, 3)).copy()


def srgb_bytes(linear: ArrayLike) -> NDArray[np.uint8]:
    """Return linear light, 0 to 1, as sRGB bytes, 0 to 255.

    By a table of 65,536 steps, of which the coarsest is a twentieth of a byte's step: a colour that
    was a byte comes back as that byte.

    >>> srgb_bytes([0.0, 0.2158605, 1.0])
    array([  0, 128, 255], dtype=uint8)
    """
    values = np.asarray(linear, np.float32) * np.float32(_STEPS) + np.float32(0.5)
    return _SRGB[np.clip(values, 0, _STEPS).astype(np.uint16)]


_STEPS = 65535
_SRGB: NDArray[np.uint8] = np.rint(srgb_from_linear(np.arange(_STEPS + 1) / _STEPS) * 255).astype(
    np.uint8
)


def to_bytes(values: ArrayLike) -> NDArray[np.uint8]:
    """Return values 0 to 1 as bytes 0 to 255, rounded to the nearest.

    >>> to_bytes([0.0, 0.5, 1.2])
    array([  0, 128, 255], dtype=uint8)
    """
    scaled = np.clip(np.asarray(values, np.float32) * 255 + 0.5, 0, 255)
    return scaled.astype(np.uint8)


def thinned(shape: Polygon | MultiPolygon, tolerance: float) -> MultiPolygon:
    """Return a shape with fewer vertices, for drawing only: it may be invalid.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
    tolerance : float
        In mm; no point of an outline moves farther. Rings smaller than that may vanish.

    Returns
    -------
    MultiPolygon

    Examples
    --------
    >>> from shapely import Point
    >>> disc = Point(0, 0).buffer(10, quad_segs=64)
    >>> len(disc.exterior.coords), len(thinned(disc, 0.1).geoms[0].exterior.coords)
    (257, 33)
    """
    polygons = shapely.get_parts(shape)
    rings, owner = shapely.get_rings(polygons, return_index=True)
    shell = _is_shell(owner)
    # Ring by ring: keeping the topology of a plate of thousands of openings takes far longer.
    rings = shapely.simplify(rings, tolerance, preserve_topology=False)
    kept = shapely.get_num_coordinates(rings) >= 4
    left = np.zeros(len(polygons), bool)
    left[owner[shell & kept]] = True
    used = kept & left[owner]
    place = np.cumsum(left) - 1
    return MultiPolygon(list(shapely.polygons(rings[used], indices=place[owner[used]])))
