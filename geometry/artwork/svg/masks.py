"""Masks of a drawing that are flat black and white: the area that they let through.

A mask lets through as much as its content is bright and opaque (SVG 1.1, section 14.4; CSS Masking
Module Level 1, section 7.10, for ``mask-type``). Where every part of it is wholly black or white,
or wholly opaque in a mask of type alpha, that is an area, and the mask is as good as a clip path.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby
from xml.etree.ElementTree import Element

import shapely
from shapely import MultiPolygon

from ...planar.polygons import as_multipolygon
from ...planar.union import unite
from .areas import Item, areas
from .clips import Clips, Walker
from .document import local_name
from .drawing import Drawing
from .references import DEEPEST_REFERENCE
from .state import Purpose, State
from .transforms import IDENTITY, Matrix, at, times

#: A paint counts as white, or as black, when its luminance is this near.
_FLAT = 0.004
#: The region of a mask that gives none, as shares of the element's box (SVG 1.1, 14.4).
_REGION = {"x": -0.1, "y": -0.1, "width": 1.2, "height": 1.2}


class Masks:
    """The masks of one drawing; each is worked out once for each place that it is used in.

    Parameters
    ----------
    drawing : Drawing
    walk : Walker
    clips : Clips
        Knows the boxes of elements.
    """

    def __init__(self, drawing: Drawing, walk: Walker, clips: Clips) -> None:
        self._drawing = drawing
        self._walk = walk
        self._clips = clips
        self._shapes: dict[object, MultiPolygon | None] = {}
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
        mask = self._drawing.document.ids.get(reference[1:]) if reference[:1] == "#" else None
        if mask is None or local_name(mask) != "mask":
            return None
        box: Matrix | None = None
        if "objectBoundingBox" in (
            mask.get("maskUnits", "objectBoundingBox"),
            mask.get("maskContentUnits", "userSpaceOnUse"),
        ):
            box = self._clips.unit_box(element, state)
            if box is None:
                return MultiPolygon()
        key = (mask, state.matrix, state.viewport, box)
        if key not in self._shapes:
            self._shapes[key] = self._shape(mask, state, box or IDENTITY)
        return self._shapes[key]

    def _shape(self, mask: Element, state: State, box: Matrix) -> MultiPolygon | None:
        if mask in self._open:
            raise self._drawing.error(mask, "is masked by itself")
        if len(self._open) >= DEEPEST_REFERENCE:
            raise self._drawing.error(mask, f"is masked more than {DEEPEST_REFERENCE} levels deep")
        self._open.append(mask)
        region = self._region(mask, state, box)
        # Style comes from where the mask stands, not from who uses it.
        style = self._drawing.style_round(mask, state)
        state = replace(state, style=style, clips=(), within=(), sheer=False)
        items: list[Item] = []
        inside = self._walk.enter(mask, state, Purpose.PAINT)
        if inside is not None:
            if mask.get("maskContentUnits") == "objectBoundingBox":
                inside = replace(inside, matrix=times(inside.matrix, box), viewport=(1.0, 1.0))
            for child in mask:
                items += self._walk.collect(child, inside, Purpose.PAINT)
        self._open.pop()
        opaque = "alpha" in mask.get("mask-type", "") or _style_says_alpha(mask)
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


def _style_says_alpha(mask: Element) -> bool:
    text = "".join(mask.get("style", "").split())
    return "mask-type:alpha" in text


def _bright(item: Item, opaque: bool) -> bool | None:
    """Return whether an item lets through what it masks; None for grey and half transparent."""
    if item.light is None:
        return None
    if opaque or item.light >= 1 - _FLAT:
        return True
    return False if item.light <= _FLAT else None
