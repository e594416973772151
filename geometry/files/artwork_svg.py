"""Artwork drawn elsewhere as an SVG file: filled paths and strokes at true size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ..arrays import Floats


@dataclass(frozen=True)
class Line:
    """One run of a path.

    Parameters
    ----------
    points : float64 array
        Corners (n, 2), or cubic Bezier pieces (n, 4, 2) each of which begins where the one before
        ends. In mm, y up.
    closed : bool
        Whether it runs back to its beginning, by a straight line where it has not got there.
    """

    points: Floats
    closed: bool = True


@dataclass(frozen=True)
class Fill:
    """An area inside lines by the even-odd rule: lines within lines are holes."""

    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Stroke:
    """A line painted ``width`` mm wide, with round ends and corners."""

    line: Line
    width: float


def artwork_svg(parts: Sequence[Fill | Stroke], page: tuple[float, float]) -> str:
    """Return parts as the text of an SVG file whose page is ``page`` mm.

    Parameters
    ----------
    parts : sequence of Fill or Stroke
    page : tuple of float
        Width and height in mm; its lower left corner is the origin of the parts.

    Examples
    --------
    >>> import numpy as np
    >>> square = Line(np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]]))
    >>> print(artwork_svg([Fill((square,))], (10.0, 20.0)).splitlines()[1])
    <path fill-rule="evenodd" d="M0 20L1 20L1 19Z"/>
    """
    width, height = page
    rows = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}">'
    ]
    for part in parts:
        if isinstance(part, Fill):
            data = "".join(_data(line, height) for line in part.lines)
            rows.append(f'<path fill-rule="evenodd" d="{data}"/>')
        else:
            rows.append(
                f'<path fill="none" stroke="#000000" stroke-width="{part.width:.6g}" '
                f'stroke-linecap="round" stroke-linejoin="round" d="{_data(part.line, height)}"/>'
            )
    rows.append("</svg>\n")
    return "\n".join(rows)


def _data(line: Line, height: float) -> str:
    points = line.points * (1.0, -1.0) + (0.0, height)
    if points.ndim == 3:
        first = points[0, 0]
        runs = ["C" + ",".join(_pair(p) for p in piece[1:]) for piece in points]
    else:
        first = points[0]
        runs = ["L" + _pair(p) for p in points[1:]]
    return "M" + _pair(first) + "".join(runs) + ("Z" if line.closed else "")


def _pair(point: Any) -> str:
    return " ".join(f"{c:.6f}".rstrip("0").rstrip(".") for c in point.tolist())
