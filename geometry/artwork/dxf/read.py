"""DXF drawings: closed outlines, and lines and arcs that join to loops, to be painted.

Read by ezdxf in its forgiving mode. Outlines are filled evenodd, so that a loop within a loop is a
hole; hatches and solids are areas in themselves and are added to that.
"""

from __future__ import annotations

import logging
import re
import struct
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import ezdxf.filemanagement
from ezdxf import recover
from ezdxf.document import Drawing
from ezdxf.lldxf.const import DXFError
from ezdxf.xclip import XClip

from ...errors import ArtworkError
from ...finding import Finding, Severity
from ...tolerance import TOLERANCES, Tolerances
from ..fill.contour import Compound, Contour
from ..fill.fill import fill_all
from ..fill.join_ends import join_ends
from ..read import Artwork
from ..source import ArtworkSource
from .outlines import (
    AREAS,
    LINES,
    AbsurdNumberError,
    OutlineError,
    OutlineReader,
    place_of_entity,
)

#: More entities than this, blocks resolved, are refused: blocks in blocks can make billions.
MOST_ENTITIES = 500_000

_DEEPEST_NESTING = 50

# Open lines beyond this many are told together.
_TELL_EACH = 10

#: What the DXF library says of a fault is cut to so many characters.
_LONGEST_REASON = 120

# $INSUNITS (DXF reference, header section): name and length in mm. 0 is 'no unit'. Units of atoms
# and of stars are left out.
_UNITS: dict[int, tuple[str, float]] = {
    1: ("inches", 25.4),
    2: ("feet", 304.8),
    3: ("miles", 1_609_344.0),
    4: ("mm", 1.0),
    5: ("cm", 10.0),
    6: ("m", 1000.0),
    7: ("km", 1e6),
    8: ("microinches", 25.4e-6),
    9: ("mils", 0.0254),
    10: ("yards", 914.4),
    13: ("microns", 1e-3),
    14: ("dm", 100.0),
    15: ("dam", 1e4),
    16: ("hm", 1e5),
    21: ("US survey feet", 1_200_000 / 3937),
}

_TEXT = ("TEXT", "MTEXT", "ATTRIB", "ATTDEF")

_WHY_LEFT_OUT = {
    **dict.fromkeys(_TEXT, "turn text into outlines to cut it"),
    "IMAGE": "trace the picture to cut it",
    "UNDERLAY": "trace the picture to cut it",
    "3DSOLID": "only flat outlines can be cut",
    "3DFACE": "only flat outlines can be cut",
    "MESH": "only flat outlines can be cut",
    "BODY": "only flat outlines can be cut",
    "SURFACE": "only flat outlines can be cut",
    "REGION": "explode the region to its outlines to cut it",
}

# Help lines that draw nothing.
_HELP_LINES = ("POINT", "XLINE", "RAY", "VIEWPORT")

_BINARY_SIGNATURE = b"AutoCAD Binary DXF"

# Where the first SECTION and the final EOF are looked for, in bytes from either end.
_HEAD, _TAIL = 65_536, 256

# What ezdxf raises on broken files beside its own errors: found by feeding it damaged files.
_DAMAGE = (
    *(DXFError, struct.error, ValueError, TypeError, AssertionError),
    *(LookupError, AttributeError, ArithmeticError, EOFError, RecursionError),
)

# What it raises where an entity lacks a part, or has one of a wrong kind.
_DAMAGED_ENTITY = (DXFError, ValueError, TypeError, LookupError)


def read_dxf(source: ArtworkSource, tolerances: Tolerances = TOLERANCES) -> Artwork:
    """Read a DXF drawing, ASCII or binary.

    Read are the model space's LINE, ARC, CIRCLE, ELLIPSE, SPLINE, LWPOLYLINE, POLYLINE, HATCH,
    MPOLYGON, SOLID and TRACE entities, those in blocks too; layers that are off or frozen are
    skipped. Everything else is a finding.

    Parameters
    ----------
    source : ArtworkSource
        ``group`` is the name of a DXF layer; a layer that is named is read even if it is off.
        Entities on layer 0 of a block are on the layer of the block's insertion.
    tolerances : Tolerances

    Returns
    -------
    Artwork
        In the drawing's own coordinates, in mm by $INSUNITS. No page.

    Raises
    ------
    ArtworkError
        The file is no DXF drawing, too damaged, too large, or has no layer of that name.
    """
    document, told = load_drawing(source.path)
    drawing = _Drawing(source, document, tolerances)
    drawing.findings += told
    unit_mm = drawing.unit_mm()
    drawing.check_group()
    reader = OutlineReader(unit_mm=unit_mm, chord_mm=tolerances.chord, join_mm=tolerances.join)
    try:
        drawing.check_size()
        compounds = drawing.compounds(reader)
    except DXFError as error:
        raise ArtworkError(f"{source.path}: the DXF drawing is damaged: {error}.") from error
    filled = fill_all(compounds, tolerances=tolerances, what=str(source.path))
    drawing.findings += filled.findings
    if filled.shape.is_empty:
        drawing.findings.append(drawing.nothing_found())
    return Artwork(filled.shape, None, tuple(drawing.findings))


