"""Work shared among the machine's cores: one operation on many geometries, or one beside another.

GEOS works without Python's lock, so that threads are enough.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np

from .arrays import Geometries

_Result = TypeVar("_Result")

#: Fewer geometries than this are not worth a thread.
FEWEST = 64


def map_geometries(function: Callable[..., Any], *arrays: Geometries, **options: Any) -> Geometries:
    """Call a vectorised Shapely function on parts of its arrays at the same time.

    Parameters
    ----------
    function : callable
        Takes the arrays and returns an array of the same length, item by item.
    arrays : object arrays (n,)
    **options
        Passed on as they are.

    Returns
    -------
    object array (n,)

    Examples
    --------
    >>> import shapely
    >>> points = shapely.points(np.arange(200.0), 0.0)
    >>> map_geometries(shapely.buffer, points, distance=1.0).shape
    (200,)
    """
    count = len(arrays[0])
    workers = min(os.cpu_count() or 1, 8)
    if count < FEWEST or workers < 2:
        result: Geometries = function(*arrays, **options)
        return result
    # More parts than workers, so that one heavy part does not keep the others waiting.
    cuts = np.linspace(0, count, 4 * workers + 1).astype(int)
    with ThreadPoolExecutor(workers) as pool:
        parts = pool.map(
            lambda ends: function(*(a[ends[0] : ends[1]] for a in arrays), **options),
            pairwise(cuts.tolist()),
        )
        return np.concatenate(list(parts))


@contextmanager
def aside(function: Callable[[], _Result]) -> Iterator[Callable[[], _Result]]:
    """Run a function on a second core while the block works; give a call that waits for its result.

    An error of the function is raised by that call.

    Examples
    --------
    >>> with aside(lambda: sum(range(10))) as total:
    ...     product = 6 * 7
    ...     product + total()
    87
    """
    with ThreadPoolExecutor(1) as pool:
        yield pool.submit(function).result
