"""Narrow places: where a shape is narrower than a width, what kind of place it is, and how long.

A shape that is worn back by half the width and grown again loses what a disc of that width cannot
reach. Each lost part is a place: a neck where it lies between two parts of the rest, a tongue where
it hangs on one, a sliver where nothing of its piece is left. Sharp corners lose their tips too,
which is no fault of theirs: short ones are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..threads import map_geometries
from .union import cluster_labels, union_by_label

QUARTER_SEGMENTS = 12
_POLYGON = 3  # shapely.GeometryType.POLYGON
#: A tongue is told when it is longer than this many widths and slender: sharp corners are not.
LONG = 2.5
#: Points along a narrow place at which its width is measured.
STATIONS = 33
#: A place as wide as this share of the width is wide enough: rounds are polygons.
ENOUGH = 0.99
#: The rest of the shape is grown a little further (by this share of half the width), so that round
#: parts, whose rounds are drawn as polygons, do not leave shavings all along.
SLACK = 0.02
#: Lost parts of less than this share of the width's square are nothing.
LEAST_AREA = 0.02


@dataclass(frozen=True)
class NarrowPlace:
    """One narrow place.

    Parameters
    ----------
    kind : str
        ``"neck"`` between two wider parts, ``"tongue"`` on one, ``"sliver"`` with none.
    place : tuple of float
        x, y in mm: the middle of its narrowest width.
    width_mm : float
        Least width of a neck, mean width of a tongue, which ends in a tip, greatest of a sliver.
    length_mm : float
        Along its middle.
    path : float64 array (k, 2)
        Its middle line.
    """

    kind: str
    place: tuple[float, float]
    width_mm: float
    length_mm: float
    path: Floats


def narrow_parts(shape: Polygon | MultiPolygon, width: float) -> list[NarrowPlace]:
    """Return the places where openings, or any polygons, are narrower than ``width``.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        Valid, in mm.
    width : float
        In mm.

    Returns
    -------
    list of NarrowPlace
        From the narrowest to the widest.

    Examples
    --------
    >>> slot = shapely.union_all([shapely.box(0, 0, 9, 9), shapely.box(9, 4, 20, 4.8)])
    >>> [(p.kind, round(p.width_mm, 1), round(p.length_mm)) for p in narrow_parts(slot, 1.5)]
    [('tongue', 0.8, 11)]
    """
    radius = width / 2 * ENOUGH
    parts = shapely.get_parts(shape)
    core = map_geometries(shapely.buffer, parts, distance=-radius, quad_segs=QUARTER_SEGMENTS)
    grow = radius * (1 + SLACK)
    wide = map_geometries(shapely.buffer, core, distance=grow, quad_segs=QUARTER_SEGMENTS)
    lost, of = shapely.get_parts(map_geometries(shapely.difference, parts, wide), return_index=True)
    kept = _worth_a_look(lost, width)
    beside = _a_hair_wider(wide, of[kept], width)
    touch = map_geometries(shapely.intersection, shapely.boundary(lost[kept]), beside)
    return _places(lost[kept], touch, width)


def narrow_sheet(outline: Polygon, openings: MultiPolygon, width: float) -> list[NarrowPlace]:
    """Return the places where a sheet is narrower than ``width``.

    Parameters
    ----------
    outline : Polygon
        Outer edge of the sheet in mm.
    openings : MultiPolygon
        All that is cut out of it; islands are holes in it.
    width : float
        In mm.

    Returns
    -------
    list of NarrowPlace
        From the narrowest to the widest.

    Notes
    -----
    Works on openings instead of on the sheet: openings that are grown by half the width and shrunk
    again swallow what lies between them. Only those that meet when grown are looked at together,
    so that the work grows with their number.

    Examples
    --------
    >>> holes = shapely.MultiPolygon([shapely.box(10, 2, 19.2, 18), shapely.box(20, 2, 30, 18)])
    >>> found = narrow_sheet(shapely.box(0, 0, 40, 20), holes, 1.5)
    >>> [(p.kind, round(p.width_mm, 3)) for p in found]
    [('neck', 0.8)]
    """
    radius = width / 2 * ENOUGH
    voids = shapely.get_parts(openings)
    rim = outline.buffer(2 * width, join_style="mitre").difference(outline)
    if len(voids) and (shapely.distance(voids, outline.exterior) < width).any():
        voids = np.append(voids, rim)
    grown = map_geometries(shapely.buffer, voids, distance=radius, quad_segs=QUARTER_SEGMENTS)
    labels = cluster_labels(grown)
    joined, own = union_by_label(grown, labels), union_by_label(voids, labels)
    shrink = -radius * (1 + SLACK)
    closed = map_geometries(shapely.buffer, joined, distance=shrink, quad_segs=QUARTER_SEGMENTS)
    lost, of = shapely.get_parts(map_geometries(shapely.difference, closed, own), return_index=True)
    kept = _worth_a_look(lost, width)
    beside = _a_hair_wider(own, of[kept], width)
    touch = map_geometries(shapely.difference, shapely.boundary(lost[kept]), beside)
    return _places(lost[kept], touch, width)


def _a_hair_wider(shapes: Geometries, wanted: Indices, width: float) -> Geometries:
    """Return the wanted shapes, each widened once, so that what touches them overlaps them."""
    needed, place = np.unique(wanted, return_inverse=True)
    hair = 1e-4 * width + 1e-6
    return map_geometries(shapely.buffer, shapes[needed], distance=hair, quad_segs=1)[place]


def _worth_a_look(lost: Geometries, width: float) -> Bools:
    """Return which lost parts have an area that counts."""
    return (shapely.get_type_id(lost) == _POLYGON) & (
        shapely.area(lost) > LEAST_AREA * width * width
    )


def _places(parts: Geometries, touch: Geometries, width: float) -> list[NarrowPlace]:
    """Return the lost parts that are narrow places, from the narrowest to the widest.

    ``touch`` is the share of each part's edge along which it hangs on wider parts.
    """
    # Most lost parts are tips of corners: one contact, and too short round to be a tongue.
    contacts = shapely.get_num_geometries(shapely.line_merge(touch))
    tip = (contacts < 2) & ~shapely.is_empty(touch) & (shapely.length(parts) < 2 * LONG * width)
    pairs = zip(parts[~tip], touch[~tip], strict=True)
    found = (_place(part, along, width) for part, along in pairs)
    return sorted((p for p in found if p is not None), key=lambda p: (p.width_mm, p.place))


def _place(part: Polygon, touch: shapely.Geometry, width: float) -> NarrowPlace | None:
    """Return what kind of place a lost part is, None for the tip of a corner.

    ``touch`` is the share of its edge along which it hangs on wider parts.
    """
    contacts = _lines(touch)
    if len(contacts) >= 2:
        sides = _lines(part.boundary.difference(shapely.buffer(touch, 1e-4 * width)))
        if len(sides) < 2:
            return None
        a, b = sorted(sides, key=lambda line: -line.length)[:2]
        path, widths = _along(a, b)
        narrowest = float(a.distance(b))
        # Of a neck that is narrow all along, its middle.
        as_narrow = np.flatnonzero(widths <= 1.01 * widths.min())
        at = path[as_narrow[np.argmin(np.abs(as_narrow - len(path) // 2))]]
        return _told("neck", path, narrowest, at)
    path, widths = _along(*_two_sides(part, contacts))
    length = float(LineString(path).length)
    if not contacts:
        circle = shapely.maximum_inscribed_circle(part, 1e-3 * width)
        return _told("sliver", path, 2 * float(circle.length), shapely.get_coordinates(circle)[0])
    mean = part.area / max(length, 1e-9)
    if length < LONG * width or length < LONG * mean:
        return None
    return _told("tongue", path, mean, path[len(path) // 2])


def _told(kind: str, path: Floats, width: float, at: Floats) -> NarrowPlace:
    length = float(LineString(path).length)
    return NarrowPlace(kind, (float(at[0]), float(at[1])), width, length, path)


def _lines(geometry: shapely.Geometry) -> list[LineString]:
    """Return the stretches of line in a geometry, those that meet end to end as one."""
    parts = [p for p in shapely.get_parts(geometry) if isinstance(p, LineString) and p.length > 0]
    if not parts:
        return []
    merged = shapely.get_parts(shapely.line_merge(shapely.union_all(parts)))
    return [p for p in merged if isinstance(p, LineString)]


def _two_sides(part: Polygon, contacts: list[LineString]) -> tuple[LineString, LineString]:
    """Return the two long sides of a part that has no or one contact, from its ends' far points."""
    ring = shapely.get_coordinates(part.exterior)
    line = LineString(ring)
    if contacts:
        root = contacts[0].interpolate(0.5, normalized=True)
    else:
        points = shapely.points(ring)
        start = points[int(np.argmax(shapely.distance(points, part.centroid)))]
        root = start
    at = line.project(root)
    length = line.length
    share = (at + np.linspace(0, 1, 201) * length) % length
    points = shapely.line_interpolate_point(line, share)
    tip = int(np.argmax(shapely.distance(points, root)))
    coordinates = shapely.get_coordinates(points)
    tip = min(max(tip, 2), len(coordinates) - 3)
    first, second = coordinates[: tip + 1], coordinates[tip:][::-1]
    return LineString(first), LineString(second)


def _along(first: LineString, second: LineString) -> tuple[Floats, Floats]:
    """Return the middle line between two sides, and the width at each of its points."""
    ends = shapely.get_coordinates(first)[[0, -1]]
    other = shapely.get_coordinates(second)[[0, -1]]
    straight = np.hypot(*(ends - other).T).sum()
    crossed = np.hypot(*(ends - other[::-1]).T).sum()
    if crossed < straight:
        second = shapely.reverse(second)
    share = np.linspace(0, 1, STATIONS)
    a = shapely.get_coordinates(shapely.line_interpolate_point(first, share, normalized=True))
    b = shapely.get_coordinates(shapely.line_interpolate_point(second, share, normalized=True))
    widths = np.hypot(*(a - b).T)
    inner = widths[1:-1] if len(widths) > 2 else widths
    padded = np.concatenate([[inner[0]], inner, [inner[-1]]])
    return (a + b) / 2, padded
