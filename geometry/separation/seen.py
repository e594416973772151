"""What is seen of a drawing: one planar partition, each cell with the colour that shows there.

Shapes are laid over one another as SVG lays them (W3C Compositing and Blending Level 1, section 5,
source over): groups with an opacity are laid down as one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike

from ..arrays import Bools, Floats, Indices
from ..artwork.coloured import ColouredDrawing, ColouredShape
from ..planar.arrangement import Partition, partition
from ..progress import Progress

#: A shape that covers this much of the page, first of all, is the wall's own colour.
_WHOLE_PAGE = 0.995


@dataclass(frozen=True, eq=False)
class Seen:
    """A drawing as it is seen.

    Parameters
    ----------
    cells : Partition
        Of the page; ``inside`` tells for each shape of the drawing where it lies.
    colours : float64 array (n, 4)
        What shows in each cell by itself, over nothing: sRGB and alpha, 0 to 1.
    top : int64 array (n,)
        The uppermost shape in each cell, -1 where none is.
    drawing : ColouredDrawing
    """

    cells: Partition
    colours: Floats
    top: Indices
    drawing: ColouredDrawing

    def over(self, ground: ArrayLike) -> Floats:
        """Return the colours (n, 3) as seen on a wall of an sRGB colour, 0 to 1."""
        alpha = self.colours[:, 3:]
        shown: Floats = self.colours[:, :3] * alpha + np.asarray(ground) * (1 - alpha)
        return shown

    @property
    def painted(self) -> Bools:
        """Which cells (n,) are covered at all."""
        covered: Bools = self.colours[:, 3] > 0
        return covered

    @property
    def backdrop(self) -> tuple[float, float, float] | None:
        """The colour of a first shape that fills the page; None where there is none."""
        if not self.drawing.shapes:
            return None
        first = self.drawing.shapes[0]
        width, height = self.drawing.page
        shown = shapely.intersection(first.shape, shapely.box(0, 0, width, height))
        whole = shown.area >= _WHOLE_PAGE * width * height
        return first.rgb if whole and first.alpha == 1 and not first.groups else None


def seen_of(drawing: ColouredDrawing, progress: Progress | None = None) -> Seen:
    """Return what is seen of a drawing on its page.

    Parameters
    ----------
    drawing : ColouredDrawing
    progress : Progress, optional

    Raises
    ------
    GeometryError
        The page has no area.
    Cancelled
    """
    frame = shapely.box(0, 0, *drawing.page)
    cells = partition([s.shape for s in drawing.shapes], frame, progress)
    sets, set_of, _ = cells.sets()
    colours = _laid_over(drawing.shapes, sets)[set_of]
    number = np.arange(1, len(drawing.shapes) + 1)
    top = (cells.inside * number).max(axis=1, initial=0) - 1
    return Seen(cells, colours, top, drawing)


def _laid_over(shapes: Sequence[ColouredShape], inside: Bools) -> Floats:
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
    whole[:, 3] = np.where(whole[:, 3] > 1 - 1e-9, 1.0, whole[:, 3])
    whole[:, :3] /= np.where(alpha > 0, alpha, 1.0)
    return whole
