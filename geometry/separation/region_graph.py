"""Which regions of a page hang together: parts of any set of them, and how far apart those are.

Sets of regions are whole numbers, a bit for each region: the parts of thousands of sets are asked
for, and bits are counted, joined and compared many at a time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from ..arrays import Bools, Floats, Indices
from .regions import Regions

#: Borders up to this, in mm, are points: they hold nothing, yet are borders.
_POINT = 0.02
#: Up to so many regions neighbours are looked up by eights: the table grows with their square.
_MOST_IN_EIGHTS = 1000
#: To look up one region takes as long as to pass over so many eights.
_EIGHTS_A_LOOK = 8
#: Among up to so many regions distances are measured.
_MOST_MEASURED = 200


def flags_of(mask: int, count: int) -> Bools:
    """Return which of so many bits are set.

    >>> flags_of(0b101, 4).tolist()
    [True, False, True, False]
    """
    packed = np.frombuffer(mask.to_bytes(count // 8 + 1, "little"), np.uint8)
    return np.unpackbits(packed, count=count, bitorder="little").astype(bool)


def mask_of(flags: Bools) -> int:
    """Return the number whose bits are some flags.

    >>> mask_of(np.array([True, False, True]))
    5
    """
    return int.from_bytes(np.packbits(flags, bitorder="little").tobytes(), "little")


def numbers_of(mask: int) -> list[int]:
    """Return the numbers of the bits that are set, rising.

    >>> numbers_of(0b101)
    [0, 2]
    """
    numbers: list[int] = np.flatnonzero(flags_of(mask, mask.bit_length())).tolist()
    return numbers


class RegionGraph:
    """Regions, and the frame about their page as one more, with what borders on what.

    Parameters
    ----------
    regions : Regions

    Attributes
    ----------
    frame : int
        Number of the frame: that of the regions.
    around : list of list of (int, float)
        For each region those beside it, and the length of the border in mm.
    edges : tuple of arrays
        The same as arrays: region, other region, length.
    thickness : float64 array (n,)
        Mean width of each region in mm.
    areas : float64 array (n,)
        In mm2.
    """

    def __init__(self, regions: Regions) -> None:
        count = len(regions.shapes)
        self.frame = count
        rim = np.flatnonzero(regions.rim > 0)
        at_rim = np.stack([rim, np.full(len(rim), count)], axis=1)
        pairs = np.concatenate([regions.pairs, at_rim])
        borders = np.concatenate([regions.borders, regions.rim[rim]])
        self.around: list[list[tuple[int, float]]] = [[] for _ in range(count + 1)]
        beside, held = [0] * (count + 1), [0] * (count + 1)
        for (a, b), border in zip(pairs.tolist(), borders.tolist(), strict=True):
            for one, other in ((a, b), (b, a)):
                self.around[one].append((other, border))
                beside[one] |= 1 << other
                if border > _POINT:
                    held[one] |= 1 << other
        self._beside, self._held = _Neighbours(beside), _Neighbours(held)
        ends = [(k, o, border) for k, own in enumerate(self.around) for o, border in own]
        table = np.array(ends, np.float64).reshape(-1, 3)
        self.edges = (table[:, 0].astype(np.int64), table[:, 1].astype(np.int64), table[:, 2])
        self.areas = regions.areas
        around = np.maximum(shapely.length(regions.shapes), 1e-9)
        self.thickness: Floats = 2 * self.areas / around
        self._shapes = regions.shapes
        self._page = regions.page
        self._pieces: dict[int, list[int]] = {}
        self._away: Floats | None = None
        self._is_known: Bools | None = None

    def pieces(self, opened: int) -> list[int]:
        """Return the pieces of a sheet where some regions are open: the frame's first."""
        # Layers are asked about the same sheet with others before and after them.
        if opened not in self._pieces:
            self._pieces[opened] = self._found_pieces(opened)
        return self._pieces[opened]

    def _found_pieces(self, opened: int) -> list[int]:
        left = ((1 << self.frame + 1) - 1) & ~opened
        found = []
        start = 1 << self.frame
        while start:
            # Most pieces are one region.
            alone = not self._held.around[start.bit_length() - 1] & left & ~start
            piece = start if alone else self._held.flood(start, left)[0]
            left &= ~piece
            found.append(piece)
            start = left & -left
        return found

    def reached(self, start: int, within: int) -> int:
        """Return what hangs together with a start, itself too, by way of some regions."""
        return self._beside.flood(start, within)[0]

    def shut_off(self, walls: int) -> int:
        """Return the regions that walls shut off from the frame, not these themselves."""
        everything = (1 << self.frame + 1) - 1
        free, _ = self._beside.flood(1 << self.frame, everything & ~walls)
        return everything & ~walls & ~free

    def beside_parts(self, some: int, opened: int) -> Iterator[int]:
        """Yield, for each part of some regions, what lies beside it and is closed."""
        while some:
            part, beside = self._beside.flood(some & -some, some)
            some &= ~part
            yield beside & ~opened

    def gaps(self, held: Sequence[int], pieces: Sequence[int]) -> float:
        """Return the sum of the distances in mm from some pieces of a sheet to the next one.

        Among many regions the mean width of the openings beside a piece stands for that; 0 where
        none is.

        Parameters
        ----------
        held : sequence of int
            Numbers of the pieces asked for.
        pieces : sequence of int
            All of them, as bits.
        """
        if not held:
            return 0.0
        of_piece = np.full(self.frame + 1, -1)
        for number, mask in enumerate(pieces):
            # Most pieces are one region.
            alone = not mask & mask - 1
            of_piece[mask.bit_length() - 1 if alone else flags_of(mask, self.frame + 1)] = number
        is_held = np.zeros(len(pieces) + 1, bool)
        is_held[list(held)] = True
        own = np.flatnonzero(is_held[of_piece[:-1]])
        measured = self.frame <= _MOST_MEASURED
        gap = self._measured(own, of_piece) if measured else self._beside_width(own, of_piece)
        nearest = np.full(len(pieces), np.inf)
        np.minimum.at(nearest, of_piece[own], gap)
        return float(nearest[list(held)].sum())

    def _beside_width(self, regions: Indices, of_piece: Indices) -> Floats:
        a, b, _ = self.edges
        beside = (b != self.frame) & (of_piece[b] < 0)
        gap = np.full(self.frame + 1, np.inf)
        np.minimum.at(gap, a[beside], self.thickness[b[beside]])
        return np.where(np.isfinite(gap[regions]), gap[regions], 0.0)

    def _measured(self, regions: Indices, of_piece: Indices) -> Floats:
        """Return the distance from each region to the next closed one of another piece.

        Shapes are measured only where their boxes are nearer than what is known.
        """
        away, is_known = self._distances()
        other = (of_piece >= 0) & (of_piece != of_piece[regions][:, None])
        rows = np.arange(len(regions))
        while True:
            bound = np.where(other, away[regions], np.inf)
            nearest = bound.argmin(axis=1)
            a, b = regions, nearest
            unsure = np.flatnonzero(~is_known[a, b] & np.isfinite(bound[rows, nearest]))
            if not len(unsure):
                return bound[rows, nearest]
            a, b = a[unsure], b[unsure]
            found = shapely.distance(self._shapes[a], self._shapes[b])
            away[a, b] = away[b, a] = found
            is_known[a, b] = is_known[b, a] = True

    def _distances(self) -> tuple[Floats, Bools]:
        """Return how far regions are from all and from the frame, at least, and which are known."""
        if self._away is None or self._is_known is None:
            x0, y0, x1, y1 = shapely.bounds(self._shapes).T
            across = np.maximum(x0[:, None] - x1, x0 - x1[:, None])
            along = np.maximum(y0[:, None] - y1, y0 - y1[:, None])
            boxes = np.hypot(np.maximum(across, 0.0), np.maximum(along, 0.0))
            to_edge = np.minimum.reduce([x0, y0, self._page[0] - x1, self._page[1] - y1])
            self._away = np.zeros((self.frame + 1, self.frame + 1))
            self._away[:-1, :-1] = boxes
            self._away[:-1, -1] = self._away[-1, :-1] = np.maximum(to_edge, 0.0)
            self._is_known = np.zeros(self._away.shape, bool)
            self._is_known[:, -1] = self._is_known[-1] = True
        return self._away, self._is_known


