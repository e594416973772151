"""One drawing while it is read: its elements, their styles, and what there is to tell of them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from xml.etree.ElementTree import Element

from ...errors import ArtworkError
from ...finding import Finding, Severity
from ...tolerance import Tolerances
from . import css_geometry
from .document import Document, local_name
from .state import State
from .style import Cascade, Declared, Style, computed, is_off
from .transforms import at
from .units import NUMBER, length_px
from .variables import ALL, MARK, Variables, needs_variables, put_in, put_into

#: Namespace of the labels that a drawing program gives to layers.
INKSCAPE = "http://www.inkscape.org/namespaces/inkscape"

#: Names in messages are cut to so many characters.
_LONGEST_NAME = 60


class Drawing:
    """A parsed drawing with its styles, and the findings about it.

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
        self.document = document
        self.tolerances = tolerances
        self.what = what
        self.findings: list[Finding] = []
        self._cascade = cascade
        self._told: set[tuple[str, Element | None]] = set()

    def name(self, element: Element) -> str:
        """Return what messages call an element."""
        label = element.get("id") or element.get(f"{{{INKSCAPE}}}label")
        line = self.document.line.get(element, 0)
        quoted = f" '{_one_line(label)[:_LONGEST_NAME]}'" if label else ""
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
        """Note a finding; the same about one element only once, however often it is used.

        Parameters
        ----------
        code : str
        message : str
            A sentence without its full stop.
        place : tuple of float, optional
            In mm.
        severity : Severity
        element : Element, optional
            The element that it is about.
        """
        if (code + message, element) not in self._told:
            self._told.add((code + message, element))
            self.findings.append(Finding(code, severity, f"{_one_line(message)}.", place=place))

    def tell_of(
        self,
        element: Element,
        code: str,
        sentence: str,
        place: tuple[float, float] | None = None,
        *,
        severity: Severity = Severity.WARNING,
    ) -> None:
        """Note a finding about an element.

        Parameters
        ----------
        element : Element
        code : str
            Of the finding.
        sentence : str
            Goes on from the element's name.
        place : tuple of float, optional
            In mm of the drawing.
        severity : Severity
        """
        name = self.name(element)
        message = f"{name[:1].upper()}{name[1:]} {sentence}"
        self.tell(code, message, place, severity=severity, element=element)

    def length(
        self,
        element: Element,
        attribute: str,
        whole: float,
        state: State,
        missing: float | None = 0.0,
    ) -> float:
        """Return the length in user units that an attribute gives.

        Parameters
        ----------
        element : Element
        attribute : str
        whole : float
            What 100 % is.
        state : State
        missing : float, optional
            The length where there is no such attribute; None for 0, there and for ``auto``.

        Raises
        ------
        ArtworkError
            It is no length.
        """
        text = self.given(element, attribute, state)
        if text is None or text.lower() in css_geometry.INITIAL:
            return 0.0 if missing is None else missing
        if text == "auto" and (missing is None or element.get(attribute) != "auto"):
            return 0.0
        try:
            return length_px(text, whole, state.style.font_size)
        except ValueError as error:
            raise self.error(element, f"has {attribute}={error}") from None

    def given(self, element: Element, name: str, state: State) -> str | None:
        """Return a place, size or path that a style gives, or else an attribute; None for neither.

        Parameters
        ----------
        element : Element
        name : str
        state : State
            Inside it.

        Raises
        ------
        ArtworkError
            Variables within each other too deep, or too long.
        """
        text = element.get(name)
        tag = local_name(element)
        taken = css_geometry.TAKEN.get(tag)
        styled = self._cascade.geometry(element).get(name, ()) if taken else ()
        if tag in css_geometry.IN_DOUBT and name in css_geometry.IN_DOUBT[tag]:
            self._tell_in_doubt(element, name, state)
            styled = ()
        if taken is None or name not in taken:
            return text
        values = list(styled)
        if text is not None and name != "d" and needs_variables(text):
            values.insert(0, text)
        for value in reversed(values):
            found, problem = value, ""
            if needs_variables(value):
                found = self._without_variables(element, value, state.style.variables)
            problem = css_geometry.fault(name, found)
            if not problem:
                if css_geometry.lacks_unit(name, found):
                    self.tell(
                        "artwork.style",
                        f"A style gives {name} without a unit, '{found}', which is taken as pixels "
                        "as browsers do; other programs pass it over",
                        self.place_of(element, state),
                    )
                return found
            sentence = f"has {name} in its style: {problem}; it was passed over"
            self.tell_of(element, "artwork.style", sentence, self.place_of(element, state))
            if needs_variables(value):
                return "initial"
        return text

    def styled_size(self, name: str) -> str | None:
        """Return the root's width or height as its style gives it; None where it gives no length.

        A percentage is none: it depends on the page round the drawing.
        """
        root = self.document.root
        for value in reversed(self._cascade.geometry(root).get(name, ())):
            found = value
            if needs_variables(value):
                own = self.declared(root, {})
                found = self._without_variables(root, value, own)
            if not css_geometry.fault(name, found):
                plain = found.lower() in (*css_geometry.INITIAL, "auto")
                return None if plain or found.endswith("%") else found
            self.tell_of(
                root,
                "artwork.style",
                f"has {name} in its style: {css_geometry.fault(name, found)}; it was passed over",
            )
        return None

    def _without_variables(self, element: Element, value: str, variables: Variables) -> str:
        try:
            found = put_into(value, variables)
        except ValueError as error:
            raise self.error(element, str(error)) from None
        return "initial" if found is None else found

    def _tell_in_doubt(self, element: Element, name: str, state: State) -> None:
        values = self._cascade.geometry(element).get(name, ())
        if values and values[-1] != element.get(name):
            self.tell_of(
                element,
                "artwork.style",
                f"has {name} in its style, which programs read differently; it was passed over, "
                "so that the drawing may look different: give it as an attribute",
                self.place_of(element, state),
            )

    def place_of(self, element: Element, state: State) -> tuple[float, float]:
        """Return where an element is: its x and y, perhaps a tspan's, else its origin, in mm."""
        for part in element.iter():
            numbers = [re.match(rf"\s*({NUMBER})", part.get(axis, "")) for axis in "xy"]
            if numbers[0] and numbers[1]:
                return at(state.matrix, float(numbers[0][1]), float(numbers[1][1]))
        return at(state.matrix, 0, 0)

    # --- styles -----------------------------------------------------------------------------------

    def declared(self, element: Element, variables: Variables | None = None) -> Declared:
        """Return what attributes and style sheets declare on an element, variables put in.

        Parameters
        ----------
        element : Element
        variables : mapping, optional
            Custom properties round it; those that hold where it stands in the file if left out.

        Raises
        ------
        ArtworkError
            Variables are within each other too deep, or too long.
        """
        declared = self._cascade.declared(element)
        try:
            if variables is None:
                # Most have none, and need no look at what is round them.
                return declared if put_in(declared, {}) is declared else self._in_place(element)
            return put_in(declared, variables)
        except ValueError as error:
            raise self.error(element, str(error)) from None

    def _in_place(self, element: Element) -> Declared:
        """Return what is declared on an element whose variables come from where it stands."""
        chain = [element, *self.ancestors(element)]
        declared: Declared = {}
        for one in reversed(chain):
            round_it = {n: text for n, text in declared.items() if n.startswith(MARK) and n != ALL}
            declared = put_in(self._cascade.declared(one), round_it)
            if ALL not in declared and round_it:
                declared = {**declared, **round_it}
        return declared

    def style(self, element: Element, declared: Declared, state: State) -> Style:
        """Return the style of an element from what is declared on it.

        Parameters
        ----------
        element : Element
        declared : dict of str to str
        state : State
            Round it.
        """
        if not declared:
            return state.style

        def passed_over(sentence: str) -> None:
            self.tell_of(element, "artwork.style", sentence, self.place_of(element, state))

        return computed(state.style, declared, state.viewport, passed_over)

    def style_round(self, element: Element, state: State) -> Style:
        """Return the style that an element takes over from where it stands in the file."""
        style = Style()
        for ancestor in reversed(list(self.ancestors(element))):
            declared = self.declared(ancestor, style.variables)
            style = self.style(ancestor, declared, replace(state, style=style))
        return style

    def ancestors(self, element: Element) -> Iterator[Element]:
        """Return the elements round an element, the nearest first."""
        walker = self.document.parent.get(element)
        while walker is not None:
            yield walker
            walker = self.document.parent.get(walker)

    def is_gradient(self, reference: str) -> bool:
        """Return whether a reference, ``#`` and an id, leads to a gradient."""
        server = self.document.ids.get(reference[1:])
        return server is not None and local_name(server).endswith("Gradient")

    def is_hidden(self, elements: list[Element]) -> bool:
        """Return whether one of the elements is not displayed."""
        return any(is_off(self.declared(e)) for e in elements)


def _one_line(text: str) -> str:
    return " ".join(text.split())
