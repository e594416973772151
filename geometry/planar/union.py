"""Unions of many polygons of which few overlap: only those that meet go through the overlay."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Geometries, Indices
from ..tolerance import TOLERANCES, Tolerances
from .arrangement import arrange, merge_faces
from .graph import connected_labels, members_of
from .polygons import as_multipolygon, without_specks

#: Grid in mm that unions are snapped to; far below every tolerance. Without one GEOS has been seen
#: to lose a triangle of a union without a word.
GRID = TOLERANCES.same_point


def box_pairs(shapes: Geometries, owner: Indices | None = None) -> tuple[Indices, Indices]:
    """Return the pairs of shapes whose bounding boxes meet.

    Parameters
    ----------
    shapes : object array (n,)
    owner : int array (n,), optional
        Only shapes of the same owner are paired.

    Returns
    -------
    first, second : int array (m,)
        With first < second.
    """
    first, second = shapely.STRtree(shapes).query(shapes)
    keep = first < second
    if owner is not None:
        keep &= owner[first] == owner[second]
    return first[keep], second[keep]


def pair_labels(count: int, first: Indices, second: Indices) -> Indices:
    """Label items by the cluster that pairs of them put them in.

    Parameters
    ----------
    count : int
        Number of items.
    first, second : int array (m,)

    Returns
    -------
    int array (count,)
    """
    return connected_labels(count, np.stack([first, second], axis=1))


def cluster_labels(polygons: Geometries) -> Indices:
    """Label polygons by the cluster of those that meet.

    >>> cluster_labels(shapely.box(np.array([0, 5, 1]), 0, np.array([2, 6, 3]), 1))
    array([0, 1, 0])
    """
    a, b = shapely.STRtree(polygons).query(polygons, predicate="intersects")
    return pair_labels(len(polygons), a, b)


def union_by_label(shapes: Geometries, labels: Indices) -> Geometries:
    """Return the union of the shapes of each label, in the labels' order.

    Parameters
    ----------
    shapes : object array (n,)
    labels : int array (n,)

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
            shapes[group[0]] if alone else shapely.union_all(shapes[group], grid_size=GRID)
        )
    return unions


def union_by_clusters(polygons: Geometries) -> MultiPolygon:
    """Return the union of many polygons of which few overlap.

    Only polygons that overlap go through the union; a general one would node all of them.
    """
    joined = union_by_label(polygons, cluster_labels(polygons))
    return as_multipolygon(shapely.geometrycollections(joined))


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
    """
    polygons = np.asarray(polygons, dtype=object)
    if len(polygons) < 2:
        return shapely.multipolygons(polygons)
    first, second = box_pairs(polygons)
    shapely.prepare(polygons)
    meet = shapely.intersects(polygons[first], polygons[second])
    first, second = first[meet], second[meet]
    # What lies within another adds nothing: details on a background need no cutting at all.
    shown = np.ones(len(polygons), bool)
    shown[second[shapely.contains_properly(polygons[first], polygons[second])]] = False
    shown[first[shapely.contains_properly(polygons[second], polygons[first])]] = False
    both = shown[first] & shown[second]
    label = pair_labels(len(polygons), first[both], second[both])
    alone = shown & (np.bincount(label)[label] == 1)
    united = [polygons[alone]]
    meeting = shown & ~alone
    for members in members_of(label[meeting], np.flatnonzero(meeting)):
        united.append(_union(polygons[members], tolerances))
    return shapely.multipolygons(shapely.orient_polygons(np.concatenate(united)))


def _union(polygons: Geometries, tolerances: Tolerances) -> Geometries:
    """Cut all outlines at once and keep the faces that some polygon covers.

    Not GEOS's own union of polygons: without a grid it was seen to lose area
    (``Tolerances.grid``), and with one it takes several times as long for thousands of polygons,
    since it unites them pair by pair.
    """
    rings = shapely.get_rings(shapely.orient_polygons(polygons))
    faces, covers, _ = arrange(rings, tolerances)
    merged = merge_faces(faces[covers > 0], tolerances)
    return without_specks(merged, tolerances.least_area)[0]
