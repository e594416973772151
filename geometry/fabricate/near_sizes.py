"""Sizes near the one that was asked for: tiles, stock and what gets too narrow, cheapest first.

A picture a few per cent smaller may need a column of tiles less. Counted with the same rule that
lays seams (``stock_tiles.tile_grids``); stock by the boxes of tiles, opening by opening what is
nowhere as wide as the material allows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from ..build import Build
from ..job.job import Job
from ..progress import Progress
from ..tolerance import ROUNDING, TOLERANCES
from .blanks import blank_rules
from .stock_tiles import stock_for_boxes, tile_grids
from .tile_grid import TileGrid

#: Steps between two sizes, as a share.
STEP = 0.01
#: Narrow openings named for each size.
_NAMED = 3


@dataclass(frozen=True)
class NearSize:
    """What one size needs.

    Parameters
    ----------
    scale : float
        1 for the size of the job.
    width, height : float
        Of the sheets in mm.
    columns, rows : int
        Of tiles on each sheet.
    tiles : int
        Of all layers: those that seams make; openings may part some of them.
    stock : int
        Stock sheets, by the boxes of the tiles.
    cost : float
        Of the stock; 0 where its price is not stated.
    narrow_openings : tuple of (layer, (x, y))
        Openings nowhere as wide as the material allows, at their places on the job's own sheet.
    narrow_bridges : int
        Bridges that would get narrower than allowed if they shrank with the picture: built anew at
        the least width, they take more of it.
    """

    scale: float
    width: float
    height: float
    columns: int
    rows: int
    tiles: int
    stock: int
    cost: float
    narrow_openings: tuple[tuple[str, tuple[float, float]], ...]
    narrow_bridges: int


def near_sizes(
    build: Build, share: float, progress: Progress | None = None
) -> tuple[NearSize, ...]:
    """Return sizes within a share of the job's, the cheapest first, the nearest of equals first.

    Parameters
    ----------
    build : Build
    share : float
        0.1 for a tenth smaller to a tenth bigger.
    progress : Progress, optional
        May raise ``Cancelled``.
    """
    progress = progress or Progress()
    steps = max(1, math.floor(share / STEP + ROUNDING))
    scales = [1 + k * STEP for k in range(-steps, steps + 1)]
    found = []
    for done, scale in enumerate(scales):
        progress(done / len(scales), f"{scale:.0%} of the size")
        found.append(_at(build, scale))
    found.sort(key=lambda s: (s.cost, s.stock, s.tiles, len(s.narrow_openings), abs(s.scale - 1)))
    return tuple(found)


def _at(build: Build, scale: float) -> NearSize:
    job = build.job
    w, h = job.sheet.width_mm * scale, job.sheet.height_mm * scale
    layers = len(build.layers)
    grid = min(tile_grids(job, (0.0, 0.0, w, h), layers), key=lambda g: g.count)
    columns, rows = (len(ways[0].boxes) for ways in (grid.columns, grid.rows))
    tiles = grid.count * layers
    stock, cost = _stock(job, grid, layers)
    least = job.material.least_opening(job.made_by.kind)
    narrow: list[tuple[str, tuple[float, float]]] = []
    for layer in build.layers:
        parts = shapely.get_parts(layer.sheet.openings)
        gone = shapely.is_empty(shapely.buffer(parts, -least / 2 / scale, quad_segs=4))
        for part in np.asarray(parts)[gone]:
            at = part.representative_point()
            narrow.append((layer.settings.name, (float(at.x), float(at.y))))
    width = job.material.least_bridge(job.made_by.kind)
    bridges = sum(
        bridge.width * scale < width - TOLERANCES.same_point
        for layer in build.layers
        for bridge in layer.bridges
    )
    return NearSize(scale, w, h, columns, rows, tiles, stock, cost, tuple(narrow), bridges)


def _stock(job: Job, grid: TileGrid, layers: int) -> tuple[int, float]:
    """Return how many stock sheets the tiles' boxes take, and what they cost."""
    rules = blank_rules(job)
    boxes = grid.boxes(most=job.tiles.sizes == "stock")
    stock = stock_for_boxes(rules, boxes, layers) or grid.count * layers
    return stock, stock * (rules.largest[0].price if rules.largest else 0.0)


def near_sizes_text(title: str, sizes: Sequence[NearSize], currency: str) -> str:
    """Return the sizes as a table, the cheapest first, with what to know of each.

    Parameters
    ----------
    title : str
        Of the job.
    sizes : sequence of NearSize
        The cheapest first, the size of the job among them.
    currency : str
    """
    now = next(s for s in sizes if abs(s.scale - 1) < STEP / 2)
    lines = [f"Sizes near that of {title}, the cheapest first", ""]
    best = sizes[0]
    if (best.stock, best.tiles) < (now.stock, now.tiles):
        lines.append(
            f"At {best.scale:.0%} ({best.width:.0f} x {best.height:.0f} mm) it takes {best.tiles} "
            f"tiles instead of {now.tiles}, and {best.stock} stock sheets instead of {now.stock}."
        )
    else:
        lines.append("No size within the share needs less than the one that was asked for.")
    rows = [("size", "sheet mm", "tiles", "stock", "cost", "too narrow")]
    for s in sizes:
        narrow = f"{len(s.narrow_openings)} openings" if s.narrow_openings else ""
        bridges = f"{s.narrow_bridges} bridges" if s.narrow_bridges else ""
        gone = ", ".join(t for t in (narrow, bridges) if t)
        rows.append(
            (
                f"{s.scale:.0%}",
                f"{s.width:.0f} x {s.height:.0f}",
                f"{s.tiles} ({s.columns} x {s.rows} a layer)",
                str(s.stock),
                f"{s.cost:g} {currency}" if s.cost else "-",
                gone + ("  <- now" if s is now else ""),
            )
        )
    wide = [max(len(row[k]) for row in rows) for k in range(5)]
    right = (0, 3)
    lines.append("")
    for row in rows:
        cells = [
            cell.rjust(w) if k in right else cell.ljust(w)
            for k, (cell, w) in enumerate(zip(row[:5], wide, strict=True))
        ]
        lines.append("  " + "  ".join([*cells, row[5]]).rstrip())
    if any(s.narrow_openings for s in sizes):
        lines += ["", "Openings that are too narrow everywhere, at places on the sheet as it is:"]
    for s in sizes:
        for layer, (x, y) in s.narrow_openings[:_NAMED]:
            lines.append(f"  {s.scale:.0%}: {layer}, at ({x:.1f}, {y:.1f}) mm")
        if len(s.narrow_openings) > _NAMED:
            lines.append(f"  {s.scale:.0%}: and {len(s.narrow_openings) - _NAMED} more")
    lines += [
        "",
        "Tiles are those that seams make; an opening may part one in two. Stock is by the tiles' "
        "boxes: nesting by shape may save more. Bridges counted would get too narrow if they "
        "shrank with the picture; a new build lays them at the least width.",
        "",
    ]
    return "\n".join(lines)
