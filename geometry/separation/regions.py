"""Regions: the cells of one colour that hang together, and which of them border on which."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..planar.arrangement import Partition, merge_faces
from ..planar.cell_edges import cell_edges
from ..planar.graph import connected_labels, members_of
from ..planar.polygons import as_multipolygon
from ..tolerance import NOT_ZERO, TOLERANCES

#: Label of what no layer paints.
BARE = -1
#: Borders shorter than this (mm) hold nothing together: regions that meet at a point.
_LEAST_BORDER = 0.02
#: ... unless they are this share of what goes round the smaller region, a crumb.
_LEAST_SHARE = 0.1
#: Rounds of giving thin regions to their neighbours; each leaves fewer.
_MOST_ROUNDS = 12
#: Shapes with more corners than this are looked at by halves.
_INTRICATE = 200
#: A difference of so much (CIEDE2000) weighs as much as a border of half the length.
_HALVES = 20.0


@dataclass(frozen=True, eq=False)
class Regions:
    """Regions of a page, each of one label.

    Parameters
    ----------
    shapes : object array (n,) of Polygon
        Neighbours share their vertices.
    label : int64 array (n,)
        What is seen: number of a can, or ``BARE``.
    drawn : bool array (n,)
        Whether the drawing paints there at all.
    pairs : int64 array (m, 2)
        Regions that share a border.
    borders : float64 array (m,)
        Length of it in mm.
    rim : float64 array (n,)
        Length of each region's border with the page's edge.
    page : tuple of float
    """

    shapes: Geometries
    label: Indices
    drawn: Bools
    pairs: Indices
    borders: Floats
    rim: Floats
    page: tuple[float, float]

    @property
    def areas(self) -> Floats:
        """Area of each region in mm2."""
        found: Floats = shapely.area(self.shapes)
        return found


@dataclass(frozen=True)
class Lost:
    """What was too thin to be cut and went to its neighbours.

    Parameters
    ----------
    count : int
    area : float
        In mm2.
    place : tuple of float
        In the largest of it.
    width : float
        In mm, on the whole.
    """

    count: int
    area: float
    place: tuple[float, float]
    width: float


def widths_of(shapes: Geometries) -> Floats:
    """Return how wide polygons are on the whole, in mm.

    As wide as a rectangle of that area and outline; a quarter of the outline where none has both.

    Parameters
    ----------
    shapes : object array (n,) of Polygon

    Examples
    --------
    >>> widths_of(np.array([shapely.box(0, 0, 9, 0.5), shapely.box(0, 0, 1, 1)])).tolist()
    [0.5, 1.0]
    """
    half = shapely.length(shapes) / 2
    found: Floats = (half - np.sqrt(np.maximum(half**2 - 4 * shapely.area(shapes), 0.0))) / 2
    return found


def regions_of(
    cells: Partition, label: Indices, drawn: Bools, apart: Floats, least: float
) -> tuple[Regions, Lost | None]:
    """Join cells of one label to regions; those too thin to be cut go to a neighbour.

    Parameters
    ----------
    cells : Partition
        Of a page whose corner is the origin.
    label : int64 array (cells,)
        Number of a can, or ``BARE``.
    drawn : bool array (cells,)
    apart : float64 array (cans + 1, cans + 1)
        CIEDE2000 between cans; the wall comes last, so that ``BARE`` finds it.
    least : float
        A region that is nowhere this wide, in mm, is too thin.

    Returns
    -------
    regions : Regions
    lost : Lost or None
    """
    edges = cell_edges(cells)
    length = np.hypot(*(edges.end - edges.start).T)
    between = (edges.left >= 0) & (edges.right >= 0)
    pairs, border = _summed(
        np.stack([edges.left[between], edges.right[between]], axis=1), length[between]
    )
    outer = ~between
    inner_cell = np.maximum(edges.left[outer], edges.right[outer])
    rim: Floats = np.bincount(inner_cell, length[outer], len(cells.cells)).astype(np.float64)
    page = (float(cells.frame.bounds[2]), float(cells.frame.bounds[3]))
    regions = _joined(cells.cells, label, drawn, pairs, border, rim, page)
    count, area, place, largest, width = 0, 0.0, (0.0, 0.0), 0.0, 0.0
    wide: dict[int, shapely.Geometry] = {}
    for _ in range(_MOST_ROUNDS):
        thin = _thin(regions, least, wide)
        if not len(thin):
            break
        given = _given_away(regions, thin, apart)
        moved = given != regions.label
        if not moved.any():
            break
        seen = np.flatnonzero(moved)
        own = regions.areas[seen]
        off = apart[regions.label[seen], given[seen]] * own
        count += int((own > TOLERANCES.least_area).sum())
        area += float(own.sum())
        width += float((widths_of(regions.shapes[seen]) * own).sum())
        if off.max() > largest:
            largest = float(off.max())
            point = shapely.point_on_surface(regions.shapes[seen[int(np.argmax(off))]])
            place = (float(point.x), float(point.y))
        regions = _joined(
            regions.shapes, given, regions.drawn, regions.pairs, regions.borders, regions.rim, page
        )
    return regions, Lost(count, area, place, width / area) if count else None


def _joined(
    shapes: Geometries,
    label: Indices,
    drawn: Bools,
    pairs: Indices,
    border: Floats,
    rim: Floats,
    page: tuple[float, float],
) -> Regions:
    around = shapely.length(shapes)[pairs].min(axis=1)
    holds = border > np.minimum(_LEAST_BORDER, _LEAST_SHARE * around)
    same = (label[pairs[:, 0]] == label[pairs[:, 1]]) & holds
    part = connected_labels(len(shapes), pairs[same])
    joined = np.empty(int(part.max()) + 1, object)
    own_label = np.empty(len(joined), np.int64)
    own_drawn = np.empty(len(joined), bool)
    extra: list[tuple[int, Polygon]] = []
    areas = shapely.area(shapes)
    for number, members in enumerate(members_of(part, np.arange(len(shapes)))):
        if len(members) == 1:
            joined[number] = shapes[members[0]]
        else:
            pieces = merge_faces(shapes[members], TOLERANCES)
            order = np.argsort(-shapely.area(pieces))
            joined[number] = pieces[order[0]]
            extra += [(number, pieces[k]) for k in order[1:]]
        own_label[number] = label[members[0]]
        own_drawn[number] = areas[members][drawn[members]].sum() > 0.5 * areas[members].sum()
    for number, piece in extra:
        # Parts that only hang together by less than the least border: kept with their region.
        merged = as_multipolygon(shapely.union_all([joined[number], piece]))
        joined[number] = merged if len(merged.geoms) > 1 else merged.geoms[0]
    apart = part[pairs]
    differ = apart[:, 0] != apart[:, 1]
    new_pairs, new_border = _summed(apart[differ], border[differ])
    own_rim: Floats = np.bincount(part, rim, len(joined)).astype(np.float64)
    return Regions(joined, own_label, own_drawn, new_pairs, new_border, own_rim, page)


def _summed(pairs: Indices, length: Floats) -> tuple[Indices, Floats]:
    """Return each unordered pair once, with the sum of its lengths."""
    if len(pairs) == 0:
        return np.empty((0, 2), np.int64), np.empty(0)
    ordered = np.sort(pairs, axis=1)
    unique, which = np.unique(ordered, axis=0, return_inverse=True)
    summed: Floats = np.bincount(which.reshape(-1), length, len(unique)).astype(np.float64)
    return unique.astype(np.int64), summed


def _thin(regions: Regions, least: float, wide: dict[int, shapely.Geometry]) -> Indices:
    """Return the regions that are nowhere as wide as ``least``, the smallest first.

    ``wide`` remembers, by their identity, the shapes that were found wide enough.
    """
    areas = regions.areas
    # Twice the area over the perimeter bounds the width of what is wide somewhere from below.
    perimeter = shapely.length(regions.shapes)
    maybe = np.flatnonzero(areas < 0.5 * least * perimeter)
    maybe = maybe[[id(s) not in wide for s in regions.shapes[maybe]]]
    # What is narrow from side to side, or smaller than a circle, needs no closer look.
    x0, y0, x1, y1 = shapely.bounds(regions.shapes[maybe]).T
    is_thin = (np.minimum(x1 - x0, y1 - y0) < least) | (areas[maybe] < np.pi * least**2 / 4)
    unsure = np.flatnonzero(~is_thin)
    is_thin[unsure] = [_is_thin(shape, least / 2) for shape in regions.shapes[maybe[unsure]]]
    wide.update({id(s): s for s in regions.shapes[maybe[~is_thin]]})
    thin: Indices = maybe[is_thin]
    return thin[np.argsort(areas[thin], kind="stable")]


def _is_thin(shape: shapely.Geometry, radius: float) -> bool:
    """Return whether a circle of this radius fits nowhere into a shape.

    To shrink a shape takes far longer the more corners it has: one with many is looked at by
    halves, which overlap so that a circle about the line between them lies whole in one.
    """
    x0, y0, x1, y1 = shape.bounds if not shape.is_empty else (0.0,) * 4
    if shapely.get_num_coordinates(shape) <= _INTRICATE or max(x1 - x0, y1 - y0) <= 8 * radius:
        return bool(shapely.is_empty(shapely.buffer(shape, -radius, quad_segs=4)))
    if x1 - x0 > y1 - y0:
        middle = (x0 + x1) / 2
        boxes = ((x0, y0, middle + radius, y1), (middle - radius, y0, x1, y1))
    else:
        middle = (y0 + y1) / 2
        boxes = ((x0, y0, x1, middle + radius), (x0, middle - radius, x1, y1))
    return all(_is_thin(shapely.clip_by_rect(shape, *box), radius) for box in boxes)


def _given_away(regions: Regions, thin: Indices, apart: Floats) -> Indices:
    """Return the labels once thin regions have taken a neighbour's.

    The neighbour with the longest border takes it, unless another one's colour is much nearer.
    Of thin regions side by side the smaller one goes first, so that chains of them settle.
    """
    label = regions.label.copy()
    is_thin = np.zeros(len(label), bool)
    is_thin[thin] = True
    around: dict[int, list[tuple[int, float]]] = {int(k): [] for k in thin}
    near = is_thin[regions.pairs].any(axis=1)
    pairs, borders = regions.pairs[near].tolist(), regions.borders[near].tolist()
    for (a, b), border in zip(pairs, borders, strict=True):
        if a in around:
            around[a].append((b, border))
        if b in around:
            around[b].append((a, border))
    settled = np.zeros(len(label), bool)
    areas = regions.areas
    for k in thin.tolist():
        gain: dict[int, float] = {}
        for other, border in around[k]:
            if is_thin[other] and not settled[other] and areas[other] < areas[k]:
                continue
            own = int(label[other])
            gain[own] = gain.get(own, 0.0) + border / (1 + apart[regions.label[k], own] / _HALVES)
        if regions.rim[k] > 0:
            gain[BARE] = gain.get(BARE, 0.0) + float(regions.rim[k]) * NOT_ZERO
        gain.pop(int(regions.label[k]), None)
        if gain:
            label[k] = max(gain, key=lambda g: gain[g])
            settled[k] = True
    return label
