"""Faces found by a library: MediaPipe, the optional extra ``faces``.

Its wheels up to 0.10.21 carry the models, so that nothing is fetched. All that is known about it is
in this module; marks by hand give the same values.
"""

from __future__ import annotations

import importlib.util
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image

from ..arrays import Floats, Plane
from .edge_walk import drawn_to_edge
from .faces import FaceMarks, Subject
from .features import drawn
from .picture import read_picture
from .pixel_shapes import outline

# The library's numbers of our marks: 478 points with irises, as its face mesh documents them.
_NUMBERS = {
    "oval": (
        [10, 338, 297, 332, 284, 251, 389, 356, 454, 323, 361, 288, 397, 365, 379, 378, 400, 377]
        + [152, 148, 176, 149, 150, 136, 172, 58, 132, 93, 234, 127, 162, 21, 54, 103, 67, 109]
    ),
    "right_brow": [70, 63, 105, 66, 107, 55, 65, 52, 53, 46],
    "left_brow": [300, 293, 334, 296, 336, 285, 295, 282, 283, 276],
    "right_upper_lid": [33, 246, 161, 160, 159, 158, 157, 173, 133],
    "right_lower_lid": [33, 7, 163, 144, 145, 153, 154, 155, 133],
    "left_upper_lid": [263, 466, 388, 387, 386, 385, 384, 398, 362],
    "left_lower_lid": [263, 249, 390, 373, 374, 380, 381, 382, 362],
    "right_iris": [468, 469, 470, 471, 472],
    "left_iris": [473, 474, 475, 476, 477],
    "nose_line": [168, 6, 197, 195, 5, 4],
    "nose_base": [129, 64, 98, 97, 2, 326, 327, 294, 358],
    "upper_lip": [61, 185, 40, 39, 37, 0, 267, 269, 270, 409, 291],
    "lower_lip": [61, 146, 91, 181, 84, 17, 314, 405, 321, 375, 291],
    "upper_lip_line": [78, 191, 80, 81, 82, 13, 312, 311, 310, 415, 308],
    "lower_lip_line": [78, 95, 88, 178, 87, 14, 317, 402, 318, 324, 308],
    "chin": [176, 148, 152, 377, 400],
}
# The models look at 256 pixels and fewer: more than this shows them nothing new.
_LOOKED_AT = 1024
_MOST_FACES = 6
# A person smaller than this share of the picture is none that it is of.
_LEAST_SHARE = 0.01
# A mask of people is believed without a face (a back, a helmet) only where it is sure of nearly
# every pixel: doubt between these two, as a share of the person. On twelve public photos of people
# it is 0.04 to 0.23, most 0.05; on cups, coins, cells and galaxies 0.26 and far more.
_SURE = (0.1, 0.9)
_MOST_DOUBT = 0.12
# And only where it leaves room: a mask of nearly everything tells nothing apart.
_MOST_SHARE = 0.85
# A face of which the mask sees less than this is a pattern: the mask of a true face is near 1.
_FACE_SEEN = 0.05
# The mask's doubt, as a share of its side of 256 pixels: that far the outline is drawn to edges.
_DOUBT = 2.0 / 256
# A far face is cut out with this many times its box, and looked at again.
_ROOM = 1.0


def faces_can_be_found() -> bool:
    """Return whether the library is installed."""
    return importlib.util.find_spec("mediapipe") is not None


def find_subject(path: Path, step: Callable[[], None] = lambda: None) -> Subject:
    """Return the person, or people, of a picture, as the library sees them.

    Parameters
    ----------
    path : Path
        A picture that ``read_picture`` reads.
    step : callable
        Called now and then; may raise ``Cancelled``.

    Returns
    -------
    Subject
        Unknown where neither face nor person is seen.

    Raises
    ------
    ArtworkError
        The picture cannot be read.
    ImportError
        The library is not installed; see :func:`faces_can_be_found`.
    """
    picture = read_picture(path, _working)
    pixels = np.ascontiguousarray(np.rint(picture.srgb * 255).astype(np.uint8))
    factor = picture.full[0] / pixels.shape[1]
    step()
    with _silent():
        marks = find_marks(pixels)
        step()
        mask = _person(pixels)
    step()
    faces = tuple(face for face in marks if is_on_a_person(face, mask))
    rings: tuple[Floats, ...] = ()
    if shows_people(mask, bool(faces)):
        sharp = drawn_to_edge(picture.srgb, mask > 0.5, _DOUBT * max(mask.shape))
        rings = outline_rings(sharp, factor)
    return Subject(tuple(face.scaled(factor) for face in faces), rings, (), "library")


def is_on_a_person(face: FaceMarks, mask: Plane) -> bool:
    """Return whether the mask of people sees anyone where a face was found.

    Parameters
    ----------
    face : FaceMarks
        In pixels of the mask.
    mask : float32 array (rows, columns)
        How surely each pixel is a person, 0 to 1.
    """
    within = drawn((mask.shape[0], mask.shape[1]), face["oval"], filled=True) > 0.5
    return bool(within.any() and mask[within].mean() >= _FACE_SEEN)


