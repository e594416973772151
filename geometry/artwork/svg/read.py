"""SVG drawings: the area that one file, or one group of it, paints.

Every filled or stroked shape is area to be painted, whatever its colour, white too; only ``none``,
wholly transparent paint and hidden elements are not. Gradients and patterns paint all over. Masks
that are flat black and white are areas. What SVG 1.1 has and this reader has not (text, images,
other masks, filters) is told as a finding; ``coloured.py`` reads more.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from xml.etree.ElementTree import Element

import shapely
from shapely import MultiPolygon

from ...errors import ArtworkError
from ...finding import Finding, Severity
from ...planar.union import unite
from ...tolerance import TOLERANCES, Tolerances
from ..read import Artwork
from ..source import ArtworkSource
from ..text.faces import Faces
from .areas import Item, areas
from .document import Document, load_document, local_name
from .drawing import INKSCAPE, Drawing
from .flattening import Flattening
from .references import enter_view_box, enter_viewport
from .state import Purpose, State
from .style import Cascade
from .transforms import at, view_box
from .units import FONT_SIZE_PX, MM_PER_PX, length_px
from .walk import Walk

#: How far (mm) artwork may reach beyond its page without a word.
_PAGE_SLACK = 0.01

#: Drawings scaled down further than this are read as finely as at it.
_LEAST_SCALE = 1e-9

#: So many decimals of a page's size in mm count: 80mm is not to come out as 80.00000000000001.
_PAGE_DECIMALS = 9

#: So many groups are listed where the one that a job names is not among them.
_MOST_LISTED = 20

#: Programs that write names as ids escape what an id may not hold (``_x20_`` for a blank).
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{2,6})_")


def read_svg(source: ArtworkSource, tolerances: Tolerances = TOLERANCES) -> Artwork:
    """Read the area that an SVG drawing paints.

    Parameters
    ----------
    source : ArtworkSource
        ``path``, and ``group`` for a part of the drawing: its id, its label in the drawing program,
        its ``data-name`` or its title. A group that the job names is read even where the drawing
        hides it, for hiding layers is how artists export them.
    tolerances : Tolerances
        ``chord`` bounds the distance between curves and their chords in mm at the final scale.

    Returns
    -------
    Artwork
        Not yet scaled by ``source.scale``; y up, the origin at the page's lower left corner. What
        lies beyond the page is kept, with a finding.

    Raises
    ------
    ArtworkError
        The file is unreadable or unsafe, its size is unknown or zero, the group is missing, a
        length or transform makes no sense, or a reference runs in a circle.
    """
    what = str(source.path)
    # Scaling comes after reading, so that a chord has to be that much nearer now.
    tolerances = replace(tolerances, chord=tolerances.chord / max(source.scale, _LEAST_SCALE))
    findings: list[Finding] = []
    items, page = collect_items(source, Purpose.PAINT, tolerances, findings)
    polygons, repairs = areas(items, tolerances, what)
    shape = unite(polygons, tolerances=tolerances)
    findings += [*repairs, *_page_findings(shape, page, source.group)]
    return Artwork(shape, page, tuple(findings))


def collect_items(
    source: ArtworkSource, purpose: Purpose, tolerances: Tolerances, findings: list[Finding]
) -> tuple[list[Item], tuple[float, float]]:
    """Return what a drawing holds, or the group of it that ``source`` names.

    Parameters
    ----------
    source : ArtworkSource
    purpose : Purpose
    tolerances : Tolerances
    findings : list of Finding
        Gets what is passed over.

    Returns
    -------
    items : list of Item
    page : tuple of float
        Width and height in mm.

    Raises
    ------
    ArtworkError
        As of :func:`read_svg`.
    """
    opened = open_drawing(source, tolerances, findings)
    items = opened.items(purpose)
    findings += opened.drawing.findings
    return items, opened.page


@dataclass(frozen=True, eq=False)
class OpenedDrawing:
    """A drawing that was parsed and is about to be walked through.

    Parameters
    ----------
    drawing : Drawing
        Gets findings as it is walked through.
    walk : Walk
    page : tuple of float
        Width and height in mm.
    element : Element
        The root, or the group that was asked for.
    state : State
        Just inside the root, or just outside the group.
    """

    drawing: Drawing
    walk: Walk
    page: tuple[float, float]
    element: Element
    state: State

    def items(self, purpose: Purpose) -> list[Item]:
        """Return what the drawing or group holds; errors are those of :func:`read_svg`."""
        root = self.drawing.document.root
        if self.element is not root:
            return self.walk.collect(self.element, self.state, purpose, forced=True)
        return [i for child in root for i in self.walk.collect(child, self.state, purpose)]


def open_drawing(
    source: ArtworkSource,
    tolerances: Tolerances,
    findings: list[Finding],
    flattening: Flattening | None = None,
) -> OpenedDrawing:
    """Open a drawing, or the group of it that ``source`` names.

    Parameters
    ----------
    source : ArtworkSource
    tolerances : Tolerances
    findings : list of Finding
        Gets what is wrong with style sheets.
    flattening : Flattening, optional
        For a drawing in colours.

    Raises
    ------
    ArtworkError
        As of :func:`read_svg`.
    """
    document = load_document(source.path)
    drawing = Drawing(document, _cascade(document, findings), tolerances, str(source.path))
    walk = Walk(drawing, source.step, flattening, Faces(source.font_files()))
    page, state = _page(drawing, walk)
    element = document.root
    if source.group is not None:
        element, state = _group(source.group, drawing, walk, state)
    return OpenedDrawing(drawing, walk, page, element, state)


def _cascade(document: Document, findings: list[Finding]) -> Cascade:
    def tell(name: str, sentence: str) -> None:
        findings.append(Finding("artwork.style", Severity.WARNING, f"{name} {sentence}."))

    sheets = []
    for text, line in document.outside:
        tell(f"The processing instruction in line {line}", f"names a style sheet, not read: {text}")
    for element in document.root.iter():
        if local_name(element) != "style":
            continue
        name = f"The style sheet in line {document.line.get(element, 0)}"
        if element.get("type", "text/css").strip().lower() not in ("text/css", ""):
            tell(name, f"is of the type '{element.get('type')}', expected text/css; it is not read")
            continue
        media = {m.strip().lower() for m in element.get("media", "all").split(",")}
        if media & {"", "all", "screen"}:
            sheets.append(("".join(element.itertext()), name))
    return Cascade(document.root, sheets, tell)


def _page(drawing: Drawing, walk: Walk) -> tuple[tuple[float, float], State]:
    """Return the page's size in mm, and the state just inside the root (SVG 1.1, section 7.2)."""
    root = drawing.document.root
    box = None
    if (text := root.get("viewBox")) is not None:
        try:
            box = view_box(text)
        except ValueError as error:
            raise drawing.error(root, f"has viewBox={error}") from None
    size: list[float | None] = []
    for attribute, own in zip(("width", "height"), (2, 3), strict=True):
        length = _own_size(drawing, attribute)
        if not length or length == "auto":
            size.append(None)
        elif length.endswith("%") and box is None:
            raise drawing.error(
                root, f"has {attribute}='{length}' but no viewBox: its size is unknown"
            )
        else:
            try:
                size.append(length_px(length, box[own] if box else 0.0, FONT_SIZE_PX))
            except ValueError as error:
                raise drawing.error(root, f"has {attribute}={error}") from None
    width, height = size
    if box is not None and box[2] > 0 and box[3] > 0:
        # What is missing follows from the view box, in its proportions.
        if width is None and height is None:
            width, height = box[2], box[3]
        elif width is None and height is not None:
            width = height * box[2] / box[3]
        elif height is None and width is not None:
            height = width * box[3] / box[2]
    elif box is not None:
        raise drawing.error(root, f"has a view box of zero size, {box[2]:g} x {box[3]:g}")
    if width is None or height is None:
        raise drawing.error(root, "has no width and height and no viewBox: its size is unknown")
    if width <= 0 or height <= 0:
        raise drawing.error(
            root, f"has a page of {width:g} x {height:g} px, expected a size above 0"
        )
    page = (round(width * MM_PER_PX, _PAGE_DECIMALS), round(height * MM_PER_PX, _PAGE_DECIMALS))
    upright = (MM_PER_PX, 0.0, 0.0, -MM_PER_PX, 0.0, page[1])
    framed = enter_view_box(drawing, root, upright, width, height)
    assert framed is not None  # the view box is not empty
    matrix, viewport, slices = framed
    outside = State(upright, (width, height))
    inside = walk.enter(root, outside, Purpose.PAINT)
    if inside is None:  # the whole drawing is hidden
        inside = replace(outside, clips=(MultiPolygon(),))
    clips = inside.clips
    if slices:
        clips = (*clips, shapely.multipolygons([shapely.box(0, 0, *page)]))
    return page, replace(inside, matrix=matrix, viewport=viewport, clips=clips)


