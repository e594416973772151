"""Sheets: the plate of each layer, outline minus openings, all in one frame of reference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Geometries
from ..artwork.read import Artwork
from ..errors import GeometryError
from ..finding import Finding, Severity
from ..job.sections import SheetSettings
from ..planar.polygons import as_multipolygon
from ..planar.snapping import grid_of, on_grid, snapped
from ..planar.thin_walls import Walled, without_thin_walls
from ..tolerance import TOLERANCES, Tolerances
from .plate import cut_plate

#: Code of the finding that sheet was parted where it touched itself at a point.
TOUCHES_AT_POINT = "sheet.touches-at-point"
_TOUCHES = "Sheet touched itself at a point only, which holds nothing; opened there"


@dataclass(frozen=True)
class Sheet:
    """One flat plate, before it is given its thickness.

    Parameters
    ----------
    layer : str
        Name of its layer.
    outline : Polygon
        Outer edge, lower left corner at the origin, in mm.
    openings : MultiPolygon
        What the artwork cuts out.
    holes : MultiPolygon
        Registration holes.
    shape : MultiPolygon
        Outline minus openings and holes: the material that is left. No two rings of it touch.
    thickness : float
        In mm.
    """

    layer: str
    outline: Polygon
    openings: MultiPolygon
    holes: MultiPolygon
    shape: MultiPolygon
    thickness: float


@dataclass(frozen=True)
class PlacedArtwork:
    """A layer's artwork moved into the sheet's frame.

    Parameters
    ----------
    layer : str
    shape : MultiPolygon
        In mm.
    findings : tuple of Finding
    page : tuple of float, optional
        Size in mm of the page that it was drawn on.
    witness : str
        What tells that it lies in its place (see ``alignment.Alignment``).
    """

    layer: str
    shape: MultiPolygon
    findings: tuple[Finding, ...]
    page: tuple[float, float] | None = None
    witness: str = ""


def artwork_shift(artworks: Sequence[Artwork], settings: SheetSettings) -> tuple[float, float]:
    """Return the shift from the artwork's frame to the sheet's, in mm (see ``place_artworks``)."""
    pages = [a.page for a in artworks if a.page is not None]
    if pages:
        low_x, low_y, high_x, high_y = 0.0, 0.0, *pages[0]
    else:
        low_x, low_y, high_x, high_y = shapely.total_bounds([a.shape for a in artworks])
    if settings.placement == "centre":
        dx = settings.width_mm / 2 - (low_x + high_x) / 2
        dy = settings.height_mm / 2 - (low_y + high_y) / 2
        return float(dx), float(dy)
    return -float(low_x), -float(low_y)


def place_artworks(
    artworks: Sequence[tuple[str, Artwork]], settings: SheetSettings
) -> tuple[PlacedArtwork, ...]:
    """Move all layers' artworks into the sheet's frame, all by the same shift.

    With pages, the first page is centred on the sheet (or laid corner on corner); without, the
    common bounds of all layers are centred.

    Parameters
    ----------
    artworks : sequence of (name, Artwork)
    settings : SheetSettings

    Returns
    -------
    tuple of PlacedArtwork
        With findings moved along, and new ones for pages that differ in size.

    Raises
    ------
    GeometryError
        No layer has anything to paint.
    """
    if all(a.shape.is_empty for _, a in artworks):
        names = ", ".join(name for name, _ in artworks)
        raise GeometryError(f"Nothing to cut: the artwork of every layer is empty ({names}).")
    dx, dy = artwork_shift([artwork for _, artwork in artworks], settings)
    grid = grid_of(max(settings.width_mm, settings.height_mm))
    pages = [a.page for _, a in artworks if a.page is not None]
    placed = []
    for name, artwork in artworks:
        findings = [
            replace(
                f,
                layer=name,
                place=None if f.place is None else (f.place[0] + dx, f.place[1] + dy),
            )
            for f in artwork.findings
        ]
        if artwork.shape.is_empty:
            findings.append(
                Finding("sheet.empty", Severity.SPOILS, "Nothing to cut in this layer.", name)
            )
        if artwork.page and pages and not np.allclose(artwork.page, pages[0], atol=1e-3, rtol=0):
            findings.append(
                Finding(
                    "sheet.page-differs",
                    Severity.WARNING,
                    f"The page is {artwork.page[0]:.2f} x {artwork.page[1]:.2f} mm, that of the "
                    f"first layer {pages[0][0]:.2f} x {pages[0][1]:.2f} mm: the layers may not "
                    "register.",
                    name,
                )
            )
        # A move by rounded numbers can make outlines cross that did not.
        shape = snapped(shapely.transform(artwork.shape, lambda xy: xy + (dx, dy)), grid)
        placed.append(PlacedArtwork(name, shape, tuple(findings), artwork.page))
    return tuple(placed)


def make_sheet(
    artwork: PlacedArtwork,
    settings: SheetSettings,
    holes: MultiPolygon,
    tolerances: Tolerances = TOLERANCES,
) -> tuple[Sheet, tuple[Finding, ...]]:
    """Cut a layer's artwork and the registration holes out of the plate.

    Openings nearer to each other than ``tolerances.wall``, which is thinner than a cut, are joined.
    Where sheet would touch itself at a point only, which holds nothing and which no mesh can stand
    for, the point is opened by a slit of a few hundredths of a millimetre.

    Parameters
    ----------
    artwork : PlacedArtwork
        A layer's areas on the plate.
    settings : SheetSettings
        Size of the plate and its material.
    holes : shapely MultiPolygon
        The registration holes, in mm of the plate.
    tolerances : Tolerances

    Returns
    -------
    sheet : Sheet
    findings : tuple of Finding
        Openings in the margin or over the edge, holes that meet an opening, walls taken away,
        opened points.
    """
    grid = grid_of(max(settings.width_mm, settings.height_mm))
    width, height = on_grid(np.array([settings.width_mm, settings.height_mm]), grid).tolist()
    outline = shapely.box(0, 0, width, height)
    findings: list[Finding] = []
    inner = shapely.box(
        *(settings.margin_mm,) * 2, width - settings.margin_mm, height - settings.margin_mm
    )
    findings += _outside(artwork.shape, outline, inner, artwork.layer, settings.margin_mm)
    drawn = snapped(artwork.shape, grid)
    walled = without_thin_walls(drawn, tolerances.wall)
    findings += _wall_findings(walled, drawn.area, tolerances.wall, artwork.layer)
    openings = walled.openings
    if findings:
        openings = as_multipolygon(shapely.intersection(openings, outline))
    openings = snapped(openings, grid)
    holes = snapped(holes, grid)
    if not holes.is_empty and shapely.intersects(holes, openings):
        for hole in holes.geoms:
            if hole.intersects(openings):
                findings.append(
                    Finding(
                        "registration.hole-in-opening",
                        Severity.SPOILS,
                        "A registration hole meets an opening; move one of them.",
                        artwork.layer,
                        (hole.centroid.x, hole.centroid.y),
                    )
                )
    cut = openings if holes.is_empty else openings.union(holes)
    plate = cut_plate(outline, cut, artwork.layer, tolerances)
    findings += _told(
        shapely.points(plate.opened),
        TOUCHES_AT_POINT,
        _TOUCHES,
        artwork.layer,
        2 * tolerances.pinch,
    )
    sheet = Sheet(artwork.layer, outline, openings, holes, plate.shape, settings.thickness_mm)
    return sheet, tuple(findings)


#: Notes of one kind in one layer that are told one by one; more, and warnings, are told together.
_TELL_EACH = 10
#: A wall of at most so many widths is a point where sheet touches itself.
_POINT = 4.0
#: Walls that are more than this share of what was drawn make another picture of it: a comb's gaps.
_MUCH_IN_WALLS = 0.01


def _wall_findings(walled: Walled, drawn: float, width: float, layer: str) -> list[Finding]:
    """Tell of walls; with a warning where they are much of the picture."""
    if not walled.walls:
        return []
    array = np.array(walled.walls, object)
    more = walled.openings.area - drawn
    much = more > _MUCH_IN_WALLS * drawn
    so_much = f", and {more:.3g} mm2 more are painted, {more / drawn:.1%} of what was drawn" * much
    x0, y0, x1, y1 = shapely.bounds(array).T
    point = np.hypot(x1 - x0, y1 - y0) <= _POINT * width
    return _told(
        array[~point],
        "sheet.wall-closed",
        f"Less than {width:g} mm of sheet stood between openings here, thinner than a cut; they "
        f"were joined to one opening{so_much}",
        layer,
        width,
        Severity.WARNING if much else Severity.NOTE,
    ) + _told(array[point], TOUCHES_AT_POINT, _TOUCHES, layer, width)


def _told(
    places: Geometries,
    code: str,
    sentence: str,
    layer: str,
    size: float,
    severity: Severity = Severity.NOTE,
) -> list[Finding]:
    """Return a finding for each place, or one for all where they are a crowd."""
    points = shapely.get_coordinates(shapely.point_on_surface(places)).tolist()
    if len(points) > (_TELL_EACH if severity is Severity.NOTE else 1):
        others = len(points) - 1
        sentence = f"{sentence} (and at {others} more place{'s' * (others > 1)})"
        points = points[:1]
    return [Finding(code, severity, f"{sentence}.", layer, (x, y), size) for x, y in points]


def _outside(
    shape: MultiPolygon, outline: Polygon, inner: Polygon, layer: str, margin: float
) -> list[Finding]:
    parts = shapely.get_parts(shape)
    bounds = shapely.bounds(parts)
    x0, y0, x1, y1 = inner.bounds
    # Half a micrometre: artwork that exactly fills its page is not in the margin.
    slack = 5e-4
    beyond = (
        (bounds[:, 0] < x0 - slack)
        | (bounds[:, 1] < y0 - slack)
        | (bounds[:, 2] > x1 + slack)
        | (bounds[:, 3] > y1 + slack)
    )
    findings = []
    for part in parts[beyond]:
        where = part.difference(inner).representative_point()
        place = (where.x, where.y)
        if outline.covers(part) and outline.exterior.distance(part) > 0:
            findings.append(
                Finding(
                    "sheet.in-margin",
                    Severity.WARNING,
                    f"An opening reaches into the {margin:g} mm margin.",
                    layer,
                    place,
                    float(outline.exterior.distance(part)),
                )
            )
        else:
            findings.append(
                Finding(
                    "sheet.over-edge",
                    Severity.SPOILS,
                    "An opening runs over the sheet's edge and was cut off there.",
                    layer,
                    place,
                )
            )
    return findings
