"""Middle lines: a medial axis as paths, the longest first, each with what its ends lie at.

Where axes meet, the longest way goes through and the others branch off it.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from dataclasses import dataclass
from enum import Enum

import numpy as np

from ..arrays import Indices
from .graph import connected_labels, members_of
from .medial_axis import MedialAxis


class End(Enum):
    """What a middle line ends at."""

    BODY = "body"  #: a part that is wider than was asked for
    BRANCHING = "branching"  #: another middle line
    FREE = "free"  #: a tip
    CLOSED = "closed"  #: its own beginning


@dataclass(frozen=True)
class MiddleLine:
    """One path along a medial axis.

    Parameters
    ----------
    nodes : int64 array (k,)
        Nodes of the axis from end to end; the first is repeated where the line is closed.
    pieces : int64 array (k - 1,)
        Edges of the axis between them.
    ends : tuple of End
        A free end stands last, unless both are free.
    root : int64 array (r,)
        Nodes of the way from a wider part to the beginning, along other lines; empty where the line
        begins at one, or there is none.
    """

    nodes: Indices
    pieces: Indices
    ends: tuple[End, End]
    root: Indices


def middle_lines(axis: MedialAxis, chosen: Indices | None = None) -> list[MiddleLine]:
    """Split a medial axis into middle lines.

    Parameters
    ----------
    axis : MedialAxis
    chosen : int64 array, optional
        The edges to be looked at; all by default.

    Returns
    -------
    list of MiddleLine
        Part by part of the axis; in each the line between the wider parts that lie farthest apart
        first, or where there are fewer than two the longest, then what branches off.

    Examples
    --------
    >>> import shapely
    >>> from .medial_axis import medial_axis
    >>> cross = shapely.box(-10, -1, 10, 1).union(shapely.box(-1, -6, 1, 6))
    >>> axis = medial_axis(cross, 0.25)
    >>> [round(float(axis.lengths[line.pieces].sum())) for line in middle_lines(axis)]
    [18, 5, 5]
    """
    edges = np.arange(len(axis.edges)) if chosen is None else np.asarray(chosen, np.int64)
    if not len(edges):
        return []
    net = _Net(axis, edges)
    labels = connected_labels(len(axis.points), axis.edges[edges])
    found: list[MiddleLine] = []
    for part in members_of(labels[axis.edges[edges, 0]], edges):
        found += _Part(net, part).lines()
    return found


_NO_NODES = np.empty(0, np.int64)


class _Net:
    """Nodes and edges as they are followed: an edge XOR its one node leads to the other."""

    def __init__(self, axis: MedialAxis, edges: Indices) -> None:
        self.mouth = axis.mouth
        self.nodes = axis.edges
        degree = np.bincount(axis.edges[edges].ravel(), minlength=len(axis.points))
        self.degree = degree
        self.is_knot = degree != 2
        both = np.zeros(len(axis.points), np.int64)
        np.bitwise_xor.at(both, axis.edges[edges].ravel(), np.repeat(edges, 2))
        #: Of a node with two edges, either XOR the other.
        self.edges_at: list[int] = both.tolist()
        self.ends: Indices = np.bitwise_xor(*axis.edges.T)
        self.ends_of: list[int] = self.ends.tolist()
        self.lengths = axis.lengths


class _Part:
    """One connected part of an axis, its chains of nodes with two neighbours drawn together."""

    def __init__(self, net: _Net, edges: Indices) -> None:
        self._net = net
        self._mouth = net.mouth
        nodes = net.nodes[edges]
        at_knot = net.is_knot[nodes]
        self._closed = not at_knot.any()
        if self._closed:
            at_knot = nodes == nodes[0, 0]
        self._next: dict[int, list[tuple[int, int]]] = defaultdict(list)
        some = np.flatnonzero(at_knot.any(axis=1))
        for edge, (a, b), (at_a, at_b) in zip(
            edges[some].tolist(), nodes[some].tolist(), at_knot[some].tolist(), strict=True
        ):
            if at_a:
                self._next[a].append((b, edge))
            if at_b:
                self._next[b].append((a, edge))
        self._knots = list(self._next)
        self._branches: list[tuple[int, int, float, Indices, Indices]] = []
        self._at: dict[int, list[int]] = defaultdict(list)
        self._find_branches()

    def _find_branches(self) -> None:
        edges_at, ends_of = self._net.edges_at, self._net.ends_of
        passed: set[int] = set()
        for knot in self._knots:
            for node, edge in self._next[knot]:
                if edge in passed:
                    continue
                passed.add(edge)
                way = [edge]
                while node not in self._next:
                    edge ^= edges_at[node]
                    node ^= ends_of[edge]
                    way.append(edge)
                passed.add(edge)
                pieces = np.array(way, np.int64)
                nodes = np.bitwise_xor.accumulate(np.append(knot, self._net.ends[pieces]))
                # Added one after the other, as a running sum is: the same on any processor.
                length = float(np.cumsum(self._net.lengths[pieces])[-1])
                number = len(self._branches)
                self._branches.append((knot, node, length, nodes, pieces))
                self._at[knot].append(number)
                if node != knot:
                    self._at[node].append(number)

    def _is_end(self, knot: int) -> bool:
        return bool(self._net.degree[knot] == 1)

    def _ways(self, start: int) -> tuple[dict[int, float], dict[int, int], list[int]]:
        """Return the distance of all knots, the branch that each is reached by, and their order."""
        distance, by = {start: 0.0}, {start: -1}
        order: list[int] = []
        heap = [(0.0, start)]
        while heap:
            gone, knot = heapq.heappop(heap)
            if gone > distance[knot]:
                continue
            order.append(knot)
            for number in self._at[knot]:
                a, b, length, *_ = self._branches[number]
                other = b if a == knot else a
                if other not in distance or gone + length < distance[other]:
                    distance[other] = gone + length
                    by[other] = number
                    heapq.heappush(heap, (gone + length, other))
        return distance, by, order

    def lines(self) -> list[MiddleLine]:
        if self._closed:
            *_, nodes, pieces = self._branches[0]
            return [self._line(nodes, pieces, (End.CLOSED, End.CLOSED), _NO_NODES)]
        mouths = [k for k in self._knots if self._is_end(k) and self._mouth[k]]
        ends = mouths or [k for k in self._knots if self._is_end(k)] or self._knots
        start = ends[0]
        if len(mouths) != 1:
            # From the one farthest from any: the ends of the longest way, where there are no rings.
            distance, *_ = self._ways(start)
            start = max(ends, key=lambda k: (distance[k], -k))
        distance, by, order = self._ways(start)
        used = {number for number in by.values() if number >= 0}
        # The farthest end beyond each knot, those at wider parts before others.
        best: dict[int, tuple[bool, float]] = {}
        heavy: dict[int, int] = {}
        for knot in reversed(order):
            own = (self._is_end(knot) and bool(self._mouth[knot]), distance[knot])
            best[knot] = max(best.get(knot, own), own)
            number = by[knot]
            if number >= 0:
                parent = self._other(number, knot)
                if parent not in best or best[knot] > best[parent]:
                    best[parent], heavy[parent] = best[knot], number
        found = []
        for knot in order:
            number = by[knot]
            parent = self._other(number, knot) if number >= 0 else -1
            if number >= 0 and heavy.get(parent) == number:
                continue  # a line goes on through here
            first = [number] if number >= 0 else []
            if not first and knot not in heavy:
                continue
            begin = parent if first else knot
            nodes, pieces = self._follow(begin, first, heavy)
            line_ends = (
                End.BRANCHING if first else self._kind(begin),
                self._kind(int(nodes[-1])),
            )
            found.append(self._line(nodes, pieces, line_ends, self._root(begin, by)))
        for number, (a, _, _, nodes, pieces) in enumerate(self._branches):
            if number not in used:
                ends_ = (End.BRANCHING, End.BRANCHING)
                found.append(self._line(nodes, pieces, ends_, self._root(a, by)))
        return found

    def _other(self, number: int, knot: int) -> int:
        a, b, *_ = self._branches[number]
        return b if a == knot else a

    def _kind(self, knot: int) -> End:
        if not self._is_end(knot):
            return End.BRANCHING
        return End.BODY if self._mouth[knot] else End.FREE

    def _follow(
        self, begin: int, first: list[int], heavy: dict[int, int]
    ) -> tuple[Indices, Indices]:
        nodes, pieces = [np.array([begin], np.int64)], []
        knot, number = begin, first[0] if first else heavy[begin]
        while True:
            more_nodes, more_pieces = self._from(number, knot)
            nodes.append(more_nodes[1:])
            pieces.append(more_pieces)
            knot = int(more_nodes[-1])
            if knot not in heavy:
                return np.concatenate(nodes), np.concatenate(pieces)
            number = heavy[knot]

    def _from(self, number: int, knot: int) -> tuple[Indices, Indices]:
        a, _, _, nodes, pieces = self._branches[number]
        return (nodes, pieces) if a == knot else (nodes[::-1], pieces[::-1])

    def _root(self, knot: int, by: dict[int, int]) -> Indices:
        """Return the nodes from the start of the part to a knot."""
        way, at = [np.array([knot], np.int64)], knot
        while by[at] >= 0:
            nodes, _ = self._from(by[at], at)
            way.append(nodes[1:])
            at = int(nodes[-1])
        return np.concatenate(way)[::-1] if len(way) > 1 and self._mouth[at] else _NO_NODES

    def _line(
        self, nodes: Indices, pieces: Indices, ends: tuple[End, End], root: Indices
    ) -> MiddleLine:
        if ends[0] is End.FREE and ends[1] is not End.FREE:
            nodes, pieces, ends = nodes[::-1], pieces[::-1], ends[::-1]
        return MiddleLine(nodes, pieces, ends, root)
