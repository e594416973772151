"""Extents: how far each layer may run under later ones, and what its sheet costs then.

Where a colour shows, its layer must be open; where a later layer shows it may be, for that paints
over it; everywhere else it must be closed. What a layer costs so depends on which layers come after
it, and not on their order.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass

import numpy as np

from ..arrays import Bools
from .region_graph import RegionGraph, flags_of, mask_of, numbers_of
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


@dataclass(frozen=True)
class Extent:
    """How far one layer is open.

    Parameters
    ----------
    open_bits : int
        The regions, a bit for each.
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

    open_bits: int
    islands: int
    spoiled: float
    cut: float
    tight: float
    cost: float

    @property
    def opened(self) -> list[int]:
        """Numbers of the regions, rising."""
        return numbers_of(self.open_bits)


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
        self._graph = RegionGraph(regions)
        self._is_tight: Bools = self._graph.thickness < 2 * trap
        # What an extent costs depends on what must and what may be open alone: sheets of other
        # layers share what is known.
        self._known: dict[tuple[int, int, float], Extent] = {}
        self._best: dict[tuple[int, int, float], Extent] = {}
        self._costs: dict[tuple[int, int, float], Extent] = {}
        self._effort = [0]
        self._set_layers()

    def _set_layers(self) -> None:
        """Work out what depends on the regions' labels."""
        self._of: dict[int, int] = {}
        for k, own in enumerate(self.label):
            self._of[own] = self._of.get(own, 0) | 1 << k
        self._light = np.array([self.lightness.get(own, np.nan) for own in self.label])
        self._layers = sorted(k for k in self._of if k != BARE)
        self._asked: dict[tuple[int, int], Extent] = {}

    @property
    def layers(self) -> list[int]:
        """Numbers of the layers that show anywhere, rising."""
        return list(self._layers)

    @property
    def is_tired(self) -> bool:
        """Whether so much was worked out, relabelled sheets too, that it is time to settle."""
        return self._effort[0] > _MOST_EFFORT

    def relabelled(self, label: list[int], lightness: Mapping[int, float]) -> Sheets:
        """Return the sheets of the same regions for other layers.

        Parameters
        ----------
        label : list of int
        lightness : mapping from int to float
            What both sheets paint keeps its lightness.
        """
        more = copy(self)
        more.label, more.lightness = label, lightness
        more._set_layers()
        return more

    def afresh(self) -> Sheets:
        """Return the same sheets, rested: they share what is known, but not the effort."""
        more = copy(self)
        more._effort = [0]
        return more

    def on_islands(self, extent: Extent) -> list[int]:
        """Return the regions that are closed and lie on islands of a sheet."""
        _, *islands = self._graph.pieces(extent.open_bits)
        return numbers_of(sum(islands))

    def within_islands(self, extent: Extent) -> list[int]:
        """Return the regions that islands of a sheet shut off from the frame."""
        _, *islands = self._graph.pieces(extent.open_bits)
        return numbers_of(self._graph.shut_off(sum(islands)))

    def extent(self, layer: int, later: int) -> Extent:
        """Return the best extent of a layer.

        Parameters
        ----------
        layer : int
        later : int
            The layers sprayed after it, as bits.
        """
        found = self._asked.get((layer, later))
        if found is not None:
            return found
        must = self._of.get(layer, 0)
        may = 0
        for other in self._layers:
            if later >> other & 1:
                may |= self._of[other]
        key = (must, may, self.lightness[layer])
        if key not in self._known:
            self._known[key] = self._extent(layer, must, may)
            self._effort[0] += len(self.label)
        self._asked[layer, later] = self._known[key]
        return self._known[key]

    def _extent(self, layer: int, must: int, may: int) -> Extent:
        # What does not hang together with what must be open stays closed: many sets of later layers
        # differ by nothing else.
        whole = self._graph.reached(must, must | may)
        may = whole & ~must
        key = (must, may, self.lightness[layer])
        if key not in self._best:
            starts = [self._settled(begin, may) for begin in (must, whole)]
            tries = [self._measured(o, layer, may) for o in dict.fromkeys(starts)]
            # To spray all of it may cost more by the paint alone.
            paint = self._paint(flags_of(may, len(self.label)), layer)
            if whole not in starts and paint <= min(e.cost for e in tries):
                tries.append(self._measured(whole, layer, may))
            self._best[key] = min(tries, key=lambda e: (e.cost, e.open_bits.bit_count()))
        return self._best[key]

    def _paint(self, under: Bools, layer: int) -> float:
        """Return what it costs to spray some regions that later layers paint over."""
        areas, light = self._graph.areas[under], self._light[under]
        hidden = float(areas[light >= self.lightness[layer] + LIGHTER].sum())
        page = self.regions.page
        return (HIDE * hidden + UNDER * float(areas.sum())) / (page[0] * page[1])

    def _settled(self, opened: int, may: int) -> int:
        """Open and close regions one by one as long as the cut grows shorter by it."""
        graph = self._graph
        # How much shorter the cut is with each region open; kept up to date as they change.
        flags = flags_of(opened, graph.frame + 1)
        sign = np.where(flags, 1.0, -1.0)
        a, b, border = graph.edges
        gain: list[float] = np.bincount(a, border * sign[b], graph.frame + 1).tolist()
        is_open: list[bool] = flags.tolist()
        may_be = numbers_of(may)
        for _ in range(_SWEEPS):
            changed = False
            for k in may_be:
                if (gain[k] > _NO_GAIN) != is_open[k]:
                    changed = True
                    is_open[k] = not is_open[k]
                    step = 2.0 if is_open[k] else -2.0
                    for other, length in graph.around[k]:
                        gain[other] += step * length
            if not changed:
                break
        return mask_of(np.array(is_open))

    def as_seen(self, layer: int) -> Extent:
        """Return the extent of a layer that is open where it is seen, and nowhere else."""
        return self._measured(self._of.get(layer, 0), layer, 0, whole=True)

    def _measured(self, opened: int, layer: int, may: int, whole: bool = False) -> Extent:
        """Return an extent with what it costs.

        Parameters
        ----------
        opened : int
            Regions, as bits.
        layer : int
        may : int
            What later layers paint over.
        whole : bool
            Leave all as it is.
        """
        graph = self._graph
        must = self._of.get(layer, 0)
        pieces = graph.pieces(opened)
        if not whole:
            # Pieces that later layers paint over wholly need not be held: they are opened.
            idle = [piece for piece in pieces[1:] if not piece & ~may]
            if idle:
                opened |= sum(idle)
                pieces = [piece for piece in pieces if piece & ~opened]
        reached = graph.reached(must, opened)
        if reached != opened:
            opened = reached
            pieces = graph.pieces(opened)
        key = (must, opened, self.lightness[layer])
        if key in self._costs:
            return self._costs[key]
        islands = len(pieces) - 1
        spoiled = self._spoiled(opened, pieces, must) if islands else 0.0
        is_open, is_own = flags_of(opened, graph.frame + 1), flags_of(must, graph.frame + 1)
        a, b, border = graph.edges
        cut = float(border[is_open[a] & ~is_open[b]].sum())
        passed = is_own[a] & is_open[b] & ~is_own[b]
        tight = float(border[passed][self._is_tight[b[passed]]].sum())
        w = self.bridge
        cost = ISLAND * islands + spoiled / w**2 + cut / (CUT * w) + tight / (TIGHT * w)
        cost += self._paint((is_open & ~is_own)[:-1], layer)
        found = Extent(opened, islands, spoiled, cut, tight, cost)
        self._costs[key] = found
        return found

    def _spoiled(self, opened: int, pieces: list[int], must: int) -> float:
        """Estimate what bridges leave bare: none where they cross what is painted over later."""
        free: set[int] = set()
        for beside in self._graph.beside_parts(opened & ~must, opened):
            touched = [number for number, piece in enumerate(pieces) if piece & beside]
            if len(touched) > 1:
                free.update(touched)
        held = [number for number in range(1, len(pieces)) if number not in free]
        return _BRIDGES * self.bridge * self._graph.gaps(held, pieces)
