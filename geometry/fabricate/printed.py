"""Printed sheets: the flat plate with what printing can add, as closed solids that fit the bed.

Below lies the wall side at z = 0, above the spray side: rims, ribs, chamfers, labels and pegs are
all above, so that a sheet prints without support and lies flat on the wall.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import shapely
from shapely import MultiPolygon, Point

from ..arrays import Geometries
from ..finding import Finding, Severity
from ..job.sections import PrintingSettings
from ..mesh.boolean import block, mesh_of, solid_of, without_slivers
from ..mesh.solid import Mesh, extrude
from ..planar.morphology import QUARTER_SEGMENTS, erode, openings_of, without_openings
from ..planar.polygons import as_multipolygon
from .chamfer import chamfer_cutter
from .label_placement import PlacedLabel, place_label
from .pegs import boss_radius, peg_places, with_pegs
from .raised import raised_regions
from .stroke_font import letter_shapes
from .tiling import Tile, Tiling

#: Raised parts begin this share of the thickness below the upper face: they share no face with it.
_SUNK = 0.5
#: A bridge keeps at least this share of its width at the top of a chamfer.
_LEFT_OF_BRIDGE = 0.5
#: Height of a label's letters in mm, and the least that is still read when printed.
_LETTER_HEIGHT, _LEAST_LETTER = 6.0, 3.5
#: Width of a letter's stroke as a share of its height, and at least in mm: a nozzle's width and
#: half again.
_STROKE, _LEAST_STROKE = 0.16, 0.6
#: Free sheet between a label and what is cut or raised in mm; ribs keep farther off.
_LABEL_CLEAR, _RIBS_CLEAR = 0.4, 1.0
#: A chamfer ends this many times its width before the sheet's edge and before laps, which are half
#: as thick, so that a chamfer could part them.
_CHAMFER_TO_EDGE, _CHAMFER_TO_LAP = 1.5, 2.0
#: Shapes are eroded by this (mm) before they are counted: along edges that two have, rounding
#: leaves slivers that are nothing.
_SLIVER = 1e-4


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
    >>> from sheetstack.geometry.fabricate.tiling import split_for_bed
    >>> from sheetstack.geometry.job.sections import TileSettings
    >>> plate = as_multipolygon(shapely.box(0, 0, 60, 40))
    >>> whole = split_for_bed(plate, plate.geoms[0], (220, 220), TileSettings(), narrow=3)
    >>> rimmed = PrintingSettings(rim_height_mm=2, rim_width_mm=4)
    >>> made = printed(plate, whole, 1.0, rimmed, label="1", bridge_width=2)
    >>> float(made.pieces[0].mesh.vertices[:, 2].max()), made.pieces[0].euler
    (3.0, 2)
    """
    settings, findings = _within_limits(settings, thickness, bridge_width, layer)
    rim, ribs = raised_regions(shape, settings)
    pegs: list[Point] = []
    if settings.pegs:
        pegs, told = peg_places(shape, tiling.seams, settings, layer)
        findings += told
    radius = boss_radius(settings)
    bosses = shapely.union_all([place.buffer(radius, quad_segs=QUARTER_SEGMENTS) for place in pegs])
    whole = _Whole(
        thickness,
        settings,
        rim,
        ribs,
        as_multipolygon(bosses),
        tuple(pegs),
        openings_of(shape),
        _where_chamfered(shape, tiling, settings.chamfer_mm),
    )
    pieces = []
    for tile in tiling.tiles:
        if whole.is_plain and tile.lower is tile.upper:
            mesh = extrude(tile.shape, thickness)
        else:
            placed = None
            if settings.label:
                placed = _label_on(tile, label, whole)
                if placed is None:
                    of_tile = f", tile {tile.name}" if tile.name else ""
                    findings.append(
                        Finding(
                            "print.no-room-for-label",
                            Severity.WARNING,
                            f"No solid place of the sheet{of_tile} takes its label.",
                            layer,
                        )
                    )
            mesh = _shaped(tile, placed, whole)
        pieces.append(PrintedSheet(tile.name, mesh, _euler(tile.lower, tile.upper)))
    return PrintedSet(tuple(pieces), tuple(findings))


@dataclass(frozen=True)
class _Whole:
    """What all pieces of one sheet share; regions as seen from above."""

    thickness: float
    settings: PrintingSettings
    rim: MultiPolygon
    ribs: MultiPolygon
    bosses: MultiPolygon
    pegs: tuple[Point, ...]
    openings: Geometries
    chamfered: shapely.Geometry

    @property
    def is_plain(self) -> bool:
        """Whether the sheet is nothing but a flat plate."""
        s = self.settings
        return not (s.chamfer_mm or s.label or self.rim.geoms or self.ribs.geoms or self.pegs)


