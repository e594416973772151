"""Separation: from a drawing in flat colours and settings to layers in spray order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..artwork.coloured import ColouredDrawing
from ..artwork.dxf.coloured import read_dxf_colours
from ..artwork.source import ArtworkSource
from ..artwork.svg.coloured import read_svg_colours
from ..artwork.svg.flattening import Flattening
from ..colour import ciede2000, hex_from_srgb, lab_from_srgb, srgb_from_hex
from ..errors import ArtworkError
from ..finding import Finding
from ..job.fit import fit_scale, fit_sheet
from ..planar.arrangement import merge_faces
from ..planar.graph import connected_labels
from ..planar.morphology import close_shape
from ..planar.polygons import as_multipolygon, without_specks
from ..progress import Progress
from ..tolerance import TOLERANCES
from ..tracing.bezier_fit import CurvedShape, fit_shapes
from .cans import Palette, gather
from .colour_names import colour_names
from .extents import Sheets
from .flat_picture import embedded_picture, read_flat_colours
from .hairlines import hair_width, without_hairlines
from .losses import (
    can_findings,
    crumb_findings,
    gone_findings,
    hue_findings,
    lost_findings,
    wall_findings,
)
from .order import Plan, alternatives, best_plan
from .passes import in_two_passes
from .regions import BARE, Regions, regions_of
from .seen import Seen, joined_runs, seen_of
from .settings import USUAL_CANS, SeparationSettings

#: Endings of pictures, whose flat colours are found pixel by pixel.
PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff")
#: Curves stray by so many pixels at least.
_GRAINS = 1.0
#: Chords a quarter circle of what is grown or shrunk.
_QUARTER = 6
#: Edges that later paint hides are simplified by this share of the trap, or of a bridge's width.
_HIDDEN = 0.05
#: Parts and holes under this area (mm2) are leftovers of rounding.
_SPECK = 0.05

#: Sheets, their best plan, whether it is exact, and each layer's can.
_Planned = tuple[Sheets, Plan, bool, dict[int, int]]


@dataclass(frozen=True, eq=False)
class SeparatedLayer:
    """One layer.

    Parameters
    ----------
    name : str
    colour : str
    can : int
        Number of its can; layers may share one.
    shape : MultiPolygon
        What it paints, with what runs under later layers, in mm of the page, y up.
    seen : MultiPolygon
        What of it is seen in the end.
    curves : CurvedShape
        The shape with its outlines as curves.
    islands : int
        Pieces of its sheet that bridges have to hold.
    spoiled : float
        Estimate of what these leave bare, in mm2.
    cut : float
        Length of cut in mm.
    """

    name: str
    colour: str
    can: int
    shape: MultiPolygon
    seen: MultiPolygon
    curves: CurvedShape
    islands: int
    spoiled: float
    cut: float


@dataclass(frozen=True, eq=False)
class Separation:
    """A drawing separated into layers.

    Parameters
    ----------
    settings : SeparationSettings
    source : Path
    seen : Seen
    regions : Regions
    palette : Palette
        Of the cells that are painted.
    layers : tuple of SeparatedLayer
        In spray order.
    ground : str
    page, sheet : tuple of float
        Width and height in mm.
    sheets : Sheets
        What any order of the layers would cost.
    can_of : dict of int to int
        Number of each layer's can; -1 for the wall's colour.
    plan : Plan
    exact : bool
        Whether no other order costs less.
    others : tuple of (str, Plan)
        What other orders would cost.
    drawn_order : tuple of int
        The plans' layers in the drawing's own order.
    drawn_names : tuple of str
        Names of the plans' layers by number.
    findings : tuple of Finding
    """

    settings: SeparationSettings
    source: Path
    seen: Seen
    regions: Regions
    palette: Palette
    layers: tuple[SeparatedLayer, ...]
    ground: str
    page: tuple[float, float]
    sheet: tuple[float, float]
    sheets: Sheets
    can_of: dict[int, int]
    plan: Plan
    exact: bool
    others: tuple[tuple[str, Plan], ...]
    drawn_order: tuple[int, ...]
    drawn_names: tuple[str, ...]
    findings: tuple[Finding, ...]


def read_and_separate(
    path: Path,
    settings: SeparationSettings,
    progress: Progress | None = None,
    named: Mapping[str, str] | None = None,
) -> Separation:
    """Read a drawing and separate it into layers.

    Parameters
    ----------
    path : Path
        An SVG or DXF file, or a picture with few flat colours.
    settings : SeparationSettings
    progress : Progress, optional
    named : mapping from str to str, optional
        What the artist calls some colours; their layers are called so.

    Raises
    ------
    ArtworkError
        The file cannot be read, or nothing is seen in it.
    JobError
        Settings do not go together.
    Cancelled
    """
    progress = progress or Progress()
    progress(0.0, f"reading {path.name}")
    drawing = read_coloured(path, settings)
    if path.suffix.lower() == ".dxf":
        named = {**layer_names(drawing), **(named or {})}
    return separate(drawing, settings, path, progress.part(0.1, 1.0), named)


def read_coloured(path: Path, settings: SeparationSettings) -> ColouredDrawing:
    """Read a drawing at the size that the settings ask for.

    Parameters and errors are those of :func:`read_and_separate`.
    """

    def scale_of(page: tuple[float, float]) -> float:
        width, height = settings.sheet_width_mm, settings.sheet_height_mm
        return fit_scale(page, width, height, settings.margin_mm)

    if not path.is_file():
        raise ArtworkError(f"{path}: there is no such file.")
    if path.suffix.lower() in PICTURES:
        return read_flat_colours(path, scale_of)
    if path.suffix.lower() == ".dxf":
        return read_dxf_colours(ArtworkSource(path), scale_of)
    hair = hair_width(settings.least)
    flattening = Flattening(settings.gradient_steps, embedded_picture, hair)
    return read_svg_colours(ArtworkSource(path), scale_of, TOLERANCES, flattening)


def separate(
    drawing: ColouredDrawing,
    settings: SeparationSettings,
    source: Path = Path(),
    progress: Progress | None = None,
    named: Mapping[str, str] | None = None,
) -> Separation:
    """Separate a drawing into layers.

    Parameters
    ----------
    drawing : ColouredDrawing
    settings : SeparationSettings
    source : Path
        For messages.
    progress : Progress, optional
    named : mapping from str to str, optional
        As of ``read_and_separate``.

    Raises
    ------
    ArtworkError
        Nothing is seen on the page, or nothing that could be cut.
    Cancelled
    """
    progress = progress or Progress()
    if settings.tolerance_mm is None and drawing.grain > 0:
        # Curves that follow pixels more closely than this follow their steps.
        tolerance = max(settings.tolerance(drawing.page), _GRAINS * drawing.grain)
        settings = replace(settings, tolerance_mm=tolerance)
    # Lines side by side in one colour may be an area: they are joined before they are looked at.
    joined = joined_runs(drawing.shapes)
    shapes, hairs = without_hairlines(joined, drawing.page, settings.least)
    seen = seen_of(replace(drawing, shapes=shapes), progress.part(0.0, 0.3))
    ground = settings.ground or hex_from_srgb(seen.backdrop or (1.0, 1.0, 1.0))
    painted = seen.painted
    too_thin = (
        f"{source}: all that the drawing shows is too thin to be cut on a page of "
        f"{drawing.page[0]:.4g} x {drawing.page[1]:.4g} mm, where an opening is {settings.least:g} "
        "mm wide at least; a larger sheet keeps more."
    )
    if not painted.any():
        raise ArtworkError(
            too_thin if hairs else f"{source}: nothing is seen on the page of the drawing."
        )
    colours, areas = seen.over(srgb_from_hex(ground))[painted], seen.cells.areas[painted]
    palette = gather(colours, areas, ground, settings.layers or USUAL_CANS, settings.cans)
    if not palette.cans:
        raise ArtworkError(
            f"{source}: all that is seen has the colour of the wall, {ground}; give another one "
            "with --ground."
        )
    progress(0.35, "finding regions")
    label = np.full(len(painted), BARE)
    label[painted] = palette.can_of
    apart = differences((*palette.cans, ground))
    regions, lost = regions_of(seen.cells, label, painted, apart, settings.least / 2)
    if (regions.label == BARE).all():
        raise ArtworkError(too_thin)
    drawn = order_of_sight(seen.top, label)
    sheets, plan, exact, can_of = _plan(
        regions, drawn, (*palette.cans, ground), settings, progress.part(0.4, 0.6)
    )
    order = [k for k in drawn if k in sheets.layers]
    order += [k for k in sheets.layers if k not in order]
    others = alternatives(sheets, plan, order)
    progress(0.6, "drawing the layers")
    names = _names(sheets, (*palette.cans, ground), can_of, named)
    layers = lay_out(sheets, plan, (*palette.cans, ground), can_of, names, settings)
    findings = [*drawing.findings]
    findings += lost_findings(settings.least, hairs, lost)
    used = {layer.can for layer in layers} | {-1}
    stands = np.isin(palette.can_of, list(used))
    findings += gone_findings(joined, colours[stands], [*(n.colour for n in layers), ground])
    over = (regions.label == BARE) & (np.array(sheets.label) != BARE)
    over &= [can_of.get(k, -1) >= 0 for k in sheets.label]
    findings += crumb_findings(regions.shapes[over])
    findings += wall_findings([n.name for n in layers if n.can < 0], ground, settings)
    findings += can_findings(palette, colours, areas, ground, settings)
    findings += hue_findings(palette, colours, seen.cells.cells[painted], ground, settings)
    page = drawing.page
    sheet = fit_sheet(page, settings.sheet_width_mm, settings.sheet_height_mm, settings.margin_mm)
    return Separation(
        settings,
        source,
        seen,
        regions,
        palette,
        layers,
        ground,
        page,
        sheet,
        sheets,
        can_of,
        plan,
        exact,
        tuple(others),
        tuple(order),
        names,
        tuple(findings),
    )


def layer_names(drawing: ColouredDrawing) -> dict[str, str]:
    """Return what the artist calls those colours that one layer of the drawing alone has.

    >>> drawing = ColouredDrawing((), (1.0, 1.0), 1.0)
    >>> layer_names(drawing)
    {}
    """
    names: dict[str, set[str]] = {}
    for shape in drawing.shapes:
        names.setdefault(hex_from_srgb(shape.rgb), set()).add(shape.layer)
    # Layer 0 is there in every DXF file: its name says nothing.
    own = {colour: found.pop() for colour, found in names.items() if len(found) == 1}
    return {colour: name for colour, name in own.items() if name not in ("", "0")}


def differences(colours: Sequence[str]) -> Floats:
    """Return CIEDE2000 (n, n) between colours."""
    lab = lab_from_srgb(np.array([srgb_from_hex(c) for c in colours]))
    found: Floats = ciede2000(lab[:, None], lab[None])
    return found


def order_of_sight(top: Indices, label: Indices) -> list[int]:
    """Return the labels of cells in the order of the lowest shape that shows each."""
    order: list[int] = []
    for cell in np.argsort(top, kind="stable").tolist():
        own = int(label[cell])
        if own != BARE and own not in order:
            order.append(own)
    return order


def _plan(
    regions: Regions,
    drawn: list[int],
    colours: Sequence[str],
    settings: SeparationSettings,
    progress: Progress,
) -> _Planned:
    """Return the sheets, their best plan, whether it is exact, and each layer's can.

    What the drawing paints in the wall's own colour may be left bare, or be a layer of its own that
    covers what runs under it; whichever costs less.
    """
    bridge, trap = settings.least_bridge, settings.trap_mm
    wall = (regions.label == BARE) & regions.drawn & (regions.rim == 0)
    top = max(drawn) + 1
    light = lab_from_srgb(np.array([srgb_from_hex(c) for c in colours]))[:, 0].tolist()
    lightness = {**dict(enumerate(light[:-1])), top: light[-1]}
    first = Sheets(regions, regions.label.tolist(), bridge, trap, lightness)

    def planned_for(label: Indices, part: Progress) -> _Planned | None:
        sheets = first.relabelled(label.tolist(), lightness).afresh()
        shown = [k for k in (*drawn, top) if k in sheets.layers]
        if not shown:
            return None
        can_of = {k: (k if k < top else -1) for k in sheets.layers}
        return in_two_passes(sheets, *best_plan(sheets, shown, part), shown, can_of)

    bare = planned_for(regions.label, progress.part(0.0, 0.4))
    covered = None
    if wall.any():
        label = np.where(wall, top, regions.label)
        covered = planned_for(label, progress.part(0.4, 0.7))
    found = min((f for f in (bare, covered) if f is not None), key=lambda f: f[1].cost)
    # Crumbs of the wall's colour may be worth less than what holds or covers them.
    crumbs = np.flatnonzero(wall & (regions.areas < bridge**2))
    if len(crumbs):
        keeps = wall if found is covered else np.zeros(len(wall), bool)
        label = _given_over(np.where(keeps, top, regions.label), crumbs, regions, top)
        lost = float(regions.areas[crumbs].sum()) / bridge**2
        without = planned_for(label, progress.part(0.7, 1.0))
        if without is not None and without[1].cost + lost < found[1].cost:
            found = without
    return found


def _given_over(label: Indices, crumbs: Indices, regions: Regions, top: int) -> Indices:
    """Return labels with each crumb in the colour that it borders on most."""
    given = label.copy()
    for crumb in crumbs.tolist():
        at = (regions.pairs == crumb).any(axis=1)
        other = label[regions.pairs[at].sum(axis=1) - crumb]
        paints = (other != BARE) & (other != top)
        if paints.any():
            length = np.bincount(other[paints], regions.borders[at][paints])
            given[crumb] = int(np.argmax(length))
    return given


def _names(
    sheets: Sheets, colours: Sequence[str], can_of: dict[int, int], own: Mapping[str, str] | None
) -> tuple[str, ...]:
    """Return the names of the layers by number; those of like colours are numbered."""
    layers = sheets.layers
    words = colour_names([colours[can_of[k]] for k in layers], own)
    named = dict(zip(layers, words, strict=True))
    return tuple(named.get(k, "") for k in range(1 + max(layers)))


def lay_out(
    sheets: Sheets,
    plan: Plan,
    colours: Sequence[str],
    can_of: dict[int, int],
    names: Sequence[str],
    settings: SeparationSettings,
) -> tuple[SeparatedLayer, ...]:
    """Return the layers of a plan, with their traps, as shapes and as curves.

    Parameters
    ----------
    sheets : Sheets
    plan : Plan
    colours : sequence of str
        Of the cans; the wall's comes last.
    can_of : dict of int to int
        Each layer's can; -1 for the wall's colour.
    names : sequence of str
        Of the layers by number.
    settings : SeparationSettings
    """
    regions = sheets.regions
    label = np.array(sheets.label)
    seen = [_united(regions.shapes[label == k]) for k in plan.order]
    trap, least = settings.trap_mm, settings.least_bridge
    shapes = []
    for number, extent in enumerate(plan.extents):
        later = np.isin(label, plan.order[number:])
        opened = np.array(extent.opened)
        meets = _with_hidden(regions, later, opened)
        shape = _united(regions.shapes[opened[meets]])
        if meets.any():
            allowed = _allowed(regions, later, opened[meets], 2 * trap + least)
            shape = _run_under(shape, allowed, trap, least)
        alone = _united(regions.shapes[opened[~meets]])
        shape = shapely.multipolygons([*shape.geoms, *alone.geoms])
        shapes.append(shape)
    curves = fit_shapes(shapes, settings.tolerance(regions.page), regions.page)
    found = []
    for number, extent in enumerate(plan.extents):
        found.append(
            SeparatedLayer(
                names[plan.order[number]],
                colours[can_of[plan.order[number]]],
                can_of[plan.order[number]],
                shapes[number],
                seen[number],
                curves[number],
                extent.islands,
                extent.spoiled,
                extent.cut,
            )
        )
    return tuple(found)


def _with_hidden(regions: Regions, later: Bools, opened: Indices) -> Bools:
    """Return where a layer is open and hangs together with what later ones paint over.

    Anything else stays as it is drawn. Parameters are those of :func:`_allowed`.
    """
    part = _parts_of(regions, later)
    hidden = later.copy()
    hidden[opened] = False
    found: Bools = np.isin(part[opened], part[hidden])
    return found


def _parts_of(regions: Regions, some: Bools) -> Indices:
    """Return labels of regions: the same where some of them hang together."""
    return connected_labels(len(some), regions.pairs[some[regions.pairs].all(axis=1)])


def _allowed(regions: Regions, later: Bools, opened: Indices, reach: float) -> MultiPolygon:
    """Return where a layer may be open: what it and later ones paint, as far as it gets there.

    Parameters
    ----------
    regions : Regions
    later : bool array (regions,)
        Which of them this layer or later ones show.
    opened : int array
        Where the layer is open anyway.
    reach : float
        How far from there, in mm, anything is asked for.
    """
    part = _parts_of(regions, later)
    x0, y0, x1, y1 = shapely.bounds(regions.shapes).T
    near = (x1 >= x0[opened].min() - reach) & (x0 <= x1[opened].max() + reach)
    near &= (y1 >= y0[opened].min() - reach) & (y0 <= y1[opened].max() + reach)
    return _near(
        _united(regions.shapes[later & near & np.isin(part, part[opened])]),
        shapely.total_bounds(regions.shapes[opened]),
        reach,
    )


def _run_under(
    shape: MultiPolygon, allowed: MultiPolygon, trap: float, least: float
) -> MultiPolygon:
    """Return a layer with its trap under later ones, and no narrow sheet left where those paint.

    The trap keeps its own width away from where nothing later covers it, so that a drift does not
    bring it to light.

    Parameters
    ----------
    shape : MultiPolygon
    allowed : MultiPolygon
        What the layer shows and what later ones paint near it.
    trap, least : float
        Widths of the trap and of sheet that holds, in mm.
    """
    if shape.is_empty:
        return shape
    grown = shape
    if trap > 0:
        # Hidden edges need no more points. Part by part: they do not meet, and the offset of one is
        # found much sooner than that of many.
        smooth = shapely.simplify(shapely.get_parts(allowed), _HIDDEN * trap)
        covered = as_multipolygon(
            shapely.geometrycollections(shapely.buffer(smooth, -trap, quad_segs=_QUARTER))
        )
        wide = shapely.buffer(shapely.simplify(shape, _HIDDEN * trap), trap, quad_segs=_QUARTER)
        grown = as_multipolygon(shapely.union(shape, shapely.intersection(wide, covered)))
    # What is left of later colours between its parts is too narrow to hold as sheet.
    filled = shapely.union(grown, _gaps(grown, allowed, least))
    left, _ = without_specks(shapely.get_parts(filled), _SPECK)
    return shapely.multipolygons(shapely.orient_polygons(left))


def _gaps(shape: MultiPolygon, allowed: MultiPolygon, least: float) -> MultiPolygon:
    """Return what lies between parts of a layer, narrower than this, where it may be open.

    All of it is hidden: edges a little off do not show, and are found much sooner. So that no slit
    stays beside them, what is filled overlaps the layer.
    """
    smooth = as_multipolygon(shapely.simplify(shape, _HIDDEN * least))
    closed = close_shape(smooth, least)
    between = shapely.get_parts(shapely.difference(closed, smooth))
    between = between[shapely.area(between) > TOLERANCES.least_area]
    over = shapely.union_all(shapely.buffer(between, 2 * _HIDDEN * least, join_style="mitre"))
    return as_multipolygon(shapely.intersection(shapely.intersection(over, closed), allowed))


def _near(shape: MultiPolygon, bounds: Floats, reach: float) -> MultiPolygon:
    """Return what of a shape lies in a box grown by a reach in mm."""
    x0, y0, x1, y1 = bounds
    box = (x0 - reach, y0 - reach, x1 + reach, y1 + reach)
    # Far quicker than an intersection, but known to fail where an edge runs along the box.
    clipped = as_multipolygon(shapely.clip_by_rect(shape, *box))
    return clipped if clipped.is_valid else as_multipolygon(shape.intersection(shapely.box(*box)))


def _united(shapes: Geometries) -> MultiPolygon:
    """Return shapes that share their borders' vertices as one."""
    parts = shapely.get_parts(shapes)
    if not len(parts):
        return MultiPolygon()
    return shapely.multipolygons(shapely.orient_polygons(merge_faces(parts, TOLERANCES)))
