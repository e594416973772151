"""Painted items of an SVG drawing to polygons: fills, strokes and clips of all items at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import MultiPolygon

from ...arrays import Floats, Geometries, Indices
from ...errors import ArtworkError
from ...finding import Finding
from ...planar.curves import largest_stretch
from ...planar.union import unite
from ...tolerance import Tolerances
from ..fill.contour import Compound, Contour, Rule
from ..fill.fill import FilledEach, fill_each
from ..fill.rings import ABSURD_MM
from .flattening import FlatPicture
from .path import PathData, Polylines, flatten_paths, reach
from .state import Group
from .stroke import Pen, rough_outlines, stroke_outlines
from .style import Paint
from .transforms import Matrix, linear_and_shift
from .wide_strokes import shown_as_hole, wide_stroke

#: A space scaled down further than this holds nothing that shows.
LEAST_SCALE = 1e-12


@dataclass(frozen=True)
class Coat:
    """What a fill or stroke is painted with, and how it is laid over what is below.

    Parameters
    ----------
    paint : Paint
        A colour, or a server's reference.
    opacity : float
        Of this fill or stroke alone; the paint has its own alpha.
    groups : tuple of Group
        See ``State.groups``.
    viewport : tuple of float
        Width and height in user units, for the percentages of gradients.
    """

    paint: Paint
    opacity: float
    groups: tuple[Group, ...]
    viewport: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Item:
    """One fill or one stroke.

    Parameters
    ----------
    path : PathData
        In the user space of the element.
    matrix : Matrix
        From user space to mm, y up.
    name : str
        What messages call the element.
    rule : {"nonzero", "evenodd"}
    pen : Pen, optional
        For a stroke; lengths in user space.
    rigid_pen : bool
        The pen's lengths are mm already and no transform changes it (``non-scaling-stroke``).
    also_stroked : bool
        For a fill: a line without area is no mistake, its stroke shows.
    clips : tuple of MultiPolygon
        In mm; only what lies in all of them shows.
    light : float, optional
        Luminance of what it is painted with, for masks; None where it is not an opaque colour.
    coat : Coat, optional
        What it is painted with, for pictures; None where only the outline counts.
    picture : FlatPicture, optional
        It is this picture; the path is the box round it, in pixels.
    """

    path: PathData
    matrix: Matrix
    name: str
    rule: Rule = "nonzero"
    pen: Pen | None = None
    rigid_pen: bool = False
    also_stroked: bool = False
    clips: tuple[MultiPolygon, ...] = ()
    light: float | None = None
    coat: Coat | None = None
    picture: FlatPicture | None = None


def areas(
    items: Sequence[Item], tolerances: Tolerances, what: str
) -> tuple[Geometries, tuple[Finding, ...]]:
    """Return the polygons that items paint, which may overlap.

    Parameters
    ----------
    items : sequence of Item
    tolerances : Tolerances
        ``chord`` holds in mm after all transforms, for strokes including their curve's.
    what : str
        Start of the sentence of an error.

    Raises
    ------
    ArtworkError
        A coordinate is not finite or absurd, or a stroke has too many dashes.
    """
    each = _filled(items, tolerances, what)
    polygons = _clipped(each, items, tolerances)
    return polygons, each.findings


def areas_of_each(
    items: Sequence[Item], tolerances: Tolerances, what: str, hair: float = 0.0
) -> tuple[list[MultiPolygon], tuple[Finding, ...]]:
    """Return what each item paints by itself.

    Parameters and errors are those of :func:`areas`, but for one.

    Parameters
    ----------
    items : sequence of Item
    tolerances : Tolerances
    what : str
    hair : float
        Strokes less wide than this, in mm, are outlined roughly: ends and corners of a hair do not
        show.

    Returns
    -------
    shapes : list of MultiPolygon
        In the items' order; empty where nothing of an item shows.
    findings : tuple of Finding
    """
    each = _filled(items, tolerances, what, hair)
    shapes = []
    for number, own in enumerate(_by_owner(each, len(items))):
        polygons = each.polygons[own]
        for clip in items[number].clips:
            polygons = clip_polygons(polygons, clip, tolerances)
        if items[number].clips:
            shapes.append(unite(polygons, tolerances=tolerances))
        else:  # what one fill or stroke paints is disjoint already
            shapes.append(shapely.multipolygons(shapely.orient_polygons(polygons)))
    return shapes, each.findings


def _filled(
    items: Sequence[Item], tolerances: Tolerances, what: str, hair: float = 0.0
) -> FilledEach:
    refuse_absurd(items, what)
    compounds: list[Compound | None] = [None] * len(items)
    fills = [i for i, item in enumerate(items) if item.pen is None]
    strokes = [i for i, item in enumerate(items) if item.pen is not None]
    _fill_compounds(items, fills, compounds, tolerances)
    told = _stroke_compounds(items, strokes, compounds, tolerances, what, hair)
    each = fill_each([c for c in compounds if c is not None], tolerances=tolerances, what=what)
    return replace(each, findings=(*each.findings, *told)) if told else each


def _by_owner(each: FilledEach, count: int) -> list[Indices]:
    """Return the numbers of the polygons of each item."""
    order = np.argsort(each.owner, kind="stable")
    begin = np.searchsorted(each.owner[order], np.arange(count + 1))
    return [order[begin[i] : begin[i + 1]] for i in range(count)]


def refuse_absurd(items: Sequence[Item], what: str) -> None:
    """Refuse coordinates that no stencil has, before any curve is cut into chords for them.

    Raises
    ------
    ArtworkError
        A coordinate, radius or pen is not finite or beyond ``ABSURD_MM``.
    """
    paths = [item.path for item in items]
    linear, shift = linear_and_shift(item.matrix for item in items)
    far = reach(paths, linear, shift)
    for i in np.flatnonzero(~(far <= ABSURD_MM)):
        raise _absurd(items[int(i)].name, "a coordinate or radius", float(far[i]), what)
    stretch = largest_stretch(linear[:, :, 0], linear[:, :, 1])
    for item, scale in zip(items, stretch.tolist(), strict=True):
        if item.pen is not None:
            factor = 1.0 if item.rigid_pen else scale
            lengths = [("a stroke width", item.pen.width)]
            lengths += [("a dash", length) for length in item.pen.dashes]
            lengths += [("a dash offset", abs(item.pen.dash_offset))]
            for of, length in lengths:
                if not length * factor <= ABSURD_MM:
                    raise _absurd(item.name, of, length * factor, what)


def _absurd(name: str, of: str, value: float, what: str) -> ArtworkError:
    if np.isfinite(value):
        return ArtworkError(
            f"{what}: {name} has {of} of {value:.4g} mm, expected less than {ABSURD_MM:.0f} mm."
        )
    return ArtworkError(f"{what}: {name} has {of} that is not a finite number.")


def _fill_compounds(
    items: Sequence[Item],
    which: list[int],
    compounds: list[Compound | None],
    tolerances: Tolerances,
) -> None:
    linear, shift = linear_and_shift(items[i].matrix for i in which)
    lines = flatten_paths(
        [items[i].path for i in which], linear, shift, np.full(len(which), tolerances.chord)
    )
    contours: list[list[Contour]] = [[] for _ in which]
    for k, owner in enumerate(lines.owner.tolist()):
        points = lines.points[lines.first[k] : lines.first[k + 1]]
        if len(points) < 3 and items[which[owner]].also_stroked:
            continue
        # A fill closes its subpaths itself (SVG 1.1, section 11.3): an open one is no mistake.
        contours[owner].append(Contour(points))
    for own, i in zip(contours, which, strict=True):
        compounds[i] = Compound(own, items[i].rule, items[i].name, keep_duplicates=True)


def _stroke_compounds(
    items: Sequence[Item],
    which: list[int],
    compounds: list[Compound | None],
    tolerances: Tolerances,
    what: str,
    hair: float,
) -> list[Finding]:
    """Outline strokes in user space, where the pen is round, and map the outlines.

    Returns what is to be told of them.
    """
    linear, shift = linear_and_shift(items[i].matrix for i in which)
    stretch = largest_stretch(linear[:, :, 0], linear[:, :, 1])
    rigid = np.array([items[i].rigid_pen for i in which], dtype=bool)
    # A stroke is off by what its line is off, plus what its own round parts are: half for each.
    tolerance = 0.5 * tolerances.chord / np.where(rigid, 1.0, np.maximum(stretch, LEAST_SCALE))
    before_linear = np.where(rigid[:, None, None], linear, np.eye(2))
    before_shift = np.where(rigid[:, None], shift, 0.0)
    lines = flatten_paths([items[i].path for i in which], before_linear, before_shift, tolerance)
    contours: list[list[Contour]] = [[] for _ in which]
    filled = {id(item.path) for item in items if item.pen is None}
    roughly = _rough_outlines(lines, items, which, hair / np.where(rigid, 1.0, stretch))
    findings = []
    for k, owner in enumerate(lines.owner.tolist()):
        item = items[which[owner]]
        if id(item.path) not in filled and item.pen is not None:
            hole = shown_as_hole(lines, k, item.pen)
            if hole is not None:
                mapped = hole if rigid[owner] else hole @ linear[owner].T + shift[owner]
                findings += wide_stroke(item.name, mapped, what)
        rings = roughly.get(k)
        for ring in rings or _outlines(lines, k, item, float(tolerance[owner]), what):
            mapped = ring if rigid[owner] else ring @ linear[owner].T + shift[owner]
            contours[owner].append(Contour(mapped))
    for own, i in zip(contours, which, strict=True):
        compounds[i] = Compound(own, "nonzero", f"the stroke of {items[i].name}", quiet=True)
    return findings


def _rough_outlines(
    lines: Polylines, items: Sequence[Item], which: list[int], hair: Floats
) -> dict[int, list[Floats]]:
    """Return the outlines of lines whose pen is less wide than a hair, by the line's number."""
    thin: dict[int, tuple[Floats, bool, float]] = {}
    for k, owner in enumerate(lines.owner.tolist()):
        pen = items[which[owner]].pen
        if pen is not None and 0 < pen.width < hair[owner] and not pen.dashes:
            points = lines.points[lines.first[k] : lines.first[k + 1]]
            thin[k] = (points, bool(lines.closed[k]), pen.width)
    outlines = rough_outlines(*zip(*thin.values(), strict=True)) if thin else []
    return dict(zip(thin, outlines, strict=True))


