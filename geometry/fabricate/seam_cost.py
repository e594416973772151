"""What a seam costs at each place of a sheet: a map of classes on a grid, drawn once.

Openings cost more than solid sheet, for a seam joins nothing there; edges more than either, so that
a seam crosses an opening the short way, at right angles; bridges and necks so much that a seam
crosses one only where nothing else is left. Where the artist asks for care, all costs more.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from PIL import Image, ImageDraw
from shapely import LineString, MultiPolygon, Polygon

from ..arrays import Floats, Geometries
from ..planar.morphology import dilate, openings_of, without_openings
from ..planar.polygons import as_multipolygon
from ..planar.union import unite

#: Cost of a millimetre of seam on solid sheet, in an opening, beside an edge, on a bridge or neck.
PLAIN, OPEN, EDGE, NARROW = 1.0, 2.0, 6.0, 400.0
#: A seam nearer than this (mm) to an edge runs beside it.
BESIDE = 1.5
#: Bridges and necks are sought wider by this (mm), so that a seam keeps clear of their sides.
CLEAR_OF_NARROW = 0.5
#: Squares of the map: this long (mm) at least, and so many at most.
_FINEST, _MOST_SQUARES = 0.25, 4e7
#: Eroded a little more than dilated: else rounding fills each corner of an opening.
_BACK = 1.02
#: A part under this share of the square of ``narrow`` is a corner that rounding left over.
_LEAST_PART = 0.05


class SeamCost:
    """What a millimetre of seam costs at each place of a sheet.

    Parameters
    ----------
    shape : MultiPolygon
        The sheet.
    narrow : float
        Sheet narrower than this (mm) is a bridge or neck.
    care : sequence of (MultiPolygon, float)
        Areas, and how many times as much a seam costs in them; the greatest counts.
    """

    def __init__(
        self,
        shape: MultiPolygon,
        narrow: float,
        care: Sequence[tuple[MultiPolygon, float]] = (),
    ) -> None:
        self.narrow = thin_sheet(shape, narrow)
        parts = shapely.get_parts(self.narrow)
        self._narrow: Geometries = parts[~shapely.is_empty(parts)]
        self._narrow_tree = shapely.STRtree(self._narrow)
        x0, y0, x1, y1 = shape.bounds
        self._step = max(_FINEST, math.sqrt((x1 - x0) * (y1 - y0) / _MOST_SQUARES))
        # A border of one square, so that rounding at the edge leads nowhere else.
        self._low = (x0 - self._step, y0 - self._step)
        self._size = tuple(math.ceil(s / self._step) + 3 for s in (x1 - x0, y1 - y0))
        self._image = self._drawn(shape)
        self._classes = np.asarray(self._image)
        self._care = self._drawn_care(care) if care else None

    def __call__(self, x: Floats, y: Floats) -> Floats:
        """Return the cost at places of any shape, in mm."""
        column = np.clip(((x - self._low[0]) / self._step).astype(np.int64), 0, self._size[0] - 1)
        row = np.clip(((y - self._low[1]) / self._step).astype(np.int64), 0, self._size[1] - 1)
        found: Floats = np.array([OPEN, PLAIN, EDGE, NARROW])[self._classes[row, column]]
        if self._care is not None:
            found = found * self._care[row, column]
        return found

    def narrow_crossed(self, line: LineString) -> list[shapely.Geometry]:
        """Return what of a line lies on bridges and necks, one geometry for each."""
        near = self._narrow[self._narrow_tree.query(line, predicate="intersects")]
        return [line.intersection(part) for part in near]

    def avoid(self, parts: Sequence[Polygon], around: float) -> None:
        """Make seams through parts, and ``around`` mm beside them, as dear as through a bridge."""
        pen = ImageDraw.Draw(self._image)
        for part in parts:
            for grown in as_multipolygon(part.buffer(around)).geoms:
                pen.polygon(self._pixels(grown.exterior), fill=3)
        self._classes = np.asarray(self._image)

    def _drawn(self, shape: MultiPolygon) -> Image.Image:
        """Return the class of each square: 0 an opening, 1 sheet, 2 an edge, 3 narrow."""
        image = Image.new("L", self._size, 0)
        pen = ImageDraw.Draw(image)
        # What lies in an opening of another part is drawn after it.
        parts = sorted(shape.geoms, key=lambda p: -Polygon(p.exterior).area)
        for part in parts:
            pen.polygon(self._pixels(part.exterior), fill=1)
            for ring in part.interiors:
                pen.polygon(self._pixels(ring), fill=0)
        wide = max(1, round(2 * BESIDE / self._step))
        for part in parts:
            for ring in (part.exterior, *part.interiors):
                pen.line(self._pixels(ring), fill=2, width=wide)
        if len(self._narrow):
            thin = Image.new("L", self._size, 0)
            pen = ImageDraw.Draw(thin)
            for part in sorted(self._narrow, key=lambda p: -Polygon(p.exterior).area):
                pen.polygon(self._pixels(part.exterior), fill=1, outline=1)
                for ring in part.interiors:
                    pen.polygon(self._pixels(ring), fill=0)
            image.paste(3, mask=thin.point(lambda grey: 255 * grey))
        return image

    def _drawn_care(
        self, care: Sequence[tuple[MultiPolygon, float]]
    ) -> np.ndarray[tuple[int, int], np.dtype[np.uint8]]:
        image = Image.new("L", self._size, 1)
        for area, factor in sorted(care, key=lambda one: one[1]):
            mask = Image.new("L", self._size, 0)
            pen = ImageDraw.Draw(mask)
            for part in area.geoms:
                pen.polygon(self._pixels(part.exterior), fill=255)
                for ring in part.interiors:
                    pen.polygon(self._pixels(ring), fill=0)
            image.paste(max(1, round(factor)), mask=mask)
        return np.asarray(image)

    def _pixels(self, ring: LineString) -> list[float]:
        points = (shapely.get_coordinates(ring) - self._low) / self._step - 0.5
        found: list[float] = points.ravel().tolist()
        return found


def thin_sheet(shape: MultiPolygon, narrow: float) -> MultiPolygon:
    """Return bridges and necks: what a closing by a disc of diameter ``narrow`` adds to openings.

    The outside counts as an opening, so that necks along the outer edge are found too. This is all
    the area in which a seam would leave crumbs, short stumps included; ``narrow_places`` tells an
    artist of places worth a mend, as lines, and passes over those.

    Parameters
    ----------
    shape : MultiPolygon
    narrow : float
        In mm.
    """
    whole = without_openings(shape)
    outside = as_multipolygon(shapely.buffer(whole, 2 * narrow).difference(whole))
    openings = np.append(openings_of(shape), shapely.get_parts(outside))
    closed = shapely.buffer(
        shapely.get_parts(dilate(openings, narrow / 2)), -narrow / 2 * _BACK, quad_segs=8
    )
    at, inside = shapely.STRtree(openings).query(closed, predicate="intersects")
    order = np.argsort(at, kind="stable")
    at, inside = at[order], inside[order]
    starts = np.searchsorted(at, np.arange(len(closed) + 1))
    thin: list[Polygon] = []
    for k, area in enumerate(closed):
        members = openings[inside[starts[k] : starts[k + 1]]]
        rest = area.difference(shapely.multipolygons(members))
        thin += [p for p in as_multipolygon(rest).geoms if p.area > _LEAST_PART * narrow * narrow]
    if not thin:
        return MultiPolygon()
    grown = unite(shapely.buffer(np.array(thin, object), CLEAR_OF_NARROW))
    return as_multipolygon(grown.intersection(whole))
