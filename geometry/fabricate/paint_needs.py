"""Paint needs: which can a layer takes, in how many coats, and how many cans that makes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ..build import Build
from ..colour import HIDES
from ..paint.can_table import CanMatch, OwnCan, nearest_can
from ..paint.spray_order import Covering
from ..tolerance import ROUNDING
from .estimate import Estimate

#: A can is not sprayed to its last drop: common practice, no source.
EMPTIED = 0.9


@dataclass(frozen=True)
class LayerPaint:
    """The paint of one sheet.

    Parameters
    ----------
    sheet : str
    match : CanMatch
    coats : int
    area_m2 : float
    ml : float
        For all coats and all walls, mist included.
    lighter_over : tuple of str
        Darker layers that it covers: why it takes a coat more.
    """

    sheet: str
    match: CanMatch
    coats: int
    area_m2: float
    ml: float
    lighter_over: tuple[str, ...]


@dataclass(frozen=True)
class CansNeeded:
    """All cans of one paint.

    Parameters
    ----------
    match : CanMatch
    ml : float
    cans : int
        Full ones.
    to_buy : int
        Those that are not in the store.
    price : float
        Of those to buy.
    """

    match: CanMatch
    ml: float
    cans: int
    to_buy: int
    price: float


def coats_to_hide(opacity: float) -> int:
    """Return how many coats hide what is below: each lets (1 - opacity) of it show through.

    >>> coats_to_hide(1.0), coats_to_hide(0.8), coats_to_hide(0.6)
    (1, 2, 4)
    """
    if opacity >= HIDES:
        return 1
    return max(1, math.ceil(math.log(1 - HIDES) / math.log(1 - opacity) - ROUNDING))


def layer_paints(
    build: Build, found: Estimate, cans: Sequence[OwnCan], coverings: Sequence[Covering] = ()
) -> tuple[LayerPaint, ...]:
    """Return the paint of each sheet of a built job.

    Parameters
    ----------
    build : Build
    found : Estimate
        Of the same job: areas and amounts are its.
    cans : sequence of OwnCan
        May be empty.
    coverings : sequence of Covering
        Lighter colours over darker ones, which take one coat more.

    Notes
    -----
    A layer that is meant to let what is below show through gets one coat.
    """
    paints = []
    for number, (layer, amount) in enumerate(zip(build.layers, found.layers, strict=True)):
        match = nearest_can(layer.settings.colour, cans)
        over = tuple(build.layers[c.lower].sheet.layer for c in coverings if c.upper == number)
        coats = 1
        if layer.settings.opacity >= HIDES:
            coats = coats_to_hide(match.can.opacity if match.can else 1.0) + bool(over)
        paints.append(
            LayerPaint(
                layer.sheet.layer, match, coats, amount.paint_m2, amount.paint_ml.high * coats, over
            )
        )
    return tuple(paints)


def cans_needed(paints: Sequence[LayerPaint], usual_ml: float = 400.0) -> tuple[CansNeeded, ...]:
    """Return the cans that paints add up to: one row a can, or a colour that no can has.

    Parameters
    ----------
    paints : sequence of LayerPaint
    usual_ml : float
        In a can of a colour that the table lacks.
    """
    rows: dict[object, list[LayerPaint]] = {}
    for paint in paints:
        # A can of another colour is of no use: what is missing is bought.
        match = paint.match
        rows.setdefault(match.colour if match.missing else match.can, []).append(paint)
    needed = []
    for those in rows.values():
        worst = max((p.match for p in those), key=lambda m: m.difference)
        can = None if worst.missing else worst.can
        ml = sum(p.ml for p in those)
        count = math.ceil(ml / (EMPTIED * (can.ml if can else usual_ml)))
        buy = max(0, count - (can.have if can else 0))
        needed.append(CansNeeded(worst, ml, count, buy, buy * (can.price if can else 0.0)))
    return tuple(needed)
