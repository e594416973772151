"""Teeth: what a strip leaves of an opening beside itself, too narrow to be cut as more than a nick.

They stand where a strip runs a little beside a corner of the drawing, or along an edge of it. Most
strips leave an edge and meet another nearly square, with no corner near: they leave none, and that
is seen from their ways alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..planar.shapes_by_owner import united_by_owner, with_more
from ..planar.strips import ROUNDING
from ..planar.subdivide import small_polygons
from ..tolerance import NOT_ZERO

#: Teeth are narrower than twice this share of a bridge's width; their areas in squares of it.
_TOOTH, _LEAST_TOOTH, _MOST_TOOTH = 0.15, 4e-3, 2.0
#: An opening is grown again by this much more than it was shrunk, and teeth by so much (mm), so
#: that they overlap the strip that they touch.
_GROWN, _OVERLAP = 1.001, 2e-3
#: What is narrower than twice this, in mm, is no tooth either.
_HAIR = 3e-3
#: Corners of more than 30 degrees are none, for they are cut as clean points: one over the sine of
#: half of it.
_BLUNT = 3.9
#: A strip leaves no teeth where the edges within so many widths of its sides overhang it at no
#: sharper angle, in degrees, than this, reach no further along it (in widths), and leave so many
#: widths of it free; and where no other strip is so near.
_NEAR, _STEEP, _INTO, _BROAD = 0.32, 47.0, 0.8, 0.8
#: One that bends further than so many widths, or turns further, in degrees, is looked at closely.
_BENT, _TURNED = 0.3, 25.0
#: Its sides are looked at from this share of its width on.
_UNDER = 0.97


@dataclass(frozen=True)
class Sides:
    """Strips as their sides run.

    Parameters
    ----------
    ends : float64 array (n, 2, 2)
        Where their middle lines leave one edge of an opening and meet another, in mm.
    root : float64 array (n, 2)
        How far beyond these ends they reach into the sheet, in mm.
    width : float64 array (n,)
        In the middle, in mm.
    flare : float64 array (n,)
        How much wider they are at an end at most, as shares.
    bend : float64 array (n,)
        How far a middle line lies beside the straight one at most, in mm.
    turn : float64 array (n,)
        How far it turns from the straight one at most, in radians.
    one_gap : bool array (n,)
        Whether a way is known to cross one opening only and no sheet.
    """

    ends: Floats
    root: Floats
    width: Floats
    flare: Floats
    bend: Floats
    turn: Floats
    one_gap: Bools

    @property
    def length(self) -> Floats:
        """Lengths of the ways across, in mm."""
        return np.hypot(*np.moveaxis(self.ends[:, 1] - self.ends[:, 0], -1, 0))


class Teeth:
    """Finds teeth beside strips.

    Parameters
    ----------
    openings : MultiPolygon
        Nothing is laid on them yet.
    width : float
        Of a bridge in mm.
    """

    def __init__(self, openings: MultiPolygon, width: float) -> None:
        self._openings, self._width = openings, width
        #: The openings in small parts, and where these lie.
        self.tiles: Geometries = small_polygons(openings)
        self.tree = shapely.STRtree(self.tiles)

    def filled(self, shapes: Geometries, sides: Sides) -> Geometries:
        """Return the shapes of strips, each with the teeth beside it.

        Parameters
        ----------
        shapes : object array of Polygon
            All that are laid together.
        sides : Sides
        """
        asked = np.flatnonzero(~self._plain(shapes, sides))
        if len(asked) == 0:
            return shapes
        width, shallow = self._width, _TOOTH * self._width
        mine = shapes[asked]
        around = shapely.box(*(shapely.bounds(mine).T + np.array([[-1], [-1], [1], [1]]) * width))
        which, tile = self.tree.query(around, predicate="intersects")
        near = united_by_owner(
            shapely.intersection(self.tiles[tile], around[which]), which, len(mine)
        )
        which, other = shapely.STRtree(shapes).query(around, predicate="intersects")
        left = shapely.difference(near, _beside(shapes, which, other, len(mine)))
        narrow, of = shapely.get_parts(_narrow(left, shallow), return_index=True)
        seen = (shapely.area(narrow) > _LEAST_TOOTH * width**2) & shapely.intersects(
            shapely.buffer(narrow, _OVERLAP, join_style="mitre"), mine[of]
        )
        narrow, of = narrow[seen], of[seen]
        # What was as narrow before is as it was drawn.
        about = np.unique(of)
        drawn = shapely.buffer(_narrow(near[about], shallow), _OVERLAP, join_style="mitre")
        narrow = shapely.difference(narrow, drawn[np.searchsorted(about, of)])
        # Hairs along a whole side come of rounding.
        firm = shapely.buffer(narrow, -_HAIR, join_style="mitre")
        teeth, part = shapely.get_parts(firm, return_index=True)
        of, area = of[part], shapely.area(teeth)
        kept = (area > _LEAST_TOOTH * width**2) & (area < _MOST_TOOTH * width**2)
        teeth, of = teeth[kept], of[kept]
        teeth = shapely.buffer(teeth, _HAIR + _OVERLAP, join_style="mitre")
        beside = shapely.intersects(teeth, mine[of])
        return with_more(shapes, teeth[beside], asked[of[beside]])

    @cached_property
    def _edges(self) -> tuple[shapely.STRtree, Floats]:
        """The openings' edges one by one: a tree of them, and their ends (m, 2, 2)."""
        rings = shapely.get_rings(shapely.get_parts(self._openings))
        points, ring = shapely.get_coordinates(rings, return_index=True)
        at = np.flatnonzero(ring[1:] == ring[:-1])
        ends = np.stack([points[at], points[at + 1]], axis=1)
        return shapely.STRtree(shapely.linestrings(ends)), ends

    def _plain(self, shapes: Geometries, sides: Sides) -> Bools:
        """Return which strips leave no teeth, as far as that is seen from their ways.

        Where the edges that a strip meets run away from it, or stand steeply on its sides, and
        nothing else is near, what it leaves of the opening beside it is a broad place with blunt
        corners, which no tooth is.
        """
        plain = sides.one_gap & (sides.length >= _BROAD * sides.width)
        plain &= (sides.bend <= _BENT * sides.width) & (sides.turn <= np.radians(_TURNED))
        strips = np.flatnonzero(plain)
        if len(strips) == 0:
            return plain
        half = sides.width / 2 * ROUNDING * (1 + sides.flare) + sides.bend
        lines = shapely.linestrings(sides.ends)
        tree, edges = self._edges
        near, edge = tree.query(
            lines[strips], predicate="dwithin", distance=(half + sides.width)[strips]
        )
        strip, ends = strips[near], edges[edge]
        toothed = np.zeros(len(plain), bool)
        for aside in (1.0, -1.0):
            into = np.zeros((2, len(plain)))
            for last in (0, 1):
                bad, strip_in, deep = _toothed(sides, strip, ends, last, aside)
                toothed[bad] = True
                np.maximum.at(into[last], strip_in, deep)
            toothed |= sides.length - into.sum(axis=0) < _BROAD * sides.width
        flat = shapely.buffer(lines, half, cap_style="flat")
        one, other = shapely.STRtree(shapes).query(
            flat, predicate="dwithin", distance=_NEAR * sides.width
        )
        apart = one != other
        toothed[one[apart]] = toothed[other[apart]] = True
        return plain & ~toothed


