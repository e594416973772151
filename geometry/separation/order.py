"""Spray order: the one whose sheets cost least, and what others would cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..progress import Progress
from ..tolerance import ROUNDING
from .extents import SHEET, Extent, Sheets

#: Up to so many layers the best order is found for certain.
MOST_EXACT = 7
#: ... among up to so many regions: a second or two of work.
_MOST_EXACT_REGIONS = 1000
#: Rounds of moving single layers, for more of them.
_MOST_ROUNDS = 6
#: Of more regions than this only neighbours in the order are swapped.
_MANY_REGIONS = 200


@dataclass(frozen=True)
class Plan:
    """One spray order with the extents of its layers.

    Parameters
    ----------
    order : tuple of int
        Numbers of the layers, first sprayed first.
    extents : tuple of Extent
        In spray order.
    """

    order: tuple[int, ...]
    extents: tuple[Extent, ...]

    @property
    def cost(self) -> float:
        """What all sheets cost, in squares of a bridge's width."""
        return sum(e.cost for e in self.extents) + SHEET * len(self.order)

    @property
    def islands(self) -> int:
        """Islands of all sheets."""
        return sum(e.islands for e in self.extents)

    @property
    def spoiled(self) -> float:
        """What bridges leave bare, an estimate in mm2."""
        return sum(e.spoiled for e in self.extents)

    @property
    def cut(self) -> float:
        """Length of cut of all sheets in mm."""
        return sum(e.cut for e in self.extents)


def planned(sheets: Sheets, order: Sequence[int]) -> Plan:
    """Return the best extents for a spray order."""
    later = 0
    extents: list[Extent] = []
    for layer in reversed(order):
        extents.append(sheets.extent(layer, later))
        later |= 1 << layer
    return Plan(tuple(order), tuple(reversed(extents)))


def put_in(sheets: Sheets, order: tuple[int, ...], layer: int) -> Plan:
    """Return the plan with one more layer, where in an order of others it costs least.

    Parameters
    ----------
    sheets : Sheets
    order : tuple of int
        Of the others, which keep it.
    layer : int
    """
    later = 0
    own, first, last = [sheets.extent(layer, 0).cost], [], []
    for other in reversed(order):
        first.append(sheets.extent(other, later).cost)
        last.append(sheets.extent(other, later | 1 << layer).cost)
        later |= 1 << other
        own.append(sheets.extent(layer, later).cost)
    for costs in (own, first, last):
        costs.reverse()
    # Those before it have it among their later layers, those after it have not.
    whole = [sum((*last[:k], own[k], *first[k:])) for k in range(len(own))]
    k = min(range(len(own)), key=lambda k: whole[k])
    return planned(sheets, (*order[:k], layer, *order[k:]))


def best_plan(
    sheets: Sheets, drawn: Sequence[int], progress: Progress | None = None
) -> tuple[Plan, bool]:
    """Return the spray order of least cost.

    Up to ``MOST_EXACT`` layers it is exact, by dynamic programming over the sets of layers sprayed
    last (Held and Karp, "A dynamic programming approach to sequencing problems", 1962): what a
    layer costs depends on that set alone. For more, single layers are moved from the drawing's own
    order, and from the largest first, as long as that helps and takes no more than a second or two.

    Parameters
    ----------
    sheets : Sheets
    drawn : sequence of int
        The layers in the drawing's own order, to start from.
    progress : Progress, optional

    Returns
    -------
    plan : Plan
    exact : bool
        Whether no order costs less.

    Raises
    ------
    Cancelled
    """
    progress = progress or Progress()
    if len(drawn) <= MOST_EXACT and len(sheets.label) <= _MOST_EXACT_REGIONS:
        return _exact(sheets, sorted(drawn)), True
    by_area = sorted(drawn, key=lambda k: -_area(sheets, k))
    starts = [tuple(drawn), tuple(by_area)]
    found = []
    for number, start in enumerate(dict.fromkeys(starts)):
        progress(number / len(starts), "comparing spray orders")
        found.append(_moved(sheets, start) if is_small(sheets) else _swapped(sheets, start))
    return min(found, key=lambda p: p.cost), len(drawn) == 1


def is_small(sheets: Sheets) -> bool:
    """Return whether there are so few regions that many orders can be compared."""
    return len(sheets.label) <= _MANY_REGIONS


def alternatives(sheets: Sheets, best: Plan, drawn: Sequence[int]) -> list[tuple[str, Plan]]:
    """Return other orders with what they cost, for comparison.

    Parameters
    ----------
    sheets : Sheets
    best : Plan
    drawn : sequence of int
        The layers in the drawing's own order.

    Returns
    -------
    list of (str, Plan)
        The drawing's own order; the best one with another layer first (as the best of each, or
        with that layer moved to the front where they are too many to try); the reverse.
    """
    rows = [("in the drawing's order", planned(sheets, drawn))]
    others = []
    # Of many regions each other order takes long: only the next layer is tried first.
    for layer in best.order[1:] if is_small(sheets) else best.order[1:2]:
        order = (layer, *(k for k in best.order if k != layer))
        others.append(planned(sheets, order))
    if others:
        rows.append(("with another layer first", min(others, key=lambda p: p.cost)))
    rows.append(("the other way round", planned(sheets, best.order[::-1])))
    # Two of them may be the same: the first name tells more.
    first = {plan.order: name for name, plan in reversed(rows)}
    return [(n, plan) for n, plan in rows if plan.order != best.order and first[plan.order] == n]


def _area(sheets: Sheets, layer: int) -> float:
    areas = sheets.regions.areas
    return float(sum(areas[k] for k, own in enumerate(sheets.label) if own == layer))


def _exact(sheets: Sheets, layers: list[int]) -> Plan:
    best: dict[int, tuple[float, tuple[int, ...]]] = {0: (0.0, ())}
    # Sets grow by one layer in each round, so that what they are made from is known.
    for _ in layers:
        grown: dict[int, tuple[float, tuple[int, ...]]] = {}
        for later, (cost, order) in best.items():
            for layer in layers:
                if later >> layer & 1:
                    continue
                key = later | 1 << layer
                whole = cost + sheets.extent(layer, later).cost
                if key not in grown or (whole, (layer, *order)) < grown[key]:
                    grown[key] = (whole, (layer, *order))
        best = grown
    ((_, order),) = best.values()
    return planned(sheets, order)


def _moved(sheets: Sheets, order: tuple[int, ...]) -> Plan:
    best = planned(sheets, order)
    for _ in range(_MOST_ROUNDS):
        before = best
        for layer in best.order:
            if sheets.is_tired:
                return best
            better = put_in(sheets, tuple(k for k in best.order if k != layer), layer)
            if better.cost < best.cost - ROUNDING:
                best = better
        if best is before:
            break
    return best


def _swapped(sheets: Sheets, order: tuple[int, ...]) -> Plan:
    """Swap neighbours as long as that helps."""
    best = planned(sheets, order)
    for _ in range(_MOST_ROUNDS):
        before = best
        for k in range(len(order) - 1):
            if sheets.is_tired:
                return best
            own = best.order
            tried = planned(sheets, (*own[:k], own[k + 1], own[k], *own[k + 2 :]))
            if tried.cost < best.cost - ROUNDING:
                best = tried
        if best is before:
            break
    return best
