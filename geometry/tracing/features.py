"""Features: where the marks of faces lie, as planes that the drawing is weighted by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from ..arrays import Bools, Floats, Plane
from ..tolerance import NOT_ZERO
from .blur import blur
from .faces import SIDES, FaceMarks

#: How much worse damage is there than elsewhere: in eyes, on the mouth, on brows and nose, and in
#: the rest of a face.
CARE_EYES, CARE_MOUTH, CARE_MARKS, CARE_FACE = 8.0, 6.0, 4.0, 2.0

# Widths in distances between the eyes: of the zone of a mark, of the softer one of a nose, and of
# that round an eye, where glasses sit.
_ZONE, _NOSE_ZONE, _SOCKET, _SOFT = 0.17, 0.12, 0.9, 0.045
# Lash lines and the line of the lips are so wide in their middle, and may lie so far off the marks;
# a mouth that is open less than this is shut.
_LASH, _LASH_REACH = 0.06, 0.035
_LINE, _LIP_REACH, _SHUT = 0.05, 0.05, 0.06
# Nothing of a blur is left so many times its width away.
_BLUR_REACH = 5.0
# Lines of marks are drawn this many times finer than pixels.
_FINER = 4


@dataclass(frozen=True, eq=False)
class Stroke:
    """A feature that is drawn however faint it is.

    Parameters
    ----------
    zone : float32 array (rows, columns)
        Where it may be drawn, 0 to 1.
    span : float
        Distance between the face's eyes in pixels.
    """

    zone: Plane
    span: float


@dataclass(frozen=True, eq=False)
class MarkLine:
    """A line that is drawn from end to end.

    Parameters
    ----------
    points : float64 array (n, 2)
        In pixels of the planes.
    width, reach : float
        Of the stroke in its middle, and how far off the marks it may run, in pixels.
    """

    points: Floats
    width: float
    reach: float


@dataclass(frozen=True, eq=False)
class Features:
    """Planes of one size, each 0 to 1, row 0 at the top.

    Parameters
    ----------
    faces : float32 array
        Within the oval of a face.
    zones : float32 array
        1 on eyes, brows, nose base and lips, falling off beside them.
    irises : float32 array
        What is seen of pupils and irises between the lids.
    mouths : float32 array
        Between the lines of the lips of an open mouth.
    sockets : float32 array
        Round each eye as far as glasses reach.
    strokes : tuple of Stroke
        What a likeness cannot do without: brows, the lower line of an open mouth.
    forms : tuple of Stroke
        Lips and the base of the nose, drawn in the mid-tone.
    lines : tuple of MarkLine
        Lash lines, and the line between the lips or over an open mouth.
    """

    faces: Plane
    zones: Plane
    irises: Plane
    mouths: Plane
    sockets: Plane
    strokes: tuple[Stroke, ...]
    forms: tuple[Stroke, ...]
    lines: tuple[MarkLine, ...]


def features_of(faces: Sequence[FaceMarks], size: tuple[int, int]) -> Features:
    """Return the planes of some faces.

    Parameters
    ----------
    faces : sequence of FaceMarks
        In pixels of the planes.
    size : tuple of int
        Rows and columns.
    """
    none = np.zeros(size, np.float32)
    planes = [(none,) * 5, *(_features(face, size) for face in faces)]
    oval, zones, irises, mouths, sockets = (
        np.max(np.stack(same), axis=0) for same in zip(*planes, strict=True)
    )
    return Features(
        oval,
        zones,
        irises,
        mouths,
        sockets,
        tuple(s for face in faces for s in _strokes(face, size)),
        tuple(s for face in faces for s in _forms(face, size)),
        tuple(line for face in faces for line in _lines(face)),
    )


def _strokes(face: FaceMarks, size: tuple[int, int]) -> list[Stroke]:
    span = face.eye_distance
    zones = [
        near(size, [face[f"{side}_brow"]], 0.04 * span, 0.01 * span, filled=True) for side in SIDES
    ]
    if not _shut(face):
        zones.append(near(size, [face["lower_lip_line"]], 0.1 * span, 0.01 * span))
    return [Stroke(zone, span) for zone in zones]


def _forms(face: FaceMarks, size: tuple[int, int]) -> list[Stroke]:
    span = face.eye_distance
    lips = [
        np.concatenate([face[f"{part}_lip"], face[f"{part}_lip_line"][::-1]])
        for part in ("upper", "lower")
    ]
    zones = [near(size, [lip], 0.03 * span, 0.01 * span, filled=True) for lip in lips]
    zones.append(near(size, [face["nose_base"][1:-1]], 0.14 * span, 0.01 * span))
    return [Stroke(zone, span) for zone in zones]


def _lines(face: FaceMarks) -> list[MarkLine]:
    span = face.eye_distance
    lines = [
        MarkLine(face[f"{side}_upper_lid"], _LASH * span, _LASH_REACH * span) for side in SIDES
    ]
    upper, lower = face["upper_lip_line"], face["lower_lip_line"]
    mouth = (upper + lower) / 2 if _shut(face) else upper
    lines.append(MarkLine(mouth, _LINE * span, _LIP_REACH * span))
    return lines


def _shut(face: FaceMarks) -> bool:
    apart = np.hypot(*(face["upper_lip_line"] - face["lower_lip_line"]).T).max()
    return bool(apart < _SHUT * face.eye_distance)


def _features(face: FaceMarks, size: tuple[int, int]) -> tuple[Plane, ...]:
    span = face.eye_distance
    closed = [face.eye(side) for side in SIDES] + [face[f"{side}_brow"] for side in SIDES]
    closed.append(np.concatenate([face["upper_lip"], face["lower_lip"][::-1]]))
    zones = near(size, closed, _ZONE * span, _SOFT * span, filled=True)
    nose = near(size, [face["nose_base"]], _NOSE_ZONE * span, _SOFT * span)
    irises = np.zeros(size, np.float32)
    for side in SIDES:
        turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
        radius = face.iris_radius(side)
        circle = face[f"{side}_iris"][0] + radius * np.column_stack([np.cos(turn), np.sin(turn)])
        # The lids' marks run along the skin's edge: the lashes' root lies a little outside.
        opening = drawn(size, face.eye(side), filled=True, width=0.02 * span)
        np.maximum(irises, drawn(size, circle, filled=True) * opening, out=irises)
    mouths = np.zeros(size, np.float32)
    if not _shut(face):
        upper, lower = face["upper_lip_line"], face["lower_lip_line"]
        mouths = drawn(size, np.concatenate([upper, lower[::-1]]), filled=True)
    oval = drawn(size, face["oval"], filled=True)
    eyes = [face.eye(side) for side in SIDES]
    sockets = near(size, eyes, _SOCKET * span, _SOFT * span, filled=True)
    return oval, np.maximum(zones, nose), irises, mouths, sockets


def care_of(faces: Sequence[FaceMarks], size: tuple[int, int]) -> Plane:
    """Return how much worse visible damage is in each pixel than where no face is.

    Parameters
    ----------
    faces : sequence of FaceMarks
        In pixels of the plane.
    size : tuple of int
        Rows and columns.

    Returns
    -------
    float32 array (rows, columns)
        1 to 8.
    """
    care = np.ones(size, np.float32)

    def raise_to(plane: Plane, most: float) -> None:
        np.maximum(care, 1 + np.float32(most - 1) * plane, out=care)

    for face in faces:
        span = face.eye_distance
        soft = 0.03 * span
        raise_to(drawn(size, face["oval"], filled=True), CARE_FACE)
        brows = [face[f"{side}_brow"] for side in SIDES]
        raise_to(near(size, brows, 0.06 * span, soft, filled=True), CARE_MARKS)
        raise_to(near(size, [face["nose_base"]], 0.1 * span, soft), CARE_MARKS)
        lips = np.concatenate([face["upper_lip"], face["lower_lip"][::-1]])
        raise_to(near(size, [lips], 0.06 * span, soft, filled=True), CARE_MOUTH)
        eyes = [face.eye(side) for side in SIDES]
        raise_to(near(size, eyes, 0.1 * span, soft, filled=True), CARE_EYES)
    return care


def tapered(line: Floats, width: float) -> Floats:
    """Return a stroke along a line as a closed outline, widest in the middle, pointed at its ends.

    >>> tapered(np.array([[0.0, 0.0], [5.0, 0.0], [10.0, 0.0]]), 2.0).tolist()[1]
    [5.0, 1.0]
    """
    way = np.gradient(line, axis=0)
    aside = np.column_stack([-way[:, 1], way[:, 0]])
    aside /= np.maximum(np.hypot(*aside.T), NOT_ZERO)[:, None]
    along = np.linspace(0, np.pi, len(line))
    half = (np.sin(along) * width / 2)[:, None]
    return np.concatenate([line + half * aside, (line - half * aside)[::-1]])


def near(
    size: tuple[int, int], lines: Sequence[Floats], width: float, soft: float, filled: bool = False
) -> Plane:
    """Return how near pixels are to lines: 1 within half a width, then falling off softly.

    Parameters
    ----------
    size : tuple of int
    lines : sequence of float64 array (n, 2)
        In pixels, x and y.
    width, soft : float
        In pixels.
    filled : bool
        Whether the lines are closed and what they enclose counts too.
    """
    # Blurred in the lines' own part of the plane: the eyes and lips of a face are small in it.
    rows, columns = size
    every = np.concatenate(list(lines))
    room = width / 2 + _BLUR_REACH * soft + 4
    low = np.clip(np.floor(every.min(axis=0) - room), 0, (columns, rows)).astype(int)
    high = np.clip(np.ceil(every.max(axis=0) + room), 0, (columns, rows)).astype(int)
    plane = np.zeros(size, np.float32)
    wide, tall = (high - low).tolist()
    if wide < 1 or tall < 1:
        return plane
    part = plane[low[1] : high[1], low[0] : high[0]]
    for line in lines:
        np.maximum(part, drawn((tall, wide), line - low, filled, width), out=part)
    part[:] = np.clip(blur(part, soft), 0, 1)
    return plane


def drawn(size: tuple[int, int], line: Floats, filled: bool = False, width: float = 0.0) -> Plane:
    """Return how much of each pixel a line or a filled outline covers, 0 to 1.

    Parameters
    ----------
    size : tuple of int
        Rows and columns.
    line : float64 array (n, 2)
        In pixels, x and y, (0, 0) the corner of the first pixel.
    filled : bool
    width : float
        Of the line, in pixels; 0 draws none.
    """
    rows, columns = size
    # Only the line's own part of the plane is drawn: a face is small in a big picture.
    room = width + 2
    low = np.clip(np.floor(line.min(axis=0) - room), 0, (columns, rows)).astype(int)
    high = np.clip(np.ceil(line.max(axis=0) + room), 0, (columns, rows)).astype(int)
    plane = np.zeros(size, np.float32)
    wide, tall = (high - low).tolist()
    if wide < 1 or tall < 1:
        return plane
    image = Image.new("L", (wide * _FINER, tall * _FINER))
    pen = ImageDraw.Draw(image)
    places = [tuple(p) for p in ((line - low) * _FINER).tolist()]
    if filled:
        pen.polygon(places, fill=255)
        places.append(places[0])
    if width > 0:
        thick = max(1, round(width * _FINER))
        pen.line(places, fill=255, width=thick, joint="curve")
        for x, y in places:  # round ends and joints
            pen.ellipse((x - thick / 2, y - thick / 2, x + thick / 2, y + thick / 2), fill=255)
    small = image.resize((wide, tall), Image.Resampling.BOX)
    plane[low[1] : high[1], low[0] : high[0]] = np.asarray(small, np.float32) / 255
    return plane


def inside_rings(size: tuple[int, int], rings: Sequence[Floats]) -> Bools:
    """Return which pixels lie within an odd number of closed outlines."""
    inside = np.zeros(size, bool)
    for ring in rings:
        inside ^= drawn(size, ring, filled=True) > 0.5
    return inside
