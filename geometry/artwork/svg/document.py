"""SVG files to element trees, safely: nothing outside the file is ever looked at.

Expat (through defusedxml) reads no external entity and no network address. Drawing programs declare
small internal entities for namespaces, which must not make a file unreadable; so these are allowed
while they are few, short, free of other entities and do not make the text much longer.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from ...errors import ArtworkError

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"

#: Files beyond this are refused (bytes): a drawing of two million vertices has about 50 MB.
LARGEST_FILE = 200_000_000

#: Elements nested deeper than this are a mistake or an attack.
DEEPEST = 1000

_MOST_ENTITIES = 100
_LONGEST_ENTITY = 1000
_MOST_EXPANSION = 5_000_000  # characters that all entities together may add

_OTHER_KINDS = {
    b"\x89PNG": "a PNG image",
    b"\xff\xd8\xff": "a JPEG image",
    b"%PDF": "a PDF document",
    b"%!PS": "a PostScript document",
    b"\x1f\x8b": "compressed (.svgz); save it as plain SVG",
    b"PK\x03\x04": "a ZIP archive",
    b"GIF8": "a GIF image",
    b"RIFF": "a RIFF file (WebP image or sound)",
}


@dataclass(frozen=True, eq=False)
class Document:
    """A parsed drawing.

    Parameters
    ----------
    root : Element
    line : dict
        The line on which each element starts.
    parent : dict
        Parent of each element but the root.
    ids : dict
        First element of each id.
    outside : tuple of (str, int)
        Processing instructions that name other files (``xml-stylesheet``), with their lines.
    """

    root: Element
    line: dict[Element, int]
    parent: dict[Element, Element]
    ids: dict[str, Element]
    outside: tuple[tuple[str, int], ...]


def local_name(element: Element) -> str:
    """Return an element's name when it is SVG's, else an empty string."""
    tag = element.tag
    if not isinstance(tag, str):
        return ""
    if tag.startswith(f"{{{SVG}}}"):
        return tag[len(SVG) + 2 :]
    return "" if tag.startswith("{") else tag


def href(element: Element) -> str:
    """Return what an element refers to by ``href`` or ``xlink:href``."""
    return (element.get("href") or element.get(f"{{{XLINK}}}href") or "").strip()


def load_document(path: Path) -> Document:
    """Parse an SVG file.

    Raises
    ------
    ArtworkError
        The file cannot be read, is too large, is no SVG, is broken XML (with the line), nests too
        deep, or declares entities that a drawing has no use for.
    """
    data = _read(path)
    for magic, kind in _OTHER_KINDS.items():
        if data.startswith(magic):
            raise ArtworkError(f"{path}: expected an SVG drawing, but this file is {kind}.")
    if not data.strip():
        raise ArtworkError(f"{path}: the file is empty, expected an SVG drawing.")
    builder = _Builder(path)
    parser = _Parser(path, data, builder)
    builder.position = parser.parser
    try:
        parser.feed(data)
        root = parser.close()
    except ParseError as error:
        line, column = error.position
        what = str(error).split(":")[0]
        raise ArtworkError(
            f"{path}: line {line}, column {column + 1}: not well-formed SVG ({what})."
        ) from None
    except DefusedXmlException:
        raise ArtworkError(
            f"{path}: refers to something outside the file (an external entity), which is not read."
        ) from None
    except (ValueError, LookupError) as error:  # an encoding that the parser cannot take
        raise ArtworkError(f"{path}: cannot be decoded ({error}).") from None
    if local_name(root) != "svg":
        found = root.tag if isinstance(root.tag, str) else "no element"
        raise ArtworkError(f"{path}: expected an SVG drawing, found the element <{found}>.")
    parent = {child: element for element in root.iter() for child in element}
    ids: dict[str, Element] = {}
    for element in root.iter():
        if (name := element.get("id")) is not None:
            ids.setdefault(name, element)
    return Document(root, builder.lines, parent, ids, tuple(builder.outside))


def _read(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > LARGEST_FILE:
            raise ArtworkError(
                f"{path}: {size / 1e6:.0f} MB is too large, expected at most "
                f"{LARGEST_FILE / 1e6:.0f} MB."
            )
        return path.read_bytes()
    except OSError as error:
        raise ArtworkError(f"{path}: cannot be read ({error.strerror or error}).") from None


class _Builder(TreeBuilder):
    """Builds the tree and remembers on which line each element started."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.position: Any = None  # the parser, which knows the line
        self.lines: dict[Element, int] = {}
        self.outside: list[tuple[str, int]] = []
        self._path = path
        self._depth = 0

    def start(self, tag: Any, attrs: Any) -> Element:  # type: ignore[override]
        self._depth += 1
        if self._depth > DEEPEST:
            raise ArtworkError(
                f"{self._path}: line {self.position.CurrentLineNumber}: elements are nested more "
                f"than {DEEPEST} deep."
            )
        element = super().start(tag, attrs)
        self.lines[element] = self.position.CurrentLineNumber
        return element

    def end(self, tag: Any) -> Element:  # type: ignore[override]
        self._depth -= 1
        return super().end(tag)

    def pi(self, target: str, text: str | None = None) -> Any:
        if target == "xml-stylesheet":
            self.outside.append((text or "", self.position.CurrentLineNumber))
        return None


class _Parser(DefusedXMLParser):  # type: ignore[misc]
    """defusedxml's parser, but harmless internal entities may be declared."""

    def __init__(self, path: Path, data: bytes, target: TreeBuilder) -> None:
        super().__init__(target=target, forbid_dtd=False, forbid_entities=True)
        self._path = path
        self._data = data
        self._entities = 0
        self._expansion = 0

    def defused_entity_decl(
        self,
        name: str,
        is_parameter_entity: bool,
        value: str | None,
        base: str | None,
        sysid: str | None,
        pubid: str | None,
        notation_name: str | None,
    ) -> None:
        """Judge an entity declaration."""
        where = f"{self._path}: line {self.parser.CurrentLineNumber}: the entity '{name[:40]}'"
        if value is None or sysid is not None or is_parameter_entity:
            raise ArtworkError(f"{where} refers to something outside the file, which is not read.")
        self._entities += 1
        if "&" in value or len(value) > _LONGEST_ENTITY or self._entities > _MOST_ENTITIES:
            raise ArtworkError(
                f"{where} is not one that a drawing needs (nested, longer than {_LONGEST_ENTITY} "
                f"characters, or more than {_MOST_ENTITIES} of them); it may be an entity bomb."
            )
        mention = f"&{name};"
        uses = max(self._data.count(mention.encode(c)) for c in ("utf-8", "utf-16-le", "utf-16-be"))
        self._expansion += uses * len(value)
        if self._expansion > _MOST_EXPANSION:
            raise ArtworkError(
                f"{where} is used {uses} times, which would add "
                f"{self._expansion / 1e6:.0f} million characters; it may be an entity bomb."
            )
