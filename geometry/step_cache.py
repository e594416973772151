"""Steps of work kept: what has been worked out is used again while nothing it hangs on changes.

A step is a plain function of values. Its key is its name and the content of its arguments, so that
nothing but they can decide whether it is done again; what is not in the key must not change the
result (progress, and this cache itself).
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from enum import Enum
from threading import Lock
from typing import Any, TypeVar

import numpy as np
import shapely

from .content import content_key

_Result = TypeVar("_Result")

#: Memory for results, in bytes: the portrait demo takes some 30 MB, a job of 490,000 vertices some
#: 460 MB, and 150 more with each change of a bridge.
MOST_BYTES = 1_000_000_000
#: What a geometry or another object takes beside its coordinates, about, in bytes.
_OBJECT = 200


class StepCache:
    """Results of steps, the ones least lately used dropped first.

    It may be used from several threads. Results are shared, so they must not be changed.

    Parameters
    ----------
    most_bytes : int
        About so much memory is taken by results at most.

    Examples
    --------
    >>> cache = StepCache()
    >>> cache.kept(sum, (1, 2)), cache.kept(sum, (1, 2)), cache.done
    (3, 3, 1)
    """

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._most = most_bytes
        self._results: OrderedDict[bytes, tuple[Any, int]] = OrderedDict()
        self._lock = Lock()
        #: Steps that had to be done since the cache was made.
        self.done = 0
        #: About how much memory the results take.
        self.bytes = 0

    def kept(self, step: Callable[..., _Result], /, *values: object, **beside: Any) -> _Result:
        """Return what a step gives for some values, done now or earlier.

        Parameters
        ----------
        step : callable
        *values
            All that the result depends on (see ``content_key``).
        **beside
            Passed on, but of no influence on the result.
        """
        key = content_key(f"{step.__module__}.{step.__qualname__}", values)
        with self._lock:
            if key in self._results:
                self._results.move_to_end(key)
                result: _Result = self._results[key][0]
                return result
        result = step(*values, **beside)
        size = _size(result)
        with self._lock:
            self.done += 1
            if key not in self._results and size <= self._most:
                self._results[key] = result, size
                self.bytes += size
                while self.bytes > self._most:
                    self.bytes -= self._results.popitem(last=False)[1][1]
        return result

    def clear(self) -> None:
        """Drop all results."""
        with self._lock:
            self._results.clear()
            self.bytes = 0


def kept(
    cache: StepCache | None, step: Callable[..., _Result], /, *values: object, **beside: Any
) -> _Result:
    """Return what a step gives, out of the cache where there is one.

    Parameters
    ----------
    cache : StepCache or None
    step : callable
    *values
        All that the result depends on, see ``StepCache.kept``.
    **beside
        Passed on, but of no influence on the result.
    """
    if cache is None:
        return step(*values, **beside)
    return cache.kept(step, *values, **beside)


def _size(result: Any) -> int:
    """Return about how many bytes a result takes, what it has twice counted once."""
    size, seen = 0, set()
    waiting = [result]
    while waiting:
        value = waiting.pop()
        if id(value) in seen:
            continue
        seen.add(id(value))
        size += _OBJECT
        if isinstance(value, np.ndarray):
            size += int(value.nbytes)
            if value.dtype == object:
                waiting += value.ravel().tolist()
        elif isinstance(value, shapely.Geometry):
            size += 16 * int(shapely.get_num_coordinates(value))
        elif isinstance(value, (tuple, list)):
            waiting += value
        elif isinstance(value, dict):
            waiting += value.values()
        elif not isinstance(value, (Enum, type)):
            waiting += getattr(value, "__dict__", {}).values()
    return size
