"""Colours gathered to cans: as many as asked for, or those that the artist owns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Indices
from ..colour import ciede2000, hex_from_srgb, lab_from_srgb, srgb_from_hex

#: Colours nearer than this (CIEDE2000) are one: beside each other nobody tells them apart. 2.3 is
#: the usual "just noticeable difference" of CIELAB (from memory: Mahy et al., 1994).
ALIKE = 2.3
#: Distinct colours that are compared pair by pair; more are gathered roughly before.
_MOST_COMPARED = 256


@dataclass(frozen=True, eq=False)
class Palette:
    """Cans, and which of them each colour is sprayed with.

    Parameters
    ----------
    cans : tuple of str
        Like ``#a0522d``; each is used.
    can_of : int64 array (n,)
        Number of each colour's can; -1 for the bare wall.
    differences : float64 array (n,)
        CIEDE2000 between each colour and what stands for it.
    """

    cans: tuple[str, ...]
    can_of: Indices
    differences: Floats


def gather(
    colours: Floats,
    areas: Floats,
    ground: str,
    most: int,
    owned: Sequence[str] = (),
) -> Palette:
    """Gather colours to cans and the wall.

    Two groups are joined where that costs least: the square of their CIEDE2000, weighted by area as
    in Ward's method (Ward, "Hierarchical grouping to optimize an objective function", 1963). What
    nobody tells apart is always joined. A group takes the colour of the drawing that is nearest to
    all in it. With cans of one's own, each colour takes the nearest of as many of them as are
    asked for, chosen one by one by what each takes off the whole difference.

    Parameters
    ----------
    colours : float64 array (n, 3)
        sRGB, 0 to 1.
    areas : float64 array (n,)
        How much of each is seen, in mm2.
    ground : str
        Colour of the wall; what is like it is left bare.
    most : int
        Most cans.
    owned : sequence of str
        The artist's own cans.

    Returns
    -------
    Palette

    Examples
    --------
    >>> reds = np.array([[1, 0, 0], [0.99, 0, 0], [0, 0, 1], [1, 1, 1]])
    >>> palette = gather(reds, np.array([5.0, 1.0, 3.0, 9.0]), "#ffffff", 4)
    >>> palette.cans, palette.can_of.tolist()
    (('#ff0000', '#0000ff'), [0, 0, 1, -1])
    """
    wall = srgb_from_hex(ground)
    codes = np.rint(np.clip(colours, 0, 1) * 255).astype(np.int64)
    distinct, which = np.unique(codes, axis=0, return_inverse=True)
    which = which.reshape(-1)
    weight: Floats = np.bincount(which, areas, len(distinct)).astype(np.float64)
    if len(distinct) > _MOST_COMPARED:
        distinct, weight, which = _roughly(distinct, weight, which)
    srgb = distinct / 255.0
    lab = lab_from_srgb(srgb)
    apart = ciede2000(lab[:, None], lab[None])
    to_wall = ciede2000(lab, lab_from_srgb(wall)[None])
    if owned:
        can_lab = lab_from_srgb(np.array([srgb_from_hex(c) for c in owned]))
        to_can = ciede2000(lab[:, None], can_lab[None])
        chosen = _chosen_cans(np.column_stack([to_can, to_wall]), weight, most)
        near = np.column_stack([to_can[:, chosen], to_wall])
        best = near.argmin(axis=1)
        group = np.where(best == len(chosen), -1, best)
        shown = [owned[i] for i in chosen]
        off = near.min(axis=1)
    else:
        group, shown, off = _grouped(apart, to_wall, weight, srgb, most)
    used = [k for k in range(len(shown)) if (group == k).any()]
    number = np.full(len(shown) + 1, -1)
    number[used] = np.arange(len(used))
    own = number[group]
    return Palette(tuple(shown[k].lower() for k in used), own[which], off[which])


def _grouped(
    apart: Floats, to_wall: Floats, weight: Floats, srgb: Floats, most: int
) -> tuple[Indices, list[str], Floats]:
    """Join groups until there are few enough and all can be told apart."""
    groups = [[i] for i in range(len(weight)) if to_wall[i] > ALIKE]
    bare = [i for i in range(len(weight)) if to_wall[i] <= ALIKE]

    def middle(members: list[int]) -> int:
        own = np.array(members)
        return int(own[np.argmin(apart[np.ix_(own, own)] @ weight[own])])

    heads = [g[0] for g in groups]
    while len(groups) > 1:
        head = np.array(heads)
        mass = np.array([weight[g].sum() for g in groups])
        between = apart[np.ix_(head, head)]
        cost = between**2 * mass[:, None] * mass[None] / (mass[:, None] + mass[None] + 1e-12)
        np.fill_diagonal(cost, np.inf)
        if len(groups) <= most:
            cost[between > ALIKE] = np.inf
        a, b = sorted(divmod(int(np.argmin(cost)), len(cost)))
        if not np.isfinite(cost[a, b]):
            break
        groups[a] += groups.pop(b)
        heads.pop(b)
        heads[a] = middle(groups[a])
    # From the most seen to the least.
    order = sorted(range(len(groups)), key=lambda k: -float(weight[groups[k]].sum()))
    group = np.full(len(weight), -1)
    off = np.where(np.isin(np.arange(len(weight)), bare), to_wall, 0.0)
    for number, k in enumerate(order):
        group[groups[k]] = number
        off[groups[k]] = apart[groups[k], heads[k]]
    return group, [hex_from_srgb(srgb[heads[k]]) for k in order], off


def _chosen_cans(difference: Floats, weight: Floats, most: int) -> list[int]:
    """Choose cans one by one; the last column of ``difference`` is the wall, which is free."""
    best = difference[:, -1]
    chosen: list[int] = []
    for _ in range(min(most, difference.shape[1] - 1)):
        gain = weight @ np.maximum(best[:, None] - difference[:, :-1], 0.0)
        gain[chosen] = 0.0
        k = int(np.argmax(gain))
        if gain[k] <= 0:
            break
        chosen.append(k)
        best = np.minimum(best, difference[:, k])
    return sorted(chosen)


def _roughly(distinct: Indices, weight: Floats, which: Indices) -> tuple[Indices, Floats, Indices]:
    """Join colours that share a coarse box until few enough are left."""
    for bits in range(1, 8):
        boxes, box_of = np.unique(distinct >> bits, axis=0, return_inverse=True)
        if len(boxes) <= _MOST_COMPARED:
            break
    box_of = box_of.reshape(-1)
    # Each box is shown by the colour of it that is seen most.
    order = np.lexsort((weight, box_of))
    last = np.append(np.flatnonzero(np.diff(box_of[order])), len(order) - 1)
    summed: Floats = np.bincount(box_of, weight).astype(np.float64)
    return distinct[order[last]], summed, box_of[which].astype(np.int64)