def _toothed(
    sides: Sides, strip: Indices, edges: Floats, last: int, aside: float
) -> tuple[Indices, Indices, Floats]:
    """Look at the edges beside one end and on one side of strips.

    Parameters
    ----------
    sides : Sides
    strip : int array (k,)
    edges : float64 array (k, 2, 2)
        An edge near each of these strips.
    last : int
        0 for the start, 1 for the end of the strips.
    aside : float
        1 for their left sides, -1 for their right ones.

    Returns
    -------
    toothed : int array
        Strips that may have teeth there.
    strip : int array (n,)
        Strips that an edge lies beside there.
    into : float64 array (n,)
        How far from their end along the strip it reaches, in mm.
    """
    width, flare, length = sides.width[strip], sides.flare[strip], sides.length[strip]
    way = (sides.ends[strip, 1 - last] - sides.ends[strip, last]) / length[:, None]
    arm = edges - sides.ends[strip, last][:, None]
    along = (arm * way[:, None]).sum(axis=2)
    # Left of the strip as it runs, whichever end is looked from.
    left = aside * (1 - 2 * last)
    across = left * (way[:, None, 0] * arm[..., 1] - way[:, None, 1] * arm[..., 0])
    turned = across[:, 0] > across[:, 1]
    along[turned], across[turned] = along[turned, ::-1], across[turned, ::-1]
    # Of each edge what lies beside the strip, from its side to where teeth end.
    bend = sides.bend[strip]
    low = np.maximum(width / 2 * _UNDER - bend, 0.0)
    high = width / 2 * ROUNDING * (1 + flare) + bend + _NEAR * width
    step, rise = along[:, 1] - along[:, 0], across[:, 1] - across[:, 0]
    level = np.maximum(rise, NOT_ZERO)
    begin = np.clip((low - across[:, 0]) / level, 0.0, 1.0)
    stop = np.clip((high - across[:, 0]) / level, 0.0, 1.0)
    deep = along[:, 0] + np.where(step > 0, stop, begin) * step
    there = (across[:, 1] >= low) & (across[:, 0] <= high)
    there &= along.mean(axis=1) < length / 2
    # Behind the strip's root there is none of it.
    there &= deep > -(sides.root[strip, last] + width / 2 * ROUNDING)
    # Sides of tapered and curved strips lean to their straight middle lines.
    lean = np.arctan(2 * width * flare / length) + sides.turn[strip]
    step = np.where(rise > NOT_ZERO, step, np.abs(step))
    overhanging = rise < step * np.tan(np.radians(_STEEP) + lean)
    bad = there & (overhanging | (deep > _INTO * width))
    return strip[bad], strip[there], deep[there]


def _beside(shapes: Geometries, of: Indices, other: Indices, count: int) -> Geometries:
    """Return for each of several owners the shapes ``other`` that are its own, as one."""
    one, two = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    meets = np.zeros(len(shapes), bool)
    meets[one[one != two]] = True
    # Most keep clear of each other, and no union is needed to say so.
    joined = np.zeros(count, bool)
    joined[of[meets[other]]] = True
    joined[np.bincount(of, minlength=count) == 0] = True
    one_by_one = joined[of]
    found = united_by_owner(shapes[other[one_by_one]], of[one_by_one], count)
    apart = np.argsort(of[~one_by_one], kind="stable")
    parts = shapes[other[~one_by_one][apart]]
    polygons, part = shapely.get_parts(parts, return_index=True)
    found[~joined] = shapely.multipolygons(
        polygons, indices=np.unique(of[~one_by_one][apart], return_inverse=True)[1][part]
    )
    return found


def _narrow(openings: Geometries, depth: float) -> Geometries:
    """Return what openings lose when they are shrunk and grown again; not their square corners."""
    shrunk = shapely.buffer(openings, -depth, join_style="mitre", mitre_limit=_BLUNT)
    grown = shapely.buffer(shrunk, depth * _GROWN, join_style="mitre", mitre_limit=_BLUNT)
    narrow: Geometries = shapely.difference(openings, grown)
    return narrow
