"""Crumbs: parts of a tile that no key holds go to the neighbour that they border on most."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..job.sections import TileSettings
from ..tolerance import TOLERANCES
from .joints import Key
from .local_sheet import LocalSheet

#: A part under this many times the area of a key is a crumb.
_CRUMB = 4
#: A part that comes this near to a key (mm) is held by it.
_HELD = 0.1
#: Least length of seam in mm that a crumb shares with the tile that takes it.
_LEAST_SHARED = 1e-3


def fits(size: tuple[float, float], room: tuple[float, float]) -> bool:
    """Return whether a rectangle fits a room either way round, both in mm."""
    (a, b), (c, d) = sorted(size), sorted(room)
    hair = TOLERANCES.same_point
    return a <= c + hair and b <= d + hair


def crumbs_left(
    exact: Sequence[MultiPolygon], keys: Sequence[Key], settings: TileSettings
) -> list[Polygon]:
    """Return parts too small for keys and pins of their own that no key holds.

    Parameters
    ----------
    exact : sequence of MultiPolygon
        The share of each tile, split along the seams before keys are cut.
    keys : sequence of Key
    settings : TileSettings
    """
    most = crumb_area(settings)
    small = [part for share in exact for part in share.geoms if part.area < most]
    return [part for part, held in zip(small, _held(small, keys), strict=True) if not held]


def _held(parts: Sequence[Polygon], keys: Sequence[Key]) -> list[bool]:
    """Return for each part whether a key holds it."""
    shapes = shapely.buffer(np.array([key.shape for key in keys], object), _HELD)
    held = np.zeros(len(parts), bool)
    held[shapely.STRtree(shapes).query(np.array(parts, object), predicate="intersects")[0]] = True
    return held.tolist()


def crumb_area(settings: TileSettings) -> float:
    """Return the area in mm2 under which a part has no room for keys and pins of its own."""
    return _CRUMB * settings.key_width_mm * settings.key_depth_mm


def without_crumbs(
    exact: Sequence[MultiPolygon],
    keys: Sequence[Key],
    sheet: LocalSheet,
    settings: TileSettings,
    usable: tuple[float, float],
) -> tuple[list[MultiPolygon], set[int]]:
    """Give parts that nothing holds to the neighbour with which they share most of a seam.

    Parameters
    ----------
    exact : sequence of MultiPolygon
        Each cell's share of the sheet.
    keys : sequence of Key
    sheet : LocalSheet
    settings : TileSettings
    usable : tuple of float
        Width and height of the bed; no tile grows beyond it.

    Returns
    -------
    exact : list of MultiPolygon
    grown : set of int
        Cells that took over a part.
    """
    crumb = crumb_area(settings)
    cells = [cell for cell, share in enumerate(exact) for _ in share.geoms]
    parts = [part for share in exact for part in share.geoms]
    main: dict[int, int] = {}
    for k, cell in enumerate(cells):
        if cell not in main or parts[k].area > parts[main[cell]].area:
            main[cell] = k
    grown: set[int] = set()
    held = _held(parts, keys)
    loose = [
        k
        for k, part in enumerate(parts)
        if part.area < crumb or (settings.joint == "puzzle" and k != main[cells[k]] and not held[k])
    ]
    # Parts that lie by each other as drawn; one that grew has grown by its neighbour's crumb.
    hair = TOLERANCES.same_point
    a, b = shapely.STRtree(parts).query(parts, predicate="dwithin", distance=hair)
    beside: dict[int, set[int]] = {}
    for i, j in zip(a.tolist(), b.tolist(), strict=True):
        if i != j:
            beside.setdefault(i, set()).add(j)
    for k in sorted(loose, key=lambda k: parts[k].area):
        near = sorted(beside.get(k, ()))
        target = _neighbour(k, near, cells, parts, usable)
        if target is None:
            continue
        joined = shapely.union_all([parts[target], parts[k], _weld(parts[target], parts[k])])
        parts[target] = sheet.within(joined).geoms[0]
        parts[k] = Polygon()
        for other in near:
            beside.setdefault(target, set()).add(other)
            beside.setdefault(other, set()).add(target)
        grown.add(cells[target])
    left: list[list[Polygon]] = [[] for _ in exact]
    for cell, part in zip(cells, parts, strict=True):
        if not part.is_empty:
            left[cell].append(part)
    return [MultiPolygon(p) for p in left], grown


def _neighbour(
    k: int,
    beside: Sequence[int],
    cells: list[int],
    parts: list[Polygon],
    usable: tuple[float, float],
) -> int | None:
    part = parts[k]
    hair = TOLERANCES.same_point
    near = part.boundary
    best, longest = None, _LEAST_SHARED
    for other in beside:
        shape = parts[other]
        if cells[other] == cells[k] or shape.is_empty or not part.dwithin(shape, hair):
            continue
        x0, y0, x1, y1 = shapely.total_bounds([part, shape])
        shared = near.intersection(shape.buffer(hair)).length
        if shared > longest and fits((x1 - x0, y1 - y0), usable):
            best, longest = other, shared
    return best


def _weld(a: Polygon, b: Polygon) -> shapely.Geometry:
    """Return a strip along what two parts share: points computed on a seam may lie just off it."""
    hair = TOLERANCES.same_point
    return a.buffer(hair).intersection(b.buffer(hair))
