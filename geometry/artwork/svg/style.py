"""SVG styling: presentation attributes, style attributes and style sheets to computed values.

The cascade is CSS 2.1's (chapter 6.4.1) with presentation attributes below every rule, as SVG 1.1,
section 6.4, puts them. Style sheets are parsed by tinycss2 and matched by cssselect2.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any
from xml.etree.ElementTree import Element

import cssselect2
import tinycss2
from tinycss2 import color4

from ..fill.contour import Rule
from . import css_geometry
from .units import FONT_SIZE_PX, length_px, number_list
from .variables import ALL, MARK, Variables

#: Properties that a parent hands down (SVG 1.1, appendix N), as far as they matter here.
INHERITED = frozenset(
    {
        "fill",
        "fill-rule",
        "fill-opacity",
        "stroke",
        "stroke-width",
        "stroke-linecap",
        "stroke-linejoin",
        "stroke-miterlimit",
        "stroke-dasharray",
        "stroke-dashoffset",
        "stroke-opacity",
        "visibility",
        "color",
        "font-size",
        "clip-rule",
        "marker",
        "marker-start",
        "marker-mid",
        "marker-end",
    }
)
#: Properties of the element alone.
OWN = frozenset(
    {
        "display",
        "opacity",
        "clip-path",
        "mask",
        "filter",
        "overflow",
        "vector-effect",
        "transform",
        "transform-origin",
        "stop-color",
        "stop-opacity",
        "mix-blend-mode",
        "mask-type",
    }
)
#: Properties that a style alone gives, and that change how a drawing looks; they are told.
UNREAD = frozenset(
    {
        "all",
        "animation",
        "animation-name",
        "offset",
        "offset-path",
        "rotate",
        "scale",
        "transform-box",
        "translate",
    }
)
#: Properties of text, which it looks up by itself where it is read.
TEXT = frozenset(
    {
        "font",
        "font-family",
        "font-weight",
        "font-style",
        "text-anchor",
        "letter-spacing",
        "word-spacing",
        "direction",
        "text-decoration",
        "baseline-shift",
        "dominant-baseline",
        "writing-mode",
    }
)
PROPERTIES = INHERITED | OWN | TEXT
_OF_STYLES = PROPERTIES | UNREAD | css_geometry.PROPERTIES

# Lengths in em depend on the font's size, and currentColor on the colour.
_FIRST = ("font-size", "color")
_IN_ORDER = (*_FIRST, *sorted(INHERITED - set(_FIRST)))

_PLAIN_STYLE = re.compile(r"[^\"'\\@{}]*")
_URL = re.compile(r"url\(([^)]*)\)(.*)", re.DOTALL)
_QUOTES = " \t\r\n\"'"
_FONT_SIZES = {
    "xx-small": 9.0,
    "x-small": 10.0,
    "small": 13.0,
    "medium": 16.0,
    "large": 18.0,
    "x-large": 24.0,
    "xx-large": 32.0,
}

#: What ``font-size: larger`` scales by (CSS 2.1, 15.7, suggests it between neighbouring sizes).
_LARGER = 1.2

#: Texts of a drawing are cut to so many characters in messages.
_LONGEST_TEXT = 40

#: Parts of a style sheet's selector within each other, and brackets within brackets, at most:
#: the compiler of selectors nests as deep as they do, and drawings need a handful.
_DEEPEST_SELECTOR = 40

#: Rules that change nothing that is painted; what uses keyframes is told by itself.
_HARMLESS = frozenset({"charset", "font-face", "keyframes", "-webkit-keyframes", "page"})

Declared = dict[str, str]
Tell = Callable[[str], None]


@dataclass(frozen=True)
class Paint:
    """What a fill or stroke is painted with.

    Parameters
    ----------
    shows : bool
        Whether it paints anything: not ``none`` and not wholly transparent.
    server : str
        Id of a gradient or pattern, empty for a colour.
    fallback : bool, optional
        For a server: whether the colour named after it shows; None when there is none.
    light : float, optional
        Luminance of an opaque colour, 0 black to 1 white, as masks count it (SVG 1.1, section
        14.4: coefficients of linear light, on the numbers of sRGB); None where it is not known.
    rgb : tuple of float, optional
        The colour, sRGB 0 to 1; of a server, the one named after it. None where it is not known.
    alpha : float
        How much of it covers: 1 hides what is below.
    context : str
        ``context-fill`` or ``context-stroke``: what the line that has the marker is painted with.
    """

    shows: bool
    server: str = ""
    fallback: bool | None = None
    light: float | None = None
    rgb: tuple[float, float, float] | None = None
    alpha: float = 1.0
    context: str = ""


NO_PAINT = Paint(False)
BLACK = Paint(True, light=0.0, rgb=(0.0, 0.0, 0.0))
#: Shares of red, green and blue in the luminance of a mask (SVG 1.1, section 14.4).
LUMINANCE = (0.2125, 0.7154, 0.0721)


@dataclass(frozen=True)
class Style:
    """Computed values of the inherited properties; lengths in units of the user space."""

    fill: Paint = BLACK
    fill_rule: Rule = "nonzero"
    fill_opacity: float = 1.0
    stroke: Paint = NO_PAINT
    stroke_width: float = 1.0
    stroke_linecap: str = "butt"
    stroke_linejoin: str = "miter"
    stroke_miterlimit: float = 4.0
    stroke_dasharray: tuple[float, ...] = ()
    stroke_dashoffset: float = 0.0
    stroke_opacity: float = 1.0
    visible: bool = True
    current: Paint = BLACK  # what currentColor stands for
    font_size: float = 16.0
    clip_rule: Rule = "nonzero"
    marker_start: str = ""  # references, with their #; empty for none
    marker_mid: str = ""
    marker_end: str = ""
    variables: Variables = field(default_factory=dict, hash=False)  # custom properties

    @property
    def has_markers(self) -> bool:
        """Whether lines have markers, such as arrow heads."""
        return bool(self.marker_start or self.marker_mid or self.marker_end)


_KEYWORDS = {
    "fill-rule": ("nonzero", "evenodd"),
    "clip-rule": ("nonzero", "evenodd"),
    "stroke-linecap": ("butt", "round", "square"),
    "stroke-linejoin": ("miter", "round", "bevel"),
}
#: Keywords that leave an inherited property as the parent has it.
_INHERIT = ("inherit", "unset", "revert", "revert-layer")
_MARKERS = ("marker_start", "marker_mid", "marker_end")
#: SVG 2 has joins that SVG 1.1 has not; the nearest stands in.
_NEAREST = {"miter-clip": "miter", "arcs": "miter"}


def computed(parent: Style, declared: Declared, viewport: tuple[float, float], tell: Tell) -> Style:
    """Return an element's style from its parent's and what is declared on it.

    Parameters
    ----------
    parent : Style
    declared : dict of str to str
        With the values of variables put in.
    viewport : tuple of float
        Width and height in pixels, for percentages.
    tell : callable
        Gets a sentence's end for each value that is not understood and hence passed over.
    """
    style = parent
    changes: dict[str, Any] = {}
    if ALL in declared:
        named = ((name, text) for name, text in declared.items() if name.startswith(MARK))
        changes["variables"] = {name: text for name, text in named if name != ALL}
    for name in _IN_ORDER:
        if name not in declared:
            continue
        text = declared[name].strip()
        word = text.lower()
        if word in _INHERIT:
            continue
        try:
            if word == "initial":
                changes.update(_initial(name))
            else:
                changes.update(_value(name, text, style, parent, viewport))
        except ValueError as error:
            tell(f"has {name}: {error}; it was passed over")
        if name in _FIRST:
            style = replace(style, **changes)
    return replace(style, **changes) if changes else style


def _initial(name: str) -> dict[str, Any]:
    if name == "marker":
        return dict.fromkeys(_MARKERS, "")
    field = {"visibility": "visible", "color": "current"}.get(name, name.replace("-", "_"))
    return {field: getattr(Style(), field)}


def _value(
    name: str, text: str, style: Style, parent: Style, viewport: tuple[float, float]
) -> dict[str, Any]:
    field = name.replace("-", "_")
    if name in ("fill", "stroke"):
        return {field: paint(text, style.current)}
    if name in _KEYWORDS:
        word = _NEAREST.get(text, text)
        if word not in _KEYWORDS[name]:
            raise ValueError(f"'{text[:_LONGEST_TEXT]}', expected {' or '.join(_KEYWORDS[name])}")
        return {field: word}
    if name in ("fill-opacity", "stroke-opacity"):
        return {field: min(max(opacity(text), 0.0), 1.0)}
    if name == "visibility":
        return {"visible": text == "visible"}
    if name == "color":
        return {"current": paint(text, style.current)}
    if name.startswith("marker"):
        fields = _MARKERS if name == "marker" else (field,)
        return dict.fromkeys(fields, "" if text == "none" else url_target(text))
    if name == "font-size":
        if text in _FONT_SIZES:
            return {field: _FONT_SIZES[text]}
        if text in ("larger", "smaller"):
            return {field: parent.font_size * (_LARGER if text == "larger" else 1 / _LARGER)}
        return {field: length_px(text, parent.font_size, parent.font_size)}
    whole = diagonal(viewport)
    if name == "stroke-dasharray":
        if text == "none":
            return {field: ()}
        parts = [p for p in re.split(r"[\s,]+", text) if p]
        dashes = tuple(length_px(p, whole, style.font_size) for p in parts)
        if any(d < 0 for d in dashes):
            raise ValueError(f"'{text[:_LONGEST_TEXT]}', expected no negative length")
        return {field: dashes}
    if name == "stroke-miterlimit":
        limit = number_list(text)
        if len(limit) != 1 or limit[0] < 1:
            raise ValueError(f"'{text[:_LONGEST_TEXT]}', expected a number of 1 or more")
        return {field: limit[0]}
    length = length_px(text, whole, style.font_size)
    if name == "stroke-width" and length < 0:
        raise ValueError(f"'{text[:_LONGEST_TEXT]}', expected no negative length")
    return {field: length}


def is_off(declared: Declared) -> bool:
    """Return whether an element is not displayed, nor anything in it."""
    return declared.get("display", "").strip().lower() == "none"


def diagonal(viewport: tuple[float, float]) -> float:
    """Return what 100 % is of lengths that are neither across nor down (SVG 1.1, section 7.10)."""
    width, height = viewport
    return math.hypot(width, height) / math.sqrt(2)


def opacity(text: str) -> float:
    """Return an opacity, a number or a percentage.

    Raises
    ------
    ValueError
        Neither.
    """
    return length_px(text, 1.0, FONT_SIZE_PX)


@lru_cache(maxsize=4096)
def paint(text: str, current: Paint = BLACK) -> Paint:
    """Return what a paint value paints with.

    Parameters
    ----------
    text : str
    current : Paint
        What ``currentColor`` stands for.

    Raises
    ------
    ValueError
        The value is not a paint.
    """
    if found := _URL.fullmatch(text.strip()):
        rest = found[2].split("icc-color")[0].strip()
        if not rest:
            return Paint(True, found[1].strip(_QUOTES))
        after = paint(rest, current)
        return Paint(True, found[1].strip(_QUOTES), after.shows, rgb=after.rgb, alpha=after.alpha)
    word = text.strip().lower()
    if word == "none":
        return NO_PAINT
    if word in ("context-fill", "context-stroke"):
        return Paint(True, context=word)
    colour = color4.parse_color(text.split("icc-color")[0])
    if colour is None:
        raise ValueError(f"'{text[:_LONGEST_TEXT]}', expected a colour, none or url(#...)")
    if colour == "currentcolor":
        return current
    if colour.alpha <= 0:
        return NO_PAINT
    red, green, blue = colour.to("srgb").coordinates
    light = sum(k * c for k, c in zip(LUMINANCE, (red, green, blue), strict=True))
    sheer = colour.alpha < 1
    return Paint(True, light=None if sheer else light, rgb=(red, green, blue), alpha=colour.alpha)


def url_target(text: str) -> str:
    """Return what ``url(...)`` names, with its #; empty when the value is no url."""
    found = _URL.fullmatch(text.strip())
    return found[1].strip(_QUOTES) if found else ""


