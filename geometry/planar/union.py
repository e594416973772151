"""Unions of many polygons of which few overlap: only those that meet go through the overlay."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Geometries, Indices
from .graph import connected_labels, members_of
from .polygons import as_multipolygon

#: Grid in mm that unions are snapped to; far below every tolerance. Without one GEOS has been seen
#: to lose a triangle of a union without a word.
GRID = 1e-6


def cluster_labels(polygons: Geometries) -> Indices:
    """Label polygons by the cluster of those that meet.

    >>> cluster_labels(shapely.box(np.array([0, 5, 1]), 0, np.array([2, 6, 3]), 1))
    array([0, 1, 0])
    """
    a, b = shapely.STRtree(polygons).query(polygons, predicate="intersects")
    return connected_labels(len(polygons), np.stack([a, b], axis=1))


def union_by_label(shapes: Geometries, labels: Indices) -> Geometries:
    """Return the union of the shapes of each label, in the labels' order.

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
