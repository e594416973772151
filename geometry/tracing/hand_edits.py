"""Hand edits: which groups of a traced drawing were changed since; no tracing destroys them.

Each group of the drawing carries a digest of what was traced into it, and the layers as they were
made are kept beside it (``as_made``). A group that paints something else now, or in another colour,
belongs to the artist. Without the layers as made, one whose text no longer gives the digest does.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from xml.parsers import expat

from ..errors import JobError
from .as_made import AS_MADE, is_as_made

#: Attribute of a group, and of the drawing for its job file.
TRACED, TRACED_JOB = "data-traced", "data-traced-job"
#: Namespaces of the drawings that are written here, by prefix; the default one is SVG's.
NAMESPACES = {
    "": "http://www.w3.org/2000/svg",
    "inkscape": "http://www.inkscape.org/namespaces/inkscape",
    "sodipodi": "http://sodipodi.sourceforge.net/DTD/sodipodi-0.dtd",
}
# What makes a shape; ids, styles and a program's own notes may change without an edit.
_SHAPE = frozenset(
    {"d", "points", "x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "x1", "y1", "x2"}
    | {"y2", "transform", "href", "xlink:href"}
)
_DIGITS = 16


@dataclass(frozen=True)
class Group:
    """A group of a drawing.

    Parameters
    ----------
    start, end : int
        Where its text begins and ends in the file, in bytes.
    touched : bool
        Whether it is no longer what was traced.
    shapes : int
        How many it holds.
    outermost : bool
        Whether no group is round it.
    """

    start: int
    end: int
    touched: bool
    shapes: int = 0
    outermost: bool = True


@dataclass(frozen=True)
class Drawing:
    """A drawing as it lies in its folder.

    Parameters
    ----------
    groups : mapping from str to Group
        By id; groups within groups too.
    job : str
        Digest of the job file that was written with it; empty when it tells none.
    spaces : mapping from str to str
        The XML namespaces that its root declares, by prefix; the default one's is empty.
    root : mapping from str to str
        All that its root says.
    """

    groups: Mapping[str, Group]
    job: str
    spaces: Mapping[str, str] = field(default_factory=dict)
    root: Mapping[str, str] = field(default_factory=dict)


def digest(text: str) -> str:
    """Return a short digest of a text.

    >>> len(digest("M0,0 1,0 1,1Z"))
    16
    """
    return hashlib.sha256(text.encode()).hexdigest()[:_DIGITS]


def group_digest(paths: Sequence[str]) -> str:
    """Return the digest of a group that holds nothing but these paths."""
    return digest("\n".join(f"path d={_plain(path)}" for path in paths))


def read_drawing(content: bytes, where: str) -> Drawing:
    """Read what a drawing tells of its groups.

    Parameters
    ----------
    content : bytes
        Of an SVG file.
    where : str
        For errors.

    Raises
    ------
    JobError
        It is no well-formed SVG file, or has a document type of its own.
    """
    reader = _Reader()
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = lambda name, attributes: reader.start(
        name, attributes, parser.CurrentByteIndex
    )
    parser.EndElementHandler = lambda name: reader.end(parser.CurrentByteIndex, content)
    # Entities of a document's own could stand for anything.
    parser.StartDoctypeDeclHandler = lambda name, system, public, internal: reader.refuse(
        bool(internal)
    )
    try:
        parser.Parse(content, True)
    except (expat.ExpatError, ValueError) as error:
        raise JobError(f"{where}: the drawing in this folder cannot be read: {error}.") from error
    return Drawing(reader.groups, reader.job, reader.spaces, reader.root)


def check_untouched(
    folder: Path, drawing: str, job: str, only: Sequence[str] = ()
) -> Drawing | None:
    """Return the drawing that lies in a folder already, if tracing into it destroys no edit.

    Parameters
    ----------
    folder : Path
    drawing, job : str
        Names of the files.
    only : sequence of str
        Ids of the groups that shall be traced anew; all when empty.

    Returns
    -------
    Drawing or None
        None where there is none yet.

    Raises
    ------
    JobError
        A group, or the job file, that would be written anew was changed by hand; or a group to be
        traced anew is not in the drawing.
    """
    path = folder / drawing
    if not path.exists():
        if only:
            raise JobError(f"{path}: there is no drawing yet; trace all layers first.")
        return None
    found = _compared(path, read_drawing(path.read_bytes(), str(path)))
    if only:
        for name in only:
            if name in found.groups and found.groups[name].touched:
                raise JobError(
                    f"{path}: the group '{name}' was changed by hand; delete its shapes in the "
                    "drawing to have it traced anew."
                )
        return found
    touched = [name for name, group in found.groups.items() if group.touched]
    if touched:
        raise JobError(
            f"{path}: changed by hand: {', '.join(touched)}; give another folder, or the layers to "
            "draw anew with --only, which keeps the others as they are."
        )
    job_path = folder / job
    if found.job and job_path.exists() and digest(job_path.read_text("utf-8")) != found.job:
        raise JobError(
            f"{job_path}: was changed by hand; give another folder, or the layers to draw anew "
            "with --only, which keeps it."
        )
    return found


def _compared(path: Path, found: Drawing) -> Drawing:
    """Return a drawing with its groups compared with what was made, where that was kept."""
    made = path.with_name(AS_MADE)
    if not made.is_file():
        return found
    text, old_text = path.read_bytes(), made.read_bytes()
    old = read_drawing(old_text, str(made))
    same_root = found.root == old.root
    groups = {}
    for name, group in found.groups.items():
        before = old.groups.get(name)
        if before is None:
            inside = [g for n, g in found.groups.items() if n in old.groups and _holds(group, g)]
            # A group that was put round layers, or by a program within one, says nothing itself.
            more = group.shapes > sum(g.shapes for g in inside)
            within = any(_holds(g, group) for n, g in found.groups.items() if n in old.groups)
            groups[name] = replace(group, touched=more and not within)
            continue
        plain = same_root and group.outermost
        as_it_was = text[group.start : group.end] == old_text[before.start : before.end]
        touched = (
            group.shapes > 0 and not (plain and as_it_was) and not is_as_made(path, made, name)
        )
        groups[name] = replace(group, touched=touched)
    return replace(found, groups=groups, job=found.job or old.job)


def _holds(outer: Group, inner: Group) -> bool:
    return outer.start < inner.start and inner.end < outer.end


def with_groups(content: bytes, found: Drawing, fresh: Mapping[str, str]) -> bytes:
    """Return a drawing with some of its groups replaced, all else byte for byte as it was.

    Parameters
    ----------
    content : bytes
    found : Drawing
        Of the same content.
    fresh : mapping from str to str
        Text of the new groups by id; those that the drawing lacks are put at its end.
    """
    fresh = {name: _at_home(text, found.spaces) for name, text in fresh.items()}
    result = content
    for name, group in sorted(found.groups.items(), key=lambda item: -item[1].start):
        if name in fresh:
            result = result[: group.start] + fresh[name].strip().encode() + result[group.end :]
    missing = [text for name, text in fresh.items() if name not in found.groups]
    if missing:
        end = result.rindex(b"</")
        result = result[:end] + "".join(missing).encode() + result[end:]
    return result


def _at_home(text: str, spaces: Mapping[str, str]) -> str:
    """Return a group's text with what it needs of namespaces that the drawing's root lacks.

    Programs drop those that they have no use for, or give SVG itself a prefix.
    """
    missing = [
        f' xmlns{":" * bool(prefix)}{prefix}="{uri}"'
        for prefix, uri in NAMESPACES.items()
        if spaces.get(prefix) != uri and (not prefix or f"{prefix}:" in text)
    ]
    return text.replace("<g", "<g" + "".join(missing), 1)


@dataclass
class _Open:
    start: int
    id: str
    traced: str
    outermost: bool
    lines: list[str] = field(default_factory=list)


class _Reader:
    """Collects the groups while the parser walks through the drawing."""

    def __init__(self) -> None:
        self.groups: dict[str, Group] = {}
        self.job = ""
        self.spaces: dict[str, str] = {}
        self.root: dict[str, str] = {}
        self._open: list[_Open | None] = []

    def refuse(self, internal: bool) -> None:
        if internal:
            raise ValueError("it declares a document type of its own")

    def start(self, name: str, attributes: dict[str, str], at: int) -> None:
        kind = name.rpartition(":")[2]
        if not self._open:
            self.job = attributes.get(TRACED_JOB, "")
            self.root = {k: _plain(v) for k, v in attributes.items()}
            self.spaces = {
                name.partition(":")[2]: uri
                for name, uri in attributes.items()
                if name.partition(":")[0] == "xmlns"
            }
        shape = [f"{k}={_plain(v)}" for k, v in sorted(attributes.items()) if k in _SHAPE]
        line = " ".join([kind, *shape])
        for group in self._open:
            # A group that only holds others is no shape.
            if group is not None and (kind != "g" or shape):
                group.lines.append(line)
        # The photo under the layers, and whatever else is no layer's, carries no digest.
        if kind == "g" and attributes.get("id") and attributes.get(TRACED) != "no":
            traced = attributes.get(TRACED, "")
            opened = _Open(at, attributes["id"], traced, len(self._open) == 1)
            if "transform" in attributes:
                opened.lines.append(f"moved {_plain(attributes['transform'])}")
            self._open.append(opened)
        else:
            self._open.append(None)

    def end(self, at: int, content: bytes) -> None:
        group = self._open.pop()
        if group is not None:
            end = content.index(b">", at) + 1
            # One that was emptied is free to be traced anew.
            touched = bool(group.lines) and digest("\n".join(group.lines)) != group.traced
            self.groups[group.id] = Group(
                group.start, end, touched, len(group.lines), group.outermost
            )


def _plain(value: str) -> str:
    return " ".join(value.split())
