"""The one door by which an error of plane geometry becomes a sentence that says where.

Most of them are GEOS's own, the library below Shapely.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

from shapely.errors import GEOSException

from .errors import GeometryError, TooIntricate

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_PLACE = re.compile(rf"({_NUMBER})[ ,]+({_NUMBER})")


@contextmanager
def geos_told(what: str) -> Iterator[None]:
    """Turn an error of GEOS, or of shapes too intricate, within the block into a sentence.

    Parameters
    ----------
    what : str
        What was worked at: a file and layer, or a layer and what was done.

    Raises
    ------
    GeometryError
        Names ``what`` and the place, in mm, where GEOS says one.

    Examples
    --------
    >>> try:
    ...     with geos_told("Shadow (leaf.svg)"):
    ...         raise GEOSException("TopologyException: side location conflict at 12.34 5.6")
    ... except GeometryError as error:
    ...     print(str(error)[:65])
    Shadow (leaf.svg): outlines that cross or nearly touch near (12.3
    """
    try:
        yield
    except TooIntricate as error:
        raise GeometryError(f"{what}: {error}") from error
    except GEOSException as error:
        at = _PLACE.search(str(error))
        near = f" near ({float(at[1]):.1f}, {float(at[2]):.1f}) mm" if at else ""
        raise GeometryError(
            f"{what}: outlines that cross or nearly touch{near} cannot be worked out; draw them "
            "apart or simplify them."
        ) from error
