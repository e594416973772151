"""One drawing while it is read: its elements, their styles, and what there is to tell of them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from xml.etree.ElementTree import Element

from ...errors import ArtworkError
from ...finding import Finding, Severity
from ...tolerance import Tolerances
from .document import Document, local_name
from .state import State
from .style import Cascade, Declared, Style, computed
from .transforms import at
from .units import NUMBER, length_px

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
        text = element.get(attribute)
        if text is None or (missing is None and text == "auto"):
            return 0.0 if missing is None else missing
        try:
            return length_px(text, whole, state.style.font_size)
        except ValueError as error:
            raise self.error(element, f"has {attribute}={error}") from None

    def place_of(self, element: Element, state: State) -> tuple[float, float]:
        """Return where an element is: its x and y, perhaps a tspan's, else its origin, in mm."""
        for part in element.iter():
            numbers = [re.match(rf"\s*({NUMBER})", part.get(axis, "")) for axis in "xy"]
            if numbers[0] and numbers[1]:
                return at(state.matrix, float(numbers[0][1]), float(numbers[1][1]))
        return at(state.matrix, 0, 0)

    # --- styles -----------------------------------------------------------------------------------

    def declared(self, element: Element) -> Declared:
        """Return what attributes and style sheets declare on an element."""
        return self._cascade.declared(element)

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
            style = self.style(ancestor, self.declared(ancestor), replace(state, style=style))
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
        return any(self.declared(e).get("display") == "none" for e in elements)


def _one_line(text: str) -> str:
    return " ".join(text.split())
