"""Names for arrays, and the one index trick that much of the geometry needs."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Bools = NDArray[np.bool_]
#: Shapely geometries.
Geometries = NDArray[Any]
#: One value for each pixel of a picture, or one colour in its last axis.
Plane = NDArray[np.float32]


def ramp(counts: Indices) -> Indices:
    """Return 0, 1, ... counts[0] - 1, 0, 1, ... counts[1] - 1, and so on: the place in each run.

    >>> ramp(np.array([2, 0, 3])).tolist()
    [0, 1, 0, 1, 2]
    """
    return np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts)
