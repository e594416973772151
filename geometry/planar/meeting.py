"""Which shapes meet which, where some have very many corners."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from ..arrays import Geometries, Indices


def pairs_that_meet(
    large: Sequence[shapely.Geometry] | Geometries, small: Sequence[shapely.Geometry] | Geometries
) -> tuple[Indices, Indices]:
    """Return the pairs of shapes that meet, as two arrays of numbers, by the large ones.

    GEOS prepares the shape that is asked with, so that is the large one: asked the other way round
    it would go through all its corners once for each small one.

    Examples
    --------
    >>> plates = shapely.box([0, 10], 0, [4, 14], 4)
    >>> large, small = pairs_that_meet(plates, shapely.points([[1, 1], [11, 1], [7, 1]]))
    >>> large.tolist(), small.tolist()
    ([0, 1], [0, 1])
    """
    tree = shapely.STRtree(np.asarray(small, object))
    first, second = tree.query(np.asarray(large, object), predicate="intersects")
    return first, second
