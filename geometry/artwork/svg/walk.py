"""Walk through an SVG drawing: what is painted, where, in which frame, and within which clips."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from enum import Enum
from xml.etree.ElementTree import Element

import numpy as np
import shapely
from shapely import MultiPolygon

from ...errors import ArtworkError
from ...finding import Finding, Severity
from ...planar.union import unite
from ...tolerance import Tolerances
from .areas import Item, areas, bounds_of
from .document import Document, href, local_name
from .path import PathData, parse_path
from .shapes import ellipse, polyline, rectangle
from .stroke import Pen
from .style import (
    Cascade,
    Declared,
    Paint,
    Style,
    computed,
    diagonal,
    opacity,
    url_target,
)
from .transforms import IDENTITY, Matrix, at, fit, shifted, times, transform, view_box
from .units import BLANKS, MM_PER_PX, NUMBER, length_px, number_list

#: Elements that one drawing may come to once every ``use`` is followed.
MOST_ELEMENTS = 2_000_000

#: ``use`` and clip paths within each other; deeper is a mistake.
_DEEPEST_REFERENCE = 100

INKSCAPE = "http://www.inkscape.org/namespaces/inkscape"
_CSS_UNIT = re.compile(r"(?<=[0-9.])(?:px|deg)\b")
_RECT_SIZE = ("width", "height")

SHAPES = frozenset({"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"})
_CONTAINERS = frozenset({"g", "a"})
_NEVER_PAINTED = frozenset(
    {
        "defs",
        "symbol",
        "clipPath",
        "mask",
        "marker",
        "pattern",
        "linearGradient",
        "radialGradient",
        "filter",
        "style",
        "script",
        "title",
        "desc",
        "metadata",
        "view",
        "cursor",
        "font",
        "font-face",
        "color-profile",
        "animate",
        "animateMotion",
        "animateTransform",
        "animateColor",
        "set",
    }
)
_NOT_READ = {
    "text": "Text is not read; turn it into paths in the drawing program",
    "image": "An embedded image is not read; trace it, or give it to the layer as a mask",
    "foreignObject": "Foreign content is not read",
}
_PAINT_SERVERS = {
    "linearGradient": "gradient",
    "radialGradient": "gradient",
    "pattern": "pattern",
}


class Purpose(Enum):
    """Why elements are walked through."""

    PAINT = "paint"  #: fills and strokes as styled
    CLIP = "clip"  #: the shapes of a clip path, whatever their paint
    BOX = "box"  #: the outlines, for a bounding box


@dataclass(frozen=True)
class State:
    """What an element takes over from those round it.

    Parameters
    ----------
    matrix : Matrix
        From the current user space to mm, y up.
    viewport : tuple of float
        Width and height in user units, for percentages.
    style : Style
    clips : tuple of MultiPolygon
    within : tuple of str
        Ids of the ``use`` references being followed.
    """

    matrix: Matrix
    viewport: tuple[float, float]
    style: Style = field(default_factory=Style)
    clips: tuple[MultiPolygon, ...] = ()
    within: tuple[str, ...] = ()


#: Width and height that a ``use`` imposes on a symbol or svg.
_Imposed = tuple[str | None, str | None]


class Walk:
    """Collects the painted items of one drawing, and findings about what is not.

    Parameters
    ----------
    document : Document
    cascade : Cascade
    tolerances : Tolerances
    what : str
        The file, for the sentences of errors.
    """

    def __init__(
        self, document: Document, cascade: Cascade, tolerances: Tolerances, what: str
    ) -> None:
        self._document = document
        self._cascade = cascade
        self._tolerances = tolerances
        self.what = what
        self.findings: list[Finding] = []
        self._told: set[tuple[str, Element | None]] = set()
        self._count = 0
        self._clip_shapes: dict[object, MultiPolygon] = {}
        self._clips_open: list[str] = []

    # --- names and messages -------------------------------------------------------------------

    def name(self, element: Element) -> str:
        """Return what messages call an element."""
        label = element.get("id") or element.get(f"{{{INKSCAPE}}}label")
        line = self._document.line.get(element, 0)
        quoted = f" '{_one_line(label)[:60]}'" if label else ""
        return f"{local_name(element) or 'element'}{quoted} (line {line})"

    def error(self, element: Element, sentence: str) -> ArtworkError:
        """Return an error about an element; ``sentence`` goes on from its name."""
        return ArtworkError(f"{self.what}: {self.name(element)} {_one_line(sentence)}.")

    def tell(
        self,
        code: str,
        message: str,
        place: tuple[float, float] | None = None,
        *,
        severity: Severity = Severity.WARNING,
        element: Element | None = None,
    ) -> None:
        """Note a finding; the same about one element only once, however often it is used."""
        if (code + message, element) not in self._told:
            self._told.add((code + message, element))
            self.findings.append(Finding(code, severity, f"{_one_line(message)}.", place=place))

    def _length(
        self,
        element: Element,
        attribute: str,
        whole: float,
        state: State,
        missing: float | None = 0.0,
    ) -> float:
        text = element.get(attribute)
        if text is None or (missing is None and text == "auto"):
            return 0.0 if missing is None else missing
        try:
            return length_px(text, whole, state.style.font_size)
        except ValueError as error:
            raise self.error(element, f"has {attribute}={error}") from None

    # --- walking --------------------------------------------------------------------------------

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
        """
        declared = self._cascade.declared(element)
        if declared.get("display") == "none" and not forced:
            return None
        if not _conditions_hold(element):
            return None
        style = self._style(element, declared, state)
        if purpose is Purpose.PAINT and self._is_clear(element, declared):
            return None
        matrix = state.matrix
        text = declared.get("transform")
        if text is not None and local_name(element) != "svg":
            try:
                # A style may give it too, with CSS's units.
                matrix = times(matrix, transform(_CSS_UNIT.sub("", text)))
            except ValueError as error:
                raise self.error(element, f"has transform={error}") from None
            if declared.get("transform-origin", "0 0").replace("px", "") not in ("0 0", "0"):
                raise self.error(element, "has a transform-origin, which SVG 1.1 does not know")
        inside = replace(state, matrix=matrix, style=style)
        if purpose is Purpose.BOX:
            return inside
        return self._with_effects(element, declared, inside)

    def is_hidden(self, elements: list[Element]) -> bool:
        """Return whether one of the elements is not displayed."""
        return any(self._cascade.declared(e).get("display") == "none" for e in elements)

    def _style(self, element: Element, declared: Declared, state: State) -> Style:
        if not declared:
            return state.style

        def passed_over(sentence: str) -> None:
            self.tell(
                "artwork.style",
                f"{_capital(self.name(element))} {sentence}",
                self._place_of(element, state) or at(state.matrix, 0, 0),
                element=element,
            )

        return computed(state.style, declared, state.viewport, passed_over)

    def _is_clear(self, element: Element, declared: Declared) -> bool:
        text = declared.get("opacity")
        if text is None:
            return False
        try:
            return opacity(text) <= 0
        except ValueError as error:
            self.tell(
                "artwork.style",
                f"{_capital(self.name(element))} has opacity: {error}; it was passed over",
                element=element,
            )
            return False

    def _with_effects(self, element: Element, declared: Declared, state: State) -> State | None:
        place = at(state.matrix, 0, 0)
        for effect, done in (("mask", "shown whole"), ("filter", "shown without it")):
            if declared.get(effect, "none").strip() not in ("none", "inherit", ""):
                self.tell(
                    f"artwork.{effect}",
                    f"{_capital(self.name(element))} has a {effect}, which is not read; "
                    f"it is {done}",
                    self._place_of(element, state) or place,
                    element=element,
                )
        text = declared.get("clip-path", "none").strip()
        if text in ("none", "inherit", ""):
            return state
        clip = self._clip(element, url_target(text), state)
        return state if clip is None else replace(state, clips=(*state.clips, clip))

    def collect(
        self, element: Element, state: State, purpose: Purpose, *, forced: bool = False
    ) -> list[Item]:
        """Return the items of an element and all in it; ``state`` is that outside the element.

        ``forced`` shows the element (not those in it) even where it is hidden or a definition.
        """
        items: list[Item] = []
        no_size = (None, None) if forced else None
        stack: list[tuple[Element, State, _Imposed | None]] = [(element, state, no_size)]
        while stack:
            element, state, imposed = stack.pop()
            self._count += 1
            if self._count > MOST_ELEMENTS:
                raise self.error(
                    element,
                    f"and the others come to more than {MOST_ELEMENTS:,} elements once every "
                    "'use' is followed",
                )
            tag = local_name(element)
            # A symbol is drawn only where a use imposes it.
            if not tag or (tag in _NEVER_PAINTED and imposed is None):
                continue
            inside = self.enter(element, state, purpose, forced=forced)
            forced = False
            if inside is None:
                continue
            if tag in SHAPES:
                items += self._shape_items(element, tag, inside, purpose)
            elif tag == "use":
                stack += self._use(element, inside, purpose)
            elif purpose is Purpose.CLIP and tag != "text":
                self.tell(
                    "artwork.clip",
                    f"{_capital(self.name(element))} is not something that a clip path may hold; "
                    "it was left out of it",
                    at(inside.matrix, 0, 0),
                    element=element,
                )
            else:
                stack += self._content(element, tag, inside, imposed)
        return items

    def _content(
        self, element: Element, tag: str, state: State, imposed: _Imposed | None
    ) -> list[tuple[Element, State, None]]:
        """Return what is to be walked inside a container, last first."""
        if tag in _CONTAINERS:
            return [(child, state, None) for child in reversed(element)]
        if tag == "switch":
            first = next((c for c in element if local_name(c) and _conditions_hold(c)), None)
            return [] if first is None else [(first, state, None)]
        if tag in ("svg", "symbol"):
            inside = self.viewport(element, state, imposed or (None, None))
            return [] if inside is None else [(child, inside, None) for child in reversed(element)]
        if tag in _NOT_READ:
            if state.style.visible and (tag != "text" or "".join(element.itertext()).strip()):
                self.tell(
                    f"artwork.{tag.lower()}",
                    f"{_NOT_READ[tag]}: {self.name(element)}",
                    self._place_of(element, state) or at(state.matrix, 0, 0),
                    element=element,
                )
            return []
        self.tell(
            "artwork.unknown",
            f"{_capital(self.name(element))} is not an element of SVG 1.1 and was left out",
            at(state.matrix, 0, 0),
            element=element,
        )
        return []

    def _place_of(self, element: Element, state: State) -> tuple[float, float] | None:
        """Return the place of an element that says its x and y, perhaps in a tspan."""
        for part in element.iter():
            numbers = [re.match(rf"\s*({NUMBER})", part.get(axis, "")) for axis in "xy"]
            if numbers[0] and numbers[1]:
                return at(state.matrix, float(numbers[0][1]), float(numbers[1][1]))
        return None

    # --- viewports and references ---------------------------------------------------------------

    def viewport(
        self, element: Element, state: State, imposed: _Imposed = (None, None)
    ) -> State | None:
        """Enter a nested svg, or a symbol that is used (SVG 1.1, sections 7.9 and 5.6)."""
        tag = local_name(element)
        size = []
        for attribute, asked, whole in zip(
            ("width", "height"), imposed, state.viewport, strict=True
        ):
            own = element.get(attribute) if tag == "svg" else None
            text = asked if asked is not None else (own if own is not None else "100%")
            try:
                size.append(length_px(text, whole, state.style.font_size))
            except ValueError as error:
                raise self.error(element, f"has {attribute}={error}") from None
        width, height = size
        if width <= 0 or height <= 0:
            return None
        x = self._length(element, "x", state.viewport[0], state) if tag == "svg" else 0.0
        y = self._length(element, "y", state.viewport[1], state) if tag == "svg" else 0.0
        matrix = times(state.matrix, shifted(x, y))
        clips = state.clips
        overflow = self._cascade.declared(element).get("overflow", "hidden")
        if overflow not in ("visible", "auto"):
            corners = [at(matrix, *c) for c in ((0, 0), (width, 0), (width, height), (0, height))]
            clips = (*clips, shapely.multipolygons([shapely.Polygon(corners)]))
        framed = self.frame(element, matrix, width, height)
        if framed is None:
            return None
        matrix, viewport, _ = framed
        return replace(state, matrix=matrix, viewport=viewport, clips=clips)

    def frame(
        self, element: Element, matrix: Matrix, width: float, height: float
    ) -> tuple[Matrix, tuple[float, float], bool] | None:
        """Return matrix, viewport and whether it is sliced, inside an element with a view box."""
        text = element.get("viewBox")
        if text is None:
            return matrix, (width, height), False
        try:
            box = view_box(text)
        except ValueError as error:
            raise self.error(element, f"has viewBox={error}") from None
        if box[2] == 0 or box[3] == 0:
            return None
        try:
            fitted, slices = fit(box, width, height, element.get("preserveAspectRatio", ""))
        except ValueError as error:
            raise self.error(element, f"has preserveAspectRatio={error}") from None
        return times(matrix, fitted), (box[2], box[3]), slices

    def _use(
        self, element: Element, state: State, purpose: Purpose
    ) -> list[tuple[Element, State, _Imposed]]:
        target = self._target(element, href(element), state)
        if target is None:
            return []
        name = target.get("id", "")
        if name in state.within or self._is_inside(element, target):
            raise self.error(element, f"uses '{name}', which contains it: a circle without end")
        if len(state.within) >= _DEEPEST_REFERENCE:
            raise self.error(element, f"is used more than {_DEEPEST_REFERENCE} levels deep")
        if purpose is Purpose.CLIP and local_name(target) not in SHAPES:
            self.tell(
                "artwork.clip",
                f"{_capital(self.name(element))} uses more than a shape inside a clip path; "
                "it was left out of it",
                at(state.matrix, 0, 0),
                element=element,
            )
            return []
        if local_name(target) in _NEVER_PAINTED - {"symbol"}:
            return []
        x = self._length(element, "x", state.viewport[0], state)
        y = self._length(element, "y", state.viewport[1], state)
        inside = replace(
            state, matrix=times(state.matrix, shifted(x, y)), within=(*state.within, name)
        )
        return [(target, inside, (element.get("width"), element.get("height")))]

    def _is_inside(self, element: Element, target: Element) -> bool:
        walker: Element | None = element
        while walker is not None:
            if walker is target:
                return True
            walker = self._document.parent.get(walker)
        return False

    def _target(self, element: Element, reference: str, state: State) -> Element | None:
        """Return the element that a reference names, or tell why there is none."""
        place = at(state.matrix, 0, 0)
        if not reference.startswith("#"):
            shown = f"{reference[:40]}..." if len(reference) > 40 else reference
            self.tell(
                "artwork.reference",
                f"{_capital(self.name(element))} refers to '{shown}', which is outside the "
                "drawing and not read"
                if reference
                else f"{_capital(self.name(element))} refers to nothing",
                place,
                element=element,
            )
            return None
        target = self._document.ids.get(reference[1:])
        if target is None:
            self.tell(
                "artwork.reference",
                f"{_capital(self.name(element))} refers to '{reference}', which the drawing does "
                "not have",
                place,
                element=element,
            )
        return target

    # --- clips ----------------------------------------------------------------------------------

    def _clip(self, element: Element, reference: str, state: State) -> MultiPolygon | None:
        """Return the area of the clip path that an element refers to, in mm."""
        clip = self._target(element, reference, state)
        if clip is None:
            return None
        if local_name(clip) != "clipPath":
            self.tell(
                "artwork.reference",
                f"{_capital(self.name(element))} is to be clipped by {self.name(clip)}, which is "
                "no clipPath; it is shown whole",
                at(state.matrix, 0, 0),
                element=element,
            )
            return None
        unit_box = IDENTITY
        if clip.get("clipPathUnits") == "objectBoundingBox":
            box = self._box(element, state)
            if box is None:
                return MultiPolygon()
            x, y, width, height = box
            unit_box = (width, 0.0, 0.0, height, x, y)
            state = replace(state, viewport=(1.0, 1.0))
        key = (clip, state.matrix, state.viewport, unit_box)
        if key not in self._clip_shapes:
            self._clip_shapes[key] = self._clip_shape(clip, state, unit_box)
        return self._clip_shapes[key]

    def _clip_shape(self, clip: Element, state: State, unit_box: Matrix) -> MultiPolygon:
        name = clip.get("id", "")
        if name in self._clips_open:
            raise self.error(clip, "is clipped by itself: a circle without end")
        if len(self._clips_open) >= _DEEPEST_REFERENCE:
            raise self.error(clip, f"is clipped more than {_DEEPEST_REFERENCE} levels deep")
        self._clips_open.append(name)
        # Style comes from where the clip path stands, not from who uses it.
        state = replace(state, style=self._style_at(clip, state), clips=(), within=())
        inside = self.enter(clip, state, Purpose.CLIP)
        items: list[Item] = []
        if inside is not None:
            # The clip path's own clip applies to its whole shape, through its children. Its own
            # transform acts outside the unit box, as it does in browsers.
            inside = replace(inside, matrix=times(inside.matrix, unit_box))
            for child in clip:
                items += self.collect(child, inside, Purpose.CLIP)
        polygons, _ = areas(items, self._tolerances, self.what)
        self._clips_open.pop()
        return unite(polygons, tolerances=self._tolerances)

    def _style_at(self, element: Element, state: State) -> Style:
        chain = []
        walker = self._document.parent.get(element)
        while walker is not None:
            chain.append(walker)
            walker = self._document.parent.get(walker)
        style = Style()
        for ancestor in reversed(chain):
            style = self._style(
                ancestor, self._cascade.declared(ancestor), replace(state, style=style)
            )
        return style

    def _box(self, element: Element, state: State) -> tuple[float, float, float, float] | None:
        """Bounding box of an element in its own user space (SVG 1.1, section 7.11)."""
        here = replace(state, matrix=IDENTITY, clips=())
        tag = local_name(element)
        if tag in SHAPES:
            items = list(self._shape_items(element, tag, here, Purpose.BOX))
        elif tag == "use":
            items = [
                item
                for target, inside, _ in self._use(element, here, Purpose.BOX)
                for item in self.collect(target, inside, Purpose.BOX)
            ]
        else:
            items = [i for child in element for i in self.collect(child, here, Purpose.BOX)]
        scale = max(abs(v) for v in state.matrix[:4])
        return bounds_of(items, self._tolerances.chord / max(scale, 1e-12), self.what)

    # --- shapes ---------------------------------------------------------------------------------

    def _shape_items(
        self, element: Element, tag: str, state: State, purpose: Purpose
    ) -> Iterator[Item]:
        style = state.style
        if not style.visible and purpose is not Purpose.BOX:
            return
        path = self._shape(element, tag, state)
        if path is None or len(path) == 0:
            return
        name = self.name(element)
        if purpose is not Purpose.PAINT:
            yield Item(path, state.matrix, name, style.clip_rule, clips=state.clips)
            return
        if style.marker and tag in ("path", "line", "polyline", "polygon"):
            self.tell(
                "artwork.marker",
                f"{_capital(name)} has markers (such as arrow heads), which are not drawn",
                at(state.matrix, *path.rows[0, 4:].tolist()),
                element=element,
            )
        pen, rigid = self._pen(element, state)
        place = at(state.matrix, *path.rows[0, 4:].tolist())
        stroked = pen.width > 0 and style.stroke_shows
        stroked = stroked and self._paints(element, style.stroke, "stroke", state, place)
        if (
            tag != "line"
            and style.fill_shows
            and self._paints(element, style.fill, "fill", state, place)
        ):
            yield Item(
                path,
                state.matrix,
                name,
                style.fill_rule,
                also_stroked=stroked,
                clips=state.clips,
            )
        if stroked:
            yield Item(path, state.matrix, name, pen=pen, rigid_pen=rigid, clips=state.clips)

    def _pen(self, element: Element, state: State) -> tuple[Pen, bool]:
        style = state.style
        pen = Pen(
            style.stroke_width,
            style.stroke_linecap,
            style.stroke_linejoin,
            style.stroke_miterlimit,
            style.stroke_dasharray if sum(style.stroke_dasharray) > 0 else (),
            style.stroke_dashoffset,
        )
        effect = self._cascade.declared(element).get("vector-effect", "none")
        if effect != "non-scaling-stroke":
            return pen, False
        return (
            replace(
                pen,
                width=pen.width * MM_PER_PX,
                dashes=tuple(d * MM_PER_PX for d in pen.dashes),
                dash_offset=pen.dash_offset * MM_PER_PX,
            ),
            True,
        )

    def _paints(
        self,
        element: Element,
        paint: Paint,
        role: str,
        state: State,
        place: tuple[float, float],
    ) -> bool:
        """Return whether a paint shows; gradients and patterns count as painted all over."""
        if not paint.server:
            return paint.shows
        server = None
        if paint.server.startswith("#"):
            server = self._document.ids.get(paint.server[1:])
        kind = _PAINT_SERVERS.get(local_name(server), "") if server is not None else ""
        if not kind:
            if paint.fallback is not None:
                return paint.fallback
            self.tell(
                "artwork.reference",
                f"{_capital(self.name(element))} has a {role} of '{paint.server[:40]}', which the "
                "drawing does not have; it counts as not painted",
                place,
                element=element,
            )
            return False
        self.tell(
            f"artwork.{kind}",
            f"{_capital(self.name(element))} has a {kind} as {role}; it counts as painted all over",
            place,
            severity=Severity.NOTE,
            element=element,
        )
        return True

    def _shape(self, element: Element, tag: str, state: State) -> PathData | None:
        if tag == "path":
            return self._told_path(element, element.get("d", ""), state)
        if tag in ("polyline", "polygon"):
            return self._told_polyline(element, element.get("points", ""), tag, state)
        across, down = state.viewport

        def length(attribute: str, whole: float) -> float:
            return self._length(element, attribute, whole, state)

        if tag == "line":
            ends = [
                [length("x1", across), length("y1", down)],
                [length("x2", across), length("y2", down)],
            ]
            return polyline(np.array(ends), closed=False)
        if tag == "rect":
            size = [("width", length("width", across)), ("height", length("height", down))]
            rx, ry = self._radii(element, state)
            if self._is_sized(element, [*size, ("rx", rx), ("ry", ry)], state):
                width, height = size[0][1], size[1][1]
                return rectangle(length("x", across), length("y", down), width, height, rx, ry)
            return None
        if tag == "circle":
            size = [("r", length("r", diagonal(state.viewport)))]
            rx = ry = size[0][1]
        else:
            rx, ry = self._radii(element, state)
            size = [("rx", rx), ("ry", ry)]
        if not self._is_sized(element, size, state):
            return None
        return ellipse(length("cx", across), length("cy", down), rx, ry)

    def _radii(self, element: Element, state: State) -> tuple[float, float]:
        """Return rx and ry, each standing in for the other where that is missing."""
        rx, ry = (
            self._length(element, name, whole, state, None)
            for name, whole in zip(("rx", "ry"), state.viewport, strict=True)
        )
        if element.get("rx", "auto") == "auto":
            rx = ry
        elif element.get("ry", "auto") == "auto":
            ry = rx
        return rx, ry

    def _is_sized(self, element: Element, size: list[tuple[str, float]], state: State) -> bool:
        negative = [(name, value) for name, value in size if value < 0]
        if negative:
            name, value = negative[0]
            self.tell(
                "artwork.shape",
                f"{_capital(self.name(element))} has the negative {name} {value:g} and was left "
                "out",
                self._place_of(element, state) or at(state.matrix, 0, 0),
                element=element,
            )
            return False
        tag = local_name(element)
        return all(value > 0 for name, value in size if tag != "rect" or name in _RECT_SIZE)

    def _told_path(self, element: Element, text: str, state: State) -> PathData:
        path, error = parse_path(text)
        if error:
            end = path.rows[-1, 4:].tolist() if len(path) else (0.0, 0.0)
            self.tell(
                "artwork.path-data",
                f"{_capital(self.name(element))} is drawn up to a mistake in its path data: "
                f"{error}",
                at(state.matrix, *end),
                element=element,
            )
        return path

    def _told_polyline(self, element: Element, text: str, tag: str, state: State) -> PathData:
        try:
            numbers = number_list(text)
            error = "an odd number of coordinates" if len(numbers) % 2 else ""
        except ValueError as problem:
            numbers, error = _leading_numbers(text), str(problem)
        points = np.array(numbers[: len(numbers) // 2 * 2]).reshape(-1, 2)
        if error:
            end = points[-1].tolist() if len(points) else (0.0, 0.0)
            self.tell(
                "artwork.path-data",
                f"{_capital(self.name(element))} is drawn up to a mistake in its points: {error}",
                at(state.matrix, *end),
                element=element,
            )
        return polyline(points, closed=tag == "polygon")


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


def _leading_numbers(text: str) -> list[float]:
    numbers = []
    place = 0
    for found in re.finditer(NUMBER, text):
        if text[place : found.start()].strip(BLANKS):
            break
        numbers.append(float(found[0]))
        place = found.end()
    return numbers


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"
