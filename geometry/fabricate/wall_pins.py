"""Wall pins: holes at the same places in the tiles of all layers, so that no tile lies by guess.

A tile is located by two features: keys to its neighbours, registration holes, or pins through it
into the wall. Pins stand where every layer is solid sheet well inside a tile, so that one pattern
in the wall serves all layers, and a pin is shared by all tiles that lie over it in turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from ..arrays import Bools, Floats, Geometries, Indices
from ..finding import Finding, Severity
from ..job.sections import TileSettings
from ..planar.morphology import QUARTER_SEGMENTS
from ..planar.polygons import as_multipolygon
from ..planar.snapping import snapped_apart
from ..progress import Progress
from ..tolerance import TOLERANCES
from .crumbs import crumb_area
from .pieces import MadeSheet
from .tiling import Tile

#: Features that locate a tile: two fix its place and its turn.
LOCATED = 2
#: Sheet left round a pin's hole, in mm, and as a share of its diameter.
_WALL, _WALL_SHARE = 1.5, 0.5
#: Sizes that are tried where a full pin finds no room.
_SCALES = (1.0, 0.7, 0.5)
#: Places tried along each side of a tile.
_TRIES = 24
#: Two pins of a tile stand at least this many diameters apart.
_APART = 4.0


@dataclass(frozen=True)
class WallPin:
    """One pin in the wall.

    Parameters
    ----------
    number : int
        From 1, from the left to the right.
    at : tuple of float
        x, y in mm from the picture's lower left corner.
    diameter : float
    pulled_for : tuple of str
        Layers that have an opening or a seam there: the pin is taken out while they are sprayed.
    """

    number: int
    at: tuple[float, float]
    diameter: float
    pulled_for: tuple[str, ...] = ()


def with_wall_pins(
    sheets: Sequence[MadeSheet], settings: TileSettings, progress: Progress | None = None
) -> tuple[tuple[MadeSheet, ...], tuple[WallPin, ...]]:
    """Give tiles the holes that they need to lie true.

    Parameters
    ----------
    sheets : sequence of MadeSheet
        Of all layers.
    settings : TileSettings
        ``pins`` says which tiles get them.
    progress : Progress, optional
        May raise ``Cancelled``.

    Returns
    -------
    sheets : tuple of MadeSheet
        Their tiles with holes, and told where a tile is located by fewer than two features.
    pins : tuple of WallPin
    """
    progress = progress or Progress()
    split = [sheet.is_split for sheet in sheets]
    if not any(split):
        return tuple(sheets), ()
    chosen: list[tuple[Floats, float]] = []
    if settings.pins != "none":
        chosen = _chosen(sheets, settings, progress.part(0.0, 0.8))
    chosen.sort(key=lambda pin: (float(pin[0][0]), float(pin[0][1])))
    layers = [_Solid(sheet) for sheet in sheets]
    holes: list[list[list[shapely.Polygon]]] = [[[] for _ in s.tiling.tiles] for s in sheets]
    pins = []
    for number, (at, diameter) in enumerate(chosen, 1):
        progress(0.8 + 0.1 * number / len(chosen), "holes for pins")
        pulled = []
        for k, layer in enumerate(layers):
            inside = layer.tiles_at(at[None, :], _clear(diameter) - TOLERANCES.same_point)[0]
            if inside < 0:
                pulled.append(sheets[k].sheet.name)
            else:
                disc = shapely.Point(at).buffer(diameter / 2, quad_segs=QUARTER_SEGMENTS)
                holes[k][inside].append(disc)
        place = (float(at[0]), float(at[1]))
        pins.append(WallPin(number, place, diameter, tuple(pulled)))
    made = []
    for sheet, of_sheet in zip(sheets, holes, strict=True):
        bored = []
        for tile, discs in zip(sheet.tiling.tiles, of_sheet, strict=True):
            progress(0.9, f"{sheet.sheet.name}: holes for pins {tile.name}")
            bored.append(_pierced(tile, discs) if discs else tile)
        tiles = tuple(bored)
        crumb = crumb_area(settings)
        told = _not_located(tiles, crumb, sheet.sheet.name) if sheet.is_split else []
        findings = (*sheet.findings, *told)
        made.append(replace(sheet, tiling=replace(sheet.tiling, tiles=tiles), findings=findings))
    return tuple(made), tuple(pins)


def _clear(diameter: float) -> float:
    """Return how far a hole's centre keeps from the edge of its tile."""
    return diameter / 2 + max(_WALL, _WALL_SHARE * diameter) * min(1.0, diameter / 3)


