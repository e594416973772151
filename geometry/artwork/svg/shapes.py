"""SVG shapes as path segments: paths and basic shapes (SVG 1.1, chapters 8 and 9)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from xml.etree.ElementTree import Element

import numpy as np

from ...arrays import Floats
from . import css_geometry
from .document import local_name
from .drawing import Drawing
from .path import ARC, CLOSE, LINE, MOVE, PathData, parse_path
from .state import State
from .style import diagonal
from .transforms import at
from .units import BLANKS, NUMBER, number_list

SHAPES = frozenset({"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"})

_RECT_SIZE = ("width", "height")

_SWEEP = 2.0  # flags of an arc: small, drawn towards growing angles


def shape_path(drawing: Drawing, element: Element, tag: str, state: State) -> PathData | None:
    """Return the outline that an element's attributes describe.

    Parameters
    ----------
    drawing : Drawing
    element : Element
    tag : str
        Its name, one of ``SHAPES``.
    state : State
        Inside it.

    Returns
    -------
    PathData or None
        In user space, up to a mistake in it, which is told; None where it has no size.

    Raises
    ------
    ArtworkError
        A length makes no sense.
    """
    if tag == "path":
        return _told_path(drawing, element, _data(drawing, element, state), state)
    if tag in ("polyline", "polygon"):
        return _told_polyline(drawing, element, element.get("points", ""), tag, state)
    across, down = state.viewport

    def length(attribute: str, whole: float) -> float:
        return drawing.length(element, attribute, whole, state)

    if tag == "line":
        ends = [
            [length("x1", across), length("y1", down)],
            [length("x2", across), length("y2", down)],
        ]
        return polyline(np.array(ends), closed=False)
    if tag == "rect":
        size = [("width", length("width", across)), ("height", length("height", down))]
        rx, ry = _radii(drawing, element, state)
        if _is_sized(drawing, element, [*size, ("rx", rx), ("ry", ry)], state):
            width, height = size[0][1], size[1][1]
            return rectangle(length("x", across), length("y", down), width, height, rx, ry)
        return None
    if tag == "circle":
        size = [("r", length("r", diagonal(state.viewport)))]
        rx = ry = size[0][1]
    else:
        rx, ry = _radii(drawing, element, state)
        size = [("rx", rx), ("ry", ry)]
    if not _is_sized(drawing, element, size, state):
        return None
    return ellipse(length("cx", across), length("cy", down), rx, ry)


def _radii(drawing: Drawing, element: Element, state: State) -> tuple[float, float]:
    """Return rx and ry, each standing in for the other where that is missing."""
    rx, ry = (
        drawing.length(element, name, whole, state, None)
        for name, whole in zip(("rx", "ry"), state.viewport, strict=True)
    )
    # Neither is a length where it is left to the other.
    if _is_auto(drawing.given(element, "rx", state)):
        rx = ry
    elif _is_auto(drawing.given(element, "ry", state)):
        ry = rx
    return rx, ry


def _is_auto(text: str | None) -> bool:
    return text is None or text.lower() in ("auto", *css_geometry.INITIAL)


def _data(drawing: Drawing, element: Element, state: State) -> str:
    """Return path data, which a style may give too (SVG 2, section 9.3.2)."""
    text = drawing.given(element, "d", state)
    own = element.get("d")
    if text is None or text is own:
        return own or ""
    if text.lower() in css_geometry.INITIAL:
        return ""
    return css_geometry.path_data(text) or ""


def _is_sized(
    drawing: Drawing, element: Element, size: list[tuple[str, float]], state: State
) -> bool:
    negative = [(name, value) for name, value in size if value < 0]
    if negative:
        name, value = negative[0]
        drawing.tell_of(
            element,
            "artwork.shape",
            f"has the negative {name} {value:g} and was left out",
            drawing.place_of(element, state),
        )
        return False
    tag = local_name(element)
    return all(value > 0 for name, value in size if tag != "rect" or name in _RECT_SIZE)


def _told_path(drawing: Drawing, element: Element, text: str, state: State) -> PathData:
    path, error = parse_path(text)
    if error:
        end = path.rows[-1, 4:].tolist() if len(path) else (0.0, 0.0)
        drawing.tell_of(
            element,
            "artwork.path-data",
            f"is drawn up to a mistake in its path data: {error}",
            at(state.matrix, *end),
        )
    return path


def _told_polyline(
    drawing: Drawing, element: Element, text: str, tag: str, state: State
) -> PathData:
    try:
        numbers = number_list(text)
        error = "an odd number of coordinates" if len(numbers) % 2 else ""
    except ValueError as problem:
        numbers, error = _leading_numbers(text), str(problem)
    points = np.array(numbers[: len(numbers) // 2 * 2]).reshape(-1, 2)
    if error:
        end = points[-1].tolist() if len(points) else (0.0, 0.0)
        drawing.tell_of(
            element,
            "artwork.path-data",
            f"is drawn up to a mistake in its points: {error}",
            at(state.matrix, *end),
        )
    return polyline(points, closed=tag == "polygon")


def rectangle(x: float, y: float, width: float, height: float, rx: float, ry: float) -> PathData:
    """Return a rectangle; its corners are rounded where both radii are greater than zero.

    Parameters
    ----------
    x, y, width, height : float
    rx, ry : float
        Radii of the corners, at most half of the sides.

    Returns
    -------
    PathData
        It starts after the first corner and goes round as SVG 1.1, section 9.2, says.
    """
    rx, ry = min(rx, width / 2), min(ry, height / 2)
    right, bottom = x + width, y + height
    if rx <= 0 or ry <= 0:
        return polyline(np.array([[x, y], [right, y], [right, bottom], [x, bottom]]), closed=True)
    steps = [
        (MOVE, (0, 0, 0, 0, x + rx, y)),
        (LINE, (0, 0, 0, 0, right - rx, y)),
        (ARC, (rx, ry, 0, _SWEEP, right, y + ry)),
        (LINE, (0, 0, 0, 0, right, bottom - ry)),
        (ARC, (rx, ry, 0, _SWEEP, right - rx, bottom)),
        (LINE, (0, 0, 0, 0, x + rx, bottom)),
        (ARC, (rx, ry, 0, _SWEEP, x, bottom - ry)),
        (LINE, (0, 0, 0, 0, x, y + ry)),
        (ARC, (rx, ry, 0, _SWEEP, x + rx, y)),
        (CLOSE, (0, 0, 0, 0, x + rx, y)),
    ]
    return _path(steps)


def ellipse(cx: float, cy: float, rx: float, ry: float) -> PathData:
    """Return an ellipse in four arcs from its rightmost point on.

    Parameters
    ----------
    cx, cy : float
        Centre.
    rx, ry : float
        Radii.
    """
    steps = [
        (MOVE, (0, 0, 0, 0, cx + rx, cy)),
        (ARC, (rx, ry, 0, _SWEEP, cx, cy + ry)),
        (ARC, (rx, ry, 0, _SWEEP, cx - rx, cy)),
        (ARC, (rx, ry, 0, _SWEEP, cx, cy - ry)),
        (ARC, (rx, ry, 0, _SWEEP, cx + rx, cy)),
        (CLOSE, (0, 0, 0, 0, cx + rx, cy)),
    ]
    return _path(steps)


def polyline(points: Floats, *, closed: bool) -> PathData:
    """Return straight segments through points (n, 2)."""
    n = len(points)
    kind = np.full(n + closed, LINE, np.int8)
    rows = np.zeros((n + closed, 6))
    rows[:n, 4:] = points
    if n:
        kind[0] = MOVE
    if closed and n:
        kind[n] = CLOSE
        rows[n, 4:] = points[0]
    return PathData(kind, rows) if n else PathData(np.empty(0, np.int8), np.empty((0, 6)))


def _leading_numbers(text: str) -> list[float]:
    numbers = []
    place = 0
    for found in re.finditer(NUMBER, text):
        if text[place : found.start()].strip(BLANKS):
            break
        numbers.append(float(found[0]))
        place = found.end()
    return numbers


def _path(steps: Sequence[tuple[int, tuple[float, ...]]]) -> PathData:
    kinds, rows = zip(*steps, strict=True)
    return PathData(np.array(kinds, np.int8), np.array(rows, dtype=np.float64))
