"""Kerf: cut paths moved half the kerf to the waste side, in cutting order, begun off corners.

A beam of width k that follows a path removes k / 2 on each side of it. The path of an opening
therefore lies k / 2 inside the opening, and that of the outline k / 2 outside the sheet: what is
left is the sheet as drawn. Inner corners of the sheet keep the beam's radius.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Floats, Geometries
from ..finding import Finding, Severity
from ..planar.morphology import QUARTER_SEGMENTS, openings_of, without_openings
from ..planar.polygons import as_multipolygon
from ..tolerance import TOLERANCES

#: Outer corners of a path are pointed up to this many times the offset, bevelled beyond: the beam
#: keeps clear of the sheet's corner either way, and a curve of n points stays one of n points.
_MITRE_LIMIT = 2.0
#: What a beam leaves in an opening's corner is its radius' business; a remnant that outlasts
#: wearing by this share of the kerf is a place that closes up.
_CLOSED_SHARE = 0.2


@dataclass(frozen=True)
class CutPath:
    """One cut from where the beam is switched on to where it is switched off.

    Parameters
    ----------
    points : float64 array (n, 2)
        In mm; the loop's first point is not repeated.
    lead : float64 array (k, 2)
        Run-in on waste, from its beginning to (not including) the first point; k is 0 without.
    closed : bool
        False for a single cut from the first point to the last, as in a test strip.
    """

    points: Floats
    lead: Floats
    closed: bool = True

    @property
    def length(self) -> float:
        """Length that is cut in mm, with the run-in."""
        back = self.points[:1] if self.closed else self.points[:0]
        way = np.concatenate([self.lead, self.points, back])
        return float(np.hypot(*np.diff(way, axis=0).T).sum())

    @property
    def run_in(self) -> float:
        """Length in mm of the run-in on waste."""
        if len(self.lead) == 0:
            return 0.0
        way = np.concatenate([self.lead, self.points[:1]])
        return float(np.hypot(*np.diff(way, axis=0).T).sum())

    def polyline(self) -> tuple[Floats, bool]:
        """Return the points to be followed, and whether the line closes on itself."""
        if len(self.lead) == 0:
            return self.points, self.closed
        return np.concatenate([self.lead, self.points, self.points[:1]]), False


@dataclass(frozen=True)
class CutPaths:
    """All cuts of one sheet in the order in which they are to be made.

    Parameters
    ----------
    openings, outline : tuple of CutPath
        Openings first, each loop before those that surround it and small before large.
    findings : tuple of Finding
        What closes up or vanishes because the beam is wider than it.
    """

    openings: tuple[CutPath, ...]
    outline: tuple[CutPath, ...]
    findings: tuple[Finding, ...]

    @property
    def all(self) -> tuple[CutPath, ...]:
        """Openings, then the outline."""
        return self.openings + self.outline

    @property
    def length(self) -> float:
        """Length of all cuts in mm."""
        return sum(path.length for path in self.all)

    @property
    def travel(self) -> float:
        """Way in mm from each cut's end to the next one's beginning."""
        begins = np.array([(*p.lead, *p.points)[0] for p in self.all]).reshape(-1, 2)
        ends = np.array([p.points[0 if p.closed else -1] for p in self.all]).reshape(-1, 2)
        return float(np.hypot(*(begins[1:] - ends[:-1]).T).sum())


def offset(shape: shapely.Geometry, distance: float, corners: str = "mitre") -> MultiPolygon:
    """Move a shape's edges outwards (or inwards, below 0) by a distance.

    Parameters
    ----------
    shape : polygon or polygons
    distance : float
        In mm.
    corners : {'mitre', 'round'}
        Outer corners pointed (bevelled when sharp) or round. Rounded outwards, area grows by
        perimeter x d + pi d^2 for a convex shape (Steiner's formula).

    Examples
    --------
    >>> offset(shapely.box(0, 0, 100, 60), -1.0).area
    5684.0
    """
    return as_multipolygon(
        shapely.buffer(shape, distance, quad_segs=64, join_style=corners, mitre_limit=_MITRE_LIMIT)
    )


def cut_paths(
    shape: MultiPolygon | Polygon,
    kerf: float,
    *,
    lead_in: float = 0.0,
    layer: str = "",
) -> CutPaths:
    """Return the paths that cut a sheet out so that it comes out as drawn.

    Parameters
    ----------
    shape : MultiPolygon or Polygon
        The sheet that is to be left, in mm.
    kerf : float
        Width that the cut removes, in mm; 0 follows the edges themselves.
    lead_in : float
        Length of the run-in on waste in mm; where the waste is too narrow it is as long as fits.
    layer : str
        For findings.

    Examples
    --------
    >>> sheet = shapely.box(0, 0, 10, 10).difference(shapely.box(3, 3, 5, 7))
    >>> paths = cut_paths(sheet, 0.2)
    >>> [float(np.round(np.ptp(path.points, axis=0).prod(), 6)) for path in paths.all]
    [6.84, 104.04]
    """
    pieces = as_multipolygon(shape)
    whole, openings = without_openings(pieces), openings_of(pieces)
    half = kerf / 2
    if kerf > 0:
        inner = shapely.buffer(
            openings,
            -half,
            quad_segs=QUARTER_SEGMENTS,
            join_style="mitre",
            mitre_limit=_MITRE_LIMIT,
        )
        outer = offset(whole, half)
    else:
        inner, outer = openings, whole
    findings = _closed_up(openings, inner, kerf, layer)
    rings = shapely.get_rings(shapely.get_parts(inner)) if len(inner) else np.empty(0, object)
    return CutPaths(
        tuple(_begun(ring, lead_in, inside=True) for ring in in_cutting_order(rings)),
        tuple(
            _begun(polygon.exterior, lead_in, inside=False)
            for polygon in sorted(outer.geoms, key=lambda p: p.area)
        ),
        findings,
    )


def in_cutting_order(rings: Iterable[shapely.LinearRing]) -> list[shapely.LinearRing]:
    """Order rings so that inner ones come before those around them, small ones before large.

    A ring inside another is smaller, so that rising area gives both at once.
    """
    array = np.array(list(rings), object)
    if len(array) == 0:
        return []
    areas = shapely.area(shapely.polygons(array))
    return list(array[np.argsort(areas, kind="stable")])


def _closed_up(
    openings: Geometries, paths: Geometries, kerf: float, layer: str
) -> tuple[Finding, ...]:
    if kerf == 0 or len(openings) == 0:
        return ()
    gone = shapely.is_empty(paths)
    findings = [
        Finding(
            "kerf.opening-vanishes",
            Severity.SPOILS,
            f"An opening is narrower than the kerf of {kerf:g} mm everywhere and cannot be cut.",
            layer,
            _inside(opening),
            kerf,
        )
        for opening in openings[gone]
    ]
    cut = shapely.buffer(paths[~gone], kerf / 2 * 1.001, quad_segs=QUARTER_SEGMENTS)
    left = shapely.buffer(shapely.difference(openings[~gone], cut), -_CLOSED_SHARE * kerf)
    findings += [
        Finding(
            "kerf.opening-closes",
            Severity.WARNING,
            f"Here an opening is narrower than the kerf of {kerf:g} mm and stays closed.",
            layer,
            _inside(part),
            kerf,
        )
        for remnant in left[~shapely.is_empty(left)]
        for part in as_multipolygon(remnant).geoms
    ]
    return tuple(findings)


def _inside(polygon: Polygon) -> tuple[float, float]:
    point = polygon.representative_point()
    return float(point.x), float(point.y)


def _begun(ring: shapely.LinearRing, lead_in: float, inside: bool) -> CutPath:
    """Begin a loop in the middle of its longest straight stretch, where a mark shows least."""
    counter_clockwise = shapely.is_ccw(ring)
    points = shapely.get_coordinates(ring)[:-1]
    steps = np.roll(points, -1, axis=0) - points
    lengths = np.hypot(*steps.T)
    at = int(np.argmax(lengths))
    start = points[at] + steps[at] / 2
    points = np.concatenate([[start], np.roll(points, -at - 1, axis=0)])
    if lead_in <= 0:
        return CutPath(points, np.empty((0, 2)))
    along = steps[at] / lengths[at]
    left = np.array([-along[1], along[0]])
    normal = left if counter_clockwise == inside else -left
    return CutPath(points, _lead(start, normal, lead_in, ring))


def _lead(start: Floats, normal: Floats, length: float, ring: shapely.LinearRing) -> Floats:
    """Return the run-in's first point: as far off as wanted, or halfway to what lies opposite."""
    hair = TOLERANCES.same_point
    ray = shapely.LineString([start + hair * normal, start + 2 * length * normal])
    met = shapely.intersection(ray, ring)
    if not met.is_empty:
        length = min(length, float(shapely.distance(shapely.Point(start), met)) / 2)
    return (start + length * normal)[None, :]
