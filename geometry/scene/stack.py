"""The stack: where each sheet lies, closed, exploded or spread side by side, in spray order."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Floats

#: Sheets side by side lie this many widths from each other, corner to corner.
ASIDE = 1.1


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


def sheet_places(
    thicknesses: Sequence[float], width: float, spacing: float, aside: float = 0.0
) -> Floats:
    """Return where the lower left corner of each sheet's underside goes.

    Parameters
    ----------
    thicknesses : sequence of float
        In mm, in spray order.
    width : float
        Width of the sheets in mm.
    spacing : float
        Free height between sheets in mm.
    aside : float
        0 for one above the other, 1 for side by side on the floor a tenth of the width apart, and
        all that lies between.

    Returns
    -------
    float64 array (n, 3)

    Examples
    --------
    >>> sheet_places([3.0, 2.0], 100.0, 10.0).tolist()
    [[0.0, 0.0, 0.0], [0.0, 0.0, 13.0]]
    >>> sheet_places([3.0, 2.0], 100.0, 10.0, aside=1.0).round(6).tolist()
    [[0.0, 0.0, 0.0], [110.0, 0.0, 0.0]]
    """
    places = np.zeros((len(thicknesses), 3))
    places[:, 0] = np.arange(len(thicknesses)) * width * ASIDE * aside
    places[:, 2] = np.asarray(stack_heights(thicknesses, spacing)) * (1.0 - aside)
    return places
