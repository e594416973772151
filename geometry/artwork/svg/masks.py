"""Masks of a drawing: the area that they let through, or how much of it.

A mask lets through as much as its content is bright and opaque (SVG 1.1, section 14.4; CSS Masking
Module Level 1, section 7.10, for ``mask-type``). Where every part of it is wholly black or white,
or wholly opaque in a mask of type alpha, that is an area, and the mask is as good as a clip path.
Other masks are cut into areas of one brightness each, for drawings in colours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from xml.etree.ElementTree import Element

import numpy as np
import shapely
from shapely import MultiPolygon

from ...planar.arrangement import partition
from ...planar.polygons import as_multipolygon
from ...planar.union import unite
from ..coloured import ColouredShape
from ..laid_over import laid_over
from .areas import Item, areas
from .clips import Clips
from .coats import UNSEEN, PatternWalker, coats
from .document import local_name
from .drawing import Drawing
from .flattening import Flattening
from .references import DEEPEST_REFERENCE
from .state import Purpose, State
from .style import LUMINANCE
from .transforms import IDENTITY, Matrix, at, times

#: A paint counts as white, or as black, when its luminance is this near.
_FLAT = 0.004
#: Shares of a mask nearer than one of so many steps are one.
_STEPS = 64
#: The region of a mask that gives none, as shares of the element's box (SVG 1.1, 14.4).
_REGION = {"x": -0.1, "y": -0.1, "width": 1.2, "height": 1.2}


class Masks:
    """The masks of one drawing; each is worked out once for each place that it is used in.

    Parameters
    ----------
    drawing : Drawing
    walk : PatternWalker
    clips : Clips
        Knows the boxes of elements.
    """

    def __init__(self, drawing: Drawing, walk: PatternWalker, clips: Clips) -> None:
        self._drawing = drawing
        self._walk = walk
        self._clips = clips
        self._shapes: dict[object, MultiPolygon | None] = {}
        self._levels: dict[object, tuple[tuple[MultiPolygon, float], ...]] = {}
        self._open: list[Element] = []

    def area(self, element: Element, reference: str, state: State) -> MultiPolygon | None:
        """Return what the mask that an element refers to lets through.

        Parameters
        ----------
        element : Element
            The one that is masked.
        reference : str
            ``#`` and the id of the mask.
        state : State
            Inside the element.

        Returns
        -------
        MultiPolygon or None
            In mm; None where there is no such mask, or it is no area: grey or half transparent.

        Raises
        ------
        ArtworkError
            The mask is masked by itself, or masks are nested too deep.
        """
        mask, box = self._found(element, reference, state)
        if mask is None:
            return None
        if box is None:
            return MultiPolygon()
        key = (mask, state.matrix, state.viewport, box)
        if key not in self._shapes:
            self._shapes[key] = self._shape(mask, state, box)
        return self._shapes[key]

    def levels(
        self, element: Element, reference: str, state: State, flattening: Flattening
    ) -> tuple[tuple[MultiPolygon, float], ...] | None:
        """Return how much the mask that an element refers to lets through, where.

        Parameters
        ----------
        element : Element
            The one that is masked.
        reference : str
            ``#`` and the id of the mask.
        state : State
            Inside the element.
        flattening : Flattening

        Returns
        -------
        tuple of (MultiPolygon, float)
            Disjoint areas in mm and their shares, 0 to 1; nothing shows beyond them. None where
            there is no such mask.

        Raises
        ------
        ArtworkError
            As of :meth:`area`.
        """
        mask, box = self._found(element, reference, state)
        if mask is None:
            return None
        if box is None:
            return ()
        key = (mask, state.matrix, state.viewport, box)
        if key not in self._levels:
            items = self._items(mask, state, box)
            content = coats(self._drawing, self._walk, items, flattening)
            region = self._region(mask, state, box)
            self._levels[key] = _levels(content.shapes, region, self._is_alpha(mask))
        return self._levels[key]

    def _found(
        self, element: Element, reference: str, state: State
    ) -> tuple[Element | None, Matrix | None]:
        """Return the mask, and the matrix from a unit square to the element's box.

        The matrix is the identity where no share of the box is asked for, None where the element
        has none.
        """
        mask = self._drawing.document.ids.get(reference[1:]) if reference[:1] == "#" else None
        if mask is None or local_name(mask) != "mask":
            return None, None
        if "objectBoundingBox" in (
            mask.get("maskUnits", "objectBoundingBox"),
            mask.get("maskContentUnits", "userSpaceOnUse"),
        ):
            return mask, self._clips.unit_box(element, state)
        return mask, IDENTITY

    def _items(self, mask: Element, state: State, box: Matrix) -> list[Item]:
        """Return what a mask holds."""
        if mask in self._open:
            raise self._drawing.error(mask, "is masked by itself")
        if len(self._open) >= DEEPEST_REFERENCE:
            raise self._drawing.error(mask, f"is masked more than {DEEPEST_REFERENCE} levels deep")
        self._open.append(mask)
        # Style comes from where the mask stands, not from who uses it.
        style = self._drawing.style_round(mask, state)
        state = replace(state, style=style, clips=(), within=(), sheer=False, groups=())
        items: list[Item] = []
        inside = self._walk.enter(mask, state, Purpose.PAINT)
        if inside is not None:
            if mask.get("maskContentUnits") == "objectBoundingBox":
                inside = replace(inside, matrix=times(inside.matrix, box), viewport=(1.0, 1.0))
            for child in mask:
                items += self._walk.collect(child, inside, Purpose.PAINT)
        self._open.pop()
        return items

    def _shape(self, mask: Element, state: State, box: Matrix) -> MultiPolygon | None:
        region = self._region(mask, state, box)
        items = self._items(mask, state, box)
        opaque = self._is_alpha(mask)
        lights = [_bright(item, opaque) for item in items]
        if None in lights:
            return None
        through: shapely.Geometry = MultiPolygon()
        at_item = 0
        for light, run in groupby(lights):
            count = len(list(run))
            polygons, _ = areas(
                items[at_item : at_item + count], self._drawing.tolerances, self._drawing.what
            )
            at_item += count
            painted = unite(polygons, tolerances=self._drawing.tolerances)
            change = shapely.union if light else shapely.difference
            through = change(through, painted, grid_size=self._drawing.tolerances.grid)
        grid = self._drawing.tolerances.grid
        return as_multipolygon(shapely.intersection(through, region, grid_size=grid))

    def _is_alpha(self, mask: Element) -> bool:
        return self._drawing.declared(mask).get("mask-type", "").strip().lower() == "alpha"

    def _region(self, mask: Element, state: State, box: Matrix) -> shapely.Polygon:
        """Return the region that a mask is cut to, in mm."""
        shares = mask.get("maskUnits", "objectBoundingBox") == "objectBoundingBox"
        width, height = (1.0, 1.0) if shares else state.viewport
        found = {}
        for name, share in _REGION.items():
            whole = width if name in ("x", "width") else height
            found[name] = self._drawing.length(mask, name, whole, state, share * whole)
        x, y = found["x"], found["y"]
        matrix = times(state.matrix, box) if shares else state.matrix
        right, top = x + found["width"], y + found["height"]
        corners = ((x, y), (right, y), (right, top), (x, top))
        return shapely.Polygon([at(matrix, *corner) for corner in corners])


def _bright(item: Item, opaque: bool) -> bool | None:
    """Return whether an item lets through what it masks; None for grey and half transparent."""
    if item.light is None:
        return None
    if opaque or item.light >= 1 - _FLAT:
        return True
    return False if item.light <= _FLAT else None


def _levels(
    shapes: Sequence[ColouredShape], region: shapely.Polygon, opaque: bool
) -> tuple[tuple[MultiPolygon, float], ...]:
    """Return the areas of a mask's region by how bright and opaque its content is there."""
    cells = partition([s.shape for s in shapes], region)
    sets, set_of, _ = cells.sets()
    seen = laid_over(shapes, sets)
    share = seen[:, 3] if opaque else seen[:, 3] * (seen[:, :3] @ LUMINANCE)
    level = np.rint(share * _STEPS).astype(np.int64)[set_of]
    return tuple(
        (cells.shape(level == k), k / _STEPS)
        for k in np.unique(level).tolist()
        if k / _STEPS >= UNSEEN
    )
