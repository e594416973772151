"""Damage: what a bridge spoils in the finished picture.

A bridge keeps its layer's paint off. Where a later layer paints over that spot nothing is lost;
elsewhere the eye sees what lies below instead, the worse the more the two colours differ.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Floats, Geometries, Indices
from ..colour import (
    ciede2000,
    lab_from_srgb,
    source_over,
    srgb_from_hex,
)
from ..planar.bar_areas import BarAreas
from ..planar.polygons import as_multipolygon
from ..planar.subdivide import small_polygons

#: Vertices of a tile of the map: many thousand candidates are clipped to them.
ZONE_VERTICES = 48


@dataclass(frozen=True)
class Coat:
    """One layer's paint: where it falls, its colour, and how much it hides (1 is all)."""

    shape: MultiPolygon
    colour: str
    opacity: float = 1.0

    def over(self, srgb: Floats) -> Floats:
        """Return a colour, sRGB 0 to 1, with this coat over it (source-over, W3C Compositing)."""
        return source_over(srgb, srgb_from_hex(self.colour), self.opacity)


@dataclass(frozen=True)
class _Region:
    """A part of the layer with the coats that are seen there above and below its paint.

    Coats are named from the eye down; what lies under a coat that hides all is not among them.
    """

    shape: MultiPolygon
    above: tuple[Coat, ...] = ()
    below: tuple[Coat, ...] = ()

    def difference(self, wanted: Coat, ground: Floats) -> float:
        """Return how much the picture differs there with the layer's paint and without."""
        without = _through(self.below, ground)
        seen = [_through(self.above, colour) for colour in (wanted.over(without), without)]
        lab = lab_from_srgb(np.stack(seen))
        return float(ciede2000(lab[0], lab[1]))


def _through(coats: Sequence[Coat], srgb: Floats) -> Floats:
    """Return a colour, sRGB 0 to 1, seen through coats that are named from the eye down."""
    for coat in reversed(coats):
        srgb = coat.over(srgb)
    return srgb


def _near(coats: Sequence[Coat], shape: MultiPolygon) -> Sequence[Coat]:
    """Return the coats that a shape meets: of hundreds, a few are."""
    if not coats:
        return coats
    shapely.prepare(shape)
    meets = shapely.intersects(shape, np.array([coat.shape for coat in coats], object))
    return [coats[k] for k in np.flatnonzero(meets).tolist()]


def _parted(regions: Sequence[_Region], coat: Coat) -> tuple[list[_Region], list[_Region]]:
    """Return the parts of regions inside a coat, and those outside it."""
    inside: list[_Region] = []
    outside: list[_Region] = []
    shapes = np.array([region.shape for region in regions], object)
    # Of the hundreds of regions that hundreds of layers make, a coat meets a few.
    shapely.prepare(coat.shape)
    meets = shapely.intersects(coat.shape, shapes)
    within = iter(shapely.intersection(shapes[meets], coat.shape).tolist())
    beyond = iter(shapely.difference(shapes[meets], coat.shape).tolist())
    for region, met in zip(regions, meets.tolist(), strict=True):
        covered = as_multipolygon(next(within)) if met else MultiPolygon()
        bare = as_multipolygon(next(beyond)) if met else region.shape
        if covered.is_empty:
            outside.append(region)
            continue
        inside.append(replace(region, shape=covered))
        if not bare.is_empty:
            outside.append(replace(region, shape=bare))
    return inside, outside


def _regions(seen: MultiPolygon, below: Sequence[Coat], above: Sequence[Coat]) -> list[_Region]:
    """Part what is seen of a layer by the coats below it and by those above that let it through.

    From the eye down: under a coat that hides all nothing needs to be parted. So regions are as
    many as the coats, where all coats hide, and not as many as the places where they cross.
    """
    regions = [_Region(seen)]
    for coat in reversed(above):
        inside, outside = _parted(regions, coat)
        regions = [replace(r, above=(*r.above, coat)) for r in inside] + outside
    done: list[_Region] = []
    for coat in reversed(below):
        if not regions:
            break
        inside, outside = _parted(regions, coat)
        inside = [replace(r, below=(*r.below, coat)) for r in inside]
        if coat.opacity == 1:
            done += inside
            regions = outside
        else:
            regions = inside + outside
    return done + regions


def _with_care(
    shape: MultiPolygon, difference: float, care: Sequence[tuple[MultiPolygon, float]]
) -> list[tuple[MultiPolygon, float, float]]:
    """Return a region split where damage counts more than once: shapes, difference, factor."""
    parts = []
    rest: shapely.Geometry = shape
    for area, factor in care:
        inside = as_multipolygon(shapely.intersection(shape, area))
        if not inside.is_empty:
            parts.append((inside, difference, factor))
            rest = shapely.difference(rest, area)
    return [(as_multipolygon(rest), difference, 1.0), *parts]