def _outlines(lines: Polylines, k: int, item: Item, tolerance: float, what: str) -> list[Floats]:
    assert item.pen is not None
    span = slice(lines.first[k], lines.first[k + 1])
    try:
        return stroke_outlines(
            lines.points[span],
            item.pen,
            closed=bool(lines.closed[k]),
            smooth=lines.smooth[span],
            tolerance=tolerance,
        )
    except ArtworkError as error:
        raise ArtworkError(f"{what}: {item.name}: {error}.") from None


def _clipped(each: FilledEach, items: Sequence[Item], tolerances: Tolerances) -> Geometries:
    groups: dict[tuple[int, ...], list[int]] = {}
    for i, item in enumerate(items):
        if item.clips:
            groups.setdefault(tuple(map(id, item.clips)), []).append(i)
    if not groups:
        return each.polygons
    by_owner = _by_owner(each, len(items))
    free = np.array([not item.clips for item in items])
    results = [each.polygons[free[each.owner]]]
    for members in groups.values():
        own = np.concatenate([by_owner[i] for i in members])
        polygons = each.polygons[own]
        for clip in items[members[0]].clips:
            polygons = clip_polygons(polygons, clip, tolerances)
        results.append(polygons)
    return np.concatenate(results)


def clip_polygons(polygons: Geometries, clip: MultiPolygon, tolerances: Tolerances) -> Geometries:
    """Return the parts of polygons inside a clip.

    Parameters
    ----------
    polygons : object array of Polygon
    clip : MultiPolygon
    tolerances : Tolerances

    Returns
    -------
    object array of Polygon
        Polygons wholly inside are left as they are.
    """
    shapely.prepare(clip)
    meets = shapely.intersects(clip, polygons)
    whole = shapely.contains_properly(clip, polygons)
    cut = shapely.intersection(polygons[meets & ~whole], clip, grid_size=tolerances.grid)
    parts = shapely.get_parts(cut)
    parts = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]
    parts = parts[shapely.area(parts) >= tolerances.least_area]
    return np.concatenate([polygons[whole], parts])


def bounds_of(
    items: Sequence[Item], tolerance: float, what: str
) -> tuple[float, float, float, float] | None:
    """Return the box round the outlines of items (SVG 1.1, section 7.11).

    Parameters
    ----------
    items : sequence of Item
        Strokes and clips count for nothing.
    tolerance : float
        Distance between curves and their chords.
    what : str
        Start of the sentence of an error.

    Returns
    -------
    tuple of float or None
        x, y, width and height; None for nothing.

    Raises
    ------
    ArtworkError
        As of :func:`refuse_absurd`.
    """
    if not items:
        return None
    refuse_absurd(items, what)
    linear, shift = linear_and_shift(item.matrix for item in items)
    lines = flatten_paths(
        [item.path for item in items], linear, shift, np.full(len(items), tolerance)
    )
    if len(lines.points) == 0:
        return None
    x, y = lines.points.min(axis=0)
    width, height = np.ptp(lines.points, axis=0)
    return float(x), float(y), float(width), float(height)
