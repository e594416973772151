"""Clip paths: the area that an element is clipped to."""

from __future__ import annotations

from dataclasses import replace
from xml.etree.ElementTree import Element

from shapely import MultiPolygon

from ...planar.union import unite
from .areas import LEAST_SCALE, Item, areas, bounds_of
from .document import local_name
from .drawing import Drawing
from .painting import shape_items
from .references import DEEPEST_REFERENCE, follow_use, target_of
from .shapes import SHAPES
from .state import Purpose, State
from .transforms import IDENTITY, Matrix, at, times
from .walker import Walker


class Clips:
    """The clip paths of one drawing; each is worked out once for each place that it is used in.

    Parameters
    ----------
    drawing : Drawing
    walk : Walker
    """

    def __init__(self, drawing: Drawing, walk: Walker) -> None:
        self._drawing = drawing
        self._walk = walk
        self._shapes: dict[object, MultiPolygon] = {}
        self._open: list[str] = []

    def area(self, element: Element, reference: str, state: State) -> MultiPolygon | None:
        """Return the area of the clip path that an element refers to.

        Parameters
        ----------
        element : Element
            The one that is clipped.
        reference : str
            ``#`` and the id of the clip path.
        state : State
            Inside the element.

        Returns
        -------
        MultiPolygon or None
            In mm; None, and a finding, where the drawing has no such clip path.

        Raises
        ------
        ArtworkError
            The clip path is clipped by itself, or clip paths are nested too deep.
        """
        clip = target_of(self._drawing, element, reference, state)
        if clip is None:
            return None
        if local_name(clip) != "clipPath":
            self._drawing.tell_of(
                element,
                "artwork.reference",
                f"is to be clipped by {self._drawing.name(clip)}, which is no clipPath; it is "
                "shown whole",
                at(state.matrix, 0, 0),
            )
            return None
        unit_box = IDENTITY
        if clip.get("clipPathUnits") == "objectBoundingBox":
            found = self.unit_box(element, state)
            if found is None:
                return MultiPolygon()
            unit_box = found
            state = replace(state, viewport=(1.0, 1.0))
        key = (clip, state.matrix, state.viewport, unit_box)
        if key not in self._shapes:
            self._shapes[key] = self._shape(clip, state, unit_box)
        return self._shapes[key]

    def _shape(self, clip: Element, state: State, unit_box: Matrix) -> MultiPolygon:
        name = clip.get("id", "")
        if name in self._open:
            raise self._drawing.error(clip, "is clipped by itself")
        if len(self._open) >= DEEPEST_REFERENCE:
            raise self._drawing.error(clip, f"is clipped more than {DEEPEST_REFERENCE} levels deep")
        self._open.append(name)
        # Style comes from where the clip path stands, not from who uses it.
        state = replace(state, style=self._drawing.style_round(clip, state), clips=(), within=())
        inside = self._walk.enter(clip, state, Purpose.CLIP)
        items: list[Item] = []
        if inside is not None:
            # The clip path's own clip applies to its whole shape, through its children. Its own
            # transform acts outside the unit box, as it does in browsers.
            inside = replace(inside, matrix=times(inside.matrix, unit_box))
            for child in clip:
                items += self._walk.collect(child, inside, Purpose.CLIP)
        polygons, _ = areas(items, self._drawing.tolerances, self._drawing.what)
        self._open.pop()
        return unite(polygons, tolerances=self._drawing.tolerances)

    def unit_box(self, element: Element, state: State) -> Matrix | None:
        """Return the matrix from a unit square to the box of an element in its own user space.

        None where the element has no box (SVG 1.1, section 7.11).
        """
        here = replace(state, matrix=IDENTITY, clips=())
        tag = local_name(element)
        if tag in SHAPES:
            items = list(shape_items(self._drawing, element, tag, here, Purpose.BOX))
        elif tag == "use":
            items = [
                item
                for target, inside, _ in follow_use(self._drawing, element, here, Purpose.BOX)
                for item in self._walk.collect(target, inside, Purpose.BOX)
            ]
        else:
            items = [i for child in element for i in self._walk.collect(child, here, Purpose.BOX)]
        scale = max(abs(v) for v in state.matrix[:4])
        tolerance = self._drawing.tolerances.chord / max(scale, LEAST_SCALE)
        box = bounds_of(items, tolerance, self._drawing.what)
        if box is None:
            return None
        x, y, width, height = box
        return (width, 0.0, 0.0, height, x, y)
