"""What an element refers to (``use``), and the viewports that ``svg`` and ``symbol`` open."""

from __future__ import annotations

from dataclasses import replace
from xml.etree.ElementTree import Element

import shapely

from .document import href, local_name
from .drawing import Drawing
from .shapes import SHAPES
from .state import Purpose, State
from .transforms import Matrix, at, fit, shifted, times, view_box
from .units import length_px

#: ``use`` and clip paths within each other; deeper is a mistake.
DEEPEST_REFERENCE = 100

#: Longer references are cut in messages.
_LONGEST_REFERENCE = 40

#: Width and height that a ``use`` imposes on a symbol or svg.
Imposed = tuple[str | None, str | None]

#: Elements that change others as time goes on.
ANIMATIONS = frozenset({"animate", "animateMotion", "animateTransform", "animateColor", "set"})

#: Elements that are never painted where they stand.
NEVER_PAINTED = frozenset(
    {
        "defs",
        "symbol",
        "clipPath",
        "mask",
        "marker",
        "pattern",
        "linearGradient",
        "radialGradient",
        "filter",
        "style",
        "script",
        "title",
        "desc",
        "metadata",
        "view",
        "cursor",
        "font",
        "font-face",
        "color-profile",
        *ANIMATIONS,
    }
)


def enter_viewport(
    drawing: Drawing, element: Element, state: State, imposed: Imposed = (None, None)
) -> State | None:
    """Enter a nested svg, or a symbol that is used (SVG 1.1, sections 7.9 and 5.6).

    Parameters
    ----------
    drawing : Drawing
    element : Element
    state : State
        Outside it.
    imposed : tuple of str or None
        Width and height that the ``use`` gives it.

    Returns
    -------
    State or None
        None where it has no size.

    Raises
    ------
    ArtworkError
        A length, view box or aspect makes no sense.
    """
    tag = local_name(element)
    size = []
    for attribute, asked, whole in zip(("width", "height"), imposed, state.viewport, strict=True):
        own = drawing.given(element, attribute, state) if tag == "svg" else None
        text = asked if asked is not None else (own if own is not None else "100%")
        try:
            size.append(length_px(text, whole, state.style.font_size))
        except ValueError as error:
            raise drawing.error(element, f"has {attribute}={error}") from None
    width, height = size
    if width <= 0 or height <= 0:
        return None
    x = drawing.length(element, "x", state.viewport[0], state) if tag == "svg" else 0.0
    y = drawing.length(element, "y", state.viewport[1], state) if tag == "svg" else 0.0
    matrix = times(state.matrix, shifted(x, y))
    clips = state.clips
    overflow = drawing.declared(element, state.style.variables).get("overflow", "hidden")
    if overflow not in ("visible", "auto"):
        corners = [at(matrix, *c) for c in ((0, 0), (width, 0), (width, height), (0, height))]
        clips = (*clips, shapely.multipolygons([shapely.Polygon(corners)]))
    framed = enter_view_box(drawing, element, matrix, width, height)
    if framed is None:
        return None
    matrix, viewport, _ = framed
    return replace(state, matrix=matrix, viewport=viewport, clips=clips)


def enter_view_box(
    drawing: Drawing, element: Element, matrix: Matrix, width: float, height: float
) -> tuple[Matrix, tuple[float, float], bool] | None:
    """Enter the view box of an element, where it has one.

    Parameters
    ----------
    drawing : Drawing
    element : Element
    matrix : Matrix
        Outside the view box.
    width, height : float
        Of the viewport that the view box is fitted into.

    Returns
    -------
    tuple or None
        The matrix inside, width and height of the viewport inside, and whether the box may reach
        beyond it; None where the view box is empty.

    Raises
    ------
    ArtworkError
        The view box or aspect makes no sense.
    """
    text = element.get("viewBox")
    if text is None:
        return matrix, (width, height), False
    try:
        box = view_box(text)
    except ValueError as error:
        raise drawing.error(element, f"has viewBox={error}") from None
    if box[2] == 0 or box[3] == 0:
        return None
    try:
        fitted, slices = fit(box, width, height, element.get("preserveAspectRatio", ""))
    except ValueError as error:
        raise drawing.error(element, f"has preserveAspectRatio={error}") from None
    return times(matrix, fitted), (box[2], box[3]), slices


def follow_use(
    drawing: Drawing, element: Element, state: State, purpose: Purpose
) -> list[tuple[Element, State, Imposed]]:
    """Return what a ``use`` draws (SVG 1.1, section 5.6): nothing or one element.

    Parameters
    ----------
    drawing : Drawing
    element : Element
        The ``use``.
    state : State
        Inside it.
    purpose : Purpose

    Returns
    -------
    list of (Element, State, tuple)
        The element, the state outside it, and the size that the ``use`` imposes.

    Raises
    ------
    ArtworkError
        It contains itself, or uses are nested too deep.
    """
    target = target_of(drawing, element, href(element), state)
    if target is None:
        return []
    name = target.get("id", "")
    if name in state.within or target in (element, *drawing.ancestors(element)):
        raise drawing.error(element, f"uses '{name}', which contains it: that would never end")
    if len(state.within) >= DEEPEST_REFERENCE:
        raise drawing.error(element, f"is used more than {DEEPEST_REFERENCE} levels deep")
    if purpose is Purpose.CLIP and local_name(target) not in SHAPES:
        drawing.tell_of(
            element,
            "artwork.clip",
            "uses more than a shape inside a clip path; it was left out of it",
            at(state.matrix, 0, 0),
        )
        return []
    if local_name(target) in NEVER_PAINTED - {"symbol"}:
        return []
    x = drawing.length(element, "x", state.viewport[0], state)
    y = drawing.length(element, "y", state.viewport[1], state)
    inside = replace(state, matrix=times(state.matrix, shifted(x, y)), within=(*state.within, name))
    imposed = (drawing.given(element, "width", state), drawing.given(element, "height", state))
    return [(target, inside, imposed)]


def target_of(drawing: Drawing, element: Element, reference: str, state: State) -> Element | None:
    """Return the element that a reference names, or tell why there is none.

    Parameters
    ----------
    drawing : Drawing
    element : Element
        The one that refers.
    reference : str
        ``#`` and an id.
    state : State
    """
    place = at(state.matrix, 0, 0)
    if not reference.startswith("#"):
        shown = reference
        if len(reference) > _LONGEST_REFERENCE:
            shown = f"{reference[:_LONGEST_REFERENCE]}..."
        sentence = f"refers to '{shown}', which is outside the drawing and not read"
        drawing.tell_of(
            element, "artwork.reference", sentence if reference else "refers to nothing", place
        )
        return None
    target = drawing.document.ids.get(reference[1:])
    if target is None:
        sentence = f"refers to '{reference}', which the drawing does not have"
        drawing.tell_of(element, "artwork.reference", sentence, place)
    return target
