"""Cutting by hand: in which order, with a number on each cut, and when the blade is changed.

Small inner details first, while the sheet is stiff; the outline last, as it holds all. Within a
size, the next cut is the one farthest from the last few, so that no two weak places lie side by
side while both are fresh.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from ..arrays import Floats
from .kerf import CutPath, CutPaths
from .stroke_font import letter_lines, text_width

#: Openings up to this many times as big are alike; a cut keeps away from so many last ones.
_ALIKE, _LAST = 4.0, 3
#: Heights of numbers in mm.
_BIGGEST, _SMALLEST = 4.0, 1.6


@dataclass(frozen=True)
class BladeChange:
    """A blade's cuts, first and last number, and their length in mm."""

    first: int
    last: int
    length: float


def in_hand_order(cuts: CutPaths) -> CutPaths:
    """Return cuts in the order of a hand; an opening inside another stays before it."""
    paths = list(cuts.openings)
    if len(paths) < 3:
        return cuts
    shapes = [shapely.Polygon(p.points) for p in paths]
    areas = np.array([s.area for s in shapes])
    middles = np.array([(s.centroid.x, s.centroid.y) for s in shapes])
    rising = np.argsort(areas, kind="stable")
    order: list[int] = []
    # The cuts come inner before outer, as rising areas do: each size is whole before the next.
    sizes: list[list[int]] = []
    for k in rising:
        if not sizes or areas[k] > _ALIKE * areas[sizes[-1][0]]:
            sizes.append([])
        sizes[-1].append(int(k))
    for group in sizes:
        left = list(group)
        inside = (
            {k: [j for j in left if j != k and shapes[k].contains(shapes[j])] for k in left}
            if len(left) < 400
            else {}
        )
        while left:
            free = [k for k in left if not any(j in left for j in inside.get(k, ()))]
            last = middles[order[-_LAST:]] if order else middles[free[:1]]
            gaps = np.min(
                np.hypot(*(middles[free][:, None] - last[None]).transpose(2, 0, 1)), axis=1
            )
            best = free[int(np.argmax(gaps))]
            order.append(best)
            left.remove(best)
    return CutPaths(tuple(paths[k] for k in order), cuts.outline, cuts.findings)


def cut_numbers(cuts: CutPaths) -> tuple[Floats, ...]:
    """Return the number of each cut as lines: in its waste, or beside a very small one."""
    lines: list[Floats] = []
    for number, path in enumerate(cuts.openings, 1):
        lines += _number(str(number), shapely.Polygon(path.points))
    for number, path in enumerate(cuts.outline, len(cuts.openings) + 1):
        x, y = path.points.min(axis=0)
        lines += letter_lines(str(number), _BIGGEST, (float(x) + 2, float(y) + 2))
    return tuple(lines)


def _number(text: str, opening: shapely.Polygon) -> list[Floats]:
    spot = shapely.maximum_inscribed_circle(opening, tolerance=0.25)
    (x, y), edge = shapely.get_coordinates(spot)
    room = 2 * float(np.hypot(*(edge - (x, y))))
    wide = text_width(text, 1.0)
    height = min(_BIGGEST, 0.9 * room / float(np.hypot(1.0, wide)))
    if height < _SMALLEST:
        _, _, x1, y1 = opening.bounds
        return list(letter_lines(text, _SMALLEST, (x1 + 0.5, y1 - _SMALLEST)))
    at = (float(x) - wide * height / 2, float(y) - height / 2)
    return list(letter_lines(text, height, at))


def blade_changes(cuts: Sequence[CutPath], life_m: float) -> tuple[BladeChange, ...]:
    """Return what each blade cuts; one for all where ``life_m`` is 0.

    A blade is not changed within a cut: it is changed before a cut that would pass its life.
    """
    found: list[BladeChange] = []
    first, length = 1, 0.0
    for number, path in enumerate(cuts, 1):
        if life_m and length > 0 and length + path.length > life_m * 1000:
            found.append(BladeChange(first, number - 1, length))
            first, length = number, 0.0
        length += path.length
    if length:
        found.append(BladeChange(first, len(cuts), length))
    return tuple(found)


def hand_cutting_text(name: str, cuts: CutPaths, life_m: float) -> str:
    """Return in words how a sheet is cut by hand.

    Parameters
    ----------
    name : str
        Of the sheet.
    cuts : CutPaths
        In the order in which they are cut.
    life_m : float
        Metres that a blade cuts before it is changed.
    """
    count = len(cuts.all)
    lines = [
        f"{name}: {count} cuts, {cuts.length / 1000:.1f} m. Numbers stand on the waste.",
        "Small details first, the outline (the last number) last; the next cut lies apart from "
        "the last ones.",
    ]
    for number, blade in enumerate(blade_changes(cuts.all, life_m), 1):
        lines.append(
            f"  fresh blade {number}: cuts {blade.first} to {blade.last}, "
            f"{blade.length / 1000:.1f} m"
        )
    return "\n".join([*lines, ""])
