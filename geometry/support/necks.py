"""Necks: ways along places where two pieces of a sheet hang together by less than a width."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Floats
from .gaps import spanning_gaps

# A way is inside the sheet although it leaves it by this length, in mm: rounding.
_OUTSIDE = 1e-3
# What lies between the cores is looked for this share of the width off them.
_APART = 1.02


def neck_ways(cores: Sequence[Polygon], sheet: shapely.Geometry, width: float) -> Floats:
    """Return straight ways (n, 2, 2) along the necks that hold all cores together.

    The shortest way between two cores may run across an opening beside the neck, where nothing
    holds them and a strip would show. There the way is laid along the sheet between them instead,
    if it has a straight one.

    Parameters
    ----------
    cores : sequence of Polygon
        The sheet, worn back by half the width, in mm.
    sheet : shapely geometry
        What is left uncut.
    width : float
        Least width in mm.
    """
    gaps = spanning_gaps(cores, first_reach=2 * width)
    ways = np.stack([gaps.start, gaps.end], axis=1)
    lines = shapely.linestrings(ways)
    outside = shapely.length(shapely.difference(lines, sheet)) > _OUTSIDE
    if not outside.any():
        return ways
    grown = shapely.union_all([core.buffer(_APART * width / 2) for core in cores])
    between = shapely.get_parts(shapely.difference(sheet, grown))
    tree, reach = shapely.STRtree(between), _APART * width
    for at in np.flatnonzero(outside).tolist():
        first, second = (cores[k] for k in gaps.pieces[at].tolist())
        # By the smaller of the two: the frame of a mural comes near ten thousand parts.
        small, large = sorted((first, second), key=shapely.get_num_coordinates)
        near = between[np.sort(tree.query(small, predicate="dwithin", distance=reach))]
        near = near[shapely.dwithin(near, large, reach)]
        found = [_shortest(first, second, neck, reach) for neck in near]
        along = [
            line for line in found if line is not None and line.difference(sheet).length <= _OUTSIDE
        ]
        if along:
            ways[at] = min(along, key=lambda line: float(line.length)).coords
    return ways


def _shortest(
    first: Polygon, second: Polygon, neck: Polygon, reach: float
) -> shapely.LineString | None:
    """Return the shortest line between two cores of those that end beside a neck."""
    beside = neck.buffer(reach)
    ends = first.intersection(beside), second.intersection(beside)
    if any(end.is_empty for end in ends):
        return None
    return shapely.shortest_line(*ends)
