"""Hairlines: what is far too thin to be cut, left out before anything is worked out from it.

A coat of arms drawn with a pen of a tenth of a millimetre has thousands of crossings that no blade
follows. Each would be a cell of the drawing, and its neighbour's in the end. Lines that lie so
close that they make an area together, as the steps of a shade do, stay.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from ..arrays import Bools, Geometries
from ..artwork.coloured import ColouredShape
from ..planar.polygons import as_multipolygon
from ..planar.raster import Coverage, coverage, directed_edges, edge_coverage
from ..tolerance import NOT_ZERO
from .regions import Lost, widths_of

#: A hairline is on the whole less wide than this share of what can be cut, and nowhere twice that.
_WIDTH = 0.25
#: Area of a regular octagon in a circle of radius 1: what a circle in eight chords holds at least.
_OCTAGON = 2 * 2**0.5
#: Where lines cover more than this share of a square, so many times as wide as what can be cut,
#: they are an area.
_DENSE, _SIDE = 0.95, 4
#: ... and so they are this far round it, in widths of what can be cut.
_ROUND = 2


def hair_width(least: float) -> float:
    """Return how wide a hairline is at most where an opening is so wide at least, in mm."""
    return _WIDTH * least


def without_hairlines(
    shapes: Sequence[ColouredShape], page: tuple[float, float], least: float
) -> tuple[tuple[ColouredShape, ...], Lost | None]:
    """Return shapes without their parts that are too thin to be seen in any sheet.

    Parameters
    ----------
    shapes : sequence of ColouredShape
        In painting order.
    page : tuple of float
        Width and height in mm.
    least : float
        Least width of an opening in mm.

    Returns
    -------
    shapes : tuple of ColouredShape
    lost : Lost or None
        What was left out.

    Examples
    --------
    >>> line = shapely.multipolygons([shapely.box(0, 5, 90, 5.2)])
    >>> left, lost = without_hairlines([ColouredShape(line, (0.0, 0.0, 0.0))], (100, 100), 1.0)
    >>> len(left), lost.count, round(lost.area, 6)
    (0, 1, 18.0)
    """
    parts, owner = shapely.get_parts(np.array([s.shape for s in shapes], object), return_index=True)
    is_hair = _are_hairlines(parts, hair_width(least))
    if not is_hair.any():
        return tuple(shapes), None
    kept: dict[int, list[shapely.Geometry]] = {}
    for k in np.flatnonzero(~is_hair).tolist():
        kept.setdefault(int(owner[k]), []).append(parts[k])
    hairs = np.flatnonzero(is_hair)
    areas = shapely.area(parts[hairs])
    dense = _dense_area(parts, is_hair, page, least)
    if not dense.is_empty:
        stay = shapely.intersection(parts[hairs], dense)
        areas -= shapely.area(stay)
        for k in np.flatnonzero(~shapely.is_empty(stay)).tolist():
            kept.setdefault(int(owner[hairs[k]]), []).append(stay[k])
    touched = set(owner[hairs].tolist())
    left = [
        replace(shape, shape=as_multipolygon(shapely.geometrycollections(kept[number])))
        if number in touched
        else shape
        for number, shape in enumerate(shapes)
        if number in kept or number not in touched
    ]
    point = shapely.point_on_surface(parts[hairs[np.argmax(areas)]])
    count, area = int((areas > 0).sum()), float(areas.sum())
    width = float((widths_of(parts[hairs]) * areas).sum()) / max(area, NOT_ZERO)
    return tuple(left), Lost(count, area, (float(point.x), float(point.y)), width)


def _are_hairlines(parts: Geometries, width: float) -> Bools:
    """Return which polygons are less wide than this on the whole, and nowhere twice that."""
    # A line's area is its width times half of what goes round it.
    found: Bools = 2 * shapely.area(parts) < width * shapely.length(parts)
    # Into what is that narrow from side to side, or smaller than a circle, none fits.
    x0, y0, x1, y1 = shapely.bounds(parts).T
    may_hold = (np.minimum(x1 - x0, y1 - y0) >= 2 * width) & (
        shapely.area(parts) >= _OCTAGON * width**2
    )
    unsure = np.flatnonzero(found & may_hold)
    found[unsure] = shapely.is_empty(shapely.buffer(parts[unsure], -width, quad_segs=2))
    return found


def _dense_area(
    parts: Geometries, is_hair: Bools, page: tuple[float, float], least: float
) -> shapely.Geometry:
    """Return where hairlines that are seen lie so close that they are an area."""
    dense = _dense(coverage(shapely.multipolygons(parts[is_hair]), page, 1 / least))
    if dense.any():
        dense = _dense(_seen_share(parts, is_hair, dense, page, least))
    if not dense.any():
        return shapely.MultiPolygon()
    row, column = np.nonzero(dense)
    wide, x, y = _ROUND * least, column * least, page[1] - row * least
    return shapely.union_all(shapely.box(x - wide, y - least - wide, x + least + wide, y + wide))


def _dense(share: Coverage) -> Bools:
    """Return which squares lie in a block of them that is covered nearly whole."""
    found = share > np.inf
    if min(share.shape) >= _SIDE:
        blocks = np.lib.stride_tricks.sliding_window_view(share, (_SIDE, _SIDE))
        for row, column in np.argwhere(blocks.mean(axis=(2, 3)) > _DENSE).tolist():
            found[row : row + _SIDE, column : column + _SIDE] = True
    return found


def _seen_share(
    parts: Geometries, is_hair: Bools, where: Bools, page: tuple[float, float], least: float
) -> Coverage:
    """Return how much of some squares shows hairlines once all parts lie over each other."""
    share = np.zeros(where.shape, np.float32)
    rows, columns = where.shape
    x0, y0, x1, y1 = shapely.bounds(parts).T / least
    top = page[1] / least
    left, right = np.clip(np.floor([x0, x1]), 0, columns - 1).astype(np.int64)
    upper, lower = np.clip(np.floor([top - y1, top - y0]), 0, rows - 1).astype(np.int64)
    for k, part in enumerate(parts):
        there = np.s_[upper[k] : lower[k] + 1, left[k] : right[k] + 1]
        if not where[there].any():
            continue
        corner = np.array([left[k], upper[k]])
        start, end = ((xy / least * [1, -1]) + [0, top] - corner for xy in directed_edges(part))
        own = edge_coverage(start, end, 1.0, *where[there].shape)
        # Hairlines share a square side by side, more often than one over the other.
        share[there] = np.minimum(share[there] + own, 1) if is_hair[k] else share[there] * (1 - own)
    return share
