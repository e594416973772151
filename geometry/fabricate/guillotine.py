"""The guillotine plan: stock bigger than the bed, cut to blanks by straight cuts from edge to edge.

Found by trying, for each part, cuts at the bed's width and height either way, and keeping what
leaves the most: blanks are worth their area to the power of 1.5, so that few whole ones count for
more than many strips.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from ..tolerance import ROUNDING

#: Parts with a side under this (mm) are offcut, not blanks.
LEAST_SIDE = 60.0
_WORTH = 1.5


@dataclass(frozen=True)
class GuillotineCut:
    """One cut from edge to edge of a part.

    Parameters
    ----------
    upright : bool
        At ``at`` mm from the stock sheet's left edge, else from its lower edge.
    at : float
        Where the blank before it ends; the saw runs beyond.
    span : tuple of float
        From where to where it runs, in mm from the lower or left edge.
    """

    upright: bool
    at: float
    span: tuple[float, float]


@dataclass(frozen=True)
class GuillotinePlan:
    """Cuts in their order, and what they leave.

    Parameters
    ----------
    cuts : tuple of GuillotineCut
    blanks : tuple of (x, y, width, height)
        In mm on the stock sheet.
    """

    cuts: tuple[GuillotineCut, ...]
    blanks: tuple[tuple[float, float, float, float], ...]

    @property
    def area(self) -> float:
        """Area of all blanks in mm2."""
        return sum(w * h for _, _, w, h in self.blanks)


def guillotine(
    stock: tuple[float, float], bed: tuple[float, float], saw: float = 3.0
) -> GuillotinePlan:
    """Return the plan that cuts a stock sheet to blanks that fit the bed either way round.

    Parameters
    ----------
    stock, bed : tuple of float
        Width and height in mm.
    saw : float
        Width that a cut takes, in mm.

    Examples
    --------
    >>> plan = guillotine((1220, 610), (600, 400), 3.0)
    >>> [blank[2:] for blank in plan.blanks]
    [(400, 600), (400, 600), (400, 600)]
    """
    low, high = sorted(bed)

    @cache
    def best(w: float, h: float) -> tuple[float, tuple[bool, float] | None]:
        if min(w, h) < LEAST_SIDE:
            return 0.0, None
        if min(w, h) <= low + ROUNDING and max(w, h) <= high + ROUNDING:
            return (w * h) ** _WORTH, None
        found: tuple[float, tuple[bool, float] | None] = 0.0, None
        for at in (low, high):
            for upright, length in ((True, w), (False, h)):
                rest = round(length - at - saw, 6)
                if length <= at + ROUNDING:
                    continue
                first, second = ((at, h), (rest, h)) if upright else ((w, at), (w, rest))
                worth = best(*first)[0] + (best(*second)[0] if rest > 0 else 0.0)
                if worth > found[0] * (1 + ROUNDING):
                    found = worth, (upright, at)
        return found

    cuts: list[GuillotineCut] = []
    blanks: list[tuple[float, float, float, float]] = []

    def follow(x: float, y: float, w: float, h: float) -> None:
        worth, cut = best(w, h)
        if cut is None:
            if worth > 0:
                blanks.append((x, y, w, h))
            return
        upright, at = cut
        if upright:
            cuts.append(GuillotineCut(True, x + at, (y, y + h)))
            follow(x, y, at, h)
            follow(x + at + saw, y, round(w - at - saw, 6), h)
        else:
            cuts.append(GuillotineCut(False, y + at, (x, x + w)))
            follow(x, y, w, at)
            follow(x, y + at + saw, w, round(h - at - saw, 6))

    follow(0.0, 0.0, *stock)
    return GuillotinePlan(tuple(cuts), tuple(blanks))
