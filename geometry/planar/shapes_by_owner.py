"""Shapes by their owner: many small ones joined to a few, most of which get one or none."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Geometries, Indices


def with_more(shapes: Geometries, more: Geometries, of: Indices) -> Geometries:
    """Return shapes with more parts each; whose each part is, is told.

    Parameters
    ----------
    shapes : object array (n,)
    more : object array (k,)
    of : int array (k,)
        The shape that each part is joined to.

    Examples
    --------
    >>> boxes = shapely.box([0, 9], 0, [1, 10], 1)
    >>> shapely.area(with_more(boxes, shapely.box([1], 0, [3], 1), np.array([0]))).tolist()
    [3.0, 1.0]
    """
    result = shapes.copy()
    for owner, mine in _by_owner(more, of):
        result[owner] = shapely.union_all([shapes[owner], *mine])
    return result


def united_by_owner(shapes: Geometries, of: Indices, count: int) -> Geometries:
    """Return the shapes of each of several owners as one.

    Parameters
    ----------
    shapes : object array (k,)
    of : int array (k,)
        The owner of each.
    count : int
        Of owners; one without shapes gets an empty polygon.
    """
    found = np.full(count, Polygon(), object)
    once = (np.bincount(of, minlength=count) == 1)[of]
    found[of[once]] = shapes[once]
    for owner, mine in _by_owner(shapes[~once], of[~once]):
        found[owner] = shapely.union_all(mine)
    return found


def _by_owner(shapes: Geometries, of: Indices) -> Iterator[tuple[int, Geometries]]:
    order = np.argsort(of, kind="stable")
    first = np.flatnonzero(np.diff(of[order], prepend=-1))
    for at, end in zip(first.tolist(), [*first[1:].tolist(), len(of)], strict=False):
        yield int(of[order[at]]), shapes[order[at:end]]
