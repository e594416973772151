"""The layered drawing: an SVG that a drawing program opens with one layer a stencil.

One user unit is one millimetre. Each layer is a group with an id that the job file names and the
label that drawing programs show; each shape is one path of cubic curves and lines, holes included,
filled even-odd.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

from .bezier_fit import CurvedRing, CurvedShape


@dataclass(frozen=True, eq=False)
class DrawnLayer:
    """One group of the drawing.

    Parameters
    ----------
    id : str
        Unique, plain ASCII.
    label : str
    colour : str
        Like ``#a0522d``.
    shape : CurvedShape
        In mm, y up.
    """

    id: str
    label: str
    colour: str
    shape: CurvedShape


def layered_svg(
    layers: Sequence[DrawnLayer], page: tuple[float, float], title: str, ground: str, note: str = ""
) -> str:
    """Return the drawing as the text of an SVG file.

    Parameters
    ----------
    layers : sequence of DrawnLayer
        In spray order.
    page : tuple of float
        Width and height in mm.
    title : str
    ground : str
        Colour of the wall; told in the description, not drawn, for it would be cut.
    note : str
        Added to the description.
    """
    width, height = (_number(v) for v in page)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<svg xmlns="http://www.w3.org/2000/svg"'
        ' xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape"',
        f'     width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}">',
        f"  <title>{escape(title)}</title>",
        f"  <desc>One group a layer, in spray order, on a wall of {ground}. Units: mm."
        f"{' ' + escape(note) if note else ''}</desc>",
    ]
    for layer in layers:
        lines.append(
            f"  <g id={quoteattr(layer.id)} inkscape:label={quoteattr(layer.label)}"
            f' inkscape:groupmode="layer" fill="{layer.colour}" fill-rule="evenodd">'
        )
        for rings in layer.shape.polygons:
            path = " ".join(_path(ring, page[1]) for ring in rings)
            lines.append(f'    <path d="{path}"/>')
        lines.append("  </g>")
    lines.append("</svg>")
    return "\n".join(lines) + "\n"


def _path(ring: CurvedRing, height: float) -> str:
    def place(point: list[float]) -> str:
        return f"{_number(point[0])},{_number(height - point[1])}"

    cubics = ring.cubics.tolist()
    words = ["M" + place(cubics[0][0])]
    for cubic, straight in zip(cubics, ring.straight.tolist(), strict=True):
        if straight:
            words.append("L" + place(cubic[3]))
        else:
            words.append("C" + " ".join(place(p) for p in cubic[1:]))
    return "".join(words) + "Z"


def _number(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