def _own_size(drawing: Drawing, attribute: str) -> str:
    """Return the width or height that the drawing states; empty where it states none.

    A style's counts where there is no attribute. Programs differ where both are there: browsers
    show a drawing by its style, and by its attributes where it is a picture in another page.
    """
    root = drawing.document.root
    length = root.get(attribute, "").strip()
    styled = drawing.styled_size(attribute)
    if styled is None:
        return length
    if not length or length == "auto" or length.endswith("%"):
        return styled
    if length_px(styled, 0, FONT_SIZE_PX) != _pixels(length):
        drawing.tell_of(
            root,
            "artwork.page-size",
            f"has {attribute}='{length}' and another {attribute} in its style, {styled}: programs "
            "differ in which they take; the attribute counts here",
        )
    return length


def _pixels(text: str) -> float | None:
    try:
        return length_px(text, 0, FONT_SIZE_PX)
    except ValueError:  # told where the page's size is read
        return None


def _group(wanted: str, drawing: Drawing, walk: Walk, state: State) -> tuple[Element, State]:
    """Return the named element and the state just outside it."""
    element, root = _find(wanted, drawing), drawing.document.root
    chain = [ancestor for ancestor in drawing.ancestors(element) if ancestor is not root]
    for ancestor in reversed(chain):
        inside = walk.enter(ancestor, state, Purpose.PAINT, forced=True)
        if inside is None:
            raise drawing.error(
                ancestor, f"is wholly transparent, and with it the group '{wanted}'"
            )
        if local_name(ancestor) == "svg":
            framed = enter_viewport(drawing, ancestor, inside)
            if framed is None:
                raise drawing.error(ancestor, f"has no size, and with it the group '{wanted}'")
            inside = framed
        state = inside
    if element is not root and drawing.is_hidden([element, *chain]):
        drawing.tell(
            "artwork.hidden",
            f"The group '{wanted}' is hidden in the drawing; it is read because the job names it",
            at(state.matrix, 0, 0),
            severity=Severity.NOTE,
        )
    return element, state


