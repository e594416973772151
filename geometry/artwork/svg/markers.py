"""Markers: drawings of their own on the vertices of a line (SVG 1.1, section 11.6)."""

from __future__ import annotations

import math
from dataclasses import replace
from xml.etree.ElementTree import Element

import numpy as np
import shapely

from ...arrays import Floats
from .document import local_name
from .drawing import Drawing
from .path import PathData, flatten_paths
from .references import target_of
from .state import State
from .transforms import IDENTITY, Matrix, at, fit, shifted, times, transform, view_box
from .units import length_px

#: Lines and polygons may have markers; other shapes have none.
MARKED = frozenset({"path", "line", "polyline", "polygon"})
#: Curves are cut this finely (share of the path's size) for their direction at a vertex.
_FINE = 1e-6
#: Where SVG 2's words put the reference point, as shares of the view box.
_WORDS = {"left": 0.0, "top": 0.0, "center": 0.5, "right": 1.0, "bottom": 1.0}


def marker_content(
    drawing: Drawing, element: Element, state: State, path: PathData, most: int
) -> list[tuple[Element, State]]:
    """Return the markers of a shape, in painting order.

    Parameters
    ----------
    drawing : Drawing
    element : Element
        The shape.
    state : State
        Inside it.
    path : PathData
        Its outline.
    most : int
        More markers than this are refused.

    Returns
    -------
    list of (Element, State)
        Each a marker, and the state outside it: its matrix leads from what the marker holds.

    Raises
    ------
    ArtworkError
        There are too many, or a length of a marker makes no sense.
    """
    style = state.style
    wanted = (style.marker_start, style.marker_mid, style.marker_end)
    if not any(wanted):
        return []
    places, angles = _vertices(path)
    if not len(places):
        return []
    last = len(places) - 1
    which = [0, *[1] * (last - 1), 2] if last else [0]
    servers = {r: target_of(drawing, element, r, state) for r in wanted if r}
    asked = sum(1 for k in which if servers.get(wanted[k]) is not None)
    if asked > most:
        raise drawing.error(element, f"has {asked:,} markers, expected at most {most:,}")
    found: list[tuple[Element, State]] = []
    frames: dict[str, tuple[Matrix, State] | None] = {}
    for number, kind in enumerate(which):
        reference = wanted[kind]
        marker = servers.get(reference)
        # A marker on a line within itself would never end.
        if marker is None or local_name(marker) != "marker" or reference[1:] in state.within:
            continue
        if reference not in frames:
            frames[reference] = _frame(drawing, marker, state)
        frame = frames[reference]
        if frame is None:
            continue
        own, inside = frame
        turn = _turn(drawing, marker, angles[number], first=kind == 0)
        matrix = times(shifted(*places[number].tolist()), turn)
        matrix = times(state.matrix, matrix)
        clips = state.clips
        if inside.clips:
            corners = shapely.get_coordinates(inside.clips[0])[:4].tolist()
            cut = shapely.Polygon([at(matrix, x, y) for x, y in corners])
            clips = (*clips, shapely.multipolygons([cut]))
        found.append((marker, replace(inside, matrix=times(matrix, own), clips=clips)))
    return found


