"""Tiles for the bed: a sheet bigger than the machine, split into pieces that join again.

Seams run where they harm least (``seams``); joints hold tiles together: dovetails (``joints``),
laps of half the thickness, or none.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from ..errors import GeometryError
from ..finding import Finding, Severity
from ..job.sections import TileSettings
from ..planar.polygons import as_multipolygon
from ..progress import Progress
from .cells import Cells, cells_of, letters, seam_lines
from .clearance import JointGap, makeable
from .crumbs import crumbs_left, fits, without_crumbs
from .joints import Key, keys_along
from .local_sheet import LocalSheet
from .seam_cost import SeamCost
from .seams import SeamPlan, plan_seams
from .tile_grid import TileGrid, grids_for

#: A part that comes this near to a key (mm) has it.
_AT_KEY = 0.1
#: Beyond its joints, a tile is at least this many times their depth and this many mm more.
_LEAST_TILE = (4.0, 10.0)
#: Least solid sheet round a key in mm.
_LEAST_WALL = 1.0
#: How often seams are laid where they cut off crumbs, and how far (mm) the next ones keep off them,
#: each time more.
_ATTEMPTS, _AROUND_CRUMB = 3, 6.0


@dataclass(frozen=True)
class Tile:
    """One piece of a split sheet.

    Parameters
    ----------
    name : str
        Row letter from the top and column number from the left; a small letter more where an
        opening parts the tile.
    exact : tuple of Polygon
        Its share of the sheet below and above half the thickness; both are the same but for laps.
        All tiles' exact shapes of one level are the sheet.
    lower, upper : Polygon or MultiPolygon
        The same with the joints' clearance taken off: what is made.
    keys : int
        Keys and sockets at its edges.
    pins : int
        Holes in it for pins in the wall (``wall_pins``).
    """

    name: str
    exact: tuple[MultiPolygon, MultiPolygon]
    lower: MultiPolygon
    upper: MultiPolygon
    keys: int
    pins: int = 0

    @property
    def shape(self) -> MultiPolygon:
        """What the tile covers seen from above."""
        if self.lower is self.upper:
            return self.lower
        return as_multipolygon(shapely.union(self.lower, self.upper))


@dataclass(frozen=True)
class Tiling:
    """A split sheet.

    Parameters
    ----------
    tiles : tuple of Tile
        From the top left, row by row.
    seams : tuple of LineString
        Middle lines of the seams, in mm.
    joints : tuple of JointGap
        What clearance takes from the sheet, below and above half the thickness; empty for a sheet
        in one piece.
    findings : tuple of Finding
    areas : tuple of (str, Polygon)
        What each name's tiles paint: their share of the whole rectangle, openings and all. Empty
        for a sheet in one piece.
    crossings : int
        How many times seams cross openings.
    """

    tiles: tuple[Tile, ...]
    seams: tuple[LineString, ...]
    joints: tuple[JointGap, ...]
    findings: tuple[Finding, ...]
    areas: tuple[tuple[str, Polygon], ...] = ()
    crossings: int = 0


def split_for_bed(
    shape: MultiPolygon,
    outline: Polygon,
    bed: tuple[float, float],
    settings: TileSettings,
    *,
    narrow: float,
    layer: str = "",
    care: Sequence[tuple[MultiPolygon, float]] = (),
    grids: Sequence[TileGrid] | None = None,
    progress: Progress | None = None,
) -> Tiling:
    """Split a sheet into tiles that fit the bed; one that fits stays whole.

    Parameters
    ----------
    shape : MultiPolygon
        The sheet to be cut.
    outline : Polygon
        Its outer edge without openings: an upright rectangle.
    bed : tuple of float
        Width and height in mm; tiles may lie on it either way round, all the same way.
    settings : TileSettings
    narrow : float
        Sheet narrower than this (mm) is a bridge or neck, where no seam should go.
    layer : str
        For findings.
    care : sequence of (MultiPolygon, float)
        Areas that seams keep out of, and how many times as much one costs there.
    grids : sequence of TileGrid, optional
        Ways to split it; by the bed's size alone when None.
    progress : Progress, optional
        May raise ``Cancelled``.

    Raises
    ------
    GeometryError
        The bed is too small for any tile.
    """
    progress = progress or Progress()
    progress(0.0, f"{layer}: fitting it to the bed")
    margin = 2 * settings.bed_margin_mm
    usable = (bed[0] - margin, bed[1] - margin)
    x0, y0, x1, y1 = outline.bounds
    if fits((x1 - x0, y1 - y0), usable):
        whole = Tile("", (shape, shape), shape, shape, 0)
        return Tiling((whole,), (), (), ())
    reach = settings.key_depth_mm if settings.joint != "butt" else 0.0
    times, more = _LEAST_TILE
    if min(usable) - reach <= times * reach + more:
        raise GeometryError(
            f"{layer}: a bed of {bed[0]:g} x {bed[1]:g} mm is too small for tiles whose joints "
            f"are {reach:g} mm deep."
        )
    if grids is None:
        grids = grids_for((x1 - x0, y1 - y0), usable, reach, full=settings.sizes == "full")
    cost_at = SeamCost(shape, narrow, care)
    sheet = LocalSheet(shape)
    best: _Parted | None = None
    for number in range(_ATTEMPTS):
        attempt = progress.part(number / _ATTEMPTS, (number + 1) / _ATTEMPTS)
        plans = [
            plan_seams(outline, grid, cost_at, attempt.part(0.4 * k / len(grids), 0.4))
            for k, grid in enumerate(grids)
        ]
        chosen = min(range(len(plans)), key=lambda k: _rank(plans[k]))
        plan = plans[chosen]
        parted = _parted(shape, sheet, outline, plan, settings, usable, narrow, attempt)
        better = best is None or len(parted.crumbs) < len(best.crumbs)
        if better:
            best = parted
        if not parted.crumbs or not better:
            break
        # Seams that cut off what no key holds and no neighbour takes run elsewhere.
        cost_at.avoid(parted.crumbs, _AROUND_CRUMB * (number + 1))
        grids = [grids[chosen]]
    assert best is not None
    tiles = _tiles(best.cells.names, best.levels, best.keys, progress.part(0.8, 1.0))
    findings = (
        *_seams_through_necks(best.seams, cost_at, layer),
        *_troubles(tiles, usable, layer),
    )
    areas = tuple(zip(best.cells.names, best.cells.areas, strict=True))
    crossings = sheet.crossings(np.array(best.seams, object))
    gaps = (best.levels[0].gap, best.levels[1].gap)
    return Tiling(tiles, best.seams, gaps, findings, areas, crossings)


def _rank(plan: SeamPlan) -> tuple[bool, int, float]:
    """Return what is better the lower: whether bridges are crossed, tiles, cost."""
    return plan.crosses_narrow > 0, plan.count, plan.cost


@dataclass(frozen=True)
class _Parted:
    """A sheet parted along planned seams, before its tiles are worn by clearance."""

    cells: Cells
    seams: tuple[LineString, ...]
    keys: list[Key]
    levels: list[_Level]
    crumbs: list[Polygon]


def _parted(
    shape: MultiPolygon,
    sheet: LocalSheet,
    outline: Polygon,
    plan: SeamPlan,
    settings: TileSettings,
    usable: tuple[float, float],
    narrow: float,
    progress: Progress,
) -> _Parted:
    progress(0.4, "areas of tiles")
    cells = cells_of(plan, outline)
    seams = seam_lines(cells.areas)
    keys: list[Key] = []
    if settings.joint == "puzzle":
        progress(0.5, "keys of tiles")
        keys = keys_along(
            seams,
            cells.areas,
            shape,
            width=settings.key_width_mm,
            depth=settings.key_depth_mm,
            wall=max(_LEAST_WALL, narrow / 2),
        )
    if settings.joint == "lap":
        # The lower half reaches under its neighbours to the left and below, the upper one over
        # those to the right and above.
        lap = settings.key_depth_mm / 2
        levels = [
            _level(sheet, cells_of(plan, outline, shift).areas, keys, settings, usable, stretch)
            for shift, stretch in ((-lap, progress.part(0.6, 0.7)), (lap, progress.part(0.7, 0.8)))
        ]
    else:
        stretch = progress.part(0.6, 0.8)
        levels = [_level(sheet, cells.areas, keys, settings, usable, stretch)] * 2
    crumbs = crumbs_left(levels[0].exact, keys, settings)
    return _Parted(cells, tuple(seams), keys, levels, crumbs)


@dataclass(frozen=True)
class _Level:
    """One half of the thickness: each cell's exact share of it, and what clearance takes."""

    exact: list[MultiPolygon]
    gap: JointGap


