"""Names of bridges that have none given: they are made of the place, and so last."""

from __future__ import annotations

from collections.abc import Container, Sequence

import shapely

from ..arrays import Floats
from ..planar.strips import lines_of


def middles(paths: Sequence[Floats]) -> Floats:
    """Return the places half the way along bridges' lines, an array (n, 2).

    >>> middles([[(0, 0), (10, 4)]]).tolist()
    [[5.0, 2.0]]
    """
    places = shapely.line_interpolate_point(lines_of(paths), 0.5, normalized=True)
    found: Floats = shapely.get_coordinates(places)
    return found


def free_name(middle: Floats, taken: Container[str]) -> str:
    """Return the middle of a bridge's line in whole mm, with a number where another has that name.

    >>> free_name((5.0, 2.0), {"5x2"})
    '5x2-2'
    """
    x, y = middle
    name = first = f"{x:.0f}x{y:.0f}"
    number = 1
    while name in taken:
        number += 1
        name = f"{first}-{number}"
    return name
