"""Faces that a hand moves: a few points stand for all, and the rest is bent along with them."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files
from typing import Any

import numpy as np
import tomlkit

from ..arrays import Floats
from ..tolerance import NOT_ZERO
from .faces import FaceMarks

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
#: The same one by one: the mark and the number of its point.
KEY_POINTS = tuple(place for places in CLICKS.values() for place in places)


def key_points(face: FaceMarks) -> Floats:
    """Return the points (n, 2) of a face that a hand moves, in the order of ``KEY_POINTS``."""
    return np.array([face[name][number] for name, number in KEY_POINTS])


def face_between(right: Floats, left: Floats) -> FaceMarks:
    """Return a mean face with its right and its left pupil at two places.

    Examples
    --------
    >>> face = face_between(np.array([100.0, 80.0]), np.array([160.0, 80.0]))
    >>> round(face.eye_distance, 6), bool(face["chin"][2, 1] > 80)
    (60.0, True)
    """
    mean = mean_face()
    bend = bent(
        np.stack([mean["right_iris"][0], mean["left_iris"][0]]),
        np.stack([np.asarray(right, np.float64), np.asarray(left, np.float64)]),
    )
    return FaceMarks({name: bend(points) for name, points in mean.items()})


def with_key_point(face: FaceMarks, number: int, place: Floats) -> FaceMarks:
    """Return a face with one of its key points at another place.

    The others stay, and all that lies between is bent along. An iris moves as a whole.

    Parameters
    ----------
    face : FaceMarks
    number : int
        In ``KEY_POINTS``.
    place : float64 array (2,)
    """
    source = key_points(face)
    target = source.copy()
    target[number] = place
    name = KEY_POINTS[number][0]
    if name.endswith("_iris"):
        moved = face[name] + (target[number] - source[number])
        return FaceMarks({**face.points, name: moved})
    bend = bent(source, target)
    kept = {n: p if n.endswith("_iris") else bend(p) for n, p in face.points.items()}
    return FaceMarks(kept)


def with_point(face: FaceMarks, mark: str, number: int, place: Floats) -> FaceMarks:
    """Return a face with one point of one mark at another place, and nothing else moved.

    The marks of an eye share its corners, those of a mouth too: what lay together stays so.

    Parameters
    ----------
    face : FaceMarks
    mark : str
    number : int
        Of the point in the mark.
    place : float64 array (2,)
        In pixels of the picture.
    """
    old = face[mark][number]
    return FaceMarks(
        {
            name: np.where((points == old).all(axis=1)[:, None], place, points)
            for name, points in face.points.items()
        }
    )


def mean_face() -> dict[str, Floats]:
    """Return the marks of a mean face, its right iris at (0, 0) and its left one at (1, 0).

    The mean of what MediaPipe finds in the public pictures of ``tests/bench/bench_portraits.py``.
    """
    text = files(__package__).joinpath("mean_face.toml").read_text(encoding="utf-8")
    return {name: np.asarray(points) for name, points in tomlkit.parse(text).unwrap().items()}


def bent(source: Floats, target: Floats) -> Any:
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