def _level(
    sheet: LocalSheet,
    cells: Sequence[Polygon],
    keys: Sequence[Key],
    settings: TileSettings,
    usable: tuple[float, float],
    progress: Progress,
) -> _Level:
    areas = list(cells)
    for key in keys:
        areas[key.owner] = areas[key.owner].union(key.shape)
        areas[key.other] = areas[key.other].difference(key.shape)
    exact = []
    for number, area in enumerate(areas):
        progress(number / len(areas), "shares of tiles")
        exact.append(sheet.within(area))
    exact, grown = without_crumbs(exact, keys, sheet, settings, usable)
    return _Level(exact, JointGap(areas, exact, grown, settings.clearance_mm))


def _tiles(
    names: Sequence[str], levels: Sequence[_Level], keys: Sequence[Key], progress: Progress
) -> tuple[Tile, ...]:
    found = []
    same = levels[0] is levels[1]
    reaches: dict[int, list[Polygon]] = {}
    for key in keys:
        for cell in (key.owner, key.other):
            reaches.setdefault(cell, []).append(key.shape.buffer(_AT_KEY))
    for number, name in enumerate(names):
        progress(number / len(names), f"tile {name}")
        below, above = (level.exact[number] for level in levels)
        whole = below if same else as_multipolygon(below.union(above))
        parts = sorted(whole.geoms, key=lambda p: -p.area)
        for letter, part in enumerate(parts):
            pair = [
                as_multipolygon(part if same else level.intersection(part))
                for level in (below, above)
            ]
            made = [
                makeable(shapely.difference(p, level.gap.near(p)))
                for p, level in zip(pair, levels, strict=True)
            ]
            if same:
                pair[1], made[1] = pair[0], made[0]
            if all(m.is_empty for m in made):
                continue
            held = sum(part.intersects(reach) for reach in reaches.get(number, ()))
            suffix = letters(letter).lower() if len(parts) > 1 else ""
            found.append(Tile(name + suffix, (pair[0], pair[1]), made[0], made[1], held))
    return tuple(sorted(found, key=_reading_order))


