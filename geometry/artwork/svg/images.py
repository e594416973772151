"""Pictures within an SVG drawing (SVG 1.1, section 5.7), as areas of flat colour."""

from __future__ import annotations

import base64
import binascii
import re
from dataclasses import replace
from urllib.parse import unquote_to_bytes
from xml.etree.ElementTree import Element

import shapely

from ...finding import Severity
from .areas import Coat, Item
from .document import href
from .drawing import Drawing
from .flattening import Flattening
from .shapes import rectangle
from .state import State
from .style import BLACK
from .transforms import at, fit, shifted, times

#: What is said of a picture where only the painted area is asked for.
NOT_READ = "An embedded image is not read; trace it, or give it to the layer as a mask"

_DATA = re.compile(r"data:([^,;]*)((?:;[^,;]*)*),(.*)", re.DOTALL)


def image_items(
    drawing: Drawing, element: Element, state: State, flattening: Flattening
) -> list[Item]:
    """Return a picture as an item: none, and a finding, where it cannot be made flat.

    Parameters
    ----------
    drawing : Drawing
    element : Element
    state : State
        Inside it.
    flattening : Flattening

    Raises
    ------
    ArtworkError
        A length or the aspect makes no sense.
    """
    if not state.style.visible:
        return []
    place = drawing.place_of(element, state)

    def told(why: str) -> list[Item]:
        drawing.tell_of(element, "artwork.image", why, place, severity=Severity.SPOILS)
        return []

    across, down = state.viewport
    x = drawing.length(element, "x", across, state)
    y = drawing.length(element, "y", down, state)
    width = drawing.length(element, "width", across, state, missing=None)
    height = drawing.length(element, "height", down, state, missing=None)
    data = _data(href(element))
    if data is None:
        return told("is not in the drawing itself and not read; embed it")
    if flattening.picture is None:
        return told("is not read")
    try:
        picture = flattening.picture(data)
    except ValueError as error:
        return told(f"{error}; trace it by itself")
    # What is missing follows from the picture, in its proportions (SVG 2, section 7.6).
    own_width, own_height = picture.size
    if width <= 0 and height <= 0:
        width, height = own_width, own_height
    elif width <= 0:
        width = height * own_width / own_height
    elif height <= 0:
        height = width * own_height / own_width
    try:
        fitted, _ = fit(
            (0.0, 0.0, own_width, own_height),
            width,
            height,
            element.get("preserveAspectRatio", ""),
        )
    except ValueError as error:
        raise drawing.error(element, f"has preserveAspectRatio={error}") from None
    outside = times(state.matrix, shifted(x, y))
    corners = [at(outside, *c) for c in ((0, 0), (width, 0), (width, height), (0, height))]
    state = replace(state, clips=(*state.clips, shapely.multipolygons([shapely.Polygon(corners)])))
    return [
        Item(
            rectangle(0.0, 0.0, own_width, own_height, 0.0, 0.0),
            times(outside, fitted),
            drawing.name(element),
            clips=state.clips,
            coat=Coat(BLACK, 1.0, state.groups, state.viewport),
            picture=picture,
        )
    ]


def _data(reference: str) -> bytes | None:
    """Return the bytes of a ``data:`` reference (RFC 2397); None for any other."""
    found = _DATA.fullmatch(reference)
    if found is None:
        return None
    raw = unquote_to_bytes(found[3])
    if ";base64" not in found[2].lower():
        return raw
    try:
        return base64.b64decode(b"".join(raw.split()), validate=False)
    except binascii.Error:
        return b""
