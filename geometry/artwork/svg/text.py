"""Text in a drawing, set in the font files that the job gives (SVG 1.1, chapter 10).

``text`` and ``tspan`` with x, y, dx, dy, rotate, text-anchor, letter-spacing and word-spacing,
several lines by tspans, right to left by the bidi rules. HarfBuzz shapes each run. What is not read
is told: text on a path, text to a length, shifted baselines, vertical lines, lines under text.
Properties of CSS that set type finer still (features, stretch) are passed over.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element

import numpy as np

from ...arrays import Floats
from ...finding import Severity
from ..text.bidi import Run, is_left_out, runs_of
from ..text.faces import Faces
from ..text.font import Font
from .areas import Item
from .document import local_name
from .drawing import Drawing
from .painting import path_items
from .path import CLOSE, CUBIC, MOVE, PathData
from .state import Purpose, State
from .transforms import at
from .units import length_px

if TYPE_CHECKING:
    from .walk import Walk

_PRESERVE = "{http://www.w3.org/XML/1998/namespace}space"
_WEIGHTS = {"normal": 400, "bold": 700, "bolder": 700, "lighter": 300}
_ANCHORS = {"start": 0.0, "middle": 0.5, "end": 1.0}
#: Properties that would change the picture, with the values at which they do not.
_NOT_READ = {
    "text-decoration": ("none",),
    "baseline-shift": ("0", "baseline"),
    "dominant-baseline": ("auto", "alphabetic"),
    "writing-mode": ("lr", "lr-tb", "horizontal-tb"),
}
#: Characters of one text element, at most.
MOST_CHARACTERS = 20_000


@dataclass
class _Character:
    """One character and what is said of it."""

    text: str
    element: Element
    state: State
    keep_space: bool
    x: float | None = None
    y: float | None = None
    dx: float = 0.0
    dy: float = 0.0
    turn: float = 0.0


@dataclass(frozen=True)
class _Manner:
    """How characters are set, apart from their places."""

    font: Font
    size: float
    letter_spacing: float
    word_spacing: float


def text_items(
    drawing: Drawing, walk: Walk, element: Element, state: State, purpose: Purpose, faces: Faces
) -> list[Item]:
    """Return what a text element paints.

    Parameters
    ----------
    drawing : Drawing
    walk : Walk
    element : Element
    state : State
        Inside it.
    purpose : Purpose
    faces : Faces

    Raises
    ------
    ArtworkError
        A font file cannot be read, a length makes no sense, or the text is too long.
    """
    return _Setting(drawing, walk, element, state, purpose, faces).items()


class _Setting:
    def __init__(
        self,
        drawing: Drawing,
        walk: Walk,
        element: Element,
        state: State,
        purpose: Purpose,
        faces: Faces,
    ) -> None:
        self._drawing, self._walk, self._faces = drawing, walk, faces
        self._element, self._state, self._purpose = element, state, purpose
        self._manners: dict[Element, _Manner | None] = {}

    def items(self) -> list[Item]:
        characters = list(self._characters(self._element, self._state, False))
        if len(characters) > MOST_CHARACTERS:
            raise self._drawing.error(
                self._element, f"has more than {MOST_CHARACTERS:,} characters, too many to be set"
            )
        characters = _without_blanks(characters)
        self._place(self._element, characters)
        pen = np.zeros(2)
        items: list[Item] = []
        for chunk in _chunks(characters):
            outlines, pen = self._set(chunk, pen)
            for (owner, inside), cubics in outlines.items():
                if inside.style.visible or self._purpose is Purpose.BOX:
                    path = _path(cubics)
                    items += path_items(self._drawing, owner, path, inside, self._purpose)
        return items

    def _characters(self, element: Element, state: State, keep: bool) -> Iterator[_Character]:
        """Yield what an element holds, character by character."""
        keep = element.get(_PRESERVE, "preserve" if keep else "default") == "preserve"
        self._tell_unread(element, state)

        def of(text: str | None, owner: Element, inside: State) -> Iterator[_Character]:
            for character in text or "":
                if not is_left_out(character) or character in "\n\r\t":
                    yield _Character(character, owner, inside, keep)

        yield from of(element.text, element, state)
        for child in element:
            tag = local_name(child)
            if tag in ("tspan", "a"):
                inside = self._walk.enter(child, state, self._purpose)
                if inside is not None:
                    yield from self._characters(child, inside, keep)
            elif tag and tag not in ("title", "desc", "metadata"):
                self._tell(child, state, "is not read in text; it was left out", Severity.SPOILS)
            yield from of(child.tail, element, state)

    def _tell(self, element: Element, state: State, sentence: str, severity: Severity) -> None:
        place = self._drawing.place_of(element, state)
        self._drawing.tell_of(element, "artwork.text", sentence, place, severity=severity)

    def _tell_unread(self, element: Element, state: State) -> None:
        declared = self._drawing.declared(element)
        for name, plain in _NOT_READ.items():
            if declared.get(name, "inherit").strip() not in (*plain, "inherit", "initial"):
                sentence = f"has {name}, which is not read; it is set without it"
                self._tell(element, state, sentence, Severity.WARNING)
        if element.get("textLength") is not None:
            sentence = "has a textLength, which is not read; it is set as long as the font makes it"
            self._tell(element, state, sentence, Severity.WARNING)

    # --- places -----------------------------------------------------------------------------------

    def _place(self, element: Element, characters: Sequence[_Character]) -> None:
        """Give characters the places that an element says, and then those of elements inside."""
        inside = set(element.iter())
        mine = [one for one in characters if one.element in inside]
        for name, field in (("x", "x"), ("y", "y"), ("dx", "dx"), ("dy", "dy")):
            for one, value in zip(mine, self._numbers(element, name), strict=False):
                setattr(one, field, value)
        turns = self._numbers(element, "rotate")
        for number, one in enumerate(mine if turns else ()):
            one.turn = turns[min(number, len(turns) - 1)]
        for child in element:
            if local_name(child) in ("tspan", "a"):
                self._place(child, characters)

    def _numbers(self, element: Element, name: str) -> list[float]:
        parts = [p for p in re.split(r"[\s,]+", element.get(name, "")) if p]
        size = self._state.style.font_size
        whole = self._state.viewport[1 if name in ("y", "dy") else 0]
        try:
            return [length_px(part, whole, size) for part in parts]
        except ValueError as error:
            raise self._drawing.error(element, f"has {name}={error}") from None

    # --- manners ----------------------------------------------------------------------------------

    def _said(self, element: Element, name: str, otherwise: str) -> str:
        """Return the value of an inherited property of text."""
        for one in (element, *self._drawing.ancestors(element)):
            text = self._drawing.declared(one).get(name, "inherit").strip()
            if text == "initial":
                return otherwise
            if text != "inherit":
                return text
        return otherwise

    def _manner(self, one: _Character) -> _Manner | None:
        """Return how a character is set; None, and it is told, where its font is not given."""
        element = one.element
        if element not in self._manners:
            self._manners[element] = self._new_manner(element, one.state)
        return self._manners[element]

    def _new_manner(self, element: Element, state: State) -> _Manner | None:
        if self._said(element, "font", ""):
            sentence = "has the short property 'font', which is not read; it was left out"
            self._tell(element, state, sentence, Severity.SPOILS)
            return None
        said = self._said(element, "font-family", "serif")
        families = [name.strip().strip("'\"") for name in said.split(",")]
        weight = self._said(element, "font-weight", "normal")
        heavy = _WEIGHTS.get(weight) or (int(weight) if weight.isdigit() else 400)
        slanted = self._said(element, "font-style", "normal").startswith(("italic", "oblique"))
        face = self._faces.face(families, heavy, slanted)
        if face is None:
            sentence = (
                f"asks for the family {' or '.join(repr(f) for f in families)}, but the job's font "
                f"is of {self._faces.there()}; it was left out"
            )
            self._tell(element, state, sentence, Severity.SPOILS)
            return None
        if face.instead:
            sentence = f"asks for {face.instead}; it is set in {face.font.path.name}"
            self._tell(element, state, sentence, Severity.WARNING)
        size = state.style.font_size
        spacing = []
        for name in ("letter-spacing", "word-spacing"):
            text = self._said(element, name, "normal")
            try:
                spacing.append(0.0 if text == "normal" else length_px(text, 0.0, size))
            except ValueError as error:
                raise self._drawing.error(element, f"has {name}={error}") from None
        return _Manner(face.font, size, *spacing)

    # --- setting ----------------------------------------------------------------------------------

    def _set(
        self, chunk: Sequence[_Character], pen: Floats
    ) -> tuple[dict[tuple[Element, State], list[Floats]], Floats]:
        """Return the outlines of a chunk by their element and state, and where it ends.

        Outlines are cubics (k, 4, 2) in user units.
        """
        first = chunk[0]
        start = np.array(
            [pen[0] if first.x is None else first.x, pen[1] if first.y is None else first.y]
        )
        found: list[tuple[_Character, Floats]] = []
        at_, last_space = np.zeros(2), 0.0
        for run, manner in self._runs(chunk):
            if manner is None:
                continue
            scale = manner.size / manner.font.em
            last = -1
            for glyph in manner.font.shaped(run, ligatures=not manner.letter_spacing):
                one = chunk[run.first + glyph.cluster]
                begins = glyph.cluster != last
                last = glyph.cluster
                if begins:
                    at_ = at_ + [one.dx, one.dy]
                if glyph.number == 0 and not one.text.isspace():
                    self._tell_missing(one, manner)
                else:
                    turn = np.radians(one.turn)
                    cos, sin = np.cos(turn), np.sin(turn)
                    about = np.array([[cos, sin], [-sin, cos]])
                    for cubics in manner.font.outlines(glyph.number):
                        own = (cubics + [glyph.x, glyph.y]) * [scale, -scale]
                        found.append((one, own @ about + at_))
                further = glyph.advance * scale
                if glyph.advance:
                    last_space = manner.letter_spacing
                    further += last_space
                    further += manner.word_spacing if one.text in " \u00a0" else 0.0
                at_ = at_ + [further, 0.0]
        anchor = _ANCHORS.get(self._said(first.element, "text-anchor", "start"), 0.0)
        if self._said(first.element, "direction", "ltr") == "rtl":
            anchor = 1.0 - anchor
        # Room is made between letters, not after the last.
        shift = start - [anchor * (at_[0] - last_space), 0.0]
        outlines: dict[tuple[Element, State], list[Floats]] = {}
        for one, cubics in found:
            outlines.setdefault((one.element, one.state), []).append(cubics + shift)
        return outlines, shift + at_

    def _runs(self, chunk: Sequence[_Character]) -> Iterator[tuple[Run, _Manner | None]]:
        """Yield the runs of a chunk from left to right, each in one font and from one element."""
        text = "".join(one.text for one in chunk)
        for run in runs_of(text):
            cuts = [0]
            for k in range(1, len(run.text)):
                here, before = chunk[run.first + k], chunk[run.first + k - 1]
                # Kerning reaches over tspans of one manner, as over what is not parted at all.
                if self._manner(here) != self._manner(before):
                    cuts.append(k)
            parts = [
                Run(run.text[a:b], run.to_left, run.first + a)
                for a, b in zip(cuts, [*cuts[1:], len(run.text)], strict=True)
            ]
            for part in reversed(parts) if run.to_left else parts:
                yield part, self._manner(chunk[part.first])

    def _tell_missing(self, one: _Character, manner: _Manner) -> None:
        self._drawing.tell(
            "text.missing-glyph",
            f"The font {manner.font.path.name} has no glyph for '{one.text}' "
            f"(U+{ord(one.text):04X}); it was left out",
            at(one.state.matrix, one.x or 0.0, one.y or 0.0),
            severity=Severity.SPOILS,
            element=one.element,
        )


def _without_blanks(characters: Sequence[_Character]) -> list[_Character]:
    """Return characters with blanks drawn together (SVG 1.1, section 10.15)."""
    kept: list[_Character] = []
    for one in characters:
        if one.text in "\n\r\t":
            one = replace(one, text=" ")
        if one.text == " " and not one.keep_space and (not kept or kept[-1].text == " "):
            continue
        kept.append(one)
    while kept and kept[-1].text == " " and not kept[-1].keep_space:
        kept.pop()
    return kept


def _chunks(characters: Sequence[_Character]) -> Iterator[Sequence[_Character]]:
    """Yield the stretches between places that are said absolutely."""
    cuts = [
        k for k, one in enumerate(characters) if k == 0 or one.x is not None or one.y is not None
    ]
    for a, b in zip(cuts, [*cuts[1:], len(characters)], strict=True):
        yield characters[a:b]


def _path(outlines: Sequence[Floats]) -> PathData:
    kinds, rows = [], []
    for cubics in outlines:
        count = len(cubics)
        kind = np.full(count + 2, CUBIC, np.int8)
        row = np.zeros((count + 2, 6))
        kind[0], kind[-1] = MOVE, CLOSE
        row[0, 4:] = row[-1, 4:] = cubics[0, 0]
        row[1:-1] = cubics[:, 1:].reshape(count, 6)
        kinds.append(kind)
        rows.append(row)
    return PathData(np.concatenate(kinds), np.concatenate(rows))
