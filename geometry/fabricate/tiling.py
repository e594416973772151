"""Tiles for the bed: a sheet bigger than the machine, split into pieces that join again.

Seams are not straight lines but cheapest ways through the sheet, found like a path over hills:
solid sheet and openings cost little, edges more, bridges and necks so much that a seam crosses one
only where nothing else is left. Seams across the whole sheet make columns; each column is then
split by seams of its own, so that no four tiles meet in a point.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from ..arrays import Floats
from ..errors import GeometryError
from ..finding import Finding, Severity
from ..job.sections import TileSettings
from ..planar.morphology import dilate, openings_of, without_openings
from ..planar.polygons import as_multipolygon, touching_points
from ..planar.union import union_by_clusters
from ..tolerance import TOLERANCES
from .joints import Key, keys_along

#: Cost of a millimetre of seam on plain ground, beside an edge, and on a bridge or neck.
_PLAIN, _EDGE, _NARROW = 1.0, 4.0, 400.0
#: A seam nearer than this (mm) to an edge runs beside it.
_BESIDE = 1.5
#: Cost of each millimetre that a seam moves sideways.
_SIDEWAYS = 1.5
#: Points of the grid on which one seam is sought, at most.
_MOST_POINTS = 30_000
#: Corners of tiles lie on a grid of a nanometre, and specks under this area (mm2) are dropped.
_GRID, _SPECK = 1e-6, 0.05
#: More columns or rows than this on one sheet are a slip of the keyboard.
_MOST_CELLS = 400


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
    """

    name: str
    exact: tuple[MultiPolygon, MultiPolygon]
    lower: MultiPolygon
    upper: MultiPolygon
    keys: int

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
    """

    tiles: tuple[Tile, ...]
    seams: tuple[LineString, ...]
    joints: tuple[MultiPolygon, MultiPolygon]
    findings: tuple[Finding, ...]


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
    if _fits((x1 - x0, y1 - y0), usable):
        whole = Tile("", (shape, shape), shape, shape, 0)
        nothing = MultiPolygon()
        return Tiling((whole,), (), (nothing, nothing), ())
    reach = settings.key_depth_mm if settings.joint != "butt" else 0.0
    ground = _Ground(shape, narrow)
    plans = [
        _plan(outline, (w, h), reach, ground)
        for w, h in {usable, usable[::-1]}
        if min(w, h) - reach > 4 * reach + 10
    ]
    if not plans:
        raise GeometryError(
            f"{layer}: a bed of {bed[0]:g} x {bed[1]:g} mm is too small for tiles whose joints "
            f"are {reach:g} mm deep."
        )
    plan = min(plans, key=lambda p: (p.crosses_narrow > 0, p.count, p.cost))
    return _Split(shape, outline, plan, settings, usable, narrow, layer).result(ground)


def _fits(size: tuple[float, float], room: tuple[float, float]) -> bool:
    (a, b), (c, d) = sorted(size), sorted(room)
    return a <= c + 1e-6 and b <= d + 1e-6


class _Ground:
    """What a seam costs at each place of a sheet."""

    def __init__(self, shape: MultiPolygon, narrow: float) -> None:
        self.narrow = _narrow_places(shape, narrow)
        shapely.prepare(self.narrow)
        rings = shapely.get_rings(shapely.get_parts(shape))
        points, ring = shapely.get_coordinates(rings, return_index=True)
        same = ring[1:] == ring[:-1]
        steps = np.stack([points[:-1][same], points[1:][same]], axis=1)
        self._edges = shapely.STRtree(shapely.linestrings(steps))

    def cost(self, x: Floats, y: Floats) -> Floats:
        found = np.full(x.shape, _PLAIN)
        grid = shapely.points(x.ravel(), y.ravel())
        near, _ = self._edges.query(grid, predicate="dwithin", distance=_BESIDE)
        found.ravel()[np.unique(near)] = _EDGE
        if not self.narrow.is_empty:
            found[shapely.contains_xy(self.narrow, x, y)] = _NARROW
        return found


def _narrow_places(shape: MultiPolygon, narrow: float) -> MultiPolygon:
    """Return bridges and necks: what a round of diameter ``narrow`` closes between openings.

    The outside counts as an opening, so that necks along the outer edge are found too.
    """
    whole = without_openings(shape)
    outside = as_multipolygon(shapely.buffer(whole, 2 * narrow).difference(whole))
    openings = np.append(openings_of(shape), shapely.get_parts(outside))
    # Worn back a little more than widened: else rounding fills each corner.
    closed = shapely.buffer(
        shapely.get_parts(dilate(openings, narrow / 2)), -narrow / 2 * 1.02, quad_segs=8
    )
    at, inside = shapely.STRtree(openings).query(closed, predicate="intersects")
    order = np.argsort(at, kind="stable")
    at, inside = at[order], inside[order]
    starts = np.searchsorted(at, np.arange(len(closed) + 1))
    thin: list[Polygon] = []
    for k, area in enumerate(closed):
        members = openings[inside[starts[k] : starts[k + 1]]]
        rest = area.difference(shapely.multipolygons(members))
        thin += [p for p in as_multipolygon(rest).geoms if _holds(p, narrow)]
    if not thin:
        return MultiPolygon()
    grown = union_by_clusters(shapely.buffer(np.array(thin, object), 0.5))
    return as_multipolygon(grown.intersection(whole))


def _holds(part: Polygon, narrow: float) -> bool:
    """Return whether a part is a bridge or neck, not a corner that the rounding left over."""
    return bool(part.area > 0.05 * narrow * narrow)


@dataclass(frozen=True)
class _Plan:
    """Seams as (n, 2) polylines: those of the columns, then of each column its rows."""

    columns: tuple[Floats, ...]
    rows: tuple[tuple[Floats, ...], ...]
    cost: float
    crosses_narrow: int

    @property
    def count(self) -> int:
        return sum(len(r) + 1 for r in self.rows)


def _plan(outline: Polygon, room: tuple[float, float], reach: float, ground: _Ground) -> _Plan:
    x0, y0, x1, y1 = outline.bounds
    columns, cost = _seams((x0, x1), (y0, y1), room[0], reach, ground, upright=True)
    edges = [
        np.array([[x0, y0], [x0, y1]]),
        *columns,
        np.array([[x1, y0], [x1, y1]]),
    ]
    rows = []
    for left, right in pairwise(edges):
        across = (float(left[:, 0].min()), float(right[:, 0].max()))
        seams, more = _seams((y0, y1), across, room[1], reach, ground, upright=False)
        rows.append(seams)
        cost += more
    lines = [LineString(s) for s in (*columns, *(r for row in rows for r in row))]
    crossed = sum(int(line.intersects(ground.narrow)) for line in lines)
    return _Plan(columns, tuple(rows), cost, crossed)


def _seams(
    span: tuple[float, float],
    along: tuple[float, float],
    room: float,
    reach: float,
    ground: _Ground,
    upright: bool,
) -> tuple[tuple[Floats, ...], float]:
    """Return the seams that split ``span`` into parts that fit ``room``, and their cost.

    Where there are seams, parts leave ``reach`` free for the joints. One part more than needed
    is tried where the fewest seams would cross a bridge.
    """
    low, high = span
    length = high - low
    if length <= room + 1e-6:
        return (), 0.0
    limit = room - reach
    least = max(2, math.ceil(length / limit - 1e-9))
    if least > _MOST_CELLS:
        raise GeometryError(f"A sheet of {length:g} mm would be split into {least} tiles.")
    best: tuple[tuple[Floats, ...], float] | None = None
    for count in (least, least + 1):
        slack = limit - length / count
        half = slack if count == 2 else slack / 2
        seams, cost = [], 0.0
        for k in range(1, count):
            centre = low + k * length / count
            seam, more = _cheapest(centre, half, along, ground, upright)
            seams.append(seam)
            cost += more
        if best is None or cost < best[1] - _NARROW:
            best = tuple(seams), cost
        if cost < _NARROW:
            break
    assert best is not None
    return best


def _cheapest(
    centre: float, half: float, along: tuple[float, float], ground: _Ground, upright: bool
) -> tuple[Floats, float]:
    """Return the cheapest way along a band, by dynamic programming row after row."""
    length = along[1] - along[0]
    half = max(half, 0.0)
    finest = min(1.0, length / 100)
    step = max(finest, math.sqrt(length * max(2 * half, 1.0) / _MOST_POINTS))
    rows = max(2, round(length / step) + 1)
    t = np.linspace(along[0], along[1], rows)
    wide = int(half / step)
    s = centre + np.arange(-wide, wide + 1) * step
    grid_t, grid_s = np.meshgrid(t, s, indexing="ij")
    cost = (ground.cost(grid_s, grid_t) if upright else ground.cost(grid_t, grid_s)) * (t[1] - t[0])
    # Drawn to the middle a little, so that tiles come out alike where all else is equal.
    cost += 1e-3 * np.abs(s - centre)[None, :]
    total = cost[0].copy()
    came = np.zeros((rows, len(s)), np.int8)
    aside = _SIDEWAYS * step
    for row in range(1, rows):
        from_left = np.append(np.inf, total[:-1]) + aside
        from_right = np.append(total[1:], np.inf) + aside
        options = np.stack([total, from_left, from_right])
        choice = np.argmin(options, axis=0)
        came[row] = np.array([0, -1, 1], np.int8)[choice]
        total = options[choice, np.arange(len(s))] + cost[row]
    at = int(np.argmin(total))
    best = float(total[at])
    way = np.empty(rows, np.int64)
    for row in range(rows - 1, -1, -1):
        way[row] = at
        at += int(came[row, at])
    points = np.stack([s[way], t] if upright else [t, s[way]], axis=1)
    line = LineString(points)
    simple = line.simplify(1.5 * step)
    if simple.intersection(ground.narrow).length > line.intersection(ground.narrow).length + 1e-9:
        simple = line.simplify(1e-9)
    found: Floats = shapely.get_coordinates(simple)
    return found, best


class _Split:
    """A sheet being split by a plan."""

    def __init__(
        self,
        shape: MultiPolygon,
        outline: Polygon,
        plan: _Plan,
        settings: TileSettings,
        usable: tuple[float, float],
        narrow: float,
        layer: str,
    ) -> None:
        self._shape = shape
        self._outline = outline
        self._plan = plan
        self._settings = settings
        self._usable = usable
        self._narrow = narrow
        self._layer = layer

    def result(self, ground: _Ground) -> Tiling:
        lap = self._settings.key_depth_mm / 2 if self._settings.joint == "lap" else 0.0
        names, middle = self._cells(0.0)
        seams = self._seam_lines(middle)
        keys: list[Key] = []
        if self._settings.joint == "puzzle":
            keys = keys_along(
                seams,
                middle,
                self._shape,
                width=self._settings.key_width_mm,
                depth=self._settings.key_depth_mm,
                wall=max(1.0, self._narrow / 2),
            )
        levels = []
        for shift in (-lap, lap) if lap else (0.0,):
            cells = self._cells(shift)[1] if lap else middle
            levels.append(self._level(cells, keys))
        if len(levels) == 1:
            levels *= 2
        tiles = self._tiles(names, levels, keys)
        joints = (levels[0][1], levels[1][1])
        return Tiling(
            tiles, tuple(seams), joints, (*self._crossings(seams, ground), *self._told(tiles))
        )

    def _cells(self, shift: float) -> tuple[list[str], list[Polygon]]:
        """Return the cells' names and areas, seams shifted right and up by ``shift`` mm."""
        x0, y0, x1, y1 = self._outline.bounds
        far = 10.0
        plan = self._plan
        names, cells = [], []
        columns = [_moved(seam, shift, 0.0) for seam in plan.columns]
        rows_most = max(len(r) for r in plan.rows) + 1
        lefts = [_left_of(seam, x0 - far, y0 - far, y1 + far) for seam in columns]
        for column, seams in enumerate(plan.rows):
            area = shapely.box(x0, y0, x1, y1)
            if column < len(lefts):
                area = area.intersection(lefts[column])
            if column > 0:
                area = area.difference(lefts[column - 1])
            belows = [
                _below(_moved(seam, 0.0, shift), y0 - far, x0 - far, x1 + far) for seam in seams
            ]
            for row in range(len(seams) + 1):
                cell = area
                if row < len(belows):
                    cell = cell.intersection(belows[row])
                if row > 0:
                    cell = cell.difference(belows[row - 1])
                names.append(f"{chr(ord('A') + rows_most - 1 - row)}{column + 1}")
                cells.append(cell)
        return names, cells

    def _seam_lines(self, cells: Sequence[Polygon]) -> list[LineString]:
        array = np.array(cells, object)
        a, b = shapely.STRtree(array).query(array, predicate="intersects")
        lines: list[LineString] = []
        for i, j in zip(a[a < b].tolist(), b[a < b].tolist(), strict=True):
            shared = shapely.intersection(array[i].boundary, array[j].boundary)
            merged = shapely.line_merge(
                shapely.union_all([p for p in shapely.get_parts(shared) if p.length > 1e-6])
            )
            lines += [p for p in shapely.get_parts(merged) if isinstance(p, LineString)]
        return [line for line in lines if line.length > 1e-6]

    def _level(
        self, cells: Sequence[Polygon], keys: Sequence[Key]
    ) -> tuple[list[MultiPolygon], MultiPolygon]:
        """Return each cell's exact share of the sheet, and what clearance takes."""
        areas = list(cells)
        for key in keys:
            areas[key.owner] = areas[key.owner].union(key.shape)
            areas[key.other] = areas[key.other].difference(key.shape)
        exact = [as_multipolygon(self._shape.intersection(area)) for area in areas]
        exact, grown = self._without_crumbs(exact, keys)
        clearance = self._settings.clearance_mm
        if clearance == 0:
            return exact, MultiPolygon()
        lines = self._seam_lines(areas)
        strips = shapely.buffer(
            lines, clearance / 2, cap_style="square", join_style="mitre", mitre_limit=2.0
        )
        gap = shapely.union_all(strips).intersection(self._shape)
        # Where a tile has taken over a crumb there is no joint between the two.
        for tile in grown:
            gap = gap.difference(exact[tile].buffer(-clearance / 2 * 1.01, join_style="mitre"))
        return exact, as_multipolygon(gap)

    def _without_crumbs(
        self, exact: list[MultiPolygon], keys: Sequence[Key]
    ) -> tuple[list[MultiPolygon], set[int]]:
        """Give parts that nothing holds to the neighbour with which they share most of a seam.

        Returns
        -------
        exact : list of MultiPolygon
        grown : set of int
            Cells that took over a part.
        """
        settings = self._settings
        crumb = 4 * settings.key_width_mm * settings.key_depth_mm
        held = shapely.union_all([key.shape.buffer(0.1) for key in keys])
        cells = [cell for cell, shape in enumerate(exact) for _ in shape.geoms]
        parts = [part for shape in exact for part in shape.geoms]
        main = {
            cell: max((k for k, c in enumerate(cells) if c == cell), key=lambda k: parts[k].area)
            for cell in set(cells)
        }
        grown: set[int] = set()
        loose = [
            k
            for k, part in enumerate(parts)
            if part.area < crumb
            or (settings.joint == "puzzle" and k != main[cells[k]] and not part.intersects(held))
        ]
        for k in sorted(loose, key=lambda k: parts[k].area):
            target = self._neighbour(k, cells, parts)
            if target is None:
                continue
            # A hair of overlap: points computed on a seam may lie off it by the last bit.
            joined = shapely.union_all([parts[target], parts[k], _weld(parts[target], parts[k])])
            parts[target] = as_multipolygon(joined.intersection(self._shape)).geoms[0]
            parts[k] = Polygon()
            grown.add(cells[target])
        left: list[list[Polygon]] = [[] for _ in exact]
        for cell, part in zip(cells, parts, strict=True):
            if not part.is_empty:
                left[cell].append(part)
        return [MultiPolygon(p) for p in left], grown

    def _neighbour(self, k: int, cells: list[int], parts: list[Polygon]) -> int | None:
        part = parts[k]
        near = part.boundary
        best, longest = None, 1e-3
        for other, shape in enumerate(parts):
            if cells[other] == cells[k] or shape.is_empty or not part.dwithin(shape, 1e-6):
                continue
            x0, y0, x1, y1 = shapely.total_bounds([part, shape])
            shared = near.intersection(shape.buffer(1e-6)).length
            if shared > longest and _fits((x1 - x0, y1 - y0), self._usable):
                best, longest = other, shared
        return best

    def _tiles(
        self,
        names: list[str],
        levels: list[tuple[list[MultiPolygon], MultiPolygon]],
        keys: Sequence[Key],
    ) -> tuple[Tile, ...]:
        found = []
        same = levels[0] is levels[1]
        reaches = [(k.shape.buffer(0.1), k) for k in keys]
        for number, name in enumerate(names):
            below, above = (level[0][number] for level in levels)
            whole = below if same else as_multipolygon(below.union(above))
            parts = sorted(whole.geoms, key=lambda p: -p.area)
            for letter, part in enumerate(parts):
                pair = [
                    as_multipolygon(part if same else level.intersection(part))
                    for level in (below, above)
                ]
                made = [
                    _makeable(shapely.difference(p, level[1]))
                    for p, level in zip(pair, levels, strict=True)
                ]
                if same:
                    pair[1], made[1] = pair[0], made[0]
                if all(m.is_empty for m in made):
                    continue
                held = sum(
                    1
                    for reach, key in reaches
                    if number in (key.owner, key.other) and part.intersects(reach)
                )
                suffix = chr(ord("a") + letter) if len(parts) > 1 else ""
                found.append(Tile(name + suffix, (pair[0], pair[1]), made[0], made[1], held))
        return tuple(sorted(found, key=_reading_order))

    def _crossings(self, seams: Sequence[LineString], ground: _Ground) -> list[Finding]:
        found = []
        for seam in seams:
            crossed = seam.intersection(ground.narrow)
            for part in () if crossed.is_empty else shapely.get_parts(crossed):
                middle = part.centroid
                found.append(
                    Finding(
                        "tiles.seam-through-neck",
                        Severity.WARNING,
                        "A seam had to cross a bridge or neck here; back it with a patch.",
                        self._layer,
                        (float(middle.x), float(middle.y)),
                    )
                )
        return found

    def _told(self, tiles: Sequence[Tile]) -> list[Finding]:
        found = []
        for tile in tiles:
            x0, y0, x1, y1 = tile.shape.bounds
            place = tile.shape.representative_point()
            at = (float(place.x), float(place.y))
            if not _fits((x1 - x0, y1 - y0), self._usable):
                found.append(
                    Finding(
                        "tiles.too-big",
                        Severity.SPOILS,
                        f"Tile {tile.name} is {x1 - x0:.0f} x {y1 - y0:.0f} mm and does not fit "
                        "the bed.",
                        self._layer,
                        at,
                    )
                )
            if self._settings.joint == "puzzle" and tile.keys == 0:
                found.append(
                    Finding(
                        "tiles.no-key",
                        Severity.WARNING,
                        f"Tile {tile.name} found no solid stretch for a key; tape or glue it to "
                        "its neighbours.",
                        self._layer,
                        at,
                    )
                )
        return found


def _makeable(shape: shapely.Geometry) -> MultiPolygon:
    """Return a tile without what joints leave over: specks, pinholes, corners that just touch."""
    on_grid = as_multipolygon(shapely.set_precision(shape, _GRID))
    polygons = [
        Polygon(p.exterior, [r for r in p.interiors if Polygon(r).area > _SPECK])
        for p in on_grid.geoms
        if p.area > _SPECK
    ]
    clean = as_multipolygon(shapely.union_all(polygons))
    pinches = touching_points(clean)
    if len(pinches):
        half = TOLERANCES.pinch
        slits = shapely.box(*(pinches - half).T, *(pinches + half).T)
        clean = as_multipolygon(clean.difference(shapely.union_all(slits)))
    return clean


def _weld(a: Polygon, b: Polygon) -> shapely.Geometry:
    return a.buffer(1e-6).intersection(b.buffer(1e-6))


def _reading_order(tile: Tile) -> tuple[str, int, str]:
    row, column, part = re.fullmatch(r"(\D+)(\d+)(\D*)", tile.name).groups()  # type: ignore[union-attr]
    return row, int(column), part


def _moved(seam: Floats, dx: float, dy: float) -> Floats:
    moved: Floats = seam + np.array([dx, dy])
    return moved


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
