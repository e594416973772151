"""Places and sizes of shapes that styles give: ``r: 5px``, ``d: path("...")`` (SVG 2, chapter 7).

SVG 2 makes some attributes of shapes properties of CSS, which styles override. Which elements take
them from a style was seen in Chromium, for programs differ: resvg takes none of them.
"""

from __future__ import annotations

import math
import re

import tinycss2

from .path import parse_path
from .units import length_px

#: Properties that give places and sizes.
PROPERTIES = frozenset({"cx", "cy", "d", "height", "r", "rx", "ry", "width", "x", "y"})

#: What each element takes from a style.
TAKEN = {
    "circle": frozenset({"cx", "cy", "r"}),
    "ellipse": frozenset({"cx", "cy", "rx", "ry"}),
    "rect": frozenset({"x", "y", "width", "height", "rx", "ry"}),
    "image": frozenset({"x", "y", "width", "height"}),
    "use": frozenset({"x", "y"}),
    "path": frozenset({"d"}),
}

#: What SVG 2 lets a style give, too, and not every reader takes.
IN_DOUBT = {
    "svg": frozenset({"x", "y", "width", "height"}),
    "use": frozenset({"width", "height"}),
}

#: Values that stand for the one that holds where nothing is given.
INITIAL = frozenset({"initial", "unset", "revert", "revert-layer"})

_AUTO = frozenset({"rx", "ry", "width", "height"})
_NOT_NEGATIVE = frozenset({"r", "rx", "ry", "width", "height"})
_LONGEST_TEXT = 40


def fault(name: str, text: str) -> str:
    """Return what is wrong with a value that a style gives; empty where it holds.

    Parameters
    ----------
    name : str
        One of ``PROPERTIES``.
    text : str
        Without variables.

    Examples
    --------
    >>> fault("r", "5px"), fault("r", "-5px")
    ('', "'-5px', expected no negative length")
    """
    word = text.strip().lower()
    if word in INITIAL or (word == "auto" and name in _AUTO) or (word == "none" and name == "d"):
        return ""
    if name == "d":
        data = path_data(text)
        problem = parse_path(data)[1] if data is not None else "expected path('...')"
        return f"'{text[:_LONGEST_TEXT]}', {problem}" if problem else ""
    try:
        # Any size of the font and the page will do: only its sign is looked at.
        length = length_px(text, 1.0, 1.0)
    except ValueError as error:
        return str(error)
    if length < 0 and name in _NOT_NEGATIVE:
        return f"'{text[:_LONGEST_TEXT]}', expected no negative length"
    return ""


def path_data(text: str) -> str | None:
    """Return the path data of ``path("...")``; empty for ``none``, None for something else."""
    if text.strip().lower() == "none":
        return ""
    tokens = [t for t in tinycss2.parse_component_value_list(text) if t.type != "whitespace"]
    if len(tokens) != 1 or tokens[0].type != "function" or tokens[0].lower_name != "path":
        return None
    inside = [t for t in tokens[0].arguments if t.type != "whitespace"]
    return str(inside[0].value) if len(inside) == 1 and inside[0].type == "string" else None


def lacks_unit(name: str, text: str) -> bool:
    """Return whether a length other than 0 has no unit, which CSS asks for and browsers do not."""
    if name == "d" or not re.fullmatch(r"\s*[-+.\deE]+\s*", text):
        return False
    return not math.isclose(float(text), 0.0, abs_tol=0.0)
