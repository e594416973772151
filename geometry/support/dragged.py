"""Dragged: what becomes of a sheet while one bridge is drawn or moved, quick enough for each frame.

What stands still is worked out once, when the drag begins: the sheet without the bridge, its pieces
and its core. Each place of the bridge is then one strip across one opening, fitted by the same rule
as in a build (see ``hand_drawn``). Whether all is held firmly enough is for the build to say.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..planar.graph import connected_labels
from ..planar.morphology import ErodedSheet
from ..planar.polygons import as_multipolygon, largest_piece
from ..planar.strips import straight_strips
from ..sheet.sheet import Sheet
from .bridges import Bridge
from .constraints import DrawnBridge
from .hand_drawn import fit_drawn
from .laying import JUST_UNDER

#: Pieces of sheet smaller than this share of a bridge's width squared are nothing.
CRUMB = 0.01


@dataclass(frozen=True)
class Dragged:
    """A bridge at one place of its way.

    Parameters
    ----------
    strip : MultiPolygon
        What it takes out of the openings, in mm; empty where it joins no two places of the sheet.
    loose : tuple of Polygon
        Pieces that fall out with the bridge there.
    """

    strip: MultiPolygon
    loose: tuple[Polygon, ...]


@dataclass(frozen=True)
class StillSheet:
    """What stands still of a sheet while one of its bridges is dragged.

    Parameters
    ----------
    layer : str
    outline : Polygon
    shape : MultiPolygon
        The sheet without the bridge.
    openings : MultiPolygon
        All that is cut out then.
    width : float
        Least width of a bridge in mm.
    """

    layer: str
    outline: Polygon
    shape: MultiPolygon
    openings: MultiPolygon
    width: float

    @cached_property
    def pieces(self) -> list[Polygon]:
        """The frame and what no bridge holds without the one that is dragged."""
        return list(self.shape.geoms)

    @cached_property
    def core(self) -> MultiPolygon:
        """The sheet eroded by just under half a bridge's width: bridges are rooted in it."""
        return ErodedSheet(self.outline, self.width / 2 * JUST_UNDER).of(self.openings)

    def prepared(self) -> StillSheet:
        """Return itself, with all worked out that is needed at each place."""
        assert self.pieces
        assert self.core is not None
        return self

    def at(self, bridge: DrawnBridge) -> Dragged:
        """Return what becomes of the sheet with a bridge at one place.

        Parameters
        ----------
        bridge : DrawnBridge
        """
        pieces = self.pieces
        fitted = fit_drawn((bridge,), pieces, self.openings, self.core, self.width, self.layer)
        label = connected_labels(len(pieces), fitted.links.pieces)
        held = label == label[largest_piece(pieces)]
        loose = tuple(piece for piece, holds in zip(pieces, held, strict=True) if not holds)
        strips = straight_strips(
            [s.path for s in fitted.strips], np.array([s.width for s in fitted.strips])
        )
        if not len(strips):
            return Dragged(MultiPolygon(), loose)
        parts = shapely.get_parts(self.openings)
        near = parts[shapely.STRtree(parts).query(strips[0], predicate="intersects")]
        return Dragged(
            as_multipolygon(shapely.union_all(shapely.intersection(near, strips[0]))), loose
        )

    def left_open(self, strip: MultiPolygon) -> MultiPolygon:
        """Return the openings less a strip, which meets few of them."""
        if strip.is_empty:
            return self.openings
        parts = shapely.get_parts(self.openings)
        met = shapely.STRtree(parts).query(strip, predicate="intersects")
        left = shapely.get_parts(shapely.difference(parts[met], strip))
        polygons = left[shapely.get_type_id(left) == shapely.GeometryType.POLYGON]
        return MultiPolygon([*np.delete(parts, met), *polygons])


def sheet_without(sheet: Sheet, plain: Sheet, bridge: Bridge | None, width: float) -> StillSheet:
    """Return what stands still of a built sheet while one of its bridges is dragged.

    Parameters
    ----------
    sheet : Sheet
        As built, all bridges in place.
    plain : Sheet
        The same as drawn.
    bridge : Bridge, optional
        The one that is dragged; None where a new one is drawn.
    width : float
        Least width of a bridge in mm.
    """
    openings, shape = sheet.openings, sheet.shape
    if bridge is not None:
        # Of another strip that lies over it a little is cut away here; the build puts it right.
        reopened = shapely.intersection(plain.openings, bridge.shape)
        left = shapely.get_parts(shapely.difference(shape, reopened))
        # Both lie on the grid of files by themselves: slivers of a micrometre are no islands.
        shape = MultiPolygon(left[shapely.area(left) > CRUMB * width * width].tolist())
        openings = as_multipolygon(shapely.union(openings, reopened))
    return StillSheet(sheet.layer, sheet.outline, shape, openings, width)
