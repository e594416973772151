"""The layered drawing: an SVG that a drawing program opens with one layer a stencil.

One user unit is one millimetre. Each layer is a group with an id that the job file names and the
label that drawing programs show; each shape is one path of cubic curves and lines, holes included,
filled even-odd.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from ..arrays import Floats
from ..errors import JobError
from .as_made import AS_MADE, as_made
from .bezier_fit import CurvedRing, CurvedShape
from .hand_edits import (
    NAMESPACES,
    TRACED,
    TRACED_JOB,
    check_untouched,
    group_digest,
    read_drawing,
    with_groups,
)


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


@dataclass(frozen=True)
class Underlay:
    """The picture under the layers: seen, locked, and never read.

    Parameters
    ----------
    content : bytes
        Of the picture's file.
    kind : str
        Its media type.
    opacity : float
    label : str
        Of its layer in a drawing program.
    """

    content: bytes
    kind: str = "image/jpeg"
    opacity: float = 0.5
    label: str = "Photo, never cut"


@dataclass(frozen=True, eq=False)
class Seams:
    """Lines drawn over the layers, seen, locked and never read: what lies under them overlaps.

    Parameters
    ----------
    lines : tuple of float64 array (k, 2)
        In mm, y up.
    label : str
    """

    lines: tuple[Floats, ...]
    label: str = "Seams, never cut"


def layered_svg(
    layers: Sequence[DrawnLayer],
    page: tuple[float, float],
    title: str,
    ground: str,
    note: str = "",
    underlay: Underlay | None = None,
    job_digest: str = "",
    seams: Seams | None = None,
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
    underlay : Underlay, optional
    job_digest : str
        Of the job file beside it, kept so that a job changed by hand is known.
    seams : Seams, optional
    """
    width, height = (_number(v) for v in page)
    told = f" {TRACED_JOB}={quoteattr(job_digest)}" if job_digest else ""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        "<svg" + "".join(f' xmlns{":" * bool(p)}{p}="{uri}"' for p, uri in NAMESPACES.items()),
        f'     width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}"{told}>',
        f"  <title>{escape(title)}</title>",
        f"  <desc>One group a layer, in spray order, on a wall of {ground}. Units: mm."
        f"{' ' + escape(note) if note else ''}</desc>",
    ]
    if underlay is not None:
        data = base64.b64encode(underlay.content).decode("ascii")
        lines += [
            f'  <g id="photo" inkscape:label={quoteattr(underlay.label)} inkscape:groupmode="layer"'
            f' sodipodi:insensitive="true" opacity="{underlay.opacity:g}" {TRACED}="no">',
            f'    <image width="{width}" height="{height}" preserveAspectRatio="none"'
            f' href="data:{underlay.kind};base64,{data}"/>',
            "  </g>",
        ]
    lines += [group_text(layer, page[1]) for layer in layers]
    if seams is not None:
        lines += [
            f'  <g id="seams" inkscape:label={quoteattr(seams.label)} inkscape:groupmode="layer"'
            f' sodipodi:insensitive="true" fill="none" stroke="#ff00ff" stroke-width="0.25"'
            f' {TRACED}="no">',
            *(f'    <path d="{_line(points.tolist(), page[1])}"/>' for points in seams.lines),
            "  </g>",
        ]
    lines.append("</svg>")
    return "\n".join(lines) + "\n"


def drawn_anew(
    path: Path,
    job: str,
    drawing: bytes,
    layers: Sequence[DrawnLayer],
    height: float,
    only: Sequence[str],
    what: str,
) -> tuple[bytes, bytes | None]:
    """Return the drawing to be written at a path, with all that has to be kept of the one there.

    Parameters
    ----------
    path : Path
    job : str
        Name of the job file beside it.
    drawing : bytes
        All layers anew.
    layers : sequence of DrawnLayer
        The same.
    height : float
        Of its page in mm.
    only : sequence of str
        Ids of the groups to draw anew, the others stay byte for byte; all when empty.
    what : str
        What the layers are those of, for the sentence of an error.

    Returns
    -------
    drawing : bytes
    made : bytes or None
        The layers as they were made, to be kept beside it as ``AS_MADE``; None where it is not
        known how those that stay were made.

    Raises
    ------
    JobError
        Something that would be written anew was changed by hand, see ``check_untouched``; or
        ``only`` names no layer.
    """
    found = check_untouched(path.parent, path.name, job, only)
    if not only or found is None:
        return drawing, as_made(drawing)
    known = {layer.id: layer for layer in layers}
    for name in only:
        if name not in known:
            raise JobError(
                f"--only {name}: expected one of {', '.join(known)}, the layers of this {what}."
            )
    fresh = {name: group_text(known[name], height) for name in only}
    made = path.with_name(AS_MADE)
    if not made.is_file():
        return with_groups(path.read_bytes(), found, fresh), None
    old = made.read_bytes()
    return (
        with_groups(path.read_bytes(), found, fresh),
        with_groups(old, read_drawing(old, str(made)), fresh),
    )


def group_text(layer: DrawnLayer, height: float) -> str:
    """Return one layer as the text of an SVG group, on a page of a height in mm."""
    paths = [" ".join(_path(ring, height) for ring in rings) for rings in layer.shape.polygons]
    lines = [
        f"  <g id={quoteattr(layer.id)} inkscape:label={quoteattr(layer.label)}"
        f' inkscape:groupmode="layer" fill="{layer.colour}" fill-rule="evenodd"'
        f' {TRACED}="{group_digest(paths)}">',
        *(f'    <path d="{path}"/>' for path in paths),
        "  </g>",
    ]
    return "\n".join(lines)


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


def _line(points: list[list[float]], height: float) -> str:
    return "M" + " ".join(f"{_number(x)},{_number(height - y)}" for x, y in points)


def _number(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
