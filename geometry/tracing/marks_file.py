"""The marks file: faces and outline of a picture as text that a hand can write and mend.

A tracing writes one beside its job, so that it can be made again without the library that found the
faces; an artist may move every point of it, or begin with a few: the corners of the eyes, the tip
of the nose, the corners of the mouth and the chin are enough, the rest is taken from a mean face
that is bent through them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit

from ..arrays import Floats
from ..errors import JobError
from ..job.text_file import read_toml
from ..tolerance import NOT_ZERO
from .edge_walk import drawn_to_edge
from .faces import MARKS, FaceMarks, Subject
from .features import inside_rings
from .find_faces import outline_rings
from .picture import Picture, Size

#: What may be clicked instead of whole marks: each point of a click stands for a point of a mark.
CLICKS: Mapping[str, tuple[tuple[str, int], ...]] = {
    "right_eye": (("right_upper_lid", 0), ("right_upper_lid", 8)),
    "left_eye": (("left_upper_lid", 0), ("left_upper_lid", 8)),
    "right_pupil": (("right_iris", 0),),
    "left_pupil": (("left_iris", 0),),
    "right_brow_ends": (("right_brow", 0), ("right_brow", 4)),
    "left_brow_ends": (("left_brow", 0), ("left_brow", 4)),
    "nose_tip": (("nose_line", 5),),
    "nose_wings": (("nose_base", 1), ("nose_base", 7)),
    "mouth": (("upper_lip", 0), ("upper_lip", 10)),
    "lip_middle": (("upper_lip_line", 5),),
    "chin_tip": (("chin", 2),),
    "temples": (("oval", 31), ("oval", 5)),
}
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
    table = read_toml(path, "a file of marks")
    where = path.name
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


def mean_face() -> dict[str, Floats]:
    """Return the marks of a mean face, its right iris at (0, 0) and its left one at (1, 0).

    The mean of what MediaPipe finds in the public pictures of ``tests/bench/bench_portraits.py``.
    """
    text = files(__package__).joinpath("mean_face.toml").read_text(encoding="utf-8")
    return {name: np.asarray(points) for name, points in tomlkit.parse(text).unwrap().items()}


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
    bend = _bent(np.concatenate(source), np.concatenate(target))
    return FaceMarks({name: given.get(name, bend(mean[name])) for name in MARKS})


def _bent(source: Floats, target: Floats) -> Any:
    """Return the smoothest map of the plane that takes some points to others.

    A turn and scale that fits best, and on top of it a thin plate spline of what is left
    (Bookstein, "Principal warps", IEEE Trans. Pattern Analysis and Machine Intelligence 11, 1989).
    """
    a, b = source @ (1, 1j), target @ (1, 1j)
    middle_a, middle_b = a.mean(), b.mean()
    turn = np.vdot(a - middle_a, b - middle_b) / np.vdot(a - middle_a, a - middle_a)

    def turned(points: Floats) -> Floats:
        moved = (points @ (1, 1j) - middle_a) * turn + middle_b
        return np.column_stack([moved.real, moved.imag])

    def kernel(points: Floats) -> Floats:
        square = ((points[:, None] - source[None]) ** 2).sum(axis=2)
        return 0.5 * square * np.log(np.maximum(square, NOT_ZERO))

    count = len(source)
    flat = np.column_stack([np.ones(count), source])
    system = np.zeros((count + 3, count + 3))
    system[:count, :count] = kernel(source) + 1e-6 * np.eye(count)
    system[:count, count:], system[count:, :count] = flat, flat.T
    # Few points on one line leave the rest of the plane open: the least of all solutions.
    right = np.concatenate([target - turned(source), np.zeros((3, 2))])
    weights = np.linalg.lstsq(system, right, rcond=1e-9)[0]

    def bend(points: Floats) -> Floats:
        plate = np.column_stack([kernel(points), np.ones(len(points)), points])
        return turned(points) + plate @ weights

    return bend


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
