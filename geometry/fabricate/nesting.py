"""Nesting: pieces placed on stock sheets without overlap, by their bounding boxes.

Big pieces first, each where it leaves the least room beside it, upright or turned by a quarter. The
free room of a stock sheet is kept as all largest empty rectangles, so that no gap that would take a
piece is overlooked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

Box = tuple[float, float, float, float]

#: Lengths closer than this (mm) are equal.
_SAME = 1e-6


@dataclass(frozen=True)
class Placing:
    """Where one piece lies.

    Parameters
    ----------
    piece : int
        Its number in the sizes given.
    stock : int
        Number of the stock sheet, from 0.
    x, y : float
        Lower left corner of its box on the stock sheet in mm.
    turned : bool
        By a quarter: its width runs along the stock's height.
    """

    piece: int
    stock: int
    x: float
    y: float
    turned: bool


@dataclass(frozen=True)
class Nest:
    """All placings.

    Parameters
    ----------
    placings : tuple of Placing
        In the order of the pieces.
    stocks : int
        Stock sheets used.
    left_over : tuple of int
        Pieces bigger than the stock sheet.
    used_share : float
        Area of the placed pieces over that of the stock sheets used, from 0 to 1.
    """

    placings: tuple[Placing, ...]
    stocks: int
    left_over: tuple[int, ...]
    used_share: float


def nest(
    sizes: Sequence[tuple[float, float]],
    stock: tuple[float, float],
    *,
    spacing: float = 0.0,
    edge: float = 0.0,
    areas: Sequence[float] | None = None,
    turned: bool = True,
) -> Nest:
    """Place pieces on as few stock sheets as this simple way finds.

    Parameters
    ----------
    sizes : sequence of (width, height)
        Of the pieces' boxes, in mm.
    stock : tuple of float
        Width and height of a stock sheet.
    spacing : float
        Least distance between two pieces in mm.
    edge : float
        Least distance from a piece to the stock sheet's edge.
    areas : sequence of float, optional
        True areas of the pieces, for the used share; their boxes' when absent.
    turned : bool
        Whether pieces may be turned by a quarter.

    Raises
    ------
    AssertionError
        A piece does not fit an empty stock sheet, which the caller has to see to.

    Examples
    --------
    >>> nest([(50, 100), (100, 50), (50, 50)], (100, 150)).stocks
    1
    """
    room = (stock[0] - 2 * edge + spacing, stock[1] - 2 * edge + spacing)
    grown = [(w + spacing, h + spacing) for w, h in sizes]
    order = sorted(range(len(sizes)), key=lambda k: (-max(grown[k]), -min(grown[k]), k))
    # Room that takes not even the smallest piece is not looked at again.
    smallest = min((min(size) for size in grown), default=0.0), min(map(max, grown), default=0.0)
    free: list[list[Box]] = []
    placed: dict[int, Placing] = {}
    left_over = []
    for piece in order:
        size = grown[piece]
        if not any(_goes_in(s, room) for s in ((size, size[::-1]) if turned else (size,))):
            left_over.append(piece)
            continue
        where = _best(free, size, turned)
        if where is None:
            free.append([(0.0, 0.0, *room)])
            where = _best(free, size, turned)
        if where is None:  # an empty sheet takes whatever goes into it
            raise AssertionError(f"Piece {piece} of {size} fits nowhere.")
        number, x, y, quarter = where
        w, h = size[::-1] if quarter else size
        left = _without(free[number], (x, y, w, h))
        free[number] = [box for box in left if _goes_in(smallest, (min(box[2:]), max(box[2:])))]
        placed[piece] = Placing(piece, number, x + edge, y + edge, quarter)
    own = areas if areas is not None else [w * h for w, h in sizes]
    total = len(free) * stock[0] * stock[1]
    used = sum(own[k] for k in placed)
    return Nest(
        tuple(placed[k] for k in sorted(placed)),
        len(free),
        tuple(sorted(left_over)),
        used / total if total else 0.0,
    )


def _goes_in(size: tuple[float, float], room: tuple[float, float]) -> bool:
    return size[0] <= room[0] + _SAME and size[1] <= room[1] + _SAME


def _best(
    free: list[list[Box]], size: tuple[float, float], quarters: bool
) -> tuple[int, float, float, bool] | None:
    """Return stock, corner and turn of the place that fits most tightly; earlier stocks first."""
    for number, boxes in enumerate(free):
        best: tuple[tuple[float, float, float, bool], tuple[float, float, bool]] | None = None
        for x, y, w, h in boxes:
            for turned in (False, True) if quarters else (False,):
                wide, high = size[::-1] if turned else size
                if not _goes_in((wide, high), (w, h)):
                    continue
                key = (round(min(w - wide, h - high), 6), y, x, turned)
                if best is None or key < best[0]:
                    best = key, (x, y, turned)
        if best is not None:
            return (number, *best[1])
    return None


def _without(free: list[Box], taken: Box) -> list[Box]:
    """Return the largest empty rectangles once ``taken`` is filled."""
    x, y, w, h = taken
    split: list[Box] = []
    for fx, fy, fw, fh in free:
        if (
            x >= fx + fw - _SAME
            or fx >= x + w - _SAME
            or y >= fy + fh - _SAME
            or fy >= y + h - _SAME
        ):
            split.append((fx, fy, fw, fh))
            continue
        if x > fx + _SAME:
            split.append((fx, fy, x - fx, fh))
        if x + w < fx + fw - _SAME:
            split.append((x + w, fy, fx + fw - x - w, fh))
        if y > fy + _SAME:
            split.append((fx, fy, fw, y - fy))
        if y + h < fy + fh - _SAME:
            split.append((fx, y + h, fw, fy + fh - y - h))
    kept: list[Box] = []
    for k, box in enumerate(split):
        if not any(
            _holds(other, box) and (not _holds(box, other) or j < k)
            for j, other in enumerate(split)
            if j != k
        ):
            kept.append(box)
    return kept


def _holds(outer: Box, inner: Box) -> bool:
    return (
        inner[0] >= outer[0] - _SAME
        and inner[1] >= outer[1] - _SAME
        and inner[0] + inner[2] <= outer[0] + outer[2] + _SAME
        and inner[1] + inner[3] <= outer[1] + outer[3] + _SAME
    )
