"""Printed sheets: the flat plate with what printing can add, as closed solids that fit the bed.

Below lies the wall side at z = 0, above the spray side: rims, ribs, chamfers, labels and pegs are
all above, so that a sheet prints without support and lies flat on the wall.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import MultiPolygon, Point, Polygon

from ..finding import Finding, Severity
from ..job.sections import PrintingSettings
from ..mesh.boolean import block, mesh_of, solid_of
from ..mesh.solid import Mesh, extrude
from ..planar.morphology import dilate, erode, openings_of, without_openings
from ..planar.polygons import as_multipolygon
from .chamfer import chamfer_cutter
from .label_placement import PlacedLabel, place_label
from .stroke_font import letter_shapes
from .tiling import Tile, Tiling

#: Raised parts begin this share of the thickness below the upper face: they share no face with it.
_SUNK = 0.5
#: A bridge keeps at least this share of its width at the top of a chamfer.
_LEFT_OF_BRIDGE = 0.5
_PEG_HEIGHT, _ROOF, _BOSS_WALL, _SOCKET_SPARE = 3.0, 0.8, 1.2, 0.3
_LETTER_HEIGHT = 6.0
#: Width of a letter's stroke as a share of its height: prints well from about 0.6 mm.
_STROKE = 0.16
_TAB = (40.0, 16.0, 5.0)


@dataclass(frozen=True)
class PrintedSheet:
    """One printed piece.

    Parameters
    ----------
    name : str
        Of its tile; empty for a whole sheet.
    mesh : Mesh
        Closed, z from 0.
    euler : int
        Euler characteristic that its openings give: twice (pieces - openings), with laps counted
        by inclusion and exclusion. A sound mesh has just this one.
    """

    name: str
    mesh: Mesh
    euler: int


@dataclass(frozen=True)
class PrintedSet:
    """All printed pieces of one sheet, and what is worth telling about them."""

    pieces: tuple[PrintedSheet, ...]
    findings: tuple[Finding, ...]


def with_grip_tab(shape: MultiPolygon, share: float = 0.5) -> MultiPolygon:
    """Return a sheet with a tab on its upper edge to lift it by.

    Parameters
    ----------
    shape : MultiPolygon
    share : float
        Where on the edge, from 0 left to 1 right. The tab stands where the edge is solid, as near
        to there as can be; where no stretch is wide enough there is none.
    """
    x0, _, x1, y1 = shape.bounds
    width, height, radius = _TAB
    width = min(width, (x1 - x0) / 3)
    root = 3.0
    places = sorted(
        np.linspace(x0 + width, x1 - width, 81), key=lambda x: abs(x - x0 - share * (x1 - x0))
    )
    for x in places:
        foot = shapely.box(x - width / 2, y1 - root, x + width / 2, y1)
        if shape.covers(foot):
            whole = shapely.box(x - width / 2, y1 - root, x + width / 2, y1 + height)
            inner = whole.buffer(-radius, join_style="mitre")
            rounded = inner.buffer(radius, quad_segs=8).union(foot)
            return as_multipolygon(shape.union(rounded))
    return shape


def raised_regions(
    shape: MultiPolygon, settings: PrintingSettings
) -> tuple[MultiPolygon, MultiPolygon]:
    """Return where rim and ribs stand: never on an opening, nor nearer to one than the clearance.

    Parameters
    ----------
    shape : MultiPolygon
        The whole sheet.
    settings : PrintingSettings

    Returns
    -------
    rim, ribs : MultiPolygon
        Ribs without what the rim covers.
    """
    whole = without_openings(shape)
    kept_off = MultiPolygon()
    if settings.rim_height_mm > 0 or settings.rib_height_mm > 0:
        kept_off = dilate(openings_of(shape), settings.rib_clearance_mm + settings.chamfer_mm)
    rim = MultiPolygon()
    if settings.rim_height_mm > 0:
        inner = shapely.buffer(whole, -settings.rim_width_mm, join_style="mitre")
        rim = as_multipolygon(whole.difference(inner).difference(kept_off))
    ribs = MultiPolygon()
    if settings.rib_height_mm > 0:
        lines = _grid(whole.bounds, settings.rib_spacing_mm, settings.rib_width_mm)
        room = shapely.buffer(whole, -settings.rib_width_mm / 2).difference(kept_off)
        strips = shapely.union_all(lines).intersection(room).difference(rim)
        width = settings.rib_width_mm
        # Stumps stiffen nothing.
        ribs = MultiPolygon(
            [p for p in as_multipolygon(strips).geoms if p.area >= 4 * width * width]
        )
    return rim, ribs


def _grid(bounds: tuple[float, float, float, float], spacing: float, width: float) -> list[Polygon]:
    x0, y0, x1, y1 = bounds
    nx, ny = (max(1, round((b - a) / spacing)) for a, b in ((x0, x1), (y0, y1)))
    xs = np.linspace(x0, x1, nx + 1)[1:-1]
    ys = np.linspace(y0, y1, ny + 1)[1:-1]
    return [shapely.box(x - width / 2, y0, x + width / 2, y1) for x in xs] + [
        shapely.box(x0, y - width / 2, x1, y + width / 2) for y in ys
    ]


def printed(
    shape: MultiPolygon,
    tiling: Tiling,
    thickness: float,
    settings: PrintingSettings,
    *,
    label: str,
    bridge_width: float,
    layer: str = "",
) -> PrintedSet:
    """Return a sheet's pieces as they are printed.

    Parameters
    ----------
    shape : MultiPolygon
        The whole sheet, grip tab included.
    tiling : Tiling
        That sheet, split for the bed.
    thickness : float
        In mm.
    settings : PrintingSettings
    label : str
        Layer number and name; a tile's name is added.
    bridge_width : float
        A chamfer leaves bridges half of it.
    layer : str
        For findings.

    Examples
    --------
    >>> from .tiling import split_for_bed
    >>> from ..job.sections import TileSettings
    >>> plate = as_multipolygon(shapely.box(0, 0, 60, 40))
    >>> whole = split_for_bed(plate, plate.geoms[0], (220, 220), TileSettings(), narrow=3)
    >>> rimmed = PrintingSettings(rim_height_mm=2, rim_width_mm=4)
    >>> made = printed(plate, whole, 1.0, rimmed, label="1", bridge_width=2)
    >>> float(made.pieces[0].mesh.vertices[:, 2].max()), made.pieces[0].euler
    (3.0, 2)
    """
    return _Printing(shape, tiling, thickness, settings, label, bridge_width, layer).result()


def _euler(lower: MultiPolygon, upper: MultiPolygon) -> int:
    """Return the Euler characteristic of the surface of two plates, one on the other."""

    def flat(region: MultiPolygon) -> int:
        return sum(1 - len(p.interiors) for p in region.geoms)

    if lower is upper:
        return 2 * flat(lower)
    # Worn back by a hair: along edges that both have, rounding leaves slivers that are nothing.
    shared = as_multipolygon(shapely.buffer(lower.intersection(upper), -1e-4))
    return 2 * (flat(lower) + flat(upper) - flat(shared))


class _Printing:
    """One sheet being shaped."""

    def __init__(
        self,
        shape: MultiPolygon,
        tiling: Tiling,
        thickness: float,
        settings: PrintingSettings,
        label: str,
        bridge_width: float,
        layer: str,
    ) -> None:
        self._shape = shape
        self._tiling = tiling
        self._t = thickness
        self._label = label
        self._layer = layer
        self._findings: list[Finding] = []
        self._settings = self._within_limits(settings, bridge_width)
        self._filled, self._openings = without_openings(shape), openings_of(shape)

    def _within_limits(self, settings: PrintingSettings, bridge_width: float) -> PrintingSettings:
        most = bridge_width * (1 - _LEFT_OF_BRIDGE) / 2
        if settings.chamfer_mm > most:
            self._tell(
                "print.chamfer-limited",
                f"A chamfer of {settings.chamfer_mm:g} mm would leave too little of bridges "
                f"{bridge_width:g} mm wide; made {most:g} mm.",
                most,
            )
            settings = replace(settings, chamfer_mm=most)
        if settings.chamfer_mm > 0 and settings.land_mm >= self._t:
            self._tell(
                "print.no-chamfer",
                f"A straight wall of {settings.land_mm:g} mm leaves nothing to chamfer of a sheet "
                f"{self._t:g} mm thick.",
                settings.land_mm,
            )
            settings = replace(settings, chamfer_mm=0.0)
        if settings.label and settings.label_depth_mm > self._t / 2:
            self._tell(
                "print.label-limited",
                f"A label {settings.label_depth_mm:g} mm deep would weaken a sheet {self._t:g} mm "
                f"thick; made {self._t / 2:g} mm.",
                self._t / 2,
            )
            settings = replace(settings, label_depth_mm=self._t / 2)
        return settings

    def _tell(
        self, code: str, message: str, size: float | None = None, place: Point | None = None
    ) -> None:
        at = None if place is None else (float(place.x), float(place.y))
        self._findings.append(Finding(code, Severity.WARNING, message, self._layer, at, size))

    def result(self) -> PrintedSet:
        s = self._settings
        rim, ribs = raised_regions(self._shape, s)
        pegs = self._peg_places() if s.pegs else []
        bosses = as_multipolygon(
            shapely.union_all([p.buffer(self._boss_radius, quad_segs=16) for p in pegs])
        )
        within: shapely.Geometry = MultiPolygon()
        if s.chamfer_mm > 0:
            within = shapely.buffer(self._filled, -1.5 * s.chamfer_mm, join_style="mitre")
            # Laps are half as thick: a chamfer could part them.
            laps = [
                shapely.symmetric_difference(tile.lower, tile.upper)
                for tile in self._tiling.tiles
                if tile.lower is not tile.upper
            ]
            within = within.difference(shapely.buffer(shapely.union_all(laps), 2 * s.chamfer_mm))
        plain = not (s.chamfer_mm or s.label or rim.geoms or ribs.geoms or pegs)
        pieces = []
        for tile in self._tiling.tiles:
            same = tile.lower is tile.upper
            if plain and same:
                mesh = extrude(tile.shape, self._t)
            else:
                mesh = self._shaped(tile, rim, ribs, bosses, pegs, within)
            pieces.append(PrintedSheet(tile.name, mesh, _euler(tile.lower, tile.upper)))
        return PrintedSet(tuple(pieces), tuple(self._findings))

    def _shaped(
        self,
        tile: Tile,
        rim: MultiPolygon,
        ribs: MultiPolygon,
        bosses: MultiPolygon,
        pegs: list[Point],
        within: shapely.Geometry,
    ) -> Mesh:
        s, t = self._settings, self._t
        name, lower, upper = tile.name, tile.lower, tile.upper
        sunk = t * (1 - _SUNK)
        if lower is upper:
            solid = block(lower, 0.0, t)
        else:
            # The halves share a face inside; where they overlap there is none.
            solid = block(lower, 0.0, t / 2) + block(upper, t / 2, t)
        planes = [0.0, t / 2, t]
        placed = self._label_on(name, upper, shapely.union_all([rim, bosses])) if s.label else None
        if placed is not None:
            # Ribs make room for letters.
            ribs = as_multipolygon(ribs.difference(placed.box.buffer(1.0, join_style="mitre")))
        # Raised parts stand on the upper half, which for laps is the one that shows.
        rim, ribs, bosses = (
            as_multipolygon(region.intersection(upper)) for region in (rim, ribs, bosses)
        )
        for region, height in ((ribs, s.rib_height_mm), (rim, s.rim_height_mm)):
            if region.geoms:
                solid = solid + block(region, max(sunk, t / 2), t + height)
                planes.append(t + height)
        mine = [p for p in pegs if bosses.covers(p)]
        for place in mine:
            boss_top = self._boss_top
            radius = s.peg_diameter_mm / 2
            boss = place.buffer(self._boss_radius, quad_segs=16)
            peg = place.buffer(radius, quad_segs=16)
            socket = place.buffer(radius + s.peg_clearance_mm, quad_segs=16)
            solid = solid + block(boss, sunk, boss_top)
            solid = solid + block(peg, boss_top - _ROOF / 2, boss_top + _PEG_HEIGHT)
            solid = solid - block(socket, -1.0, _PEG_HEIGHT + _SOCKET_SPARE)
            planes += [boss_top, boss_top + _PEG_HEIGHT, _PEG_HEIGHT + _SOCKET_SPARE]
        if s.chamfer_mm > 0:
            solid = solid - solid_of(self._chamfers_near(upper, within))
        if placed is not None:
            letters = letter_shapes(placed.lines, max(0.6, _STROKE * placed.height))
            solid = solid - block(letters, t - s.label_depth_mm, t + 1.0)
            planes.append(t - s.label_depth_mm)
        mesh = mesh_of(solid, tuple(planes))
        low = float(mesh.vertices[:, 2].min())
        if low != 0.0:
            # A scrap of a lap that has no lower half still lies on the bed.
            mesh = Mesh(mesh.vertices - (0.0, 0.0, low), mesh.faces.copy())
        return mesh

    def _chamfers_near(self, region: MultiPolygon, within: shapely.Geometry) -> Mesh:
        s = self._settings
        box = shapely.box(*region.bounds)
        near = self._openings[shapely.dwithin(self._openings, box, 2 * s.chamfer_mm)]
        return chamfer_cutter(near, within, s.chamfer_mm, s.land_mm, self._t)

    def _label_on(
        self, name: str, upper: MultiPolygon, raised: shapely.Geometry
    ) -> PlacedLabel | None:
        away = self._settings.chamfer_mm + 0.4
        free = erode(upper, away).difference(shapely.buffer(raised, 0.4))
        head = " ".join(part for part in (self._label, name) if part)
        for text in (f"{head} - this side up", f"{head} up", head.split()[0] + f" {name} up"):
            placed = place_label(
                text, as_multipolygon(free), height=_LETTER_HEIGHT, least_height=3.5
            )
            if placed is not None:
                return placed
        self._tell(
            "print.no-room-for-label",
            f"No solid place of the sheet{f', tile {name}' if name else ''} takes its label.",
        )
        return None

    @property
    def _boss_radius(self) -> float:
        s = self._settings
        return s.peg_diameter_mm / 2 + s.peg_clearance_mm + _BOSS_WALL

    @property
    def _boss_top(self) -> float:
        tall = max(self._settings.rim_height_mm, self._settings.rib_height_mm)
        return max(self._t + tall, _PEG_HEIGHT + _SOCKET_SPARE + _ROOF)

    def _peg_places(self) -> list[Point]:
        """Return three places for pegs that a turned or flipped sheet does not have."""
        x0, y0, x1, y1 = self._filled.bounds
        w, h = x1 - x0, y1 - y0
        inset = self._boss_radius + 1.0
        room = erode(self._shape, inset - 0.5)
        lines = [line.buffer(self._boss_radius + 0.5) for line in self._tiling.seams]
        room = room.difference(shapely.union_all(lines))
        found = []
        for share_x, share_y in ((0.25, 0.0), (0.65, 0.0), (0.4, 1.0)):
            wanted = Point(x0 + share_x * w, y0 + inset + share_y * (h - 2 * inset))
            nearest = shapely.get_point(shapely.shortest_line(wanted, room), 1)
            if nearest is None or nearest.distance(wanted) > 0.05 * w:
                self._tell(
                    "print.no-room-for-peg",
                    "No solid place of the sheet takes a peg.",
                    None,
                    wanted,
                )
                continue
            found.append(nearest)
        return found
