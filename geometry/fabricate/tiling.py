"""Tiles for the bed: a sheet bigger than the machine, split into pieces that join again.

Seams run where they harm least (``seams``); joints hold tiles together: dovetails (``joints``),
laps of half the thickness, or none.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely import LineString, MultiPolygon, Polygon

from ..errors import GeometryError
from ..finding import Finding, Severity
from ..job.sections import TileSettings
from ..planar.polygons import as_multipolygon
from .cells import cells_of, letters, seam_lines
from .clearance import gap_at_joints, makeable
from .crumbs import fits, without_crumbs
from .joints import Key, keys_along
from .seams import SeamCost, plan_seams

#: A part that comes this near to a key (mm) has it.
_AT_KEY = 0.1
#: Beyond its joints, a tile is at least this many times their depth and this many mm more.
_LEAST_TILE = (4.0, 10.0)
#: Least solid sheet round a key in mm.
_LEAST_WALL = 1.0


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
    joints : tuple of MultiPolygon
        What clearance takes from the sheet, below and above half the thickness.
    findings : tuple of Finding
    areas : tuple of (str, Polygon)
        What each name's tiles paint: their share of the whole rectangle, openings and all. Empty
        for a sheet in one piece.
    """

    tiles: tuple[Tile, ...]
    seams: tuple[LineString, ...]
    joints: tuple[MultiPolygon, MultiPolygon]
    findings: tuple[Finding, ...]
    areas: tuple[tuple[str, Polygon], ...] = ()


def split_for_bed(
    shape: MultiPolygon,
    outline: Polygon,
    bed: tuple[float, float],
    settings: TileSettings,
    *,
    narrow: float,
    layer: str = "",
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

    Raises
    ------
    GeometryError
        The bed is too small for any tile.
    """
    margin = 2 * settings.bed_margin_mm
    usable = (bed[0] - margin, bed[1] - margin)
    x0, y0, x1, y1 = outline.bounds
    if fits((x1 - x0, y1 - y0), usable):
        whole = Tile("", (shape, shape), shape, shape, 0)
        nothing = MultiPolygon()
        return Tiling((whole,), (), (nothing, nothing), ())
    reach = settings.key_depth_mm if settings.joint != "butt" else 0.0
    cost_at = SeamCost(shape, narrow)
    times, more = _LEAST_TILE
    plans = [
        plan_seams(outline, (w, h), reach, cost_at, settings.sizes == "full")
        for w, h in {usable, usable[::-1]}
        if min(w, h) - reach > times * reach + more
    ]
    if not plans:
        raise GeometryError(
            f"{layer}: a bed of {bed[0]:g} x {bed[1]:g} mm is too small for tiles whose joints "
            f"are {reach:g} mm deep."
        )
    plan = min(plans, key=lambda p: (p.crosses_narrow > 0, p.count, p.cost))
    cells = cells_of(plan, outline)
    seams = seam_lines(cells.areas)
    keys: list[Key] = []
    if settings.joint == "puzzle":
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
            _level(shape, cells_of(plan, outline, shift).areas, keys, settings, usable)
            for shift in (-lap, lap)
        ]
    else:
        levels = [_level(shape, cells.areas, keys, settings, usable)] * 2
    tiles = _tiles(cells.names, levels, keys)
    findings = (
        *_seams_through_necks(seams, cost_at.narrow, layer),
        *_troubles(tiles, usable, layer),
    )
    areas = tuple(zip(cells.names, cells.areas, strict=True))
    return Tiling(tiles, tuple(seams), (levels[0].gap, levels[1].gap), findings, areas)


@dataclass(frozen=True)
class _Level:
    """One half of the thickness: each cell's exact share of it, and what clearance takes."""

    exact: list[MultiPolygon]
    gap: MultiPolygon


def _level(
    shape: MultiPolygon,
    cells: Sequence[Polygon],
    keys: Sequence[Key],
    settings: TileSettings,
    usable: tuple[float, float],
) -> _Level:
    areas = list(cells)
    for key in keys:
        areas[key.owner] = areas[key.owner].union(key.shape)
        areas[key.other] = areas[key.other].difference(key.shape)
    exact = [as_multipolygon(shape.intersection(area)) for area in areas]
    exact, grown = without_crumbs(exact, keys, shape, settings, usable)
    return _Level(exact, gap_at_joints(shape, areas, exact, grown, settings.clearance_mm))


def _tiles(names: Sequence[str], levels: Sequence[_Level], keys: Sequence[Key]) -> tuple[Tile, ...]:
    found = []
    same = levels[0] is levels[1]
    reaches: dict[int, list[Polygon]] = {}
    for key in keys:
        for cell in (key.owner, key.other):
            reaches.setdefault(cell, []).append(key.shape.buffer(_AT_KEY))
    for number, name in enumerate(names):
        below, above = (level.exact[number] for level in levels)
        whole = below if same else as_multipolygon(below.union(above))
        parts = sorted(whole.geoms, key=lambda p: -p.area)
        for letter, part in enumerate(parts):
            pair = [
                as_multipolygon(part if same else level.intersection(part))
                for level in (below, above)
            ]
            made = [
                makeable(shapely.difference(p, level.gap))
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
    seams: Sequence[LineString], narrow: MultiPolygon, layer: str
) -> list[Finding]:
    found = []
    for seam in seams:
        crossed = seam.intersection(narrow)
        for part in () if crossed.is_empty else shapely.get_parts(crossed):
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
