"""Mending: narrow places told as findings, and those mended that the artist has accepted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from ..finding import Finding, Severity
from ..planar.narrow import NarrowPlace
from .laying import Strip

#: A place in the job accepts the nearest finding within this distance, in mm.
REACH = 3.0
#: Narrow places of openings within this distance of a bridge come from it, in mm.
BESIDE = 0.1
#: More places of one kind than this are told as one.
TELL_EACH = 60

#: How the message of a finding begins its advice where a point in ``mend_mm`` mends the place.
_ADVICE = "Add this point to the layer's mend_mm"

_SHEET = {
    "neck": "Sheet only {w} mm wide {over} between openings, less than the least width of {least} "
    "mm",
    "tongue": "A tongue of sheet {w} mm wide and {l} mm long may lift under the spray; the least "
    "width is {least} mm",
    "sliver": "A piece of sheet is nowhere wider than {w} mm over {l} mm; the least width is "
    "{least} mm",
}
_OPENING = {
    "neck": "An opening only {w} mm wide {over} is too narrow to cut or to pass paint; the least "
    "width is {least} mm",
    "tongue": "An opening runs out {l} mm long and {w} mm wide, too fine to cut or to pass paint; "
    "the least width is {least} mm",
    "sliver": "An opening is nowhere wider than {w} mm over {l} mm, too fine to cut or to pass "
    "paint; the least width is {least} mm",
}
#: A neck shorter than this, in mm, is told to be at one point.
_POINT = 0.05


def below(value: float, limit: float) -> str:
    """Return a length in mm with two decimals, or as many as show that it is below the limit.

    >>> below(1.4873, 1.5), below(1.4973, 1.5)
    ('1.49', '1.497')
    """
    decimals = 2
    while value < limit <= float(f"{value:.{decimals}f}"):
        decimals += 1
    return f"{value:.{decimals}f}"


def narrow_findings(
    places: Sequence[NarrowPlace],
    least: float,
    layer: str,
    *,
    opening: bool,
    strips: Sequence[shapely.Geometry] = (),
) -> list[Finding]:
    """Return a finding for each narrow place of a sheet or of its openings.

    Parameters
    ----------
    places : sequence of NarrowPlace
    least : float
        Least width in mm.
    layer : str
    opening : bool
        The places are in openings, not in sheet.
    strips : sequence of Polygon
        Bridges: an opening's narrow place beside one comes from it, not from the drawing.
    """
    tree = shapely.STRtree(list(strips))
    sentences = _OPENING if opening else _SHEET
    subject = "opening" if opening else "support"
    remedy = "widened" if opening else "thickened"
    found = []
    for kind, sentence in sentences.items():
        mine = [p for p in places if p.kind == kind]
        crowd = len(mine) > TELL_EACH
        for place in mine[:1] if crowd else mine:
            length = f"{place.length_mm:.1f}"
            message = sentence.format(
                w=below(place.width_mm, least),
                l=length,
                over=f"over {length} mm" if place.length_mm >= _POINT else "at one point",
                least=f"{least:g}",
            )
            by_bridge = opening and len(tree.query(place.line, "dwithin", distance=BESIDE))
            if crowd:
                message += f" (the narrowest of {len(mine)} such places)"
            found.append(
                Finding(
                    f"{subject}.{kind}",
                    Severity.WARNING,
                    f"{message}. "
                    + (
                        "A bridge beside it left it so; lay that elsewhere by hand."
                        if by_bridge
                        else f"{_ADVICE} to have it {remedy}."
                    ),
                    layer,
                    place.place,
                    place.width_mm,
                )
            )
    off = [place for place in places if place.off_mm]
    if off:
        most = max(off, key=lambda place: place.off_mm)
        where = "openings" if opening else "sheet"
        found.append(
            Finding(
                f"{subject}.much-narrow",
                Severity.NOTE,
                f"So much of the {where} is too narrow here that it was looked through in coarser "
                f"steps: the middle lines of {len(off)} narrow places may lie {most.off_mm:.2g} mm "
                "off, and what is mended with them.",
                layer,
                most.place,
                most.off_mm,
            )
        )
    return found


def can_be_mended(message: str) -> bool:
    """Return whether a finding's message is of a place that a point in ``mend_mm`` mends.

    >>> can_be_mended("Closed an open path.")
    False
    """
    return _ADVICE in message


def accepted(
    places: Sequence[NarrowPlace], points: Sequence[tuple[float, float]]
) -> tuple[list[NarrowPlace], list[tuple[float, float]]]:
    """Return the places that the artist's points accept, and the points that accept none.

    Parameters
    ----------
    places : sequence of NarrowPlace
    points : sequence of (x, y)
        In mm; each accepts the nearest place whose middle line is within ``REACH``.
    """
    lines = [p.line for p in places]
    chosen: dict[int, NarrowPlace] = {}
    idle = []
    for point in points:
        distance = shapely.distance(np.array(lines, object), shapely.points(point))
        if len(lines) and distance.min() <= REACH:
            number = int(np.argmin(distance))
            chosen[number] = places[number]
        else:
            idle.append(point)
    return list(chosen.values()), idle


def mend(place: NarrowPlace, least: float) -> Strip:
    """Return the strip that makes a narrow place of a sheet as wide as the least width.

    Parameters
    ----------
    place : NarrowPlace
    least : float
        In mm.
    """
    path = shapely.get_coordinates(place.spine(least))
    return Strip("mend", path, least)