class Cascade:
    """What is declared on each element of a drawing.

    Parameters
    ----------
    root : Element
    sheets : iterable of (str, str)
        Text of each style sheet, and what messages call it.
    tell : callable
        Gets (name of the sheet, sentence's end) for what is not understood.
    """

    def __init__(
        self,
        root: Element,
        sheets: Iterable[tuple[str, str]],
        tell: Callable[[str, str], None],
    ) -> None:
        self._matched: dict[Element, list[_Rule]] = {}
        self._inline: dict[str, list[_Declaration]] = {}
        self._geometry: tuple[Element | None, dict[str, list[str]]] = (None, {})
        matcher = cssselect2.Matcher()
        count = 0
        for text, name in sheets:
            count += self._add_sheet(matcher, text, name, tell)
        if count:
            for wrapper in cssselect2.ElementWrapper.from_xml_root(root).iter_subtree():
                matches = [m for m in matcher.match(wrapper) if m[2] is None]
                if matches:
                    self._matched[wrapper.etree_element] = [(m[0], m[1], m[3]) for m in matches]

    def declared(self, element: Element) -> Declared:
        """Return the winning declarations of the properties that matter."""
        attributes = element.attrib
        found = {name: attributes[name] for name in PROPERTIES & attributes.keys()}
        inline = attributes.get("style")
        rules = self._matched.get(element)
        if inline is None and rules is None:
            return found
        found.update(
            (d.name, d.value)
            for d in self._styled(inline, rules)
            if d.name not in css_geometry.PROPERTIES
        )
        return found

    def geometry(self, element: Element) -> dict[str, list[str]]:
        """Return the places and sizes that styles give an element, the weakest value first."""
        inline = element.attrib.get("style")
        rules = self._matched.get(element)
        if inline is None and rules is None:
            return {}
        if self._geometry[0] is not element:
            found: dict[str, list[str]] = {}
            for d in self._styled(inline, rules):
                if d.name in css_geometry.PROPERTIES:
                    found.setdefault(d.name, []).append(d.value)
            self._geometry = (element, found)
        return self._geometry[1]

    def _styled(self, inline: str | None, rules: list[_Rule] | None) -> Iterator[_Declaration]:
        """Return what style sheets and a style attribute declare, the weakest first."""
        if inline is not None and inline not in self._inline:
            self._inline[inline] = _inline_declarations(inline)
        own = self._inline[inline] if inline is not None else []
        ordered = [d for rule in sorted(rules or (), key=lambda r: r[:2]) for d in rule[2]]
        for important in (False, True):
            for source in (ordered, own):
                yield from (d for d in source if d.important is important)

    @staticmethod
    def _add_sheet(matcher: Any, text: str, name: str, tell: Callable[[str, str], None]) -> int:
        count = 0
        stack = list(tinycss2.parse_stylesheet(text, skip_comments=True, skip_whitespace=True))
        stack.reverse()
        while stack:
            node = stack.pop()
            if node.type == "error":
                tell(name, f"has a mistake in its line {node.source_line}: {node.message}")
            elif node.type == "at-rule":
                stack += reversed(_at_rule(node, name, tell))
            elif node.type == "qualified-rule":
                declarations, mistakes = _declarations(node.content)
                for line, mistake in mistakes:
                    tell(name, f"has a mistake in its line {line}: {mistake}")
                if not declarations:
                    continue
                if _selector_depth(node.prelude) > _DEEPEST_SELECTOR:
                    shown = _written(node.prelude[:_DEEPEST_SELECTOR])
                    tell(
                        name,
                        f"has a selector of more than {_DEEPEST_SELECTOR} parts within each other, "
                        f"which was passed over, '{shown[:_LONGEST_TEXT]}...'",
                    )
                    continue
                try:
                    selectors = cssselect2.compile_selector_list(node.prelude)
                except cssselect2.SelectorError as error:
                    shown = _written(node.prelude)[:_LONGEST_TEXT]
                    tell(name, f"has a selector that is not understood, '{shown}' ({error})")
                    continue
                for selector in selectors:
                    matcher.add_selector(selector, declarations)
                    count += 1
        return count