def shows_people(mask: Plane, face: bool) -> bool:
    """Return whether a mask of people may be taken for the picture's subject.

    Parameters
    ----------
    mask : float32 array (rows, columns)
        How surely each pixel is a person, 0 to 1.
    face : bool
        Whether a face was found on it.
    """
    share = float((mask > 0.5).mean())
    if share < _LEAST_SHARE:
        return False
    doubtful = float(((mask > _SURE[0]) & (mask < _SURE[1])).mean())
    return face or (share <= _MOST_SHARE and doubtful <= _MOST_DOUBT * share)


def find_marks(pixels: NDArray[np.uint8]) -> list[FaceMarks]:
    """Return the marks of the faces in a picture, the largest first.

    Parameters
    ----------
    pixels : uint8 array (rows, columns, 3)
        sRGB.

    Returns
    -------
    list of FaceMarks
        In pixels of this array.
    """
    found = _mesh(pixels)
    # The mesh's own detector sees near faces only: in a group it may find one of five.
    rows, columns = pixels.shape[:2]
    for x, y, w, h in _far_faces(pixels):
        if len(found) >= _MOST_FACES or any(
            _covers(points, x + w / 2, y + h / 2) for points in found
        ):
            continue
        left, right = max(0, int(x - _ROOM * w)), min(columns, int(x + (1 + _ROOM) * w) + 1)
        top, low = max(0, int(y - _ROOM * h)), min(rows, int(y + (1 + _ROOM) * h) + 1)
        part = np.ascontiguousarray(pixels[top:low, left:right])
        # The cut-out may show a neighbour too, which is found by itself.
        new = [points + (left, top) for points in _mesh(part)]
        found += [points for points in new if _covers(points, x + w / 2, y + h / 2)][:1]
    faces = [FaceMarks({name: m[which] for name, which in _NUMBERS.items()}) for m in found]
    return sorted(faces, key=lambda face: -face.eye_distance)


def outline_rings(marked: NDArray[np.bool_], factor: float) -> tuple[Floats, ...]:
    """Return the outlines of marked pixels as rings, in pixels times ``factor``, y down."""
    shape = shapely.simplify(outline(marked, 1.0, 1.5), 0.5)
    rings = [r for p in shapely.get_parts(shape) for r in (p.exterior, *p.interiors)]
    # Crumbs of the mask are no part of a person.
    least = 2e-4 * marked.size
    return tuple(
        np.asarray(ring.coords)[:-1] * (factor, -factor) + (0, marked.shape[0] * factor)
        for ring in rings
        if shapely.Polygon(ring).area >= least
    )


def _working(full: tuple[int, int]) -> tuple[int, int]:
    scale = min(1.0, _LOOKED_AT / max(full))
    return max(16, round(full[0] * scale)), max(16, round(full[1] * scale))


def _mesh(pixels: NDArray[np.uint8]) -> list[Floats]:
    from mediapipe.python.solutions.face_mesh import FaceMesh

    with FaceMesh(
        static_image_mode=True, refine_landmarks=True, max_num_faces=_MOST_FACES
    ) as finder:
        found = finder.process(pixels).multi_face_landmarks or []
    size = np.array([pixels.shape[1], pixels.shape[0]], np.float64)
    return [np.array([(p.x, p.y) for p in face.landmark]) * size for face in found]


def _covers(points: Floats, x: float, y: float) -> bool:
    """Return whether a place lies in the box round a face's points."""
    low, high = points.min(axis=0), points.max(axis=0)
    return bool(low[0] <= x <= high[0] and low[1] <= y <= high[1])


def _far_faces(pixels: NDArray[np.uint8]) -> list[Floats]:
    from mediapipe.python.solutions.face_detection import FaceDetection

    with FaceDetection(model_selection=1) as finder:
        found: list[Any] = finder.process(pixels).detections or []
    size = np.array([pixels.shape[1], pixels.shape[0]] * 2, np.float64)
    boxes = [f.location_data.relative_bounding_box for f in found]
    return [np.array([b.xmin, b.ymin, b.width, b.height]) * size for b in boxes]


def _person(pixels: NDArray[np.uint8]) -> Plane:
    from mediapipe.python.solutions.selfie_segmentation import SelfieSegmentation

    with SelfieSegmentation(model_selection=0) as finder:
        mask = finder.process(pixels).segmentation_mask
    size = (pixels.shape[1], pixels.shape[0])
    # Back to the 256 pixels that the model answered in, and smoothly up again: the library enlarges
    # with stairs.
    own = Image.fromarray(np.asarray(mask, np.float32)).resize((256, 256), Image.Resampling.BOX)
    return np.asarray(own.resize(size, Image.Resampling.BICUBIC), np.float32)


@contextmanager
def _silent() -> Iterator[None]:
    """Keep the library's notes on its own start-up, written past Python, off the terminal."""
    with tempfile.TemporaryFile() as sink:
        kept = os.dup(2)
        os.dup2(sink.fileno(), 2)
        try:
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)
