"""Tile sizes chosen for the stock: of all ways to split a sheet, the one that takes least of it.

A tile that is a little more than half a blank wastes the other half. So beside tiles that are all
alike, full ones with a rest are tried whose rest goes two, three or more to a blank; counted are
boxes as large as wandering seams can make them, kind by kind, which no packing does worse than.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from ..job.job import Job
from ..tolerance import ROUNDING
from .blanks import BlankRules, blank_rules
from .tile_grid import AxisSplit, TileGrid, even_split, grids_for, least_parts, split_with_rest

#: Where stock chooses, parts may still differ by this much (mm): straight seams go round nothing.
LEAST_SLACK = 6.0
#: Rests go up to so many to a blank's side.
_MOST_RESTS = 8


def tile_room(job: Job) -> tuple[float, float]:
    """Return the largest box of a tile in mm: the bed without the edge that is kept free."""
    margin = 2 * job.tiles.bed_margin_mm
    return job.room[0] - margin, job.room[1] - margin


def joint_reach(job: Job) -> float:
    """Return how far a tile's joints reach beyond its seams, in mm."""
    return job.tiles.key_depth_mm if job.tiles.joint != "butt" else 0.0


def tile_grids(job: Job, bounds: tuple[float, float, float, float], layers: int) -> list[TileGrid]:
    """Return the ways to split a sheet that its job allows, bed upright and lying.

    Parameters
    ----------
    job : Job
    bounds : tuple of float
        Of the sheet's rectangle in mm.
    layers : int
        Sheets of this size: their tiles share stock.

    Raises
    ------
    GeometryError
        There would be very many tiles.
    """
    size = (bounds[2] - bounds[0], bounds[3] - bounds[1])
    full = job.tiles.sizes == "full"
    usual = grids_for(size, tile_room(job), joint_reach(job), full=full)
    if job.stock:  # with a grain, tiles of one lie may fit no blank
        rules = blank_rules(job)
        fit = [g for g in usual if stock_for_boxes(rules, g.boxes(most=True)) is not None]
        usual = fit or usual
    if job.tiles.sizes != "stock" or min(grid.count for grid in usual) == 1:
        return usual
    found = grid_for_stock(job, size, layers)
    return [found] if found is not None else usual


def grid_for_stock(job: Job, size: tuple[float, float], layers: int) -> TileGrid | None:
    """Return the way to split sheets that takes the least stock; None where none fits it.

    Of equals the one of fewest tiles, then the one whose seams have the most room.

    Parameters
    ----------
    job : Job
    size : tuple of float
        Width and height of a sheet in mm.
    layers : int
        Sheets of that size that the stock is to give.
    """
    rules = blank_rules(job)
    if rules.largest is None:
        return None
    room, reach = tile_room(job), joint_reach(job)
    best: tuple[tuple[float, ...], TileGrid] | None = None
    for lie in sorted({room, room[::-1]}):
        if min(lie) <= reach:
            continue
        columns, rows = (
            _ways(length, side, reach, rules.largest[1], rules)
            for length, side in zip(size, lie, strict=True)
        )
        for column in columns:
            for row in rows:
                grid = TileGrid(tuple(column), tuple(row))
                stock = stock_for_boxes(rules, grid.boxes(most=True), layers)
                if stock is None:
                    continue
                slack = min((s[0].slack for s in (column, row) if s[0].seams), default=math.inf)
                key = (stock, grid.count, -slack)
                if best is None or key < best[0]:
                    best = key, grid
    return best[1] if best else None


def stock_for_boxes(
    rules: BlankRules, boxes: Mapping[tuple[float, float], int], layers: int = 1
) -> int | None:
    """Return how many sheets of the biggest stock take boxes, kind by kind in rows and columns.

    Parameters
    ----------
    rules : BlankRules
    boxes : mapping
        Width and height in mm, and how many of that size.
    layers : int
        How many times all of them are needed.

    Returns
    -------
    int or None
        None where a box fits no blank.
    """
    largest = rules.largest
    if largest is None:
        return None
    _, blank, each = largest
    side = [s - 2 * rules.edge + rules.gap for s in blank]
    blanks = 0
    for box, count in boxes.items():
        lies = (box, box[::-1]) if rules.turned else (box,)
        most = max(
            math.prod(int(s / (b + rules.gap) + ROUNDING) for s, b in zip(side, lie, strict=True))
            for lie in lies
        )
        if most == 0:
            return None
        blanks += math.ceil(count * layers / most)
    return math.ceil(blanks / each)


def _ways(
    length: float, room: float, reach: float, blank: tuple[float, float], rules: BlankRules
) -> Sequence[Sequence[AxisSplit]]:
    """Return ways to split a length, each as often as its smaller part can take another place."""
    least = least_parts(length, room, reach)
    if least == 1:
        return [[even_split(length, 1, room, reach)]]
    found = [[even_split(length, count, room, reach)] for count in (least, least + 1)]
    for side in sorted(set(blank)):
        for number in range(1, _MOST_RESTS + 1):
            rest = (side - 2 * rules.edge + rules.gap) / number - rules.gap
            places = (None, *range(least - 1))
            splits = [
                split_with_rest(length, room, reach, rest=min(rest, room), place=place)
                for place in places
            ]
            good = [s for s in splits if s is not None and s.slack >= LEAST_SLACK]
            if good:
                found.append(good)
    return found
