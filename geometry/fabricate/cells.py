"""Cells: what the seams part a sheet's rectangle into, each with its name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Polygon

from ..arrays import Floats
from ..tolerance import TOLERANCES
from .seams import SeamPlan

#: How far areas beside a seam reach beyond the sheet, in mm.
_BEYOND = 10.0


@dataclass(frozen=True)
class Cells:
    """Names and areas of all cells.

    Parameters
    ----------
    names : tuple of str
        Row letters from the top, then the column's number from the left: ``"B2"``.
    areas : tuple of Polygon
    """

    names: tuple[str, ...]
    areas: tuple[Polygon, ...]


def letters(number: int) -> str:
    """Return the name of a row, counted from 0: A to Z, then AA, AB and so on.

    >>> [letters(number) for number in (0, 25, 26, 27, 51, 52, 701, 702)]
    ['A', 'Z', 'AA', 'AB', 'AZ', 'BA', 'ZZ', 'AAA']
    """
    name = ""
    number += 1
    while number:
        number, letter = divmod(number - 1, 26)
        name = chr(ord("A") + letter) + name
    return name


def cells_of(plan: SeamPlan, outline: Polygon, shift: float = 0.0) -> Cells:
    """Return the cells between seams.

    Parameters
    ----------
    plan : SeamPlan
    outline : Polygon
        The sheet's rectangle.
    shift : float
        How far the seams are moved right and up, in mm.
    """
    x0, y0, x1, y1 = outline.bounds
    columns = [seam + (shift, 0.0) for seam in plan.columns]
    most = max(len(seams) for seams in plan.rows)
    lefts = [_left_of(seam, x0 - _BEYOND, y0 - _BEYOND, y1 + _BEYOND) for seam in columns]
    names, cells = [], []
    for column, seams in enumerate(plan.rows):
        area = shapely.box(x0, y0, x1, y1)
        if column < len(lefts):
            area = area.intersection(lefts[column])
        if column > 0:
            area = area.difference(lefts[column - 1])
        belows = [
            _below(seam + (0.0, shift), y0 - _BEYOND, x0 - _BEYOND, x1 + _BEYOND) for seam in seams
        ]
        for row in range(len(seams) + 1):
            cell = area
            if row < len(belows):
                cell = cell.intersection(belows[row])
            if row > 0:
                cell = cell.difference(belows[row - 1])
            names.append(f"{letters(most - row)}{column + 1}")
            cells.append(cell)
    return Cells(tuple(names), tuple(cells))


def seam_lines(areas: Sequence[Polygon]) -> list[LineString]:
    """Return the lines along which areas border on each other."""
    array = np.array(areas, object)
    a, b = shapely.STRtree(array).query(array, predicate="intersects")
    least = TOLERANCES.same_point
    lines: list[LineString] = []
    for i, j in zip(a[a < b].tolist(), b[a < b].tolist(), strict=True):
        shared = shapely.intersection(array[i].boundary, array[j].boundary)
        merged = shapely.line_merge(
            shapely.union_all([p for p in shapely.get_parts(shared) if p.length > least])
        )
        lines += [p for p in shapely.get_parts(merged) if isinstance(p, LineString)]
    return [line for line in lines if line.length > least]


def _left_of(seam: Floats, left: float, low: float, high: float) -> Polygon:
    first, last = seam[0], seam[-1]
    return Polygon(
        [(left, low), (first[0], low), *seam.tolist(), (last[0], high), (left, high)]
    ).buffer(0)


def _below(seam: Floats, low: float, left: float, right: float) -> Polygon:
    first, last = seam[0], seam[-1]
    return Polygon(
        [(left, low), (right, low), (right, last[1]), *seam[::-1].tolist(), (left, first[1])]
    ).buffer(0)
