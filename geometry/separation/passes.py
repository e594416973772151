"""A colour that returns: one layer of it or two, whichever costs less.

A dark outline with a dark spot in a light patch: in one pass the spot is an island of the patch's
sheet, or the patch of the outline's. In two passes, one early and one late, no sheet has an island,
for one more sheet.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..tolerance import ROUNDING
from .extents import Sheets
from .order import MOST_EXACT, Plan, best_plan, is_small, put_in

#: Most colours that get a second pass.
_MOST_RETURNS = 3


def in_two_passes(
    sheets: Sheets, plan: Plan, exact: bool, drawn: Sequence[int], can_of: dict[int, int]
) -> tuple[Sheets, Plan, bool, dict[int, int]]:
    """Give colours a second pass as long as that costs less.

    Regions go to the second pass when they lie in an island of another layer's sheet, or within an
    island of their own, in the plan so far.

    Parameters
    ----------
    sheets : Sheets
    plan : Plan
        The best with one pass for each colour.
    exact : bool
        Whether no other order costs less.
    drawn : sequence of int
        The layers in the drawing's own order.
    can_of : dict of int to int
        Each layer's can.

    Returns
    -------
    sheets, plan, exact, can_of
        As they came, or with second passes, numbered above the layers so far.
    """
    if not is_small(sheets):
        return sheets, plan, exact, can_of
    for _ in range(_MOST_RETURNS):
        best = None
        for layer, again in _returning(sheets, plan):
            if sheets.is_tired:
                break
            number = max(sheets.layers) + 1
            label = [number if k in again else home for k, home in enumerate(sheets.label)]
            if layer not in label:
                continue
            lightness = {**sheets.lightness, number: sheets.lightness[layer]}
            more = sheets.relabelled(label, lightness)
            tried = _planned_with(more, plan.order, number)
            if tried.cost < (best[0].cost if best else plan.cost) - ROUNDING:
                best = (tried, more, {**can_of, number: can_of[layer]})
        if best is None:
            break
        inserted, sheets, can_of = best
        drawn = [*drawn, max(sheets.layers)]
        plan, exact = best_plan(sheets, [k for k in drawn if k in sheets.layers])
        if inserted.cost < plan.cost:
            plan, exact = inserted, False
    return sheets, plan, exact, can_of


def _planned_with(sheets: Sheets, order: tuple[int, ...], number: int) -> Plan:
    """Return the best plan with one more layer.

    Of many layers the others stay as they are, and it is put in where it costs least: quick, and
    seldom far off.
    """
    if len(order) < MOST_EXACT:
        return best_plan(sheets, [*order, number])[0]
    return put_in(sheets, order, number)


def _returning(sheets: Sheets, plan: Plan) -> list[tuple[int, set[int]]]:
    """Return layers with those of their regions that might go to a second pass."""
    on: dict[int, set[int]] = {}
    within: dict[int, set[int]] = {}
    for layer, extent in zip(plan.order, plan.extents, strict=True):
        if not extent.islands:
            continue
        for region in sheets.on_islands(extent):
            own = sheets.label[region]
            if own != layer and own in sheets.layers:
                on.setdefault(own, set()).add(region)
        for region in sheets.within_islands(extent):
            if sheets.label[region] == layer:
                within.setdefault(layer, set()).add(region)
    return [*on.items(), *within.items()]
