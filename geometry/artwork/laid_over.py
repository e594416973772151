"""Coloured shapes laid over one another as SVG lays them.

W3C Compositing and Blending Level 1, section 5, source over: groups with an opacity are laid down
as one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Bools, Floats
from ..tolerance import ROUNDING
from .coloured import ColouredShape


def laid_over(shapes: Sequence[ColouredShape], inside: Bools) -> Floats:
    """Return sRGB and alpha (m, 4) of shapes laid over each other in painting order.

    Parameters
    ----------
    shapes : sequence of ColouredShape
    inside : bool array (m, shapes)
    """
    # Each open group is a sheet of its own; colours are held multiplied by their alpha.
    sheets: list[Floats] = [np.zeros((len(inside), 4))]
    open_groups: list[tuple[int, float]] = []

    def close_to(depth: int) -> None:
        while len(open_groups) > depth:
            _, alpha = open_groups.pop()
            upper = sheets.pop() * alpha
            sheets[-1] = upper + sheets[-1] * (1 - upper[:, 3:])

    for number, shape in enumerate(shapes):
        shared = 0
        while (
            shared < min(len(open_groups), len(shape.groups))
            and open_groups[shared][0] == shape.groups[shared][0]
        ):
            shared += 1
        close_to(shared)
        for group in shape.groups[shared:]:
            open_groups.append(group)
            sheets.append(np.zeros((len(inside), 4)))
        here = inside[:, number]
        coat = np.array([*shape.rgb, 1.0]) * shape.alpha
        sheets[-1][here] = coat + sheets[-1][here] * (1 - shape.alpha)
    close_to(0)
    whole = sheets[0]
    alpha = whole[:, 3:]
    # Rounding leaves an alpha of 1 a little below it.
    whole[:, 3] = np.where(whole[:, 3] > 1 - ROUNDING, 1.0, whole[:, 3])
    whole[:, :3] /= np.where(alpha > 0, alpha, 1.0)
    return whole
