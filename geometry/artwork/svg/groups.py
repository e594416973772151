"""The groups of an SVG drawing that an artist would call its layers."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from xml.etree.ElementTree import Element

import numpy as np
from tinycss2 import color4

from ...colour import hex_from_srgb
from ...tolerance import TOLERANCES
from ..parts import Part, Parts
from ..source import ArtworkSource
from .document import local_name
from .drawing import Drawing
from .read import OpenedDrawing, names_of, open_drawing
from .references import NEVER_PAINTED
from .shapes import SHAPES, shape_path
from .state import State

_GROUPS = ("g", "svg", "a")
_PAINTED = (*SHAPES, "use")


def read_groups(path: Path) -> Parts:
    """Read which groups an SVG drawing has.

    The groups are those just inside the drawing; where all of it stands in one, those inside that.

    Parameters
    ----------
    path : Path

    Raises
    ------
    ArtworkError
        As of ``read_svg``.
    """
    opened = open_drawing(ArtworkSource(path), TOLERANCES, [])
    drawing = opened.drawing
    level = _level(drawing.document.root)
    groups = [element for element in level if _is_group(element)]
    parts = [_part(group, opened) for group in groups]
    return Parts(
        tuple(part for part in parts if part is not None),
        opened.page,
        loose=sum(local_name(element) in _PAINTED for element in level)
        + sum(_paints(group) for group, part in zip(groups, parts, strict=True) if part is None),
    )


def _level(root: Element) -> list[Element]:
    """Return the elements among which the artist's layers are."""
    level = list(root)
    while True:
        painted = [e for e in level if _paints(e)]
        if len(painted) != 1 or not _is_group(painted[0]):
            return level
        within = [e for e in painted[0] if _paints(e)]
        # A group of shapes is a layer; one of groups wraps them.
        if len(within) < 2 or not all(_is_group(e) for e in within):
            return level
        level = list(painted[0])


def _is_group(element: Element) -> bool:
    return local_name(element) in _GROUPS


def _paints(element: Element) -> bool:
    tag = local_name(element)
    if not tag or tag in NEVER_PAINTED:
        return False
    return tag in _PAINTED or (_is_group(element) and any(_paints(child) for child in element))


def _part(group: Element, opened: OpenedDrawing) -> Part | None:
    """Return what a group is as a part; None where nothing can name it or it paints nothing."""
    if not _paints(group):
        return None
    drawing, names = opened.drawing, list(names_of(group))
    key = next((name for name in names if _is_unique(name, group, drawing)), None)
    if key is None:
        return None
    return Part(
        names[0], key, _main_colour(group, drawing, opened.state), drawing.is_hidden([group])
    )


def _is_unique(name: str, group: Element, drawing: Drawing) -> bool:
    """Return whether a job finds the group, and no other, by a name."""
    found = drawing.document.ids.get(name)
    if found is not None and local_name(found):
        return found is group
    elements = (e for e in drawing.document.root.iter() if local_name(e))
    return [e for e in elements if name in names_of(e)] == [group]


def _main_colour(group: Element, drawing: Drawing, state: State) -> str:
    """Return the plain colour that most of a group is painted in, by the boxes round its shapes."""
    sizes: Counter[str] = Counter()
    for element in group.iter():
        if local_name(element) not in _PAINTED:
            continue
        for key in ("fill", "stroke"):
            colour = _colour(element, key, drawing)
            if colour is not None:
                sizes[colour] += max(_size(element, drawing, state), 1)
                break
    return sizes.most_common(1)[0][0] if sizes else ""


def _size(element: Element, drawing: Drawing, state: State) -> int:
    tag = local_name(element)
    path = shape_path(drawing, element, tag, state) if tag in SHAPES else None
    if path is None or len(path) == 0:
        return 0
    width, height = np.ptp(path.rows[:, 4:], axis=0).tolist()
    return int(1000 * width * height)


def _colour(element: Element, key: str, drawing: Drawing) -> str | None:
    """Return the colour of a fill or stroke; '' where it is no plain one, None where it is none."""
    for holder in (element, *drawing.ancestors(element)):
        text = drawing.declared(holder).get(key, "inherit").strip()
        if text == "inherit":
            continue
        if text == "none":
            return None
        colour = color4.parse_color(text)
        if colour is None or colour == "currentcolor":
            return ""
        if colour.alpha <= 0:
            return None
        return hex_from_srgb(np.clip(colour.to("srgb").coordinates, 0, 1))
    return "#000000" if key == "fill" else None