@dataclass(frozen=True)
class _Declaration:
    name: str
    value: str
    important: bool = False


#: Specificity, order, and what is declared.
_Rule = tuple[tuple[int, ...], int, list[_Declaration]]


def _written(tokens: Sequence[Any]) -> str:
    """Return tokens as text; brackets that lie too deep in each other have none."""
    try:
        return str(tinycss2.serialize(tokens)).strip()
    except RecursionError:  # the parser has no such limit
        return "(brackets within brackets)"


def _selector_depth(tokens: Sequence[Any]) -> int:
    """Return how many parts of a selector list hang on each other, brackets counted with them."""
    deepest = 0
    # Whitespace, >, + and ~ lead from part to part; a comma begins anew.
    stack = [(tokens, 0)]
    while stack:
        level, depth = stack.pop()
        own = depth
        for token in level:
            if token == ",":
                own = depth
            elif token.type == "whitespace" or token in (">", "+", "~"):
                own += 1
            deepest = max(deepest, own)
            inner = getattr(token, "arguments", None) or getattr(token, "content", None)
            if inner and deepest <= _DEEPEST_SELECTOR:
                stack.append((inner, own + 1))
    return deepest


def _at_rule(node: Any, name: str, tell: Callable[[str, str], None]) -> list[Any]:
    """Return the rules inside an at-rule that applies."""
    prelude = _written(node.prelude)
    if node.lower_at_keyword == "media" and node.content is not None:
        media = {m.strip().lower() for m in prelude.split(",")}
        if media & {"", "all", "screen"}:
            return list(
                tinycss2.parse_rule_list(node.content, skip_comments=True, skip_whitespace=True)
            )
        tell(name, f"has rules for the medium '{prelude[:_LONGEST_TEXT]}', which were passed over")
    elif node.lower_at_keyword == "import":
        tell(name, f"imports {prelude[:_LONGEST_TEXT]}, which is outside the drawing and not read")
    elif node.lower_at_keyword not in _HARMLESS:
        rule = f"@{node.at_keyword} {prelude}".strip()[:_LONGEST_TEXT]
        tell(name, f"has '{rule}', which is not read: the drawing may look different")
    return []


