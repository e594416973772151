"""What is seen of a drawing: one planar partition, each cell with the colour that shows there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np
import shapely
from numpy.typing import ArrayLike

from ..arrays import Bools, Floats, Indices
from ..artwork.coloured import ColouredDrawing, ColouredShape
from ..artwork.laid_over import laid_over
from ..planar.arrangement import Partition, partition
from ..planar.union import unite
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
        With runs of shapes that look the same joined.
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
    drawing = replace(drawing, shapes=joined_runs(drawing.shapes))
    frame = shapely.box(0, 0, *drawing.page)
    hides = np.array([s.alpha == 1 and not s.groups for s in drawing.shapes], bool)
    cells = partition([s.shape for s in drawing.shapes], frame, progress, covers=hides)
    sets, set_of, _ = cells.sets()
    colours = laid_over(drawing.shapes, sets)[set_of]
    # From the uppermost shape down, below all of which lies the page.
    downwards = np.column_stack([cells.inside[:, ::-1], np.ones(len(cells.inside), bool)])
    top = len(drawing.shapes) - 1 - np.argmax(downwards, axis=1)
    return Seen(cells, colours, top, drawing)


def joined_runs(shapes: Sequence[ColouredShape]) -> tuple[ColouredShape, ...]:
    """Join opaque shapes of one colour that are laid down one after the other.

    Their edges within each other are not seen, and each would cut all others into more cells.
    """
    found: list[ColouredShape] = []
    for key, run in groupby(shapes, lambda s: (s.rgb, s.alpha, s.groups, s.layer)):
        own = list(run)
        if len(own) == 1 or key[1] < 1:
            found += own
        else:
            parts = shapely.get_parts(np.array([s.shape for s in own], object))
            found.append(replace(own[0], shape=unite(parts)))
    return tuple(found)
