"""Findings: what is told of a sheet's bridges and of how its islands are held."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from ..finding import Finding, Severity, area_words
from ..planar.strips import straight_strips
from .constraints import Loads
from .cost import Prices
from .gaps import Gaps
from .held_islands import HeldIsland
from .laying import SPOT

#: An island that gives way by more than so many times its limit makes the sheet useless in the
#: hand: it flaps and folds over. Common practice, no source.
FAR_OVER = 3.0
#: Islands of a chain that a message names by their places.
MOST_NAMED = 6


def weak_islands(islands: Sequence[HeldIsland], loads: Loads, layer: str) -> tuple[Finding, ...]:
    """Return a finding for each chain of islands that is held too weakly, the worst of it named.

    A chain is islands that hang together; one island on the frame is a chain of its own.

    Parameters
    ----------
    islands : sequence of HeldIsland
    loads : Loads
    layer : str

    Returns
    -------
    tuple of Finding
        ``support.gives-way`` where an island gives way too far, else ``support.may-tear``. They
        spoil the stencil where the sheet could not be handled at all: where an island gives way
        more than ``FAR_OVER`` times as far as it may, or a bridge is strained beyond the
        material's strength. Otherwise they are warnings.
    """
    chains: dict[int, list[HeldIsland]] = {}
    for island in islands:
        if not island.enough:
            chains.setdefault(island.cluster, []).append(island)
    return tuple(_weak_chain(chain, loads, layer) for chain in chains.values())


def _weak_chain(weak: Sequence[HeldIsland], loads: Loads, layer: str) -> Finding:
    softest = max(weak, key=lambda island: island.hold.deflection_mm)
    most_strained = max(weak, key=lambda island: island.hold.stress_mpa)
    soft = softest.hold.deflection_mm > loads.deflection_mm
    worst = softest if soft else most_strained
    push = (
        f"under the sheet's weight and a push of {loads.handling_n:g} N at an edge, with the sheet "
        "held in the hand"
    )
    if soft:
        code = "support.gives-way"
        what = (
            f"gives way by {worst.hold.deflection_mm:.1f} mm {push}; the limit is "
            f"{loads.deflection_mm:g} mm"
        )
    else:
        code = "support.may-tear"
        what = (
            f"strains its bridges by {worst.hold.stress_mpa:.0f} MPa {push}; the limit is "
            f"{loads.stress_mpa:g} MPa"
        )
    breaks = most_strained.hold.stress_mpa > loads.strength_mpa
    useless = softest.hold.deflection_mm > FAR_OVER * loads.deflection_mm
    advice = "Choose wider bridges, a thicker sheet or a smaller opening, or draw bridges by hand"
    if breaks:
        advice = f"Its bridges would break, at {loads.strength_mpa:g} MPa. {advice}"
    return Finding(
        code,
        Severity.SPOILS if breaks or useless else Severity.WARNING,
        f"An island of {area_words(worst.area_mm2)}{_way(worst)} {what}.{_others(weak)} "
        f"No more could be done: {worst.reason}. {advice}.",
        layer,
        worst.place,
        worst.hold.deflection_mm,
    )


def _way(island: HeldIsland) -> str:
    """Return how an island hangs on the frame, where it does so over others."""
    if not island.chain:
        return ""
    named = [f"({x:.0f}, {y:.0f})" for x, y in island.chain]
    if len(named) > MOST_NAMED:
        named = [*named[: MOST_NAMED - 1], "...", named[-1]]
    return (
        f", {island.steps} bridges from the frame over the island"
        f"{'s' if len(island.chain) > 1 else ''} at {', '.join(named)},"
    )


def _others(weak: Sequence[HeldIsland]) -> str:
    if len(weak) == 1:
        return ""
    return f" Of the islands that hang together with it {len(weak)} are over a limit."


def barred_bridges(gaps: Gaps, widths: Floats, prices: Prices, layer: str) -> tuple[Finding, ...]:
    """Return a finding for each bridge that lies where none may for want of another place.

    Parameters
    ----------
    gaps : Gaps
        Where bridges are laid.
    widths : float64 array (n,)
        In mm.
    prices : Prices
        Knows where none may lie.
    layer : str
    """
    area = prices.barred_area(straight_strips(gaps.lines(), widths, quarter_segments=4))
    middle = (gaps.start + gaps.end) / 2
    return tuple(
        Finding(
            "support.bridge-in-kept-free",
            Severity.WARNING,
            "A bridge had to be laid where none is wanted; the island can be held nowhere else. "
            "Draw a bridge by hand or let the area go.",
            layer,
            (float(middle[number, 0]), float(middle[number, 1])),
        )
        for number in np.flatnonzero(area > SPOT * widths * widths).tolist()
    )


def leaning_bridges(gaps: Gaps, layer: str) -> tuple[Finding, ...]:
    """Return a finding for each bridge that runs another way than was stated.

    Parameters
    ----------
    gaps : Gaps
        Where such bridges are laid.
    layer : str
    """
    middle = (gaps.start + gaps.end) / 2
    return tuple(
        Finding(
            "support.bridge-leans",
            Severity.WARNING,
            "A bridge had to leave the direction that was stated: in that direction no way leads "
            "from this island to other sheet near by.",
            layer,
            (x, y),
        )
        for x, y in middle.tolist()
    )


def mended_necks(
    places: Sequence[tuple[float, float]], width: float, layer: str, *, one_piece: bool
) -> tuple[Finding, ...]:
    """Return a finding for each strip laid along a neck, and one where the sheet still falls apart.

    Parameters
    ----------
    places : sequence of tuple of float
        Of the strips, in mm.
    width : float
        Their width in mm.
    layer : str
    one_piece : bool
        Whether the sheet worn back by just under half the width is one piece.
    """
    found = [
        Finding(
            "support.neck-mended",
            Severity.NOTE,
            f"Sheet narrower than {width:g} mm held a piece here; a strip of that width was "
            "laid along it.",
            layer,
            place,
            width,
        )
        for place in places
    ]
    if not one_piece:
        found.append(
            Finding(
                "support.not-held",
                Severity.SPOILS,
                f"The sheet could not be made to hold together at {width:g} mm.",
                layer,
            )
        )
    return tuple(found)