class _Solid:
    """One layer's tiles, asked where a point lies well inside one."""

    def __init__(self, sheet: MadeSheet) -> None:
        self.shapes: Geometries = np.array([tile.shape for tile in sheet.tiling.tiles], object)
        parts, self._owner = shapely.get_parts(self.shapes, return_index=True)
        shapely.prepare(parts)
        self._parts = shapely.STRtree(parts)
        rings = shapely.get_rings(parts)
        points, ring = shapely.get_coordinates(rings, return_index=True)
        same = ring[1:] == ring[:-1]
        steps = np.stack([points[:-1][same], points[1:][same]], axis=1)
        self._edges = shapely.STRtree(shapely.linestrings(steps))

    def tiles_at(self, points: Floats, clear: float) -> Indices:
        """Return the tile in which each point lies, ``clear`` mm off its edges; -1 where none."""
        found = np.full(len(points), -1)
        at = shapely.points(points)
        which, part = self._parts.query(at, predicate="within")
        found[which] = self._owner[part]
        near, _ = self._edges.query(at, predicate="dwithin", distance=clear)
        found[np.unique(near)] = -1
        return found


def _chosen(
    sheets: Sequence[MadeSheet], settings: TileSettings, progress: Progress
) -> list[tuple[Floats, float]]:
    """Return places and diameters of pins that locate every tile, where there is room."""
    layers = [_Solid(sheet) for sheet in sheets]
    chosen: list[tuple[Floats, float]] = []
    wanted = [
        (k, number)
        for k, sheet in enumerate(sheets)
        if sheet.is_split
        for number, tile in enumerate(sheet.tiling.tiles)
        if settings.pins == "every tile" or tile.keys < LOCATED
    ]
    # Pins of a place that was chosen for one tile count for all tiles that lie over it.
    hit: dict[tuple[int, int], list[Floats]] = {}
    for done, (k, number) in enumerate(wanted):
        progress(done / len(wanted), "pins for tiles")
        tile = sheets[k].tiling.tiles[number]
        need = LOCATED if settings.pins == "every tile" else LOCATED - tile.keys
        for scale in _SCALES:
            have = hit.get((k, number), [])
            if len(have) >= need:
                break
            diameter = settings.pin_diameter_mm * scale
            for at in _places(layers, k, number, diameter, have, need - len(have)):
                chosen.append((at, diameter))
                for other, layer in enumerate(layers):
                    inside = int(
                        layer.tiles_at(at[None, :], _clear(diameter) - TOLERANCES.same_point)[0]
                    )
                    if inside >= 0:
                        hit.setdefault((other, inside), []).append(at)
    return chosen


def _places(
    layers: Sequence[_Solid], k: int, number: int, diameter: float, have: list[Floats], need: int
) -> list[Floats]:
    """Return up to ``need`` places within a tile, far from each other, in all layers if it can."""
    clear = _clear(diameter)
    x0, y0, x1, y1 = shapely.bounds(layers[k].shapes[number])
    step = max(min(x1 - x0, y1 - y0) / _TRIES, 0.5)
    count_x, count_y = (max(2, min(4 * _TRIES, int(s / step))) for s in (x1 - x0, y1 - y0))
    grid = np.meshgrid(
        np.linspace(x0 + clear, x1 - clear, count_x), np.linspace(y0 + clear, y1 - clear, count_y)
    )
    points = np.stack([g.ravel() for g in grid], axis=1)
    points = points[layers[k].tiles_at(points, clear) == number]
    if len(points) == 0:
        return []
    everywhere: Bools = np.ones(len(points), np.bool_)
    for layer in layers:
        everywhere &= layer.tiles_at(points, clear) >= 0
    common = points[everywhere]
    found: list[Floats] = []
    for among in (common, points):
        while len(found) < need and len(among):
            others = [*have, *found]
            if others:
                gaps = np.min([np.hypot(*(among - o).T) for o in others], axis=0)
            else:
                gaps = np.hypot(*(among - among.mean(axis=0)).T) + _APART * diameter
            best = int(np.argmax(gaps))
            if gaps[best] < min(_APART * diameter, np.hypot(x1 - x0, y1 - y0) / 4):
                break
            found.append(among[best])
    return found


def _pierced(tile: Tile, discs: list[shapely.Polygon]) -> Tile:
    cut = shapely.union_all(discs)
    lower = snapped_apart(as_multipolygon(tile.lower.difference(cut)), TOLERANCES.pinch)
    upper = lower
    if tile.upper is not tile.lower:
        upper = snapped_apart(as_multipolygon(tile.upper.difference(cut)), TOLERANCES.pinch)
    return replace(tile, lower=lower, upper=upper, pins=len(discs))


def _not_located(tiles: Sequence[Tile], crumb: float, layer: str) -> list[Finding]:
    found = []
    for tile in tiles:
        if tile.keys + tile.pins >= LOCATED:
            continue
        place = tile.shape.representative_point()
        told = (
            f"Tile {tile.name} is located by {tile.keys + tile.pins} of {LOCATED} features: "
            "it has no room for another key or pin; tape it to its neighbours."
        )
        if tile.shape.area < crumb:
            told = (
                f"A seam cuts off a crumb of {tile.shape.area:.0f} mm2 here, tile {tile.name}: too "
                "small for keys and pins, and with it its neighbour would not fit the bed. Glue it "
                "to its neighbour, or leave it out and have its place painted; at another size of "
                "sheet or tiles the seams run elsewhere."
            )
        found.append(
            Finding(
                "tiles.not-located",
                Severity.WARNING,
                told,
                layer,
                (float(place.x), float(place.y)),
            )
        )
    return found
