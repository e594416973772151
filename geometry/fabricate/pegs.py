"""Pegs above and sockets below a printed sheet, so that the sheets of a job stack true."""

from __future__ import annotations

from collections.abc import Sequence

import manifold3d
import shapely
from shapely import LineString, MultiPolygon, Point

from ..finding import Finding, Severity
from ..job.sections import PrintingSettings
from ..mesh.boolean import block
from ..planar.morphology import QUARTER_SEGMENTS, erode, without_openings

#: Height of a peg, sheet that is left above a socket, wall of a boss round its peg, and how much
#: deeper a socket is than its peg is high. In mm.
PEG_HEIGHT, ROOF, BOSS_WALL, SOCKET_SPARE = 3.0, 0.8, 1.2, 0.3
#: Where pegs stand, as shares of the sheet's width and height: not where a turned or flipped sheet
#: would have them.
PLACES = ((0.25, 0.0), (0.65, 0.0), (0.4, 1.0))
#: Solid sheet round a boss in mm, and half of it that the boss may use up.
_FREE, _HALF_FREE = 1.0, 0.5
#: A peg moves at most this share of the sheet's width from its place.
_FARTHEST = 0.05


def boss_radius(settings: PrintingSettings) -> float:
    """Return the radius in mm of the boss that a peg stands on."""
    return settings.peg_diameter_mm / 2 + settings.peg_clearance_mm + BOSS_WALL


def peg_places(
    shape: MultiPolygon,
    seams: Sequence[LineString],
    settings: PrintingSettings,
    layer: str = "",
) -> tuple[list[Point], list[Finding]]:
    """Return three places for pegs that a turned or flipped sheet does not have.

    Parameters
    ----------
    shape : MultiPolygon
        The whole sheet.
    seams : sequence of LineString
        Where the sheet is split; pegs keep clear of them.
    settings : PrintingSettings
    layer : str
        For findings.

    Returns
    -------
    places : list of Point
        Fewer than three where no solid place is near enough.
    findings : list of Finding
    """
    radius = boss_radius(settings)
    x0, y0, x1, y1 = without_openings(shape).bounds
    width, height = x1 - x0, y1 - y0
    inset = radius + _FREE
    room = erode(shape, inset - _HALF_FREE)
    lines = [line.buffer(radius + _HALF_FREE) for line in seams]
    room = room.difference(shapely.union_all(lines))
    places, findings = [], []
    for share_x, share_y in PLACES:
        wanted = Point(x0 + share_x * width, y0 + inset + share_y * (height - 2 * inset))
        nearest = shapely.get_point(shapely.shortest_line(wanted, room), 1)
        if nearest is None or nearest.distance(wanted) > _FARTHEST * width:
            findings.append(
                Finding(
                    "print.no-room-for-peg",
                    Severity.WARNING,
                    "No solid place of the sheet takes a peg.",
                    layer,
                    (float(wanted.x), float(wanted.y)),
                )
            )
        else:
            places.append(nearest)
    return places, findings


def with_pegs(
    solid: manifold3d.Manifold,
    places: Sequence[Point],
    settings: PrintingSettings,
    *,
    thickness: float,
    sunk: float,
) -> tuple[manifold3d.Manifold, list[float]]:
    """Return a sheet's solid with pegs on bosses above and sockets below.

    Parameters
    ----------
    solid : Manifold
    places : sequence of Point
        On this piece.
    settings : PrintingSettings
    thickness : float
        Of the sheet, in mm.
    sunk : float
        Height at which bosses begin, below the sheet's upper face.

    Returns
    -------
    solid : Manifold
    planes : list of float
        Heights of the new flat faces in mm.
    """
    tall = max(settings.rim_height_mm, settings.rib_height_mm)
    top = max(thickness + tall, PEG_HEIGHT + SOCKET_SPARE + ROOF)
    radius = settings.peg_diameter_mm / 2
    planes: list[float] = []
    for place in places:
        boss = place.buffer(boss_radius(settings), quad_segs=QUARTER_SEGMENTS)
        peg = place.buffer(radius, quad_segs=QUARTER_SEGMENTS)
        socket = place.buffer(radius + settings.peg_clearance_mm, quad_segs=QUARTER_SEGMENTS)
        solid = solid + block(boss, sunk, top)
        solid = solid + block(peg, top - ROOF / 2, top + PEG_HEIGHT)
        solid = solid - block(socket, -1.0, PEG_HEIGHT + SOCKET_SPARE)
        planes += [top, top + PEG_HEIGHT, PEG_HEIGHT + SOCKET_SPARE]
    return solid, planes
