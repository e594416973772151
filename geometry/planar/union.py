"""Shapes that meet: which of many do, and their union; only those that meet are changed.

Thousands of shapes may lie on top of each other, so that the pairs of them are too many to hold.
Pairs are therefore looked at a few at a time, and no longer once they are known to hang together.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Bools, Floats, Geometries, Indices, ramp
from ..errors import TooIntricate
from ..tolerance import TOLERANCES, Tolerances
from .graph import connected_labels, members_of
from .polygons import without_specks

#: Pairs of shapes looked at in one go, for the sake of memory.
_PAIRS_AT_ONCE = 1_000_000
#: Shapes whose boxes overlap in more pairs are tried before they are united: as many of them, drawn
#: by lot, as overlap in so many pairs. How many pairs there are is told by so many shapes.
_MANY_PAIRS, _TRIED_PAIRS, _ASKED = 200_000, 50_000, 200
#: Gaps between crossing shapes that can be worked out: 115,000 take GEOS 20 s, twice as many 60 s.
MOST_GAPS = 100_000
#: Shapes of one owner are looked at by themselves where they are so many: boxes of rings in rings
#: meet those of every copy of the same rings.
_MANY_OF_ONE = 100


def cluster_labels(polygons: Geometries) -> Indices:
    """Label polygons by the cluster of those that meet.

    Parameters
    ----------
    polygons : object array (n,) of Polygon

    Returns
    -------
    int array (n,)
        Labels 0, 1, ... in order of each cluster's first polygon.

    Examples
    --------
    >>> cluster_labels(shapely.box(np.array([0, 5, 1]), 0, np.array([2, 6, 3]), 1))
    array([0, 1, 0])
    """
    around, _ = _nesting(polygons)
    inside = np.flatnonzero(around >= 0)
    links = np.stack([inside, around[inside]], axis=1)
    labels = edge_clusters(polygons)
    return connected_labels(len(polygons), labels[links])[labels]


def edge_clusters(shapes: Geometries, owner: Indices | None = None) -> Indices:
    """Label shapes by the cluster of those whose edges meet; one inside another need not meet it.

    Parameters
    ----------
    shapes : object array (n,), all Polygon or all LinearRing
    owner : int array (n,), optional
        Only shapes of the same owner are looked at together.

    Returns
    -------
    int array (n,)
        Labels 0, 1, ... in order of each cluster's first shape.

    Examples
    --------
    >>> edge_clusters(shapely.box(np.array([0, 5, 1]), 0, np.array([2, 6, 3]), 1))
    array([0, 1, 0])
    """
    # Rings instead of polygons: whether lines meet is found sooner than whether areas do.
    rings, shape = shapes, np.arange(len(shapes))
    if (shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON).all():
        rings, shape = shapely.get_rings(shapes, return_index=True)
    shapely.prepare(rings)
    labels = np.arange(len(shapes))
    pairs = _box_pairs(rings) if owner is None else _pairs_of_owners(rings, owner[shape])
    for first, second in pairs:
        a, b = shape[first], shape[second]
        asked = (first < second) & (labels[a] != labels[b])
        first, second = first[asked], second[asked]
        meet = shapely.intersects(rings[first], rings[second])
        if meet.any():
            links = np.stack([labels[shape[first[meet]]], labels[shape[second[meet]]]], axis=1)
            labels = connected_labels(len(shapes), links)[labels]
    return np.unique(labels, return_inverse=True)[1].reshape(-1)


def union_by_label(
    shapes: Geometries, labels: Indices, tolerances: Tolerances = TOLERANCES
) -> Geometries:
    """Return the union of the shapes of each label, in the labels' order.

    Parameters
    ----------
    shapes : object array (n,)
    labels : int array (n,)
    tolerances : Tolerances
        ``grid`` is what unions are snapped to.

    Returns
    -------
    object array
        A shape alone is returned as it is, not snapped.
    """
    groups = members_of(labels, np.arange(len(shapes)))
    unions = np.empty(len(groups), object)
    for number, group in enumerate(groups):
        alone = len(group) == 1
        unions[number] = (
            shapes[group[0]]
            if alone
            else shapely.union_all(shapes[group], grid_size=tolerances.grid)
        )
    return unions


def unite(polygons: Geometries, *, tolerances: Tolerances = TOLERANCES) -> MultiPolygon:
    """Unite polygons that overlap or touch; leave all others exactly as they are.

    Parameters
    ----------
    polygons : ndarray of Polygon
        Valid polygons.
    tolerances : Tolerances
        Parts and holes of united shapes under ``least_area`` are rounding crumbs and vanish.

    Returns
    -------
    MultiPolygon

    Raises
    ------
    TooIntricate
        Thousands of thin shapes that cross each other leave more than ``MOST_GAPS`` between them.

    Examples
    --------
    >>> unite(shapely.box(np.array([0, 5, 1]), 0, np.array([2, 6, 3]), 1)).area
    4.0
    """
    polygons = np.asarray(polygons, dtype=object)
    polygons = polygons[~shapely.is_empty(polygons)]
    if len(polygons) < 2:
        return shapely.multipolygons(polygons)
    polygons = polygons[_twice_at_most(polygons)]
    # What lies within another adds nothing: details on a background need no cutting at all.
    polygons = polygons[~_nesting(polygons)[1]]
    labels = cluster_labels(polygons)
    alone = np.bincount(labels)[labels] == 1
    _not_too_intricate(polygons[~alone], tolerances)
    united = shapely.get_parts(union_by_label(polygons[~alone], labels[~alone], tolerances))
    united = united[shapely.get_type_id(united) == shapely.GeometryType.POLYGON]
    united, _ = without_specks(united, tolerances.least_area)
    return shapely.multipolygons(shapely.orient_polygons(np.concatenate([polygons[alone], united])))


def _not_too_intricate(shapes: Geometries, tolerances: Tolerances) -> None:
    """Refuse shapes that leave too many gaps between them, as some of them foretell.

    A gap lies between shapes that cross, so that their number grows as the pairs do. Where broad
    shapes cover all in the end, some of them do so already.
    """
    if len(shapes) <= _ASKED:
        return
    order = np.random.default_rng(0).permutation(len(shapes))
    met = shapely.STRtree(shapes).query(shapes[order[:_ASKED]]).shape[1] - _ASKED
    pairs = met / 2 * len(shapes) / _ASKED
    if pairs <= _MANY_PAIRS:
        return
    share = (_TRIED_PAIRS / pairs) ** 0.5
    tried = shapes[order[: int(share * len(shapes))]]
    union = shapely.get_parts(shapely.union_all(tried, grid_size=tolerances.grid))
    own = shapely.get_num_interior_rings(tried).sum()
    gaps = int((shapely.get_num_interior_rings(union).sum() - own) / share**2)
    if gaps > MOST_GAPS:
        raise TooIntricate(
            f"{len(shapes)} shapes cross each other and leave about {round(gaps, -4)} gaps between "
            f"them, more than the {MOST_GAPS} that can be worked out; it looks like hatching or "
            "noise. Draw it as areas, or with fewer lines."
        )


def _twice_at_most(polygons: Geometries) -> Bools:
    """Return which polygons to keep so that each is there twice at most, and none is lost.

    A second copy tells that the shape does not lie alone, so that it is snapped to the grid like
    all that are united; any more add nothing but pairs to be looked at.
    """
    keys = np.column_stack(
        [shapely.bounds(polygons), shapely.area(polygons), shapely.get_num_coordinates(polygons)]
    )
    _, same, count = np.unique(keys, axis=0, return_inverse=True, return_counts=True)
    same = same.reshape(-1)
    kept = np.ones(len(polygons), bool)
    if count.max() < 3:
        return kept
    order = np.argsort(same, kind="stable")
    rank = np.empty(len(polygons), np.int64)
    rank[order] = ramp(count)
    first = order[np.cumsum(count) - count]
    more = np.flatnonzero(rank > 1)
    kept[more] = ~shapely.equals_exact(polygons[more], polygons[first[same[more]]], 0.0)
    return kept


def _nesting(polygons: Geometries) -> tuple[Indices, Bools]:
    """Return what lies inside what, as far as edges do not tell.

    Returns
    -------
    around : int array (n,)
        A polygon that has the beginning of each polygon's outer edge in it, -1 where none has.
    hidden : bool array (n,)
        Whether the whole of it lies in another one, without touching its edge.
    """
    # From the largest box to the smallest, so that what hides much is found early.
    bounds = shapely.bounds(polygons)
    order = np.argsort(-(bounds[:, 2] - bounds[:, 0]) * (bounds[:, 3] - bounds[:, 1]))
    shapes, bounds = polygons[order], bounds[order]
    starts = shapely.get_coordinates(shapely.get_point(shapely.get_exterior_ring(shapes), 0))
    around, hidden = np.full(len(shapes), -1), np.zeros(len(shapes), bool)
    shapely.prepare(shapes)
    for outer, inner in _box_pairs(shapes):
        asked = ~hidden[inner] & ~hidden[outer] & _inside(bounds[inner], bounds[outer])
        outer, inner = outer[asked], inner[asked]
        within = shapely.contains_xy(shapes[outer], starts[inner])
        outer, inner = outer[within], inner[within]
        around[inner] = order[outer]
        hidden[inner[shapely.contains_properly(shapes[outer], shapes[inner])]] = True
    found, covered = np.empty(len(shapes), np.int64), np.empty(len(shapes), bool)
    found[order], covered[order] = around, hidden
    return found, covered


def _inside(inner: Floats, outer: Floats) -> Bools:
    """Return which boxes (n, 4) lie inside the others without touching their edges."""
    low: Bools = (inner[:, :2] > outer[:, :2]).all(axis=1)
    return low & (inner[:, 2:] < outer[:, 2:]).all(axis=1)


def _box_pairs(shapes: Geometries) -> Iterator[tuple[Indices, Indices]]:
    """Yield the pairs of shapes whose boxes meet, both ways round, a bounded number at a time."""
    tree = shapely.STRtree(shapes)
    most = np.cumsum(_most_meetings(shapely.bounds(shapes)))
    start = 0
    while start < len(shapes):
        before = most[start - 1] if start else 0
        stop = int(np.searchsorted(most, before + _PAIRS_AT_ONCE, side="right"))
        stop = max(stop, start + 1)
        first, second = tree.query(shapes[start:stop])
        yield first + start, second
        start = stop


def _pairs_of_owners(shapes: Geometries, owner: Indices) -> Iterator[tuple[Indices, Indices]]:
    """Yield those pairs that are of one owner."""
    many = np.bincount(owner)[owner] >= _MANY_OF_ONE
    for some in (np.flatnonzero(~many), *members_of(owner[many], np.flatnonzero(many))):
        for first, second in _box_pairs(shapes[some]):
            first, second = some[first], some[second]
            own = owner[first] == owner[second]
            yield first[own], second[own]


def _most_meetings(bounds: Floats) -> Indices:
    """Return for each box a bound on how many it meets: those that it meets in x alone, or in y."""
    found = []
    for low, high in ((0, 2), (1, 3)):
        begun = np.searchsorted(np.sort(bounds[:, low]), bounds[:, high], side="right")
        ended = np.searchsorted(np.sort(bounds[:, high]), bounds[:, low], side="left")
        found.append(begun - ended)
    return np.minimum(*found)