def _declarations(content: Any) -> tuple[list[_Declaration], list[tuple[int, str]]]:
    """Return what a block declares, and its mistakes with their lines."""
    nodes = tinycss2.parse_blocks_contents(content, skip_comments=True, skip_whitespace=True)
    declarations = [
        _Declaration(_property(n.name), _written(n.value), n.important)
        for n in nodes
        if n.type == "declaration" and _is_kept(_property(n.name))
    ]
    mistakes = [(n.source_line, n.message) for n in nodes if n.type == "error"]
    nested = [(n.source_line, "rules within rules") for n in nodes if n.type == "qualified-rule"]
    return declarations, mistakes + nested


def _inline_declarations(text: str) -> list[_Declaration]:
    if not _PLAIN_STYLE.fullmatch(text) or "/*" in text or "!" in text:
        return _declarations(text)[0]
    # The usual case, without anything that could hide a semicolon or colon.
    found = []
    for part in text.split(";"):
        name, colon, value = part.partition(":")
        if colon and _is_kept(name := _property(name.strip())):
            found.append(_Declaration(name, value.strip()))
    return found


def _property(name: str) -> str:
    return name if name.startswith(MARK) else name.lower()


def _is_kept(name: str) -> bool:
    return name in _OF_STYLES or name.startswith(MARK)
