"""Overspray: soft edges from a sheet that lifts, and the shade that a thick sheet throws.

Paint flies straight. A droplet that lands on the wall at x has passed height z above the wall at
x + z s, where s is the tangent of its slope. It lands if the sheet is open all along its way from
``lift`` (the sheet's underside) to ``lift`` + thickness. So under a lifted edge paint creeps as far
as lift x tan(angle), and beside the wall of a thick sheet it is missing as far as (lift +
thickness) x tan(angle).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from ..arrays import Floats, Geometries
from ..build import Build
from ..colour import linear_from_srgb, srgb_from_hex
from ..finding import Finding, Severity
from ..job.sections import SpraySettings
from ..planar.polygons import as_multipolygon
from ..planar.raster import coverage, extent_of, one_colour, pixel_shape, srgb_bytes
from .compositing import sprayed

Picture = NDArray[np.float32]

#: Directions that a spray cone is sampled by, spread evenly (sunflower), the same in every run.
DIRECTIONS = 40
#: Heights between underside and top of a sheet at which a droplet's way is looked at, besides both.
MOST_STEPS = 6


@dataclass(frozen=True)
class SoftEdge:
    """How soft the edges of a layer come out.

    Parameters
    ----------
    creep_mm : float
        How far paint gets under the sheet.
    shade_mm : float
        How far in from the opening's edge paint is thinner than in its middle.
    """

    creep_mm: float
    shade_mm: float


def soft_edge(thickness: float, spray: SpraySettings) -> SoftEdge:
    """Return the width of soft edges for a sheet.

    Parameters
    ----------
    thickness : float
        In mm.
    spray : SpraySettings

    Examples
    --------
    >>> edge = soft_edge(3.0, SpraySettings(cone_deg=90, lift_mm=1))
    >>> round(edge.creep_mm, 6), round(edge.shade_mm, 6)
    (1.0, 4.0)
    """
    steepest = math.tan(math.radians(spray.cone_deg / 2)) + math.tan(math.radians(spray.angle_deg))
    return SoftEdge(spray.lift_mm * steepest, (spray.lift_mm + thickness) * steepest)


def shaded(
    openings: Polygon | MultiPolygon,
    thickness: float,
    angle_deg: float,
    from_deg: float = 90.0,
    lift: float = 0.0,
) -> MultiPolygon:
    """Return what gets paint when all of it comes from one direction.

    Parameters
    ----------
    openings : Polygon or MultiPolygon
        In mm.
    thickness : float
        Of the sheet in mm.
    angle_deg : float
        Between the paint's way and the square to the wall, below 90.
    from_deg : float
        Side that the paint comes from: 0 right, 90 above.
    lift : float
        Height of the sheet's underside over the wall in mm.

    Returns
    -------
    MultiPolygon
        The openings worn by a segment of thickness x tan(angle), exactly, and moved away from the
        can by lift x tan(angle).

    Examples
    --------
    >>> from shapely import box
    >>> shaded(box(0, 0, 10, 10), thickness=2, angle_deg=45, from_deg=0).bounds
    (0.0, 0.0, 8.0, 10.0)
    """
    slope = math.tan(math.radians(angle_deg))
    towards = np.array([math.cos(math.radians(from_deg)), math.sin(math.radians(from_deg))])
    way = towards * slope * thickness
    parts = shapely.get_parts(openings)
    if np.hypot(*way) > 0:
        lit = [_worn(part, way) for part in parts]
        parts = shapely.get_parts(as_multipolygon(shapely.GeometryCollection(lit)))
    moved = shapely.transform(parts, lambda xy: xy - towards * slope * lift)
    return MultiPolygon(list(moved))


def _worn(opening: Polygon, way: Floats) -> shapely.Geometry:
    """Return the points from which the whole segment along ``way`` stays in the opening."""
    rings = shapely.get_rings(shapely.normalize(opening))
    blocked = []
    for ring in rings:
        points = shapely.get_coordinates(ring)
        start, end = points[:-1], points[1:]
        along = end - start
        # Normalised shells run clockwise and holes counter-clockwise: outward is to the left.
        outward = along[:, 0] * way[1] - along[:, 1] * way[0] > 0
        start, end = start[outward], end[outward]
        blocked.append(np.stack([start, end, end - way, start - way], axis=1))
    quads = np.concatenate(blocked)
    if not len(quads):
        return opening
    return opening.difference(shapely.union_all(shapely.make_valid(shapely.polygons(quads))))


def cone(spray: SpraySettings, directions: int = DIRECTIONS) -> tuple[Floats, Floats]:
    """Return the directions of a spray cone and their shares.

    A stroke carries the whole cone over every place, so that the shares hold everywhere. They fall
    off like a bell from the middle, the rim of the cone at two standard deviations: a common
    picture of a spray pattern, no source.

    Parameters
    ----------
    spray : SpraySettings
    directions : int

    Returns
    -------
    slopes : float64 array (directions, 2)
        Tangent of the way's slope, towards the can.
    shares : float64 array (directions,)
        Their sum is 1.
    """
    rim = math.tan(math.radians(spray.cone_deg / 2))
    number = np.arange(directions) + 0.5
    # Even in area over a bell cut off at two standard deviations.
    cut = 1 - math.exp(-2.0)
    radius = rim / 2 * np.sqrt(-2 * np.log(1 - cut * number / directions))
    turn = number * math.pi * (3 - math.sqrt(5))
    lean = math.tan(math.radians(spray.angle_deg))
    side = math.radians(spray.from_deg)
    middle = lean * np.array([math.cos(side), math.sin(side)])
    slopes = middle + radius[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    return slopes, np.full(directions, 1 / directions)


def dose(
    openings: Polygon | MultiPolygon,
    frame: tuple[float, float],
    pixels_per_mm: float,
    thickness: float,
    spray: SpraySettings,
    directions: int = DIRECTIONS,
) -> Picture:
    """Return how much paint lands in each pixel, 1 where the whole cone gets through.

    Parameters
    ----------
    openings : Polygon or MultiPolygon
        In mm.
    frame : tuple of float
        Width and height in mm.
    pixels_per_mm : float
    thickness : float
        Of the sheet in mm.
    spray : SpraySettings
    directions : int

    Returns
    -------
    float32 array (rows, columns)
        Top row first.
    """
    whole = coverage(openings, frame, pixels_per_mm)
    slopes, shares = cone(spray, directions)
    everywhere = np.zeros_like(whole)
    # Nothing lands further from the openings than the flattest way leads, nor is looked at there.
    reach = float(np.hypot(*slopes.T).max()) * (thickness + spray.lift_mm) * pixels_per_mm
    window = extent_of(whole > 0, int(reach) + 2)
    open_share, landed = whole[window], everywhere[window]
    for slope, share in zip(slopes, shares, strict=True):
        # As many looks as keep the openings' walls a pixel apart.
        pixels = float(np.hypot(*slope)) * thickness * pixels_per_mm
        heights = np.linspace(0, thickness, min(2 + int(pixels), 2 + MOST_STEPS)) + spray.lift_mm
        ways = [_moved(open_share, -slope * height * pixels_per_mm) for height in heights]
        landed += np.float32(share) * np.minimum.reduce(ways)
    return everywhere


def _moved(picture: Picture, by: Floats) -> Picture:
    """Return a picture moved by a part of a pixel; y of ``by`` points up."""
    rows, columns = picture.shape
    right, down = float(by[0]), -float(by[1])
    whole_x, whole_y = math.floor(right), math.floor(down)
    fx, fy = right - whole_x, down - whole_y
    edge = max(abs(whole_x), abs(whole_y)) + 2
    wide = np.pad(picture, edge)
    top, left = edge - whole_y, edge - whole_x

    def look(y: int, x: int) -> Picture:
        return wide[y : y + rows, x : x + columns]

    above = look(top, left) * np.float32(1 - fx) + look(top, left - 1) * np.float32(fx)
    if fy == 0:
        return above
    below = look(top - 1, left) * np.float32(1 - fx) + look(top - 1, left - 1) * np.float32(fx)
    return np.add(above * np.float32(1 - fy), below * np.float32(fy), dtype=np.float32)


def soft_picture(build: Build, pixels: int = 1200) -> list[NDArray[np.uint8]]:
    """Return what is on the wall after each pass, with soft edges.

    Parameters
    ----------
    build : Build
    pixels : int
        Along the long side.

    Returns
    -------
    list of uint8 array (rows, columns, 3)
        sRGB: the bare wall, then one picture a pass.
    """
    sheet = build.job.sheet
    frame = (sheet.width_mm, sheet.height_mm)
    scale = pixels / max(frame)
    light = one_colour(
        linear_from_srgb(srgb_from_hex(build.job.ground)), *pixel_shape(frame, scale)
    )
    pictures = [srgb_bytes(light)]
    for layer in build.layers:
        landed = dose(layer.sheet.openings, frame, scale, layer.sheet.thickness, build.job.spray)
        at = extent_of(landed > 0)
        settings = layer.settings
        light[at] = sprayed(light[at], settings.colour, settings.opacity, landed[at])
        pictures.append(pictures[-1].copy())
        pictures[-1][at] = srgb_bytes(light[at])
    return pictures


def shade_findings(build: Build) -> tuple[Finding, ...]:
    """Tell which openings are too narrow for the sheet's thickness, and where paint flies too far.

    An opening narrower than thickness x tan(angle) gets no paint from that angle. With the can
    held square, the angle is that of the spray cone's rim, from where such an opening gets none;
    with the can leaning it is the lean.
    """
    spray, sheet = build.job.spray, build.job.sheet
    rim = math.radians(spray.cone_deg / 2)
    found: list[Finding] = []
    for layer in build.layers:
        thickness = layer.sheet.thickness
        parts = shapely.get_parts(layer.sheet.openings)
        if not len(parts):
            continue
        if spray.angle_deg > 0:
            found += _without_paint(layer.settings.name, parts, thickness, spray)
        needed = thickness * math.tan(max(rim, math.radians(spray.angle_deg)))
        # Area is at most inradius x perimeter, so that only these can be narrow.
        narrow = [
            (2 * shapely.maximum_inscribed_circle(part, needed / 20).length, part)
            for part in parts[shapely.area(parts) < shapely.length(parts) * needed / 2]
        ]
        narrow = [(width, part) for width, part in narrow if width < needed]
        if narrow:
            width, part = min(narrow, key=lambda pair: pair[0])
            place = part.representative_point()
            found.append(
                Finding(
                    "spray.narrow-for-thickness",
                    Severity.WARNING,
                    f"{len(narrow)} openings are narrower than {needed:.2f} mm, so that the walls "
                    f"of the {thickness:g} mm sheet keep off paint from "
                    f"{math.degrees(max(rim, math.radians(spray.angle_deg))):.0f} degrees; the "
                    f"narrowest is {width:.2f} mm wide. Chamfer them on the can's side.",
                    layer.settings.name,
                    (place.x, place.y),
                    width,
                )
            )
    reach = spray.stand_off_mm * math.tan(rim)
    if reach > sheet.margin_mm:
        found.append(
            Finding(
                "spray.past-the-edge",
                Severity.NOTE,
                f"From {spray.stand_off_mm:g} mm away the spray is {2 * reach:.0f} mm wide, the "
                f"margin {sheet.margin_mm:g} mm: mask the wall {reach - sheet.margin_mm:.0f} mm "
                "round the sheet, or spray edges from nearer.",
            )
        )
    return tuple(found)


def _without_paint(
    layer: str, parts: Geometries, thickness: float, spray: SpraySettings
) -> list[Finding]:
    lost = []
    for part in parts:
        lit = shaded(part, thickness, spray.angle_deg, spray.from_deg)
        if lit.is_empty:
            lost.append(part)
    if not lost:
        return []
    place = max(lost, key=lambda part: part.area).representative_point()
    shade = thickness * math.tan(math.radians(spray.angle_deg))
    return [
        Finding(
            "spray.no-paint",
            Severity.SPOILS,
            f"{len(lost)} openings get no paint: sprayed from {spray.angle_deg:g} degrees, the "
            f"{thickness:g} mm sheet shades {shade:.2f} mm. Hold the can square to it, or chamfer "
            "these.",
            layer,
            (place.x, place.y),
        )
    ]
