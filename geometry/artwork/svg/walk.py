"""Walk through an SVG drawing: what is painted, where, in which frame, and within which clips."""

from __future__ import annotations

import re
from collections.abc import Callable, Set
from dataclasses import replace
from xml.etree.ElementTree import Element

from ...finding import Severity
from ..text.faces import Faces
from .areas import Item
from .clips import Clips
from .document import local_name
from .drawing import Drawing
from .flattening import Flattening
from .images import NOT_READ, image_items
from .markers import MARKED, marker_content
from .masks import Masks
from .painting import shape_items
from .references import ANIMATIONS, NEVER_PAINTED, Imposed, enter_viewport, follow_use
from .shapes import SHAPES, shape_path
from .state import Group, Purpose, State
from .style import UNREAD, Declared, is_off, opacity, url_target
from .text import text_items
from .transforms import at, times, transform
from .variables import needs_variables

#: Elements that one drawing may come to once every ``use`` is followed.
MOST_ELEMENTS = 2_000_000

#: Between two looks at whether to go on; an element takes a fraction of a millisecond.
_STEP = 200

#: Elements among them that ``use`` repeats: a few lines of text may ask for billions.
MOST_REPEATED = 50_000

#: Lines and curves that ``use`` may repeat, for the sake of memory.
MOST_REPEATED_PIECES = 3_000_000

_CSS_UNIT = re.compile(r"(?<=[0-9.])(?:px|deg)\b")

#: Values of properties are cut to so many characters in messages.
_LONGEST_VALUE = 40

_OPACITIES = ("opacity", "fill-opacity", "stroke-opacity")
_NO_EFFECT = frozenset({"none", "inherit", "initial", "unset", "revert", "revert-layer", ""})
#: Values with which a property does nothing.
_NOTHING = frozenset({"none", "initial", "unset", "revert", "view-box", "0", "auto"})
_CONTAINERS = frozenset({"g", "a"})
_NOT_READ = {
    "text": "Text is not read; turn it into paths in the drawing program, or name its font file "
    "(the layer's key font)",
    "image": NOT_READ,
    "foreignObject": "Foreign content is not read",
}