def _seams_through_necks(
    seams: Sequence[LineString], cost_at: SeamCost, layer: str
) -> list[Finding]:
    found = []
    for seam in seams:
        for part in shapely.get_parts(cost_at.narrow_crossed(seam)):
            middle = part.centroid
            found.append(
                Finding(
                    "tiles.seam-through-neck",
                    Severity.WARNING,
                    "A seam had to cross a bridge or neck here; back it with a patch.",
                    layer,
                    (float(middle.x), float(middle.y)),
                )
            )
    return found


def _troubles(tiles: Sequence[Tile], usable: tuple[float, float], layer: str) -> list[Finding]:
    """Return findings of tiles that do not fit the bed."""
    found = []
    for tile in tiles:
        x0, y0, x1, y1 = tile.shape.bounds
        place = tile.shape.representative_point()
        at = (float(place.x), float(place.y))
        if not fits((x1 - x0, y1 - y0), usable):
            found.append(
                Finding(
                    "tiles.too-big",
                    Severity.SPOILS,
                    f"Tile {tile.name} is {x1 - x0:.0f} x {y1 - y0:.0f} mm and does not fit "
                    "the bed.",
                    layer,
                    at,
                )
            )
    return found


def _reading_order(tile: Tile) -> tuple[int, str, int, int, str]:
    match = re.fullmatch(r"([A-Z]+)(\d+)([a-z]*)", tile.name)
    assert match is not None  # names are made above
    row, column, part = match.groups()
    return len(row), row, int(column), len(part), part