class _Neighbours:
    """For each region those beside it, as bits.

    Parameters
    ----------
    around : list of int
        By number of the region.
    """

    def __init__(self, around: list[int]) -> None:
        self.around = around
        self._size = -(-len(around) // 8)
        # Up to so many are looked up sooner one by one.
        self._few = max(1, self._size // _EIGHTS_A_LOOK)
        # Of eight regions in a row, what lies beside any choice of them.
        self._eights: list[list[int]] = []
        if len(around) <= _MOST_IN_EIGHTS:
            for begin in range(0, len(around), 8):
                beside = [0]
                for own in around[begin : begin + 8]:
                    beside += [own | others for others in beside]
                self._eights.append(beside)

    def flood(self, start: int, within: int) -> tuple[int, int]:
        """Return what of some regions hangs together with a start, and what lies beside it.

        Parameters
        ----------
        start, within : int
            Regions, as bits.

        Returns
        -------
        reached : int
            The start too.
        beside : int
            All that lies beside any of it, in it or not.
        """
        left = within & ~start
        grown, beside = start, 0
        while grown:
            if not self._eights or grown.bit_count() <= self._few:
                near = 0
                while grown:
                    near |= self.around[grown.bit_length() - 1]
                    grown ^= 1 << grown.bit_length() - 1
            else:
                near = 0
                for eight, chosen in zip(
                    self._eights, grown.to_bytes(self._size, "little"), strict=True
                ):
                    if chosen:
                        near |= eight[chosen]
                grown = 0
            beside |= near
            more = near & left
            grown |= more
            left ^= more
        return start | (within & ~left), beside
