"""Spray order: what every useful order would paint, how far that is from the picture wanted.

Layers that nowhere lie over each other may be swapped without a change, so that orders are
compared by what they do: which layer lies above, for each pair that overlaps.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np

from ..arrays import Bools, Floats
from ..colour import ciede2000, lab_from_srgb, srgb_from_hex
from ..tolerance import NOT_ZERO
from .wall import Wall, final_colours

#: Up to this many layers every order is tried; above, the given one and, nearest first, those
#: with up to ``FARTHEST_MOVE`` pairs that overlap turned, as many as ``MOST_TRIED``.
MOST_TRIED_WHOLE = 7
FARTHEST_MOVE = 3
MOST_TRIED = 500
#: CIEDE2000 above which a place counts as another colour. About 1 is just seen side by side; 2.3
#: is the usual "just noticeable difference" of CIELAB (from memory: Mahy et al., 1994).
SEEN = 2.3
#: Overlap in mm2 below which two layers count as apart: rounding along shared edges.
LEAST_OVERLAP = 0.5
#: Steps of L* by which an upper colour must be lighter to need another coat over the darker one:
#: common practice, no source.
LIGHTER = 10.0
#: Mean differences that nobody would tell apart, so that easier spraying decides.
SAME_PICTURE = 0.02


@dataclass(frozen=True)
class Covering:
    """A lighter colour that is sprayed over a darker one.

    Parameters
    ----------
    upper, lower : int
        Positions of the layers in the job.
    lightness_step : float
        By how much L* rises.
    area_mm2 : float
        Where the one lies on the other.
    """

    upper: int
    lower: int
    lightness_step: float
    area_mm2: float


@dataclass(frozen=True)
class SprayOrder:
    """One spray order and what it would give.

    Parameters
    ----------
    order : tuple of int
        Positions of the layers in the job, first sprayed first.
    mean_difference : float
        CIEDE2000 to the picture wanted, its mean over the area of the picture wanted.
    worst_difference : float
        The greatest, of places of at least ``LEAST_OVERLAP`` mm2.
    changed_share : float
        Share of that area where the difference can be seen (above ``SEEN``).
    coverings : tuple of Covering
        Lighter colours over darker ones, the largest first.
    equal : int
        How many orders paint the same, this one with them.
    """

    order: tuple[int, ...]
    mean_difference: float
    worst_difference: float
    changed_share: float
    coverings: tuple[Covering, ...]
    equal: int


@dataclass(frozen=True)
class OrderAdvice:
    """The orders compared.

    Parameters
    ----------
    orders : tuple of SprayOrder
        Best first.
    given : SprayOrder
        What the job's own order does.
    reasons : tuple of str
        Sentences: which order is advised, why, and what the others would do.
    """

    orders: tuple[SprayOrder, ...]
    given: SprayOrder
    reasons: tuple[str, ...]

    @property
    def best(self) -> SprayOrder:
        """The order advised."""
        return self.orders[0]


def compare_orders(wall: Wall) -> OrderAdvice:
    """Compare all useful spray orders of a job.

    The picture wanted is what the artwork shows in the job's own order, without bridges. The area
    that counts is where any layer's artwork lies; bare wall all round would water the mean down.

    Parameters
    ----------
    wall : Wall

    Returns
    -------
    OrderAdvice

    Notes
    -----
    Best is the least mean CIEDE2000; orders within ``SAME_PICTURE`` of it are told apart by how
    many lighter colours cover darker ones, then by the area of that.
    """
    names, paints = wall.names, wall.cans
    count = len(paints)
    sets, _, areas = wall.cells.sets()
    sprayed, wanted = sets[:, :count], sets[:, count:]
    counts = sets.any(axis=1)
    sprayed, wanted, areas = sprayed[counts], wanted[counts], areas[counts]
    target = lab_from_srgb(final_colours(wanted, paints, wall.ground))
    overlap = np.einsum("si,sj,s->ij", sprayed, sprayed, areas)
    lightness = lab_from_srgb(np.array([srgb_from_hex(p.colour) for p in paints]))[:, 0]
    given = tuple(range(count))
    found: dict[bytes, SprayOrder] = {}
    over = overlap >= LEAST_OVERLAP
    one, other = np.nonzero(np.tril(over, -1))
    for order in _orders(count, over):
        rank = np.argsort(order)
        above = (rank[one] > rank[other]).tobytes()
        if above in found:
            found[above] = replace(found[above], equal=found[above].equal + 1)
            continue
        shown = final_colours(sprayed, paints, wall.ground, order)
        difference = ciede2000(lab_from_srgb(shown), target)
        whole = max(float(areas.sum()), NOT_ZERO)
        large = areas >= LEAST_OVERLAP
        found[above] = SprayOrder(
            order=order,
            mean_difference=float(difference @ areas) / whole,
            worst_difference=float(difference[large].max(initial=0.0)),
            changed_share=float(areas[difference > SEEN].sum()) / whole,
            coverings=_coverings(order, overlap, lightness),
            equal=1,
        )
    orders = list(found.values())
    least = min(o.mean_difference for o in orders)

    def rating(o: SprayOrder) -> tuple[bool, float, int, float, tuple[int, ...]]:
        same = o.mean_difference <= least + SAME_PICTURE
        worse = 0.0 if same else o.mean_difference
        area = sum(c.area_mm2 for c in o.coverings)
        return (not same, worse, len(o.coverings), area, o.order)

    orders.sort(key=rating)
    # The identity comes first of its kind, as permutations begin with it.
    own = next(o for o in orders if o.order == given)
    return OrderAdvice(tuple(orders), own, _reasons(orders, own, names))


def _orders(count: int, over: Bools) -> Iterator[tuple[int, ...]]:
    """Return orders to compare, the given one first."""
    if count <= MOST_TRIED_WHOLE:
        yield from permutations(range(count))
        return
    given = tuple(range(count))
    known = {given}
    edge = [given]
    yield given
    for _ in range(FARTHEST_MOVE):
        following = []
        for order in edge:
            for turned in _with_a_pair_turned(order, over):
                if len(known) == MOST_TRIED:
                    return
                if turned not in known:
                    known.add(turned)
                    following.append(turned)
                    yield turned
        edge = following


def _with_a_pair_turned(order: tuple[int, ...], over: Bools) -> Iterator[tuple[int, ...]]:
    """Return orders in which one pair that overlaps changes places, and no other pair does.

    A layer that lies over the lower one and below the upper one is in their way.
    """
    for place, lower in enumerate(order):
        # What has to stay above the lower one, of all that comes after it.
        above, beside = [lower], []
        for at in range(place + 1, len(order)):
            upper = order[at]
            if not over[upper, above].any():
                beside.append(upper)
                continue
            if over[upper, lower] and not over[upper, above[1:]].any():
                yield (*order[:place], *beside, upper, *above, *order[at + 1 :])
            above.append(upper)


def _coverings(order: Sequence[int], overlap: Floats, lightness: Floats) -> tuple[Covering, ...]:
    sprayed = np.asarray(order)
    step = lightness[sprayed][:, None] - lightness[sprayed]
    area = overlap[np.ix_(sprayed, sprayed)]
    found = [
        Covering(order[i], order[j], float(step[i, j]), float(area[i, j]))
        for i, j in np.argwhere(np.tril((step >= LIGHTER) & (area >= LEAST_OVERLAP), -1)).tolist()
    ]
    return tuple(sorted(found, key=lambda c: -c.area_mm2))


def order_name(order: Sequence[int], names: Sequence[str]) -> str:
    """Return an order as text.

    >>> order_name((1, 0), ["Mid-tone", "Shadow"])
    'Shadow, Mid-tone'
    """
    return ", ".join(names[i] for i in order)


def _reasons(
    orders: Sequence[SprayOrder], own: SprayOrder, names: Sequence[str]
) -> tuple[str, ...]:
    best = orders[0]
    if len(orders) == 1:
        return ("No two layers lie over each other: any order paints the same picture.",)
    said = []
    shown = f"{100 * best.changed_share:.1f} % of the picture"
    if best is own:
        said.append(
            f"Keep the order {order_name(best.order, names)}: of {len(orders)} orders that differ, "
            f"none comes nearer to the picture wanted ({shown} looks different, mean CIEDE2000 "
            f"{best.mean_difference:.2f}; what is left are bridges)."
        )
    else:
        gain = (
            "the picture is the same"
            if abs(best.mean_difference - own.mean_difference) <= SAME_PICTURE
            else f"mean CIEDE2000 {best.mean_difference:.2f} instead of {own.mean_difference:.2f}"
        )
        fewer = len(own.coverings) - len(best.coverings)
        easier = (
            f", and {fewer} fewer pairs with a lighter colour over a darker one"
            if fewer > 0
            else ""
        )
        said.append(
            f"Spray {order_name(best.order, names)} rather than {order_name(own.order, names)}: "
            f"{gain}{easier}."
        )
    for covering in best.coverings[:4]:
        said.append(
            f"{names[covering.upper]} lies over the darker {names[covering.lower]} on "
            f"{covering.area_mm2 / 100:.1f} cm2 (L* rises by {covering.lightness_step:.0f}): "
            "reckon with a second thin coat there, and let the first one dry."
        )
    other = next((o for o in orders[1:] if o is not own or best is not own), None)
    if other is not None:
        said.append(
            f"Next best, {order_name(other.order, names)}: {100 * other.changed_share:.1f} % of "
            f"the picture looks different, mean CIEDE2000 {other.mean_difference:.2f}, worst "
            f"{other.worst_difference:.0f}, lighter over darker in {len(other.coverings)} pairs."
        )
    return tuple(said)
