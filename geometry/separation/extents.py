"""Extents: how far each layer may run under later ones, and what its sheet costs then.

Where a colour shows, its layer must be open; where a later layer shows it may be, for that paints
over it; everywhere else it must be closed. What a layer costs so depends on which layers come after
it, and not on their order.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from ..arrays import Floats, Indices
from .regions import BARE, Regions

#: What an island costs beyond what its bridges spoil, in squares of a bridge's width.
ISLAND = 6.0
#: Length of cut, in widths of a bridge, that costs as much as one such square spoiled.
CUT = 150.0
#: Length of border without room for the trap, in widths of a bridge, that costs as much.
TIGHT = 10.0
#: One more sheet costs as much as so many squares: it is cut, hung, sprayed and cleaned.
SHEET = 12.0
#: The whole page sprayed with a colour that a lighter one is to hide costs as much as so many:
#: light paint over dark wants another coat (common practice, no source).
HIDE = 30.0
#: The whole page sprayed for nothing, to be painted over, costs as much as so many.
UNDER = 10.0
#: Steps of L* from which on a colour counts as lighter: common practice, no source.
LIGHTER = 10.0
#: Bridges of an island, in the estimate.
_BRIDGES = 2.0
#: Extents worked out, times regions, after which no more orders are tried: about a second.
_MOST_EFFORT = 200_000
#: Cuts that differ by less than this, in mm, are as long.
_NO_GAIN = 1e-9
#: Sweeps over the regions that may be open or closed.
_SWEEPS = 6
#: Among up to so many regions distances are measured.
_MOST_MEASURED = 200


@dataclass(frozen=True)
class Extent:
    """How far one layer is open.

    Parameters
    ----------
    opened : frozenset of int
        Numbers of the regions.
    islands : int
    spoiled : float
        Estimate of what the bridges leave bare, in mm2.
    cut : float
        Length of cut in mm.
    tight : float
        Length in mm of borders with later layers too thin for the trap.
    cost : float
        All of it, in squares of a bridge's width.
    """

    opened: frozenset[int]
    islands: int
    spoiled: float
    cut: float
    tight: float
    cost: float


class Sheets:
    """The sheets that paint some regions, each worked out once for the layers that follow it.

    Parameters
    ----------
    regions : Regions
    label : sequence of int
        Layer that shows in each region, ``BARE`` for none; it may differ from the regions' own
        labels, where a colour is sprayed in two passes.
    bridge : float
        Width of a bridge in mm.
    trap : float
        How far in mm a layer is to run under the next one.
    lightness : mapping from int to float
        L* of each layer's colour.
    """

    def __init__(
        self,
        regions: Regions,
        label: list[int],
        bridge: float,
        trap: float,
        lightness: Mapping[int, float],
    ) -> None:
        self.lightness = lightness
        self.regions = regions
        self.label = label
        self.bridge = bridge
        self.trap = trap
        count = len(label)
        self.frame = count
        self._around: list[list[tuple[int, float]]] = [[] for _ in range(count + 1)]
        for (a, b), border in zip(regions.pairs.tolist(), regions.borders.tolist(), strict=True):
            self._around[a].append((b, border))
            self._around[b].append((a, border))
        for k in np.flatnonzero(regions.rim > 0).tolist():
            self._around[k].append((count, float(regions.rim[k])))
            self._around[count].append((k, float(regions.rim[k])))
        ends = [(k, o, border) for k, own in enumerate(self._around) for o, border in own]
        table = np.array(ends, np.float64).reshape(-1, 3)
        self._edges = (table[:, 0].astype(np.int64), table[:, 1].astype(np.int64), table[:, 2])
        # Borders at a point only hold nothing, yet are borders.
        self._held_by = [[o for o, border in own if border > 0.02] for own in self._around]
        thickness = 2 * regions.areas / np.maximum(shapely.length(regions.shapes), 1e-9)
        self._thickness: Floats = thickness
        self._is_tight = (thickness < 2 * trap).tolist()
        self._areas: list[float] = regions.areas.tolist()
        self._of: dict[int, list[int]] = {}
        for k, own in enumerate(label):
            self._of.setdefault(own, []).append(k)
        self._known: dict[tuple[int, int], Extent] = {}
        self._costs: dict[tuple[int, frozenset[int]], Extent] = {}
        self._away: dict[int, Floats] = {}
        self._effort = [0]
        bounds = shapely.bounds(regions.shapes)
        self._to_edge: Floats = np.minimum.reduce(
            [
                bounds[:, 0],
                bounds[:, 1],
                regions.page[0] - bounds[:, 2],
                regions.page[1] - bounds[:, 3],
            ]
        )

    @property
    def layers(self) -> list[int]:
        """Numbers of the layers that show anywhere, rising."""
        return sorted(k for k in self._of if k != BARE)

    @property
    def is_tired(self) -> bool:
        """Whether so much was worked out, relabelled sheets too, that it is time to settle."""
        return self._effort[0] > _MOST_EFFORT

    def relabelled(self, label: list[int], lightness: Mapping[int, float]) -> Sheets:
        """Return the sheets of the same regions for other layers."""
        more = Sheets(self.regions, label, self.bridge, self.trap, lightness)
        more._away = self._away
        more._effort = self._effort
        return more

    def on_islands(self, extent: Extent) -> list[int]:
        """Return the regions that are closed and lie on islands of a sheet."""
        piece = self._pieces(set(extent.opened))
        return [k for k in range(self.frame) if piece[k] > 0]

    def within_islands(self, extent: Extent) -> list[int]:
        """Return the regions that islands of a sheet shut off from the frame."""
        piece = self._pieces(set(extent.opened))
        reached = {self.frame}
        stack = [self.frame]
        while stack:
            for other, _ in self._around[stack.pop()]:
                if other not in reached and piece[other] <= 0:
                    reached.add(other)
                    stack.append(other)
        return [k for k in range(self.frame) if k not in reached and piece[k] <= 0]

    def extent(self, layer: int, later: int) -> Extent:
        """Return the best extent of a layer.

        Parameters
        ----------
        layer : int
        later : int
            The layers sprayed after it, as bits.
        """
        key = (layer, later)
        if key not in self._known:
            self._known[key] = self._extent(layer, later)
            self._effort[0] += self.frame
        return self._known[key]

    def _extent(self, layer: int, later: int) -> Extent:
        must = self._of.get(layer, [])
        may = [k for other in self.layers if later >> other & 1 for k in self._of[other]]
        starts = [self._settled(begin, may) for begin in (set(must), {*must, *may})]
        if may:
            starts.append(self._reached({*must, *may}, must))
        tries = [self._measured(opened, layer, may) for opened in _each_once(starts)]
        return min(tries, key=lambda e: (e.cost, len(e.opened)))

    def _settled(self, opened: set[int], may: list[int]) -> set[int]:
        """Open and close regions one by one as long as the cut grows shorter by it."""
        opened = set(opened)
        # How much shorter the cut is with each region open; kept up to date as they change.
        sign = np.full(self.frame + 1, -1.0)
        sign[list(opened)] = 1.0
        a, b, border = self._edges
        gain: list[float] = np.bincount(a, border * sign[b], self.frame + 1).tolist()
        for _ in range(_SWEEPS):
            changed = False
            for k in may:
                if (gain[k] > _NO_GAIN) != (k in opened):
                    changed = True
                    opened ^= {k}
                    step = 2.0 if k in opened else -2.0
                    for other, length in self._around[k]:
                        gain[other] += step * length
            if not changed:
                break
        return opened

    def _reached(self, opened: set[int], must: list[int]) -> set[int]:
        """Return the open regions that hang together with one that must be open."""
        found = set(must)
        stack = list(must)
        while stack:
            for other, _ in self._around[stack.pop()]:
                if other in opened and other not in found:
                    found.add(other)
                    stack.append(other)
        return found

    def _measured(
        self, opened: set[int], layer: int, may: list[int], whole: bool = False
    ) -> Extent:
        """Return an extent with what it costs.

        Parameters
        ----------
        opened : set of int
        layer : int
        may : list of int
            What later layers paint over.
        whole : bool
            Leave all as it is.
        """
        label = self.label
        piece = self._pieces(opened)
        # Pieces that later layers paint over wholly need not be held: they are opened.
        idle = set() if whole else set(range(1, max(piece) + 1))
        covered = set(may)
        idle -= {p for k, p in enumerate(piece) if p > 0 and k not in opened and k not in covered}
        if idle:
            opened = opened | {k for k, p in enumerate(piece) if p in idle}
            piece = self._pieces(opened)
        reached = self._reached(opened, self._of.get(layer, []))
        if reached != opened:
            piece = self._pieces(reached)
        opened = reached
        key = (layer, frozenset(opened))
        if key in self._costs:
            return self._costs[key]
        islands = max(piece)
        spoiled = self._spoiled(opened, piece, layer) if islands else 0.0
        cut = sum(
            border for k in opened for other, border in self._around[k] if other not in opened
        )
        tight = sum(
            border
            for k in self._of.get(layer, [])
            for other, border in self._around[k]
            if other in opened and label[other] != layer and self._is_tight[other]
        )
        limit = self.lightness[layer] + LIGHTER
        under = [k for k in opened if label[k] != layer]
        hidden = sum(self._areas[k] for k in under if self.lightness[label[k]] >= limit)
        wasted = sum(self._areas[k] for k in under)
        w = self.bridge
        cost = ISLAND * islands + spoiled / w**2 + cut / (CUT * w) + tight / (TIGHT * w)
        cost += (HIDE * hidden + UNDER * wasted) / (self.regions.page[0] * self.regions.page[1])
        self._costs[key] = Extent(key[1], islands, spoiled, cut, tight, cost)
        return self._costs[key]

    def _pieces(self, opened: set[int]) -> list[int]:
        """Return the piece of sheet of each region: 0 is the frame, -1 where it is open."""
        piece = [-1] * (self.frame + 1)
        number = -1
        for start in (self.frame, *range(self.frame)):
            if piece[start] >= 0 or start in opened:
                continue
            number += 1
            piece[start] = number
            stack = [start]
            while stack:
                for other in self._held_by[stack.pop()]:
                    if piece[other] < 0 and other not in opened:
                        piece[other] = number
                        stack.append(other)
        return piece

    def _spoiled(self, opened: set[int], piece: list[int], layer: int) -> float:
        """Estimate what bridges leave bare: none where they cross what is painted over later."""
        free: set[int] = set()
        seen: set[int] = set()
        for start in opened:
            if start in seen or self.label[start] == layer:
                continue
            seen.add(start)
            stack, touched = [start], set()
            while stack:
                for other, _ in self._around[stack.pop()]:
                    if other in opened:
                        if other not in seen and self.label[other] != layer:
                            seen.add(other)
                            stack.append(other)
                    else:
                        touched.add(piece[other])
            if len(touched) > 1:
                free |= touched
        own = np.array([k for k, p in enumerate(piece[:-1]) if p > 0 and p not in free], np.int64)
        if not len(own):
            return 0.0
        pieces = np.asarray(piece)
        nearest = np.full(len(pieces), np.inf)
        np.minimum.at(nearest, pieces[own], self._gaps(own, pieces))
        total: float = nearest[np.unique(pieces[own])].sum()
        return _BRIDGES * self.bridge * total

    def _gaps(self, regions: Indices, piece: Indices) -> Floats:
        """Return the distance in mm from each of some closed regions to the next piece of sheet.

        Among many regions the mean width of the openings beside one stands for that; 0 where none
        is.
        """
        if self.frame > _MOST_MEASURED:
            a, b, _ = self._edges
            beside = (b != self.frame) & (piece[b] < 0)
            gap = np.full(self.frame + 1, np.inf)
            np.minimum.at(gap, a[beside], self._thickness[b[beside]])
            return np.where(np.isfinite(gap[regions]), gap[regions], 0.0)
        away = np.stack([self._distances(k) for k in regions.tolist()])
        other = (piece >= 0) & (piece != piece[regions][:, None])
        found: Floats = np.where(other, away, np.inf).min(axis=1)
        return found

    def _distances(self, region: int) -> Floats:
        """Return the distances from a region to all, and to the page's edge."""
        if region not in self._away:
            shapes = self.regions.shapes
            away = np.append(shapely.distance(shapes[region], shapes), self._to_edge[region])
            self._away[region] = np.maximum(away, 0.0)
        return self._away[region]


def _each_once(sets: list[set[int]]) -> list[set[int]]:
    return [s for k, s in enumerate(sets) if s not in sets[:k]]