def _vertices(path: PathData) -> tuple[Floats, Floats]:
    """Return the vertices (n, 2) of a path and the directions (n,) of its markers, in radians.

    A direction halves the angle between the lines that meet (SVG 1.1, section 11.6.2).
    """
    size = float(np.ptp(path.rows[:, 4:], axis=0).max()) or 1.0
    lines = flatten_paths([path], np.eye(2)[None], np.zeros((1, 2)), np.array([_FINE * size]))
    places, angles = [], []
    for k, closed in enumerate(lines.closed.tolist()):
        span = slice(lines.first[k], lines.first[k + 1])
        points, is_vertex = lines.points[span], ~lines.smooth[span]
        if closed and (points[0] != points[-1]).any():
            points = np.concatenate([points, points[:1]])
            is_vertex = np.append(is_vertex, True)
        step = np.diff(points, axis=0)
        long = (step != 0).any(axis=1)
        if not long.any():
            step, long = np.array([[1.0, 0.0]] * len(step)), np.ones(len(step), bool)
        unit = step / np.maximum(np.hypot(*step.T), 1e-300)[:, None]
        # Steps of no length take the direction of the next that has one, else of the one before.
        here = np.flatnonzero(long)
        after = here[np.minimum(np.searchsorted(here, np.arange(len(step))), len(here) - 1)]
        at_or_before = np.searchsorted(here, np.arange(len(step)), side="right") - 1
        before = here[np.maximum(at_or_before, 0)]
        coming = np.concatenate([unit[after[:1]], unit[before]])
        going = np.concatenate([unit[after], unit[before[-1:]]])
        if closed:
            coming[0], going[-1] = unit[before[-1]], unit[after[0]]
        middle = coming + going
        opposite = (np.abs(middle) < 1e-9).all(axis=1)
        middle[opposite] = np.stack([-coming[opposite, 1], coming[opposite, 0]], axis=1)
        places.append(points[is_vertex])
        angles.append(np.arctan2(middle[:, 1], middle[:, 0])[is_vertex])
    if not places:
        return np.empty((0, 2)), np.empty(0)
    return np.concatenate(places), np.concatenate(angles)


def _turn(drawing: Drawing, marker: Element, angle: float, first: bool) -> Matrix:
    orient = marker.get("orient", "0").strip()
    if orient == "auto-start-reverse" and first:
        return transform(f"rotate({math.degrees(angle + math.pi):.12g})")
    if orient in ("auto", "auto-start-reverse"):
        return transform(f"rotate({math.degrees(angle):.12g})")
    try:
        return transform(f"rotate({orient.removesuffix('deg')})")
    except ValueError:
        drawing.tell_of(marker, "artwork.style", f"has orient='{orient[:40]}'; it was passed over")
        return IDENTITY


def _frame(drawing: Drawing, marker: Element, state: State) -> tuple[Matrix, State] | None:
    """Return the map from a marker's content to its vertex, and the state for it.

    The state's clip, if any, is in the marker's frame: before it is turned and moved.
    """
    style = state.style
    user = replace(state, style=drawing.style_round(marker, state))

    def length(name: str, whole: float, missing: float) -> float:
        return drawing.length(marker, name, whole, user, missing)

    width = length("markerWidth", state.viewport[0], 3.0)
    height = length("markerHeight", state.viewport[1], 3.0)
    if width <= 0 or height <= 0:
        return None
    scale = 1.0 if marker.get("markerUnits") == "userSpaceOnUse" else style.stroke_width
    if scale <= 0:
        return None
    own: Matrix = (scale, 0.0, 0.0, scale, 0.0, 0.0)
    box = (0.0, 0.0, width, height)
    fitted = IDENTITY
    if (text := marker.get("viewBox")) is not None:
        try:
            box = view_box(text)
            if box[2] == 0 or box[3] == 0:
                return None
            fitted, _ = fit(box, width, height, marker.get("preserveAspectRatio", ""))
        except ValueError as error:
            raise drawing.error(marker, f"has a view box that makes no sense: {error}") from None
    reference = []
    for name, low, size in (("refX", box[0], box[2]), ("refY", box[1], box[3])):
        text = marker.get(name, "0").strip()
        if text in _WORDS:
            reference.append(low + _WORDS[text] * size)
            continue
        try:
            reference.append(length_px(text, size, user.style.font_size))
        except ValueError as error:
            raise drawing.error(marker, f"has {name}={error}") from None
    x, y = at(fitted, *reference)
    own = times(own, shifted(-x, -y))
    clips: tuple[shapely.MultiPolygon, ...] = ()
    if drawing.declared(marker).get("overflow", "hidden") not in ("visible", "auto"):
        corners = ((0, 0), (width, 0), (width, height), (0, height))
        clips = (shapely.multipolygons([shapely.Polygon([at(own, *c) for c in corners])]),)
    inside = replace(
        user,
        viewport=(box[2], box[3]),
        clips=clips,
        within=(*state.within, marker.get("id", "")),
        context=(style.fill, style.stroke),
    )
    return times(own, fitted), inside
