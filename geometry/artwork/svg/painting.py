"""What a shape paints: its fill and its stroke."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from xml.etree.ElementTree import Element

from ...finding import Severity
from .areas import Coat, Item
from .document import local_name
from .drawing import Drawing
from .path import PathData
from .shapes import shape_path
from .state import Purpose, State
from .stroke import Pen
from .style import Paint
from .transforms import at
from .units import MM_PER_PX

#: What messages call the elements that a paint may refer to.
_PAINT_SERVERS = {
    "linearGradient": "gradient",
    "radialGradient": "gradient",
    "pattern": "pattern",
}


def shape_items(
    drawing: Drawing, element: Element, tag: str, state: State, purpose: Purpose
) -> Iterator[Item]:
    """Yield the fill and the stroke of a shape, as far as they are painted.

    Parameters
    ----------
    drawing : Drawing
    element : Element
    tag : str
        Its name, one of ``SHAPES``.
    state : State
        Inside it.
    purpose : Purpose
        For a clip path or a box there is one item: the outline.

    Raises
    ------
    ArtworkError
        A length of the shape makes no sense.
    """
    if not state.style.visible and purpose is not Purpose.BOX:
        return
    path = shape_path(drawing, element, tag, state)
    if path is not None and len(path):
        yield from path_items(drawing, element, path, state, purpose, filled=tag != "line")


def path_items(
    drawing: Drawing,
    element: Element,
    path: PathData,
    state: State,
    purpose: Purpose,
    *,
    filled: bool = True,
) -> Iterator[Item]:
    """Yield the fill and the stroke of a path that is not empty, as far as they are painted.

    Parameters
    ----------
    drawing : Drawing
    element : Element
        It is part of this.
    path : PathData
    state : State
        Inside the element, which is visible.
    purpose : Purpose
        For a clip path or a box there is one item: the outline.
    filled : bool
        Whether it may have a fill.
    """
    style, name = state.style, drawing.name(element)
    if purpose is not Purpose.PAINT:
        yield Item(path, state.matrix, name, style.clip_rule, clips=state.clips)
        return
    style = replace(
        style, fill=_in_context(style.fill, state), stroke=_in_context(style.stroke, state)
    )
    pen, rigid = _pen(drawing, element, state)
    place = at(state.matrix, *path.rows[0, 4:].tolist())
    stroked = pen.width > 0 and style.stroke_opacity > 0
    stroked = stroked and _paints(drawing, element, style.stroke, "stroke", state, place)
    if (
        filled
        and style.fill_opacity > 0
        and _paints(drawing, element, style.fill, "fill", state, place)
    ):
        yield Item(
            path,
            state.matrix,
            name,
            style.fill_rule,
            also_stroked=stroked,
            clips=state.clips,
            light=None if state.sheer else style.fill.light,
            coat=Coat(style.fill, style.fill_opacity, state.groups, state.viewport),
        )
    if stroked:
        light = None if state.sheer else style.stroke.light
        yield Item(
            path,
            state.matrix,
            name,
            pen=pen,
            rigid_pen=rigid,
            clips=state.clips,
            light=light,
            coat=Coat(style.stroke, style.stroke_opacity, state.groups, state.viewport),
        )


def _in_context(paint: Paint, state: State) -> Paint:
    """Return a paint; inside a marker that of its line, where it says so (SVG 2, section 13.2)."""
    if not paint.context or state.context is None:
        return paint
    return state.context[paint.context == "context-stroke"]


def _pen(drawing: Drawing, element: Element, state: State) -> tuple[Pen, bool]:
    style = state.style
    pen = Pen(
        style.stroke_width,
        style.stroke_linecap,
        style.stroke_linejoin,
        style.stroke_miterlimit,
        style.stroke_dasharray if sum(style.stroke_dasharray) > 0 else (),
        style.stroke_dashoffset,
    )
    effect = drawing.declared(element, state.style.variables).get("vector-effect", "none")
    if effect != "non-scaling-stroke":
        return pen, False
    return (
        replace(
            pen,
            width=pen.width * MM_PER_PX,
            dashes=tuple(d * MM_PER_PX for d in pen.dashes),
            dash_offset=pen.dash_offset * MM_PER_PX,
        ),
        True,
    )


def _paints(
    drawing: Drawing,
    element: Element,
    paint: Paint,
    role: str,
    state: State,
    place: tuple[float, float],
) -> bool:
    """Return whether a paint shows; gradients and patterns count as painted all over."""
    if not paint.server:
        return paint.shows
    server = None
    if paint.server.startswith("#"):
        server = drawing.document.ids.get(paint.server[1:])
    kind = _PAINT_SERVERS.get(local_name(server), "") if server is not None else ""
    if not kind:
        if paint.fallback is not None:
            return paint.fallback
        drawing.tell_of(
            element,
            "artwork.reference",
            f"has a {role} of '{paint.server[:40]}', which the drawing does not "
            "have; it counts as not painted",
            place,
        )
        return False
    drawing.tell_of(
        element,
        f"artwork.{kind}",
        f"has a {kind} as {role}; it counts as painted all over",
        place,
        # A gradient covers what it fills; of a pattern the gaps are painted, too.
        severity=Severity.NOTE if kind == "gradient" else Severity.WARNING,
    )
    return True
