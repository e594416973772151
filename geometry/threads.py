"""Work shared among the machine's cores: one operation on many geometries, or one beside another.

Also work that is watched from beside, so that it can be left at any time.

GEOS works without Python's lock, so that threads are enough.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import contextmanager
from itertools import pairwise
from threading import Event, Thread
from typing import Any, TypeVar

import numpy as np

from .arrays import Geometries
from .errors import Cancelled
from .progress import Progress

_Item = TypeVar("_Item")
_Result = TypeVar("_Result")

#: Fewer geometries than this are not worth a thread.
FEWEST = 64
#: Seconds between two looks at work that is watched.
_LOOK = 0.2


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


def map_batches(
    function: Callable[[_Item], _Result],
    batches: Sequence[_Item],
    progress: Progress | None = None,
    what: str = "",
) -> list[_Result]:
    """Call a function on each of some batches of work on as many cores as there are, in order.

    Parameters
    ----------
    function : callable
        Takes a batch; changes nothing that another one sees.
    batches : sequence
        Not cut by the number of cores, so that results are the same on any machine.
    progress : Progress, optional
        Called in the caller's thread after each batch; may raise ``Cancelled``. No batch is begun
        after that.
    what : str
        What is told to it.

    Examples
    --------
    >>> map_batches(sum, [range(3), range(4)])
    [3, 6]
    """
    progress = progress or Progress()
    workers = min(os.cpu_count() or 1, 8, len(batches))
    results: list[_Result] = []
    if workers < 2:
        for batch in batches:
            results.append(function(batch))
            progress(len(results) / len(batches), what)
        return results
    with ThreadPoolExecutor(workers) as pool:
        begun = [pool.submit(function, batch) for batch in batches]
        try:
            for number, one in enumerate(begun, 1):
                results.append(one.result())
                progress(number / len(batches), what)
        finally:
            for one in begun:
                one.cancel()
    return results


def side_by_side(
    work: Callable[[_Item, Progress], _Result],
    items: Sequence[_Item],
    progress: Progress | None = None,
) -> list[_Result]:
    """Do long work on each of a few items at the same time, on as many cores as there are.

    Parameters
    ----------
    work : callable
        Takes an item and a progress of its own; changes nothing that another one sees.
    items : sequence
    progress : Progress, optional
        Told the mean of the items' shares, from the threads of the work: within ``watched``, for
        what must hear of it in one thread only. May raise ``Cancelled``.

    Examples
    --------
    >>> side_by_side(lambda number, progress: number * number, range(4))
    [0, 1, 4, 9]
    """
    told = progress or Progress()
    shares = [0.0] * len(items)

    def run(number: int) -> _Result:
        def take(share: float, what: str) -> None:
            shares[number] = share
            told(sum(shares) / len(shares), what)

        return work(items[number], Progress(take))

    return map_batches(run, range(len(items)))


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


def watched(progress: Progress, work: Callable[[Progress], _Result]) -> _Result:
    """Run work on another thread; tell its progress several times a second, where it is silent too.

    When the progress raises, the work is left: it ends by itself at its next own call of progress.
    Its result must be all that it changes.

    Parameters
    ----------
    progress : Progress
        Called in the caller's thread only; may raise ``Cancelled``.
    work : callable
        Takes a progress of its own. What it raises is raised here.

    Examples
    --------
    >>> watched(Progress(), lambda progress: 6 * 7)
    42
    """
    told, left = [(0.0, "working")], Event()
    ended: Future[_Result] = Future()

    def take(share: float, what: str) -> None:
        if left.is_set():
            raise Cancelled("Left.")
        told[0] = share, what

    def run() -> None:
        try:
            ended.set_result(work(Progress(take)))
        except BaseException as error:  # whatever it is, the caller waits for it and raises it
            ended.set_exception(error)

    # A daemon: a program that was stopped does not wait for it.
    Thread(target=run, daemon=True).start()
    try:
        while not wait([ended], timeout=_LOOK).done:
            progress(*told[0])
        return ended.result()
    finally:
        left.set()