class Walk:
    """Collects the painted items of one drawing; what is not painted is told.

    Parameters
    ----------
    drawing : Drawing
        Gets the findings.
    step : callable
        Called now and then; what it raises ends the walk.
    flattening : Flattening, optional
        For a drawing in colours: pictures and masks in shades are read, too.
    faces : Faces, optional
        Fonts for text, which is told and left out where there are none.
    """

    def __init__(
        self,
        drawing: Drawing,
        step: Callable[[], None],
        flattening: Flattening | None = None,
        faces: Faces | None = None,
    ) -> None:
        self._faces = faces
        self.flattening = flattening
        self._step = step
        self._drawing = drawing
        self._count = 0
        self._repeated = 0
        self._repeated_pieces = 0
        self._groups = 0
        self._clips = Clips(drawing, self)
        self._masks = Masks(drawing, self, self._clips)

    def enter(
        self, element: Element, state: State, purpose: Purpose, *, forced: bool = False
    ) -> State | None:
        """Return the state inside an element, or None when nothing of it shows.

        Parameters
        ----------
        element : Element
        state : State
            Outside it.
        purpose : Purpose
        forced : bool
            The job names this group, or one inside it: ``display: none`` does not hide it.

        Raises
        ------
        ArtworkError
            The element's transform makes no sense.
        """
        declared = self._drawing.declared(element, state.style.variables)
        if is_off(declared) and not forced:
            return None
        if not _conditions_hold(element):
            return None
        style = self._drawing.style(element, declared, state)
        if unread := UNREAD & declared.keys():
            self._tell_unread(element, declared, unread, state)
        if purpose is Purpose.PAINT and self._is_clear(element, declared):
            return None
        matrix = state.matrix
        text = declared.get("transform")
        if needs_variables(element.get("transform", "")):
            raise self._drawing.error(
                element, "has a variable in the attribute transform, which a style alone may have"
            )
        if text is not None and local_name(element) != "svg":
            try:
                # A style may give it too, with CSS's units.
                matrix = times(matrix, transform(_CSS_UNIT.sub("", text)))
            except ValueError as error:
                raise self._drawing.error(element, f"has transform={error}") from None
            if declared.get("transform-origin", "0 0").replace("px", "") not in ("0 0", "0"):
                raise self._drawing.error(
                    element, "has a transform-origin, which SVG 1.1 does not know"
                )
        sheer = state.sheer or any(_is_sheer(declared.get(name, "1")) for name in _OPACITIES)
        inside = replace(state, matrix=matrix, style=style, sheer=sheer)
        if _is_sheer(declared.get("opacity", "1")):
            group = Group(self.group_number(), opacity(declared["opacity"]))
            inside = replace(inside, groups=(*state.groups, group))
        if purpose is Purpose.BOX:
            return inside
        return self._with_effects(element, declared, inside)

    def _tell_unread(
        self, element: Element, declared: Declared, unread: Set[str], state: State
    ) -> None:
        for name in sorted(unread):
            if name == "all" or declared[name].strip().lower() not in _NOTHING:
                self._drawing.tell_of(
                    element,
                    "artwork.style",
                    f"has {name} in its style, which is not read: the drawing may look different",
                    self._drawing.place_of(element, state),
                )

    def _tell_animation(self, element: Element, state: State) -> None:
        sentence = "changes the drawing as time goes on, which is not read: it may look different"
        self._drawing.tell_of(element, "artwork.animation", sentence, at(state.matrix, 0, 0))

    def group_number(self) -> int:
        """Return a number that no group has yet."""
        self._groups += 1
        return self._groups

    def _is_clear(self, element: Element, declared: Declared) -> bool:
        text = declared.get("opacity")
        if text is None:
            return False
        try:
            return opacity(text) <= 0
        except ValueError as error:
            self._drawing.tell_of(
                element,
                "artwork.style",
                f"has opacity: {error}; it was passed over",
            )
            return False

    def _with_effects(self, element: Element, declared: Declared, state: State) -> State | None:
        if _is_given(declared, "filter"):
            self._drawing.tell_of(
                element,
                "artwork.filter",
                "has a filter, which is not read; it is shown without it",
                self._drawing.place_of(element, state),
            )
        if _is_given(declared, "mask"):
            target = url_target(declared["mask"])
            through = self._masks.area(element, target, state)
            levels = None
            if through is None and self.flattening is not None:
                levels = self._masks.levels(element, target, state, self.flattening)
            if levels is not None:
                group = Group(self.group_number(), 1.0, levels)
                state = replace(state, groups=(*state.groups, group))
            elif through is None:
                self._drawing.tell_of(
                    element,
                    "artwork.mask",
                    "has a mask that is not flat black and white, which is not read; it is shown "
                    "whole",
                    self._drawing.place_of(element, state),
                    # It shows less than the element is; what is cut then is not the picture.
                    severity=Severity.SPOILS,
                )
            else:
                state = replace(state, clips=(*state.clips, through))
        if not _is_given(declared, "clip-path"):
            return state
        target = url_target(declared["clip-path"])
        if not target:
            self._drawing.tell_of(
                element,
                "artwork.clip",
                f"has the clip-path '{declared['clip-path'][:_LONGEST_VALUE]}', which is not read "
                "(only clipPath elements are); it is shown whole",
                self._drawing.place_of(element, state),
                severity=Severity.SPOILS,  # as of a mask
            )
            return state
        clip = self._clips.area(element, target, state)
        return state if clip is None else replace(state, clips=(*state.clips, clip))

    def collect(
        self, element: Element, state: State, purpose: Purpose, *, forced: bool = False
    ) -> list[Item]:
        """Return the items of an element and all in it.

        Parameters
        ----------
        element : Element
        state : State
            Outside it.
        purpose : Purpose
        forced : bool
            Show the element (not those in it) even where it is hidden or a definition.

        Raises
        ------
        ArtworkError
            A length or transform makes no sense, a reference runs in a circle, or the elements are
            too many.
        """
        items: list[Item] = []
        no_size = (None, None) if forced else None
        stack: list[tuple[Element, State, Imposed | None]] = [(element, state, no_size)]
        while stack:
            element, state, imposed = stack.pop()
            self._count += 1
            if self._count % _STEP == 0:
                self._step()
            if self._count > MOST_ELEMENTS:
                raise self._drawing.error(
                    element,
                    f"and the others come to more than {MOST_ELEMENTS:,} elements once every "
                    "'use' is followed",
                )
            if state.within:
                self._repeated += 1
                if self._repeated > MOST_REPEATED:
                    raise self._drawing.error(
                        element,
                        f"is among more than {MOST_REPEATED:,} elements that 'use' repeats; "
                        "draw fewer, or turn them into one path",
                    )
            tag = local_name(element)
            if tag in ANIMATIONS:
                self._tell_animation(element, state)
            # A symbol is drawn only where a use imposes it.
            if not tag or (tag in NEVER_PAINTED and imposed is None):
                continue
            inside = self.enter(element, state, purpose, forced=forced)
            forced = False
            if inside is None:
                continue
            if len(element) and (tag in SHAPES or tag == "use"):
                for child in element:
                    if local_name(child) in ANIMATIONS:
                        self._tell_animation(child, inside)
            if tag in SHAPES:
                own = list(shape_items(self._drawing, element, tag, inside, purpose))
                if state.within:
                    self._refuse_many_pieces(element, own)
                items += own
                if purpose is Purpose.PAINT and tag in MARKED and inside.style.has_markers:
                    stack += reversed(self._markers(element, tag, inside))
            elif tag == "text" and self._faces:
                items += text_items(self._drawing, self, element, inside, purpose, self._faces)
            elif tag == "image" and self.flattening is not None and purpose is Purpose.PAINT:
                items += image_items(self._drawing, element, inside, self.flattening)
            elif tag == "use":
                stack += follow_use(self._drawing, element, inside, purpose)
            elif purpose is Purpose.CLIP and tag != "text":
                self._drawing.tell_of(
                    element,
                    "artwork.clip",
                    "is not something that a clip path may hold; it was left out of it",
                    at(inside.matrix, 0, 0),
                )
            else:
                stack += self._content(element, tag, inside, imposed)
        return items

    def _markers(
        self, element: Element, tag: str, state: State
    ) -> list[tuple[Element, State, None]]:
        """Return what the markers of a shape hold, in painting order."""
        path = shape_path(self._drawing, element, tag, state) if state.style.visible else None
        if path is None or len(path) == 0:
            return []
        found: list[tuple[Element, State, None]] = []
        for marker, outside in marker_content(self._drawing, element, state, path, MOST_REPEATED):
            inside = self.enter(marker, outside, Purpose.PAINT)
            if inside is not None:
                found += [(child, inside, None) for child in marker]
        return found

    def _refuse_many_pieces(self, element: Element, repeated: list[Item]) -> None:
        self._repeated_pieces += sum(len(item.path) for item in repeated)
        if self._repeated_pieces > MOST_REPEATED_PIECES:
            raise self._drawing.error(
                element,
                f"and others that 'use' repeats come to more than {MOST_REPEATED_PIECES:,} lines "
                "and curves; draw fewer",
            )

    def _content(
        self, element: Element, tag: str, state: State, imposed: Imposed | None
    ) -> list[tuple[Element, State, None]]:
        """Return what is to be walked inside a container, last first."""
        if tag in _CONTAINERS:
            return [(child, state, None) for child in reversed(element)]
        if tag == "switch":
            first = next((c for c in element if local_name(c) and _conditions_hold(c)), None)
            return [] if first is None else [(first, state, None)]
        if tag in ("svg", "symbol"):
            inside = enter_viewport(self._drawing, element, state, imposed or (None, None))
            return [] if inside is None else [(child, inside, None) for child in reversed(element)]
        if tag in _NOT_READ:
            if state.style.visible and (tag != "text" or "".join(element.itertext()).strip()):
                self._drawing.tell(
                    f"artwork.{tag.lower()}",
                    f"{_NOT_READ[tag]}: {self._drawing.name(element)}",
                    self._drawing.place_of(element, state),
                    severity=Severity.SPOILS,
                    element=element,
                )
            return []
        self._drawing.tell_of(
            element,
            "artwork.unknown",
            "is not an element of SVG 1.1 and was left out",
            at(state.matrix, 0, 0),
        )
        return []


def _is_given(declared: Declared, effect: str) -> bool:
    return declared.get(effect, "none").strip().lower() not in _NO_EFFECT


def _is_sheer(text: str) -> bool:
    try:
        return 0 < opacity(text) < 1
    except ValueError:  # told where the style is read
        return False


def _conditions_hold(element: Element) -> bool:
    """Whether an element's conditional attributes let it show (SVG 1.1, section 5.8).

    No extension is known; every feature of SVG itself is taken as there; the language is English.
    """
    if element.get("requiredExtensions") is not None:
        return False
    languages = element.get("systemLanguage")
    if languages is None:
        return True
    return any(word.strip().lower().split("-")[0] == "en" for word in languages.split(","))
