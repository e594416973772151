"""What of a drawing its layers do not show, told: thin places, colours that have no can."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from ..arrays import Floats, Geometries
from ..artwork.coloured import ColouredShape
from ..colour import ciede2000, hex_from_srgb, lab_from_srgb, srgb_from_hex
from ..finding import Finding, Severity
from .cans import Palette, gather
from .colour_names import colour_word, hue_word
from .regions import Lost
from .settings import MOST_CANS, SeparationSettings

#: A drawing with more of its seen area than this in colours that no can comes near is told.
_FAR_SHARE = 0.02
#: A can this far off (CIEDE2000) is seen to be another colour.
_FAR = 10.0
#: ... and another hue when it lies this far off in CIELAB's plane of a* and b*: what is only
#: lighter or darker does not.
_TURNED = 12.0
#: Nobody makes a sheet so many times as wide for the sake of thin places.
_FAR_WIDER = 10.0
#: An area of another hue is told when it is this share of what is seen, and as wide as this share
#: of the least opening on the whole; so many pairs of colours.
_HUE_SHARE, _CUT, _MOST_HUES = 0.0005, 0.5, 3


def lost_findings(least: float, *losses: Lost | None) -> list[Finding]:
    """Return what is to be told of places too thin to be cut.

    Parameters
    ----------
    least : float
        Least width of an opening in mm.
    losses : Lost or None
    """
    some = [one for one in losses if one is not None]
    count, area = sum(one.count for one in some), sum(one.area for one in some)
    if area < 1.0:
        return []
    width = sum(one.width * one.area for one in some) / area
    wider = max(least / width, 1.1)
    what, them = ("place", "it") if count == 1 else ("places", "them")
    keeps = f"; a sheet about {wider:.2g} times as wide keeps {them}" if wider < _FAR_WIDER else ""
    return [
        Finding(
            "separation.too-thin",
            Severity.NOTE,
            f"{count} {what} too thin to be cut, {area:.3g} mm2 in all and about {width:.2g} mm "
            f"wide, took a neighbour's colour{keeps}.",
            place=max(some, key=lambda one: one.area).place,
        )
    ]


def gone_findings(
    shapes: Sequence[ColouredShape], colours: Floats, shown: Sequence[str]
) -> list[Finding]:
    """Return what is to be told of colours that no sheet has, as all that has them is too thin.

    Parameters
    ----------
    shapes : sequence of ColouredShape
        All of the drawing.
    colours : float64 array (n, 3)
        sRGB of what is seen of it for which a layer or the wall stands, in whatever colour.
    shown : sequence of str
        Colours of the layers and of the wall.
    """
    here = lab_from_srgb(np.array([srgb_from_hex(colour) for colour in shown]))
    kept = {hex_from_srgb(c / 255) for c in np.unique(np.rint(colours * 255), axis=0)}
    areas: dict[str, float] = {}
    for one in shapes:
        colour = hex_from_srgb(one.rgb)
        if colour not in kept and one.alpha == 1 and not one.groups:
            areas[colour] = areas.get(colour, 0.0) + one.shape.area
    gone = [
        colour
        for colour in sorted(areas, key=lambda c: -areas[c])
        if areas[colour] >= 1.0
        and ciede2000(lab_from_srgb(srgb_from_hex(colour)), here).min() > _FAR
    ]
    if not gone:
        return []
    told = [f"the {colour_word(colour).lower()} {colour}" for colour in gone[:_MOST_HUES]]
    more = f" and {len(gone) - _MOST_HUES} more" if len(gone) > _MOST_HUES else ""
    return [
        Finding(
            "separation.colour-gone",
            Severity.NOTE,
            f"All that is drawn in {', '.join(told)}{more} is too thin to be cut: no sheet has "
            "that colour.",
        )
    ]


def crumb_findings(crumbs: Geometries) -> list[Finding]:
    """Return what is to be told of crumbs of the wall's colour that are painted over.

    Parameters
    ----------
    crumbs : object array of Polygon
    """
    area = float(shapely.area(crumbs).sum())
    if area < 1.0:
        return []
    point = shapely.point_on_surface(max(crumbs, key=lambda crumb: float(crumb.area)))
    return [
        Finding(
            "separation.crumbs",
            Severity.NOTE,
            f"{len(crumbs)} {'crumb' if len(crumbs) == 1 else 'crumbs'} of bare wall, {area:.3g} "
            "mm2 in all, would cost the picture more by what holds them than they are worth, and "
            "took a neighbour's colour; a larger sheet keeps them.",
            place=(float(point.x), float(point.y)),
        )
    ]


def wall_findings(names: list[str], ground: str, settings: SeparationSettings) -> list[Finding]:
    """Return what is to be told of layers in the wall's colour, where the cans have none of it.

    Parameters
    ----------
    names : list of str
        Of the layers in the wall's colour.
    ground : str
        The wall's colour.
    settings : SeparationSettings
    """
    if not names or not settings.cans:
        return []
    wall, *cans = lab_from_srgb(np.array([srgb_from_hex(c) for c in (ground, *settings.cans)]))
    if float(ciede2000(wall, np.array(cans)).min()) < _FAR:
        return []
    return [
        Finding(
            "separation.wall-paint",
            Severity.NOTE,
            f"Layer {names[0]} covers in the colour of the wall, {ground}, which none of the cans "
            "has: without paint of the wall's colour, what is under it stays as it is.",
        )
    ]


def can_findings(
    palette: Palette, colours: Floats, areas: Floats, ground: str, settings: SeparationSettings
) -> list[Finding]:
    """Return what is to be told of much that is sprayed in a colour plainly other.

    Parameters
    ----------
    palette : Palette
    colours : float64 array (n, 3)
        Of the cells that are painted, sRGB.
    areas : float64 array (n,)
        Of these cells, in mm2.
    ground : str
        Colour of the wall.
    settings : SeparationSettings
    """
    far = palette.differences > _FAR
    share = float(areas[far].sum() / areas.sum())
    if share < _FAR_SHARE:
        return []
    off = np.where(far, areas * palette.differences, 0.0)
    worst = int(np.argmax(off))
    worst_colour = hex_from_srgb(colours[worst])
    stands = "the wall" if palette.can_of[worst] < 0 else palette.cans[palette.can_of[worst]]
    if palette.can_of[worst] >= 0:
        stands = f"the {colour_word(stands).lower()} {stands}"
    return [
        Finding(
            "separation.far-can",
            Severity.NOTE,
            f"{100 * share:.0f} % of what is seen is sprayed in a colour that differs plainly from "
            f"the drawing's (above CIEDE2000 {_FAR:g}); most of all the "
            f"{colour_word(worst_colour).lower()} {worst_colour}, for which {stands} stands. "
            + (
                "More cans keep it."
                if settings.cans
                else _enough(colours, areas, ground, len(palette.cans))
            ),
        )
    ]


def _enough(colours: Floats, areas: Floats, ground: str, cans: int) -> str:
    """Return how many layers would leave little in another colour, as a sentence."""

    def is_enough(most: int) -> bool:
        off = gather(colours, areas, ground, most).differences > _FAR
        return float(areas[off].sum()) < _FAR_SHARE * float(areas.sum())

    low, high = cans, MOST_CANS + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if is_enough(middle) else (middle, high)
    return "More layers keep more of it." if high > MOST_CANS else f"{high} layers keep it."


def hue_findings(
    palette: Palette, colours: Floats, cells: Geometries, ground: str, settings: SeparationSettings
) -> list[Finding]:
    """Return what is to be told of areas, however small, that are sprayed in another hue.

    Parameters
    ----------
    palette : Palette
    colours : float64 array (n, 3)
        Of the cells that are painted, sRGB.
    cells : object array (n,) of Polygon
    ground : str
        Colour of the wall.
    settings : SeparationSettings
    """
    stands = np.array([srgb_from_hex(c) for c in (*palette.cans, ground)])[palette.can_of]
    lab, lab_stands = lab_from_srgb(colours), lab_from_srgb(stands)
    areas = shapely.area(cells)
    # Of what is too thin to be cut nothing is sprayed.
    wide = 2 * areas > _CUT * settings.least * shapely.length(cells)
    turned = np.hypot(*(lab - lab_stands)[:, 1:].T) > _TURNED
    found: dict[tuple[str, str], list[int]] = {}
    for k in np.flatnonzero(wide & turned & (palette.differences > _FAR)).tolist():
        pair = (hex_from_srgb(colours[k]), hex_from_srgb(stands[k]))
        if hue_word(pair[0]) != hue_word(pair[1]):
            shown = "bare wall" if palette.can_of[k] < 0 else colour_word(pair[1])
            found.setdefault((colour_word(pair[0]), shown), []).append(k)
    least = _HUE_SHARE * float(areas.sum())
    rows = sorted(((float(areas[own].sum()), pair) for pair, own in found.items()), reverse=True)
    rows = [row for row in rows if row[0] >= least]
    if not rows:
        return []
    told = [f"{a.lower()} becomes {b.lower()} ({area / 100:.2g} cm2)" for area, (a, b) in rows]
    more = f", and {len(told) - _MOST_HUES} more" if len(told) > _MOST_HUES else ""
    first = found[rows[0][1]]
    point = shapely.point_on_surface(cells[max(first, key=lambda k: float(areas[k]))])
    return [
        Finding(
            "separation.other-hue",
            Severity.NOTE,
            f"For want of a can, {', '.join(told[:_MOST_HUES])}{more}. "
            + ("More cans" if settings.cans else "More layers")
            + " keep them apart.",
            place=(float(point.x), float(point.y)),
        )
    ]
