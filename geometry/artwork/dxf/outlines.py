"""Entities of a DXF drawing as outlines: curves flattened, object coordinates resolved.

Many entities store their points in an object coordinate system (OCS) that follows from the
direction of their extrusion alone; a mirrored entity, for example, has the direction (0, 0, -1).
Only entities that lie flat in, or parallel to, the drawing's XY plane have an outline here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np
from ezdxf.entities.boundary_paths import BoundaryPathType, EdgeType
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.lldxf.const import DXFError

from ...arrays import Floats
from ...planar.curves import Arcs, flatten_arcs, flatten_spline
from ...tolerance import ROUNDING
from ..fill.contour import Contour
from ..fill.join_ends import join_ends

#: Kinds of entity that are outlines.
LINES = ("LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE")

#: Kinds of entity that are areas in themselves.
AREAS = ("HATCH", "MPOLYGON", "SOLID", "TRACE")

_TOO_LARGE = "reaches beyond 1 km, so that the drawing's unit ($INSUNITS) is hardly right"

# A vertex of an old polyline that shapes a spline but does not lie on it.
_SPLINE_FRAME_POINT = 16


class OutlineError(Exception):
    """An entity has no outline; the text says why and follows after 'is' or 'has'."""


class AbsurdNumberError(OutlineError):
    """An entity has a number that no drawing has: the file, or its unit, is wrong."""


class OutlineReader:
    """Turns entities into contours in mm.

    Parameters
    ----------
    unit_mm : float
        Length of the drawing's unit.
    chord_mm : float
        Largest distance between a curve and a chord.
    join_mm : float
        Ends this near are one point; heights that differ by less are equal.
    reach_mm : float
        Largest coordinate, and radius, that makes sense.
    """

    def __init__(
        self, *, unit_mm: float, chord_mm: float, join_mm: float, reach_mm: float = 1e6
    ) -> None:
        self.unit_mm = unit_mm
        self.chord = chord_mm / unit_mm
        self.join_mm = join_mm
        self.join = join_mm / unit_mm
        self.reach = reach_mm / unit_mm
        self._outlines: dict[str, Callable[[Any], tuple[Floats, bool]]] = {
            "LINE": self._line,
            "ARC": self._arc,
            "CIRCLE": self._circle,
            "ELLIPSE": self._ellipse,
            "SPLINE": self._spline,
            "LWPOLYLINE": self._lwpolyline,
            "POLYLINE": self._polyline,
        }

    def line(self, entity: DXFGraphic, name: str) -> Contour:
        """Return the contour, closed or open, of an entity of one of the kinds ``LINES``.

        Raises
        ------
        OutlineError
            It isn't flat, or damaged; an AbsurdNumberError if a number in it is absurd.
        """
        points, closed = self._outlines[entity.dxftype()](entity)
        return Contour(points * self.unit_mm, closed, name)

    def area(self, entity: Any, name: str) -> list[Contour]:
        """Return the closed contours, to be filled evenodd, of an entity of the kinds ``AREAS``.

        Raises
        ------
        OutlineError
            It isn't flat, damaged, or its boundary is open; an AbsurdNumberError if a number in it
            is absurd.
        """
        if entity.dxftype() in ("SOLID", "TRACE"):
            corners = self._flat(np.array([tuple(p) for p in entity.wcs_vertices()]))
            return [Contour(corners * self.unit_mm, True, name)]
        axes = _flat_axes(entity)
        contours: list[Contour] = []
        for path in entity.paths.rendering_paths(entity.dxf.get("hatch_style", 0)):
            if path.type is BoundaryPathType.POLYLINE:
                rows = np.array(path.vertices, dtype=np.float64).reshape(-1, 3)
                # A path of a hatch is a loop by definition, closed or not.
                points, _ = self._bulged(rows[:, :2], rows[:, 2], True, axes)
                contours.append(Contour(points * self.unit_mm, True, name))
                continue
            lines = [
                Contour(self._edge(edge) @ axes.T * self.unit_mm, False, name)
                for edge in path.edges
            ]
            joined, _ = join_ends(lines, self.join_mm)
            if not all(contour.closed for contour in joined):
                raise OutlineError("has a boundary that is not closed")
            contours += joined
        return contours

    def _edge(self, edge: Any) -> Floats:
        """Return the points of one edge of a hatch's boundary, in object coordinates."""
        if edge.type is EdgeType.LINE:
            return self._checked(np.array([tuple(edge.start), tuple(edge.end)]))
        if edge.type is EdgeType.SPLINE:
            return self._curve(edge, [tuple(p) for p in (*edge.control_points, *edge.fit_points)])
        centre = np.array(tuple(edge.center))
        if edge.type is EdgeType.ARC:
            u = np.array([edge.radius, 0.0])
            v = u[::-1]
            start, end = math.radians(edge.start_angle), math.radians(edge.end_angle)
        else:
            u = np.array(tuple(edge.major_axis))
            v = edge.ratio * np.array([-u[1], u[0]])
            start, end = edge.start_param, edge.end_param
        self._checked(np.array([*centre, *u, *v, start, end]))
        # Kept counter-clockwise by ezdxf; start and end are the same on a whole ellipse.
        turn = (end - start) % (2 * math.pi)
        return self._flattened(centre, u, v, start, turn if turn > ROUNDING else 2 * math.pi)

    def _line(self, entity: Any) -> tuple[Floats, bool]:
        return self._flat(np.array([tuple(entity.dxf.start), tuple(entity.dxf.end)])), False

    def _circle(self, entity: Any) -> tuple[Floats, bool]:
        return self._circular(entity, 0.0, 2 * math.pi)[:-1], True

    def _arc(self, entity: Any) -> tuple[Floats, bool]:
        start = math.radians(entity.dxf.start_angle)
        turn = math.radians((entity.dxf.end_angle - entity.dxf.start_angle) % 360.0)
        if turn == 0.0:  # as drawing programs write a full circle
            return self._circle(entity)
        return self._circular(entity, start, turn), False

    def _circular(self, entity: Any, start: float, turn: float) -> Floats:
        radius = abs(float(entity.dxf.radius))
        if radius == 0:
            raise OutlineError("has no radius")
        axes = _flat_axes(entity)
        centre = self._checked(np.array(tuple(entity.dxf.center))[:2])
        self._checked(np.array([radius, start, turn]))
        u, v = radius * axes.T
        return self._flattened(axes @ centre, u, v, start, turn)

    def _ellipse(self, entity: Any) -> tuple[Floats, bool]:
        rows = np.array(
            [tuple(v) for v in (entity.dxf.center, entity.dxf.major_axis, entity.minor_axis)]
        )
        self._checked(rows)
        if np.abs(rows[1:, 2]).max() > self.join:
            raise OutlineError("is not flat")
        if not np.hypot(*rows[1:, :2].T).all():
            raise OutlineError("has no width")
        start, end = float(entity.dxf.start_param), float(entity.dxf.end_param)
        self._checked(np.array([start, end]))
        turn = (end - start) % (2 * math.pi)
        full = math.isclose(turn, 0, abs_tol=ROUNDING) or math.isclose(turn, 2 * math.pi)
        centre, u, v = rows[:, :2]
        points = self._flattened(centre, u, v, start, 2 * math.pi if full else turn)
        return (points[:-1], True) if full else (points, False)

    def _flattened(self, centre: Floats, u: Floats, v: Floats, start: float, turn: float) -> Floats:
        arc = Arcs(centre[None], u[None], v[None], np.array([start]), np.array([turn]))
        points, _ = flatten_arcs(arc, self.chord)
        first = centre + u * math.cos(start) + v * math.sin(start)
        return np.vstack([first, points])

    def _spline(self, entity: Any) -> tuple[Floats, bool]:
        given = np.array([tuple(point) for point in (*entity.control_points, *entity.fit_points)])
        if len(given):
            self._flat(given)
        flat = self._curve(entity, given)
        return flat, bool(entity.closed or np.hypot(*(flat[0] - flat[-1])) <= self.join)

    def _curve(self, spline: Any, given: Any) -> Floats:
        """Return the points of a spline, or a spline edge, through or near given points."""
        if len(given) < 2:
            raise OutlineError("has fewer than two points")
        self._checked(np.array(given))
        knots = getattr(spline, "knots", getattr(spline, "knot_values", ()))
        if not np.isfinite(np.array([*knots, *spline.weights], dtype=np.float64)).all():
            raise AbsurdNumberError("has a number that is not finite")
        try:
            curve = spline.construction_tool()
            knots, weights = np.array(curve.knots()), np.array(curve.weights())
            points = np.array([(p.x, p.y) for p in curve.control_points])
            return self._checked(flatten_spline(points, knots, curve.degree, weights, self.chord))
        except (ValueError, TypeError, IndexError, ZeroDivisionError, DXFError) as error:
            raise OutlineError("has points and knots that do not fit together") from error

    def _lwpolyline(self, entity: Any) -> tuple[Floats, bool]:
        rows = np.array(entity.get_points("xyb"), dtype=np.float64).reshape(-1, 3)
        return self._bulged(rows[:, :2], rows[:, 2], bool(entity.closed), _flat_axes(entity))

    def _polyline(self, entity: Any) -> tuple[Floats, bool]:
        if not (entity.is_2d_polyline or entity.is_3d_polyline):
            raise OutlineError("is a mesh")
        vertices = [v for v in entity.vertices if not v.dxf.flags & _SPLINE_FRAME_POINT]
        if entity.is_3d_polyline:
            points = [tuple(vertex.dxf.location) for vertex in vertices]
            return self._flat(np.array(points).reshape(-1, 3)), bool(entity.is_closed)
        points = [tuple(vertex.dxf.location)[:2] for vertex in vertices]
        bulges = np.array([float(vertex.dxf.bulge) for vertex in vertices])
        return self._bulged(
            np.array(points).reshape(-1, 2), bulges, bool(entity.is_closed), _flat_axes(entity)
        )

    def _bulged(
        self, points: Floats, bulges: Floats, closed: bool, axes: Floats
    ) -> tuple[Floats, bool]:
        """Return a polyline whose segments are arcs where a bulge says so.

        A bulge is the tangent of a quarter of the arc's angle, positive where the arc turns
        counter-clockwise (DXF reference, LWPOLYLINE, group 42).
        """
        if len(points) < 2:
            raise OutlineError("has fewer than two points")
        self._checked(points)
        if not np.isfinite(bulges).all():
            raise AbsurdNumberError("has a number that is not finite")
        ends = np.roll(points, -1, axis=0)
        last = len(points) if closed else len(points) - 1
        along = ends - points
        curved = (bulges != 0) & np.any(along != 0, axis=1)
        curved[last:] = False
        if not curved.any():
            return self._checked(points @ axes.T), closed
        b = bulges[curved, None]
        across = np.column_stack([-along[curved, 1], along[curved, 0]])
        centre = points[curved] + 0.5 * along[curved] + across * (1 - b * b) / (4 * b)
        radius = points[curved] - centre
        arcs = Arcs(
            centre,
            radius,
            np.column_stack([-radius[:, 1], radius[:, 0]]),
            np.zeros(len(b)),
            4 * np.arctan(b[:, 0]),
        )
        # The radius of a nearly straight arc is huge and says nothing about the drawing's size;
        # what the arc encloses is bounded by its ends and its bulge.
        if np.abs(along[curved] * b).max() > self.reach:
            raise AbsurdNumberError(_TOO_LARGE)
        inner, counts = flatten_arcs(arcs, self.chord)
        # The last point of each arc is the next vertex, which is known exactly.
        inner = inner[np.setdiff1d(np.arange(len(inner)), np.cumsum(counts) - 1)]
        where = np.repeat(np.flatnonzero(curved) + 1, counts - 1)
        return self._checked(np.insert(points, where, inner, axis=0) @ axes.T), closed

    def _flat(self, points: Floats) -> Floats:
        """Return x and y of points in world coordinates that lie at one height."""
        self._checked(points[:, :2])
        if not np.ptp(points[:, 2]) <= self.join:
            raise OutlineError("is not flat")
        return np.ascontiguousarray(points[:, :2])

    def _checked(self, numbers: Floats) -> Floats:
        if not np.isfinite(numbers).all():
            raise AbsurdNumberError("has a number that is not finite")
        if np.abs(numbers).max(initial=0.0) > self.reach:
            raise AbsurdNumberError(_TOO_LARGE)
        return numbers


