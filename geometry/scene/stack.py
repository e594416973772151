"""The stack: all sheets in register, one above the other in spray order."""

from __future__ import annotations

from collections.abc import Sequence


def stack_heights(thicknesses: Sequence[float], spacing: float) -> tuple[float, ...]:
    """Return the height of each sheet's underside in mm.

    Parameters
    ----------
    thicknesses : sequence of float
        In spray order; the sheet sprayed first lies lowest, next to the wall.
    spacing : float
        Free height between sheets in mm; 0 closes the stack.

    Examples
    --------
    >>> stack_heights([3.0, 3.0, 2.0], 10.0)
    (0.0, 13.0, 26.0)
    """
    heights, height = [], 0.0
    for thickness in thicknesses:
        heights.append(height)
        height += thickness + spacing
    return tuple(heights)