def load_drawing(path: Path) -> tuple[Drawing, list[Finding]]:
    """Read a DXF file and have its faults mended.

    Parameters
    ----------
    path : Path

    Returns
    -------
    document : Drawing
    findings : list of Finding
        What was mended, and what could not be.

    Raises
    ------
    ArtworkError
        The file is no DXF drawing, or too damaged.
    """
    quiet = logging.getLogger("ezdxf")
    disabled = quiet.disabled
    quiet.disabled = True  # what it has to say comes back from the audit
    try:
        binary = _is_binary(path)
        if binary:  # which the forgiving mode does not know
            document = ezdxf.filemanagement.readfile(path)
            audit = document.audit()
        else:
            document, audit = recover.readfile(path)
    except OSError as error:
        raise ArtworkError(
            f"{path}: cannot be read: {error.strerror or 'is not a DXF drawing'}."
        ) from error
    except _DAMAGE as error:
        reason = "".join(c if c.isprintable() else " " for c in str(error))
        reason = " ".join(reason.split())[:_LONGEST_REASON].rstrip(".")
        raise ArtworkError(
            f"{path}: the DXF drawing is too damaged to be read{': ' if reason else ''}{reason}."
        ) from error
    finally:
        quiet.disabled = disabled
    findings = []
    for entries, severity, verb in (
        (audit.fixes, Severity.NOTE, "mended"),
        (audit.errors, Severity.WARNING, "not mended"),
    ):
        if entries:
            findings.append(
                Finding(
                    "artwork.damaged-file",
                    severity,
                    f"{path.name}: {len(entries)} faults in the file were {verb}; "
                    f"the first: {' '.join(entries[0].message.split()).rstrip('.')}.",
                )
            )
    return document, findings


def _is_binary(path: Path) -> bool:
    """Look whether this is a DXF file at all, and a whole one; ezdxf would make the best of it."""
    with path.open("rb") as file:
        start = file.read(_HEAD)
        file.seek(-min(_TAIL, file.seek(0, 2)), 2)
        end = file.read()
    if not start:
        raise ArtworkError(f"{path}: the file is empty; expected a DXF drawing.")
    if start.startswith(_BINARY_SIGNATURE):
        return True
    if re.search(rb"^\s*0\s*\r?\n\s*SECTION\s*$", start, re.MULTILINE) is None:
        raise ArtworkError(f"{path}: is not a DXF drawing: it does not begin with a SECTION.")
    if end.split()[-1:] != [b"EOF"]:
        raise ArtworkError(f"{path}: the DXF drawing is cut short: its last line is not EOF.")
    return False


@dataclass
class _Crowd:
    """Entities of one kind that share a finding."""

    severity: Severity
    reason: str
    count: int = 0
    place: tuple[float, float] | None = None