def _within_limits(
    settings: PrintingSettings, thickness: float, bridge_width: float, layer: str
) -> tuple[PrintingSettings, list[Finding]]:
    """Return settings that leave bridges and sheet strong enough, and what had to be changed."""
    findings = []

    def tell(code: str, message: str, size: float) -> None:
        findings.append(Finding(code, Severity.WARNING, message, layer, None, size))

    most = bridge_width * (1 - _LEFT_OF_BRIDGE) / 2
    if settings.chamfer_mm > most:
        tell(
            "print.chamfer-limited",
            f"A chamfer of {settings.chamfer_mm:g} mm would leave too little of bridges "
            f"{bridge_width:g} mm wide; it is made {most:g} mm.",
            most,
        )
        settings = replace(settings, chamfer_mm=most)
    if settings.chamfer_mm > 0 and settings.land_mm >= thickness:
        tell(
            "print.no-chamfer",
            f"A straight wall of {settings.land_mm:g} mm leaves nothing to chamfer of a sheet "
            f"{thickness:g} mm thick.",
            settings.land_mm,
        )
        settings = replace(settings, chamfer_mm=0.0)
    if settings.label and settings.label_depth_mm > thickness / 2:
        tell(
            "print.label-limited",
            f"A label {settings.label_depth_mm:g} mm deep would weaken a sheet {thickness:g} mm "
            f"thick; it is made {thickness / 2:g} mm deep.",
            thickness / 2,
        )
        settings = replace(settings, label_depth_mm=thickness / 2)
    return settings, findings


def _where_chamfered(shape: MultiPolygon, tiling: Tiling, chamfer: float) -> shapely.Geometry:
    """Return where openings are chamfered: off the sheet's edge and off laps."""
    if chamfer == 0:
        return MultiPolygon()
    within = shapely.buffer(
        without_openings(shape), -_CHAMFER_TO_EDGE * chamfer, join_style="mitre"
    )
    laps = [
        shapely.symmetric_difference(tile.lower, tile.upper)
        for tile in tiling.tiles
        if tile.lower is not tile.upper
    ]
    return within.difference(shapely.buffer(shapely.union_all(laps), _CHAMFER_TO_LAP * chamfer))


def _euler(lower: MultiPolygon, upper: MultiPolygon) -> int:
    """Return the Euler characteristic of the surface of two plates, one on the other."""

    def flat(region: MultiPolygon) -> int:
        return sum(1 - len(p.interiors) for p in region.geoms)

    if lower is upper:
        return 2 * flat(lower)
    shared = as_multipolygon(shapely.buffer(lower.intersection(upper), -_SLIVER))
    return 2 * (flat(lower) + flat(upper) - flat(shared))


def _shaped(tile: Tile, label: PlacedLabel | None, whole: _Whole) -> Mesh:
    """Return one piece as a solid, all that printing adds united with it or taken off."""
    settings, t = whole.settings, whole.thickness
    lower, upper = tile.lower, tile.upper
    sunk = t * (1 - _SUNK)
    if lower is upper:
        solid = block(lower, 0.0, t)
    else:
        # The halves share a face inside; where they overlap there is none.
        solid = block(lower, 0.0, t / 2) + block(upper, t / 2, t)
    planes = [0.0, t / 2, t]
    ribs = whole.ribs
    if label is not None:
        ribs = as_multipolygon(ribs.difference(label.box.buffer(_RIBS_CLEAR, join_style="mitre")))
    # Raised parts stand on the upper half, which for laps is the one that shows.
    rim, ribs, bosses = (
        as_multipolygon(region.intersection(upper)) for region in (whole.rim, ribs, whole.bosses)
    )
    for region, height in ((ribs, settings.rib_height_mm), (rim, settings.rim_height_mm)):
        if region.geoms:
            solid = solid + block(region, max(sunk, t / 2), t + height)
            planes.append(t + height)
    mine = [place for place in whole.pegs if bosses.covers(place)]
    solid, more = with_pegs(solid, mine, settings, thickness=t, sunk=sunk)
    planes += more
    if settings.chamfer_mm > 0:
        solid = solid - solid_of(_chamfers_near(upper, whole))
    if label is not None:
        letters = letter_shapes(label.lines, max(_LEAST_STROKE, _STROKE * label.height))
        solid = solid - block(letters, t - settings.label_depth_mm, t + 1.0)
        planes.append(t - settings.label_depth_mm)
    mesh = mesh_of(without_slivers(solid), tuple(planes))
    low = float(mesh.vertices[:, 2].min())
    if low != 0.0:
        # A scrap of a lap that has no lower half still lies on the bed.
        mesh = Mesh(mesh.vertices - (0.0, 0.0, low), mesh.faces.copy())
    return mesh


def _chamfers_near(region: MultiPolygon, whole: _Whole) -> Mesh:
    settings = whole.settings
    box = shapely.box(*region.bounds)
    near = whole.openings[shapely.dwithin(whole.openings, box, 2 * settings.chamfer_mm)]
    return chamfer_cutter(
        near, whole.chamfered, settings.chamfer_mm, settings.land_mm, whole.thickness
    )


def _label_on(tile: Tile, label: str, whole: _Whole) -> PlacedLabel | None:
    """Return the label of a piece, shortened until it fits a solid place; None where none does."""
    raised = shapely.union_all([whole.rim, whole.bosses])
    free = erode(tile.upper, whole.settings.chamfer_mm + _LABEL_CLEAR)
    free = as_multipolygon(free.difference(shapely.buffer(raised, _LABEL_CLEAR)))
    head = " ".join(part for part in (label, tile.name) if part)
    for text in (f"{head} - this side up", f"{head} up", f"{head.split()[0]} {tile.name} up"):
        placed = place_label(text, free, height=_LETTER_HEIGHT, least_height=_LEAST_LETTER)
        if placed is not None:
            return placed
    return None
