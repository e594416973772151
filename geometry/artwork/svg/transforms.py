"""SVG coordinate systems: transforms, and view boxes fitted into viewports (SVG 1.1, chapter 7)."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

import numpy as np

from ...arrays import Floats
from .units import number_list

#: a, b, c, d, e, f as in SVG: x' = a x + c y + e, y' = b x + d y + f.
Matrix = tuple[float, float, float, float, float, float]

IDENTITY: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)

#: Texts of a drawing are cut to so many characters in messages.
_LONGEST_TEXT = 60

_FUNCTION = re.compile(r"[\s,]*([A-Za-z]+)\s*\(([^()]*)\)")
_COUNTS = {
    "matrix": (6,),
    "translate": (1, 2),
    "scale": (1, 2),
    "rotate": (1, 3),
    "skewX": (1,),
    "skewY": (1,),
}
_ALIGN = re.compile(r"x(Min|Mid|Max)Y(Min|Mid|Max)")
_SHARE = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}


def times(outer: Matrix, inner: Matrix) -> Matrix:
    """Return the map that does ``inner`` first, then ``outer``."""
    a, b, c, d, e, f = outer
    g, h, i, j, k, m = inner
    return (
        a * g + c * h,
        b * g + d * h,
        a * i + c * j,
        b * i + d * j,
        a * k + c * m + e,
        b * k + d * m + f,
    )


def at(matrix: Matrix, x: float, y: float) -> tuple[float, float]:
    """Return where a map puts a point.

    Parameters
    ----------
    matrix : Matrix
    x, y : float

    Examples
    --------
    >>> at(shifted(2, 3), 1, 1)
    (3.0, 4.0)
    """
    a, b, c, d, e, f = matrix
    return a * x + c * y + e, b * x + d * y + f


def shifted(x: float, y: float) -> Matrix:
    """Return the map that moves by x, y."""
    return (1.0, 0.0, 0.0, 1.0, x, y)


def linear_and_shift(matrices: Iterable[Matrix]) -> tuple[Floats, Floats]:
    """Return the maps as arrays: linear parts (n, 2, 2) and shifts (n, 2)."""
    m = np.array(list(matrices), dtype=np.float64).reshape(-1, 3, 2)
    return np.ascontiguousarray(m[:, :2].transpose(0, 2, 1)), m[:, 2]


def transform(text: str) -> Matrix:
    """Return the map of a ``transform`` attribute (SVG 1.1, section 7.6).

    Raises
    ------
    ValueError
        An unknown function or a wrong number of values.

    Examples
    --------
    >>> transform("translate(10 20) scale(2)")
    (2.0, 0.0, 0.0, 2.0, 10.0, 20.0)
    """
    matrix = IDENTITY
    place = 0
    while found := _FUNCTION.match(text, place):
        place = found.end()
        matrix = times(matrix, _function(found[1], number_list(found[2])))
    if text[place:].strip(" \t\r\n,") and text.strip() != "none":
        raise ValueError(
            f"'{text.strip()[:_LONGEST_TEXT]}', expected transform functions such as "
            "translate(10 20)"
        )
    return matrix


def _function(name: str, values: list[float]) -> Matrix:
    if name not in _COUNTS:
        raise ValueError(f"the function '{name}', expected one of {', '.join(_COUNTS)}")
    if len(values) not in _COUNTS[name]:
        counts = " or ".join(str(c) for c in _COUNTS[name])
        raise ValueError(f"{name} with {len(values)} values, expected {counts}")
    if name == "matrix":
        a, b, c, d, e, f = values
        return (a, b, c, d, e, f)
    if name == "translate":
        return shifted(values[0], values[1] if len(values) > 1 else 0.0)
    if name == "scale":
        return (values[0], 0.0, 0.0, values[-1], 0.0, 0.0)
    if name == "skewX":
        return (1.0, 0.0, math.tan(math.radians(values[0])), 1.0, 0.0, 0.0)
    if name == "skewY":
        return (1.0, math.tan(math.radians(values[0])), 0.0, 1.0, 0.0, 0.0)
    angle = math.radians(values[0])
    turn = (math.cos(angle), math.sin(angle), -math.sin(angle), math.cos(angle), 0.0, 0.0)
    if len(values) == 1:
        return turn
    return times(times(shifted(values[1], values[2]), turn), shifted(-values[1], -values[2]))


def view_box(text: str) -> tuple[float, float, float, float]:
    """Return x, y, width, height of a ``viewBox``.

    Raises
    ------
    ValueError
        Not four numbers, or a negative size.
    """
    values = number_list(text)
    if len(values) != 4:
        raise ValueError(f"{len(values)} numbers, expected 4: x, y, width and height")
    x, y, width, height = values
    if width < 0 or height < 0:
        raise ValueError(f"the negative size {width:g} x {height:g}")
    return x, y, width, height


def fit(
    box: tuple[float, float, float, float], width: float, height: float, aspect: str
) -> tuple[Matrix, bool]:
    """Fit a view box into a viewport (SVG 1.1, sections 7.7 and 7.8).

    Parameters
    ----------
    box : tuple of float
        x, y, width, height of the view box; the size is not zero.
    width, height : float
        Size of the viewport.
    aspect : str
        Value of ``preserveAspectRatio``, empty for the default ``xMidYMid meet``.

    Returns
    -------
    matrix : Matrix
        From view box to viewport.
    slices : bool
        Whether the box may reach beyond the viewport, which then cuts it.

    Raises
    ------
    ValueError
        The aspect is not one that SVG knows.
    """
    words = [w for w in aspect.split() if w != "defer"] or ["xMidYMid"]
    align, manner = words[0], words[1] if len(words) > 1 else "meet"
    found = _ALIGN.fullmatch(align)
    if len(words) > 2 or manner not in ("meet", "slice") or (found is None and align != "none"):
        raise ValueError(f"'{aspect}', expected for example 'xMidYMid meet' or 'none'")
    x, y, box_width, box_height = box
    across, down = width / box_width, height / box_height
    if found is None:
        return (across, 0.0, 0.0, down, -x * across, -y * down), False
    scale = max(across, down) if manner == "slice" else min(across, down)
    left = _SHARE[found[1]] * (width - box_width * scale)
    top = _SHARE[found[2]] * (height - box_height * scale)
    return (scale, 0.0, 0.0, scale, left - x * scale, top - y * scale), manner == "slice"
