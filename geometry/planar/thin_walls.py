"""Thin walls: where openings come so near to one another that no cut leaves anything between."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Geometries, Indices, ramp
from ..threads import map_geometries
from .graph import connected_labels, members_of
from .polygons import as_multipolygon
from .subdivide import small_polygons
from .union import unite

#: Segments a quarter circle: the reach of a corner is short by 2 per cent at most.
_QUARTER_SEGMENTS = 4
#: Half of a wall is found by widening; beyond the wall's ends the opening is widened on by this
#: share of the width, so that the two overlap.
_OVERLAP = 0.1
#: Walls thinner than twice this share of the width are left to the grid, which closes them.
_FILM = 0.002
#: A blind wall, with the same opening round its end, counts when it is this many widths long.
_BLIND = 20.0
#: Closing rounds every inner corner off by a fifth of the radius squared; less is none.
_CORNER = 0.02


@dataclass(frozen=True)
class Walled:
    """Openings whose thin walls are taken away, and those walls.

    Parameters
    ----------
    openings : MultiPolygon
    walls : tuple of Polygon
        What was sheet and is opening now, with a little of the openings beside it.
    """

    openings: MultiPolygon
    walls: tuple[Polygon, ...]


def without_thin_walls(openings: MultiPolygon, width: float) -> Walled:
    """Take away walls of sheet between openings that are thinner than a width.

    A wall lies between two openings, or between two stretches of the edge of one. The tip of a
    corner, however sharp, is none unless it is a long blade.

    Parameters
    ----------
    openings : MultiPolygon
        Valid, in mm.
    width : float
        In mm.

    Returns
    -------
    Walled
        The openings are the ones given where there was no such wall.

    Notes
    -----
    Closing (dilation, then erosion: Serra, "Image analysis and mathematical morphology", 1982) of
    the openings by half the width fills just what is thinner; each opening is widened by itself,
    and only those that meet then, or that closing fills a part of, are looked at further.

    Examples
    --------
    >>> two = MultiPolygon([shapely.box(0, 0, 5, 9), shapely.box(5.001, 0, 9, 9)])
    >>> found = without_thin_walls(two, 0.05)
    >>> len(found.openings.geoms), len(found.walls)
    (1, 1)
    """
    parts = shapely.get_parts(openings)
    if len(parts) == 0:
        return Walled(openings, ())
    reach = width / 2
    wide = map_geometries(shapely.buffer, parts, distance=reach, quad_segs=_QUARTER_SEGMENTS)
    first, second = shapely.STRtree(wide).query(wide, predicate="intersects")
    pairs = np.stack([first, second], axis=1)[first < second]
    # Pairs that touch only without being widened are no neighbours across a wall; they come along.
    closed = map_geometries(shapely.buffer, wide, distance=-reach, quad_segs=_QUARTER_SEGMENTS)
    gained = shapely.area(closed) - shapely.area(parts)
    suspect = gained > _CORNER * reach * reach
    suspect[pairs.ravel()] = True
    if not suspect.any():
        return Walled(openings, ())
    labels = connected_labels(len(parts), pairs)
    groups = [g for g in members_of(labels, np.arange(len(parts))) if suspect[g].any()]
    walls: list[Polygon] = []
    result: list[Geometries] = [parts[~np.isin(labels, [labels[g[0]] for g in groups])]]
    for group in groups:
        found = _walls(parts[group], closed[group], width)
        walls += found
        joined: Geometries = parts[group]
        if found:
            united = as_multipolygon(shapely.union_all([*joined, *found]))
            joined = shapely.get_parts(united)
        result.append(joined)
    if not walls:
        return Walled(openings, ())
    return Walled(shapely.multipolygons(np.concatenate(result)), tuple(walls))


def _walls(parts: Geometries, closed: Geometries, width: float) -> list[Polygon]:
    """Return the walls within a cluster of openings."""
    if len(parts) > 1:
        fills = _filled_by_closing(parts, width / 2)
    else:
        fills = shapely.difference(closed, parts)
    # Rounding leaves films along the edges that would string separate places together.
    fills = shapely.get_parts(shapely.buffer(shapely.get_parts(fills), -_FILM * width))
    fills = fills[~shapely.is_empty(fills)]
    if len(fills) == 0:
        return []
    # What touches is one place: the two halves of a wall that narrows to nothing in its middle, the
    # tip of a corner and the sliver beside it that its rounding leaves.
    grown = shapely.buffer(fills, (_OVERLAP + _FILM) * width)
    places = shapely.get_parts(unite(grown))
    x0, y0, x1, y1 = shapely.bounds(places).T
    extent = np.hypot(x1 - x0, y1 - y0)
    sides = _openings_met(places, parts)
    return list(places[(sides >= 2) | (extent > _BLIND * width)])


def _openings_met(places: Geometries, parts: Geometries) -> Indices:
    """Return how many separate stretches of the openings each place covers."""
    # Openings may have all the vertices of the sheet, and places are many: tile by tile.
    tiles = small_polygons(shapely.multipolygons(parts))
    which, tile = shapely.STRtree(tiles).query(places, predicate="intersects")
    order = np.argsort(which, kind="stable")
    which, tile = which[order], tile[order]
    pieces = shapely.intersection(places[which], tiles[tile])
    # Stretches that run on from one tile into the next are one.
    rank = ramp(np.bincount(which, minlength=len(places)))
    rows = np.full((len(places), int(rank.max(initial=0)) + 1), None, object)
    rows[which, rank] = pieces
    contact, owner = shapely.get_parts(shapely.union_all(rows, axis=1), return_index=True)
    return np.bincount(owner[shapely.area(contact) > 0], minlength=len(places))


def _filled_by_closing(parts: Geometries, reach: float) -> Geometries:
    """Return what closing fills between openings: what opening takes from each piece of sheet."""
    x0, y0, x1, y1 = shapely.total_bounds(parts) + reach * np.array([-4, -4, 4, 4])
    sheet = shapely.get_parts(
        as_multipolygon(shapely.box(x0, y0, x1, y1).difference(shapely.multipolygons(parts)))
    )
    eroded = map_geometries(shapely.buffer, sheet, distance=-reach, quad_segs=_QUARTER_SEGMENTS)
    opened = map_geometries(shapely.buffer, eroded, distance=reach, quad_segs=_QUARTER_SEGMENTS)
    return map_geometries(shapely.difference, sheet, opened)
