"""Gaps: the shortest ways across openings from one piece of sheet to another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..errors import GeometryError
from ..planar.graph import connected_labels, spanning_forest


@dataclass(frozen=True)
class Gaps:
    """Shortest ways between pieces.

    Parameters
    ----------
    pieces : int array (m, 2)
        The two pieces that each gap lies between.
    start, end : float64 array (m, 2)
        Its ends, on the first and on the second piece, in mm.
    length : float64 array (m,)
        In mm.
    """

    pieces: Indices
    start: Floats
    end: Floats
    length: Floats

    def __len__(self) -> int:
        return len(self.length)

    def take(self, which: Indices | Bools) -> Gaps:
        """Return some of the gaps, by position or mask."""
        return Gaps(self.pieces[which], self.start[which], self.end[which], self.length[which])

    def lines(self) -> Geometries:
        """Return the gaps as line strings."""
        lines: Geometries = shapely.linestrings(np.stack([self.start, self.end], axis=1))
        return lines


def join_gaps(several: Sequence[Gaps]) -> Gaps:
    """Return gaps of several lots as one lot."""
    return Gaps(
        np.concatenate([g.pieces for g in several]),
        np.concatenate([g.start for g in several]),
        np.concatenate([g.end for g in several]),
        np.concatenate([g.length for g in several]),
    )


def spanning_gaps(pieces: Sequence[Polygon], first_reach: float) -> Gaps:
    """Return the gaps that join all pieces at the least total length.

    An exact minimum spanning tree over the true distances of all pairs, without measuring all
    pairs: pairs within a reach are measured, joined, and the reach doubled until all is one. A
    longer gap can enter the tree only between parts that are not joined yet, and one of its two
    ends lies outside the largest part, so that the search starts from there only.

    Parameters
    ----------
    pieces : sequence of Polygon
        Disjoint, in mm.
    first_reach : float
        Reach of the first round in mm; any positive value gives the same result.

    Returns
    -------
    Gaps
        ``len(pieces) - 1`` of them.

    Raises
    ------
    GeometryError
        A piece is empty.

    Examples
    --------
    >>> squares = [shapely.box(x, 0, x + 1, 1) for x in (0, 2, 5)]
    >>> spanning_gaps(squares, 0.5).length
    array([1., 2.])
    """
    count = len(pieces)
    if any(p.is_empty for p in pieces):
        raise GeometryError("A piece of sheet is empty.")
    rings, owner = shapely.get_rings(np.asarray(pieces, object), return_index=True)
    tree = shapely.STRtree(rings)
    low_x, low_y, high_x, high_y = shapely.total_bounds(rings) if count else (0, 0, 0, 0)
    diagonal = float(np.hypot(high_x - low_x, high_y - low_y))
    links = np.empty((0, 2), np.int64)
    ring_links = np.empty((0, 2), np.int64)
    length = np.empty(0)
    labels = np.arange(count)
    reach = first_reach
    while count > 1:
        sizes = np.bincount(labels)
        outside = np.flatnonzero((labels != np.argmax(sizes))[owner])
        a, b = tree.query(rings[outside], predicate="dwithin", distance=reach)
        a = outside[a]
        apart = labels[owner[a]] != labels[owner[b]]
        a, b = a[apart], b[apart]
        distance = shapely.distance(rings[a], rings[b])
        # The tree so far stays a part of the final tree, so only it is carried on.
        ring_links = np.concatenate([ring_links, np.stack([a, b], axis=1)])
        length = np.append(length, distance)
        links = owner[ring_links]
        chosen = spanning_forest(count, links, length)
        ring_links, length, links = ring_links[chosen], length[chosen], links[chosen]
        labels = connected_labels(count, links)
        if labels.max() == 0:
            break
        if reach > 2 * diagonal:
            raise GeometryError("Pieces of sheet lie apart by more than the sheet's size.")
        reach *= 2
    lines = shapely.shortest_line(rings[ring_links[:, 0]], rings[ring_links[:, 1]])
    ends = shapely.get_coordinates(lines).reshape(-1, 2, 2)
    return Gaps(links, ends[:, 0], ends[:, 1], length)