@dataclass(frozen=True)
class Visible:
    """What strips of sheet spoil, one value each.

    Parameters
    ----------
    area : float64 array (n,)
        Area in mm2 that shows another colour than the picture wants.
    damage : float64 array (n,)
        That area times the colour difference CIEDE2000: mm2 x Delta E.
    price : float64 array (n,)
        The damage, counted as many times as the care for its place says. Bridges are chosen by it;
        what is told is the damage.
    """

    area: Floats
    damage: Floats
    price: Floats


class DamageMap:
    """Where strips left uncut in one layer would show in the picture, and how much.

    Parameters
    ----------
    wanted : Coat
        The layer's artwork and colour.
    below : sequence of Coat
        Earlier layers in spray order, taken as painted without gaps.
    above : sequence of Coat
        Later layers in spray order, as they will be painted (their own bridges taken out).
    ground : str
        Colour of the wall.
    care : sequence of (MultiPolygon, float)
        Parts of the sheet where damage counts so many times; no two overlap.

    Notes
    -----
    The layer is parted by the coats below and above; each part has the colour difference between
    the picture with the layer's paint and without. Gaps that bridges leave in earlier layers are
    neglected:
    they would count only where two bridges of different layers cross.

    Examples
    --------
    >>> square = as_multipolygon(shapely.box(0, 0, 10, 10))
    >>> cover = Coat(as_multipolygon(shapely.box(0, 0, 5, 10)), "#000000")
    >>> spoilt = DamageMap(Coat(square, "#000000"), (), (cover,), "#ffffff")
    >>> spoilt.of([shapely.box(4, 0, 7, 1)]).damage.round(6)
    array([200.])
    """

    def __init__(
        self,
        wanted: Coat,
        below: Sequence[Coat],
        above: Sequence[Coat],
        ground: str,
        care: Sequence[tuple[MultiPolygon, float]] = (),
    ) -> None:
        self._about = (wanted, tuple(below), tuple(above), ground, tuple(care))
        below, above = _near(below, wanted.shape), _near(above, wanted.shape)
        seen: shapely.Geometry = wanted.shape
        for coat in above:
            if coat.opacity == 1 and not seen.is_empty:
                seen = shapely.difference(seen, coat.shape)
        bare = srgb_from_hex(ground)
        clear = [coat for coat in above if coat.opacity < 1]
        parts = [
            part
            for region in _regions(as_multipolygon(seen), below, clear)
            for part in _with_care(region.shape, region.difference(wanted, bare), care)
        ]
        zones = [small_polygons(shape, ZONE_VERTICES) for shape, _, _ in parts]
        count = [len(z) for z in zones]
        self._zones = np.concatenate(zones)
        self._difference = np.repeat([difference for _, difference, _ in parts], count)
        self._weights = self._difference * np.repeat([factor for _, _, factor in parts], count)
        self._tree = shapely.STRtree(self._zones)
        hidden = float(wanted.shape.area - shapely.area(self._zones).sum())
        #: Whether all places in the layer spoil alike, so that short is best.
        self.uniform: bool = len(np.unique(self._weights)) <= 1 and hidden < 1e-6 * max(
            float(wanted.shape.area), 1.0
        )

    def content(self) -> tuple[object, ...]:
        """Return all that the map was made from."""
        return self._about

    def of(self, strips: Sequence[shapely.Geometry] | Geometries) -> Visible:
        """Return what each strip of sheet would spoil; strips count by themselves."""
        array = np.asarray(strips, object)
        which, zone = self._tree.query(array, predicate="intersects")
        area = shapely.area(shapely.intersection(array[which], self._zones[zone]))
        return self._visible(len(array), which, zone, area)

    def of_bars(self, start: Floats, end: Floats, width: float) -> Visible:
        """Return what straight strips with square ends would spoil (see ``BarAreas``).

        Parameters
        ----------
        start, end : float64 array (n, 2)
            Ends of their middle lines in mm.
        width : float
            In mm.
        """
        return self._visible(len(start), *self._bar_areas.of(start, end, width))

    @cached_property
    def _bar_areas(self) -> BarAreas:
        return BarAreas(self._zones)

    def _visible(self, count: int, which: Indices, zone: Indices, area: Floats) -> Visible:
        seen = np.bincount(which, area, count)
        harm = np.bincount(which, area * self._difference[zone], count)
        price = np.bincount(which, area * self._weights[zone], count)
        return Visible(*(value.astype(np.float64) for value in (seen, harm, price)))

    def painted_over(self, islands: Sequence[Polygon]) -> Visible:
        """Return what it would spoil to paint over each of some islands of the layer's sheet.

        Paint where none is wanted differs as much as wanted paint that is missing, so that this is
        what strips would spoil if the islands were the artwork.
        """
        wanted, below, above, ground, care = self._about
        shape = as_multipolygon(shapely.union_all(np.asarray(islands, object)))
        return DamageMap(replace(wanted, shape=shape), below, above, ground, care).of(islands)

    def at(self, points: Floats) -> Floats:
        """Return the price of a mm2 at each point (n, 2): its colour difference times the care."""
        result = np.zeros(len(points))
        which, zone = self._tree.query(shapely.points(points), predicate="intersects")
        result[which] = self._weights[zone]
        return result
