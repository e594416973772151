"""Which shapes of many meet, and the clusters that they form."""

from __future__ import annotations

import numpy as np
import shapely

from ..connectivity import connected_labels
from .contour import Geometries, Ints


def box_pairs(shapes: Geometries, owner: Ints | None = None) -> tuple[Ints, Ints]:
    """Pairs first < second (of the same owner) whose bounding boxes meet."""
    first, second = shapely.STRtree(shapes).query(shapes)
    keep = first < second
    if owner is not None:
        keep &= owner[first] == owner[second]
    return first[keep], second[keep]


def components(n: int, first: Ints, second: Ints) -> Ints:
    """Label each of n items by the cluster that the pairs first-second put it in."""
    return connected_labels(n, np.stack([first, second], axis=1))