def _flat_axes(entity: Any) -> Floats:
    """Return the matrix from flat object coordinates to drawing coordinates, shape (2, 2)."""
    ocs = entity.ocs()
    if not ocs.transform:
        return np.eye(2)
    if abs(abs(ocs.uz.z) - 1) > ROUNDING:
        raise OutlineError("is not flat")
    return np.array([[ocs.ux.x, ocs.uy.x], [ocs.ux.y, ocs.uy.y]])


def place_of_entity(entity: Any) -> tuple[float, float] | None:
    """Return a point of any entity, in drawing units; None where it has none or an absurd one."""
    for key in ("insert", "start", "center", "location", "defpoint", "vtx0", "text_midpoint"):
        if entity.dxf.is_supported(key) and entity.dxf.hasattr(key):
            return _finite(tuple(entity.dxf.get(key))[:2])
    for points in (getattr(entity, "control_points", ()), getattr(entity, "vertices", ())):
        if isinstance(points, Sequence) and len(points):
            first = points[0]
            return _finite(tuple(first.dxf.location if hasattr(first, "dxf") else first)[:2])
    if entity.dxftype() == "LWPOLYLINE" and len(entity):
        return _finite(entity[0][:2])
    return None


def _finite(point: Iterable[float]) -> tuple[float, float] | None:
    x, y = (float(value) for value in point)
    return (x, y) if math.isfinite(x) and math.isfinite(y) else None