@dataclass
class _Drawing:
    """One reading of one drawing, and what there is to tell about it."""

    source: ArtworkSource
    document: Drawing
    tolerances: Tolerances
    findings: list[Finding] = field(default_factory=list)
    hidden: Counter[str] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        group = self.source.group
        self.group = None if group is None else group.casefold()
        self.concealed = {
            layer.dxf.name.casefold(): layer.is_frozen()
            for layer in self.document.layers
            if layer.is_off() or layer.is_frozen()
        }
        self._crowds: dict[tuple[str, str, str], _Crowd] = {}
        self._unit = 1.0

    def unit_mm(self) -> float:
        code = self.document.header.get("$INSUNITS", 0)
        name = self.source.path.name
        if code == 0:
            self.findings.append(
                Finding(
                    "artwork.no-unit",
                    Severity.NOTE,
                    f"{name}: gives no unit ($INSUNITS), so its lengths are taken as mm.",
                )
            )
            return 1.0
        if code not in _UNITS:
            known = ", ".join(unit for unit, _ in _UNITS.values())
            raise ArtworkError(
                f"{self.source.path}: $INSUNITS = {code}: expected the number of one of {known}."
            )
        self._unit = _UNITS[code][1]
        return self._unit

    def check_group(self) -> None:
        if self.group is None:
            return
        names = {layer.dxf.name for layer in self.document.layers}
        # Layers need no entry in the table: an entity's word is enough.
        names |= {str(_attribute(e, "layer", "0")) for block in self.document.blocks for e in block}
        if self.group not in {name.casefold() for name in names}:
            existing = ", ".join(f"'{name}'" for name in sorted(names))
            raise ArtworkError(
                f"{self.source.path}: has no layer '{self.source.group}'; "
                f"its layers are {existing}."
            )

    def check_size(self) -> None:
        """Count entities, blocks resolved, without resolving them."""
        counts: dict[str, int] = {}

        def count(entities: Iterable[Any], within: tuple[str, ...]) -> int:
            total = 0
            for entity in entities:
                total += 1
                if entity.dxftype() != "INSERT":
                    continue
                name = str(entity.dxf.name).casefold()
                if name in within:
                    raise ArtworkError(
                        f"{self.source.path}: block '{entity.dxf.name}' contains itself."
                    )
                if len(within) == _DEEPEST_NESTING:
                    raise ArtworkError(
                        f"{self.source.path}: block '{entity.dxf.name}' lies deeper than "
                        f"{_DEEPEST_NESTING} blocks within blocks."
                    )
                if name not in counts:
                    counts[name] = count(entity.block() or (), (*within, name))
                total += entity.mcount * counts[name]
            return total

        total = count(self.document.modelspace(), ())
        if total > MOST_ENTITIES:
            raise ArtworkError(
                f"{self.source.path}: holds {total} entities, those in blocks counted once for "
                f"each insertion; expected at most {MOST_ENTITIES}."
            )

    def compounds(self, reader: OutlineReader) -> list[Compound]:
        outlines: list[Contour] = []
        areas: list[Compound] = []
        for entity, layer in self._entities(self.document.modelspace(), None):
            kind = entity.dxftype()
            name = f"{kind} on layer '{layer}'"
            try:
                if kind in LINES:
                    outlines.append(reader.line(entity, name))
                    if kind in ("LWPOLYLINE", "POLYLINE") and _has_width(entity):
                        self._tell(entity, layer, "has a width, which is ignored")
                elif kind in AREAS:
                    areas.append(Compound(reader.area(entity, name), "evenodd", name))
                    if _has_gaps(entity):
                        self._tell(
                            entity,
                            layer,
                            "has a pattern; it counts as painted all over, its gaps too",
                        )
                else:
                    self._left_out(entity, layer)
            except AbsurdNumberError as error:
                called = self._called(entity, layer)
                raise ArtworkError(f"{self.source.path}: {called} {error}.") from error
            except OutlineError as error:
                self._tell(entity, layer, f"{error} and was left out")
            except _DAMAGED_ENTITY as error:
                called = self._called(entity, layer)
                raise ArtworkError(f"{self.source.path}: {called} is damaged.") from error
        joined, findings = join_ends(outlines, self.tolerances.join)
        if len(findings) > _TELL_EACH:
            message = (
                f"{len(findings)} lines and curves stay open, because nothing joins their ends, "
                "and were left out; the first of them here."
            )
            findings = (replace(findings[0], message=message, size_mm=None),)
        self.findings += findings
        self._finish()
        loops = [contour for contour in joined if contour.closed]
        return [Compound(loops, "evenodd"), *areas] if loops else areas

    @staticmethod
    def _called(entity: Any, layer: str) -> str:
        handle = _attribute(entity, "handle", None)
        return f"{entity.dxftype()}{f' #{handle}' if handle else ''} on layer '{layer}'"

    def _entities(
        self, entities: Iterable[Any], inherited: str | None
    ) -> Iterator[tuple[Any, str]]:
        """Yield every entity to be read with its layer, insertions of blocks resolved."""
        for entity in entities:
            if _attribute(entity, "invisible", 0):
                self.hidden["(invisible)"] += 1
                continue
            layer = str(_attribute(entity, "layer", "0"))
            if layer == "0" and inherited is not None:
                layer = inherited
            if entity.dxftype() == "INSERT":
                yield from self._inserted(entity, layer)
            elif self.group is not None:
                if layer.casefold() == self.group:
                    yield entity, layer
            elif layer.casefold() in self.concealed:
                self.hidden[layer] += 1
            else:
                yield entity, layer

    def _inserted(self, insert: Any, layer: str) -> Iterator[tuple[Any, str]]:
        # A frozen layer hides whole insertions; one that is off only what is on it.
        if self.concealed.get(layer.casefold()) and layer.casefold() != self.group:
            self.hidden[layer] += 1
            return
        block = insert.block()
        name = str(insert.dxf.name)
        if block is None:
            self._tell(insert, layer, f"inserts block '{name}', which does not exist")
            return
        if block.block.is_xref:
            self._tell(insert, layer, f"inserts block '{name}' of another file, which is not read")
            return
        clip = XClip(insert)
        if clip.has_clipping_path and clip.is_clipping_enabled:
            self._tell(insert, layer, f"clips block '{name}', which is read whole")
        yield from self._entities(insert.attribs, layer)
        for single in insert.multi_insert() if insert.mcount > 1 else (insert,):
            yield from self._entities(
                single.virtual_entities(
                    skipped_entity_callback=lambda entity, reason: self._tell(
                        entity, layer, f"in block '{name}' was left out ({reason})"
                    )
                ),
                layer,
            )

    def _left_out(self, entity: Any, layer: str) -> None:
        kind = entity.dxftype()
        if kind in _HELP_LINES:
            self._tell(entity, layer, "was left out: it draws nothing", Severity.NOTE)
            return
        why = next((why for key, why in _WHY_LEFT_OUT.items() if key in kind), None)
        why = why or "it is not a closed outline"
        self._tell(entity, layer, f"was left out: {why}")

    def _tell(
        self, entity: Any, layer: str, reason: str, severity: Severity = Severity.WARNING
    ) -> None:
        key = (entity.dxftype(), layer, reason)
        crowd = self._crowds.setdefault(key, _Crowd(severity, reason))
        crowd.count += 1
        if crowd.place is None:
            place = place_of_entity(entity)
            crowd.place = place and (place[0] * self._unit, place[1] * self._unit)

    def _finish(self) -> None:
        for (kind, layer, _), crowd in self._crowds.items():
            what = f"{kind} on layer '{layer}'"
            if crowd.count > 1:
                what = f"{crowd.count} {kind} entities on layer '{layer}', the first of them here:"
            code = "ignored"
            if "left out" in crowd.reason:
                code = "text" if kind in _TEXT else "left-out"
            self.findings.append(
                Finding(
                    f"artwork.{code}", crowd.severity, f"{what} {crowd.reason}.", place=crowd.place
                )
            )
        for layer, count in self.hidden.items():
            what = "marked invisible" if layer == "(invisible)" else f"on hidden layer '{layer}'"
            self.findings.append(
                Finding(
                    "artwork.hidden",
                    Severity.NOTE,
                    f"Skipped {count} {'entity' if count == 1 else 'entities'} {what}.",
                )
            )

    def nothing_found(self) -> Finding:
        where = f"on layer '{self.source.group}'" if self.source.group else "in its model space"
        elsewhere = [
            layout.name
            for layout in self.document.layouts
            if layout.name != "Model" and any(entity.dxftype() != "VIEWPORT" for entity in layout)
        ]
        hint = f"; there is something on the paper '{elsewhere[0]}'" if elsewhere else ""
        return Finding(
            "artwork.empty",
            Severity.WARNING,
            f"{self.source.path.name}: has no closed outline {where}{hint}; nothing is painted.",
        )


def _attribute(entity: Any, key: str, default: Any) -> Any:
    # Entities of kinds that ezdxf does not know have hardly any attributes.
    return entity.dxf.get(key, default) if entity.dxf.is_supported(key) else default


def _has_gaps(entity: Any) -> bool:
    """Return whether a hatch is drawn as a pattern of lines, with gaps between them."""
    return entity.dxftype() in ("HATCH", "MPOLYGON") and entity.dxf.get("solid_fill", 1) == 0


def _has_width(entity: Any) -> bool:
    if entity.dxftype() == "LWPOLYLINE":
        return bool(entity.has_width or entity.dxf.get("const_width", 0))
    return bool(entity.dxf.get("default_start_width", 0) or entity.dxf.get("default_end_width", 0))
