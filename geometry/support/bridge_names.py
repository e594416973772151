"""Names of bridges that have none given: they are made of the place, and so last."""

from __future__ import annotations

from collections.abc import Container

from shapely import LineString

from ..arrays import Floats


def free_name(path: Floats, taken: Container[str]) -> str:
    """Return the middle of a bridge's line in whole mm, with a number where another has that name.

    >>> free_name([(0, 0), (10, 4)], {"5x2"})
    '5x2-2'
    """
    middle = LineString(path).interpolate(0.5, normalized=True)
    name = first = f"{middle.x:.0f}x{middle.y:.0f}"
    number = 1
    while name in taken:
        number += 1
        name = f"{first}-{number}"
    return name
