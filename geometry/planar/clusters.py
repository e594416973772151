"""Which shapes of many meet, and the clusters that they form."""

from __future__ import annotations

import numpy as np
import shapely

from ..arrays import Geometries, Indices
from .graph import connected_labels


def box_pairs(shapes: Geometries, owner: Indices | None = None) -> tuple[Indices, Indices]:
    """Pairs first < second (of the same owner) whose bounding boxes meet."""
    first, second = shapely.STRtree(shapes).query(shapes)
    keep = first < second
    if owner is not None:
        keep &= owner[first] == owner[second]
    return first[keep], second[keep]


def components(n: int, first: Indices, second: Indices) -> Indices:
    """Label each of n items by the cluster that the pairs first-second put it in."""
    return connected_labels(n, np.stack([first, second], axis=1))