def _find(wanted: str, drawing: Drawing) -> Element:
    document = drawing.document
    by_id = document.ids.get(wanted)
    if by_id is not None and local_name(by_id):
        return by_id
    named = [e for e in document.root.iter() if local_name(e) and wanted in names_of(e)]
    if len(named) == 1:
        return named[0]
    if named:
        lines = ", ".join(str(document.line.get(e, 0)) for e in named[:5])
        raise ArtworkError(
            f"{drawing.what}: {len(named)} groups are called '{wanted}' (lines {lines}); "
            "give the id of one of them."
        )
    groups = [
        next(iter(names_of(e)), "")
        for e in document.root.iter()
        if local_name(e) in ("g", "svg") and e is not document.root
    ]
    listed = [f"'{name}'" for name in dict.fromkeys(groups) if name]
    there = ", ".join(listed[:_MOST_LISTED])
    if len(listed) > _MOST_LISTED:
        there += f" and {len(listed) - _MOST_LISTED} more"
    raise ArtworkError(
        f"{drawing.what}: no group is called '{wanted}'; "
        + (f"there are {there}." if listed else "the drawing has no named groups.")
    )


def names_of(element: Element) -> Iterator[str]:
    """Names that an artist may know an element by, the best first."""
    label = element.get(f"{{{INKSCAPE}}}label")
    if label:
        yield label
    if data_name := element.get("data-name"):
        yield data_name
    if name := element.get("id"):
        yield name
        plain = _ESCAPED.sub(lambda m: chr(int(m[1], 16)), name)
        if plain != name:
            yield plain
    for child in element:
        if local_name(child) == "title" and child.text:
            yield child.text.strip()


def _page_findings(
    shape: MultiPolygon, page: tuple[float, float], group: str | None
) -> list[Finding]:
    if shape.is_empty:
        which = "the drawing" if group is None else f"the group '{group}'"
        return [Finding("artwork.nothing", Severity.SPOILS, f"Nothing in {which} is painted.")]
    left, bottom, right, top = shape.bounds
    beyond = max(-left, -bottom, right - page[0], top - page[1])
    if beyond <= _PAGE_SLACK:
        return []
    return [
        Finding(
            "artwork.outside-page",
            Severity.WARNING,
            f"The artwork reaches {beyond:.3g} mm beyond its page of {page[0]:.4g} x "
            f"{page[1]:.4g} mm; all of it is kept.",
            place=(
                left if left < -_PAGE_SLACK else right,
                bottom if bottom < -_PAGE_SLACK else top,
            ),
            size_mm=float(beyond),
        )
    ]
