"""The marks file: faces and outline of a picture as text that a hand can write and mend.

A tracing writes one beside its job, so that it can be made again without the library that found the
faces; an artist may move every point of it, or begin with a few: the corners of the eyes, the tip
of the nose, the corners of the mouth and the chin are enough, the rest is taken from a mean face
that is bent through them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit
from tomlkit.exceptions import TOMLKitError

from ..arrays import Floats
from ..errors import JobError
from ..job.text_file import read_toml
from .bend_face import CLICKS, bent, mean_face
from .edge_walk import drawn_to_edge
from .faces import MARKS, FaceMarks, Subject
from .features import inside_rings
from .find_faces import outline_rings
from .picture import Picture, Size

# Clicks that a face cannot do without: a likeness hangs on the eyes.
_NEEDED = ("right_eye", "left_eye")
# A rough outline may lie off the edge by this share of the picture's longer side.
_ROUGH = 0.03
_HEAD = """\
# Marks of the picture, in its pixels, x to the right and y down; right and left are the person's.
# Move what lies wrong and trace again: sheetstack layers PICTURE --marks {name}
"""


def read_marks_file(path: Path, full: Size) -> Subject:
    """Read a marks file.

    Parameters
    ----------
    path : Path
    full : tuple of int
        Width and height of the picture that it is for.

    Raises
    ------
    JobError
        The file is missing, no TOML, for a picture of another size, or a mark is wrong.
    """
    return _subject(read_toml(path, "a file of marks"), path.name, full)


def subject_from_text(text: str, full: Size) -> Subject:
    """Return what ``marks_text`` has put down of a picture.

    Parameters
    ----------
    text : str
    full : tuple of int
        Width and height of the picture that it is for.

    Raises
    ------
    JobError
        It is no such text, for a picture of another size, or a mark is wrong.
    """
    try:
        table = tomlkit.parse(text).unwrap()
    except TOMLKitError as error:
        raise JobError(f"marks: expected TOML: {error}.") from error
    return _subject(table, "marks", full)


def size_in_text(text: str) -> Size:
    """Return the width and height of the picture that ``marks_text`` was given.

    >>> size_in_text(marks_text(Subject(), (300, 200), "marks.toml"))
    (300, 200)
    """
    width, height = tomlkit.parse(text).unwrap()["size"]
    return int(width), int(height)


def _subject(table: Mapping[str, Any], where: str, full: Size) -> Subject:
    size = table.get("size", list(full))
    if list(size) != list(full):
        raise JobError(
            f"{where}: size = {size}: these marks are for another picture; expected "
            f"{full[0]} x {full[1]} pixels."
        )
    unknown = sorted(set(table) - {"size", "subject", "rough_subject", "faces"})
    if unknown:
        raise JobError(
            f"{where}: {unknown[0]}: expected one of size, subject, rough_subject, faces."
        )
    rings = [_points(ring, f"{where}: subject", 3) for ring in table.get("subject", [])]
    rough = [_points(ring, f"{where}: rough_subject", 3) for ring in table.get("rough_subject", [])]
    faces = [
        completed(face, f"{where}: faces {number}")
        for number, face in enumerate(table.get("faces", []), 1)
    ]
    return Subject(tuple(faces), tuple(rings), tuple(rough), where)


def marks_text(subject: Subject, full: Size, name: str) -> str:
    """Return the text of a marks file.

    Parameters
    ----------
    subject : Subject
    full : tuple of int
        Width and height of the picture in pixels.
    name : str
        Of the file itself, for its own head.
    """
    lines = [_HEAD.format(name=name), f"size = [{full[0]}, {full[1]}]"]
    for key, rings in (("subject", subject.outline), ("rough_subject", subject.rough)):
        if rings:
            lines.append(f"{key} = [")
            lines += [f"  {_pairs(ring)}," for ring in rings]
            lines.append("]")
    for face in subject.faces:
        lines += ["", "[[faces]]"]
        lines += [f"{mark} = {_pairs(face[mark])}" for mark in MARKS]
    return "\n".join(lines) + "\n"


def drawn_out(subject: Subject, picture: Picture) -> Subject:
    """Return the subject with its rough outline, if any, drawn to the picture's edges."""
    if not subject.rough:
        return subject
    factor = picture.shape[1] / picture.full[0]
    rough = inside_rings(picture.shape, [ring * factor for ring in subject.rough])
    sharp = drawn_to_edge(picture.srgb, rough, _ROUGH * max(picture.shape))
    return replace(subject, outline=outline_rings(sharp, 1 / factor), rough=())


def completed(marked: Mapping[str, Any], where: str) -> FaceMarks:
    """Return a face's marks from those that are given, the others from a mean face.

    Parameters
    ----------
    marked : mapping
        Whole marks by the names in ``MARKS``, and clicks by those in ``CLICKS``.
    where : str
        For errors.

    Raises
    ------
    JobError
        A name is unknown, a mark has another number of points, or an eye is missing.
    """
    given: dict[str, Floats] = {}
    clicks: dict[tuple[str, int], Floats] = {}
    for name, value in marked.items():
        if name in MARKS:
            given[name] = _points(value, f"{where}: {name}", MARKS[name], exact=True)
        elif name in CLICKS:
            points = _points(value, f"{where}: {name}", len(CLICKS[name]), exact=True)
            clicks.update(zip(CLICKS[name], points, strict=True))
        else:
            raise JobError(f"{where}: {name}: expected one of {', '.join((*MARKS, *CLICKS))}.")
    if len(given) == len(MARKS):
        return FaceMarks(given)
    for eye in _NEEDED:
        if eye not in marked and f"{eye.split('_')[0]}_upper_lid" not in given:
            raise JobError(f"{where}: expected {' and '.join(_NEEDED)}, each as two corners.")
    mean = mean_face()
    source = [mean[name] for name in given] + [mean[name][k][None] for name, k in clicks]
    target = [*given.values(), *(p[None] for p in clicks.values())]
    bend = bent(np.concatenate(source), np.concatenate(target))
    return FaceMarks({name: given.get(name, bend(mean[name])) for name in MARKS})


def _points(value: object, where: str, count: int, exact: bool = False) -> Floats:
    try:
        points = np.asarray(value, np.float64)
    except (TypeError, ValueError):
        points = np.empty(0)
    good = points.ndim == 2 and points.shape[1:] == (2,) and np.isfinite(points).all()
    if not good or (len(points) != count if exact else len(points) < count):
        raise JobError(
            f"{where}: expected {'' if exact else 'at least '}{count} points like [[120, 85]]."
        )
    return points


def _pairs(points: Floats) -> str:
    return "[" + ", ".join(f"[{x:.1f}, {y:.1f}]" for x, y in points.tolist()) + "]"
