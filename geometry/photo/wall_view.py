"""Where a photo shows its wall: the map from the wall to pixels, and the camera that took it.

Places on the wall are millimetres, x to the right and y up; pixels have x to the right and y DOWN
from the photo's upper left corner, whole numbers at the corners of pixels. The camera's frame has x
to the right, y down and z away from the camera. Pixels are taken as square, the lens as free of
distortion and its axis as passing through the photo's middle.

Two ways lead there. Four corners of a rectangle of known size give the homography at once. Two
families of parallel lines, square to each other, give two vanishing points v1 and v2, the images of
the wall's directions: with the camera K = diag(f, f, 1) about the middle, K^-1 v1 and K^-1 v2 are
those directions, and one length gives the distance. The focal length f follows from the two being
square, f^2 = -(v1 - c)(v2 - c), or from EXIF (Hartley and Zisserman, Multiple View Geometry in
Computer Vision, 2nd edition, 8.6 and 8.8; from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..errors import GeometryError
from ..tolerance import NOT_ZERO
from .focal_length import USUAL_35, focal_from_35
from .homography import homography, mapped

#: A focal length from vanishing points is taken only between these multiples of the diagonal:
#: beyond, the photo was taken too squarely to tell it.
_FOCAL_RANGE = (0.3, 6.0)
#: Rounds of refining; each squares the error, so that the last ones change nothing.
_ROUNDS = 12
#: What a single length leaves open.
_LENS = (
    "Heights against widths rest on a lens that no data tell, and are off where the photo was "
    "cropped: a second length, across the first, settles it (second_px, second_mm)."
)
#: The sides of the rectangle, as the camera sees them, may differ from those told by this share.
ASPECT_OFF = 0.03


@dataclass(frozen=True, eq=False)
class WallView:
    """A photo's wall and camera.

    Parameters
    ----------
    to_pixels : float64 array (3, 3)
        Homography from the wall's millimetres to pixels.
    pixels : tuple of int
        Width and height of the photo.
    focal_px : float
    rotation : float64 array (3, 3)
        Columns: the wall's x, y and z (out of the wall) in the camera's frame.
    shift : float64 array (3,)
        Wall's origin in the camera's frame, mm.
    camera_error_px : float
        Farthest that the camera puts a known point from where the photo has it.
    method : str
        How it was found, in words.
    notes : tuple of str
        What the user should know: a sentence each.
    """

    to_pixels: Floats
    pixels: tuple[int, int]
    focal_px: float
    rotation: Floats
    shift: Floats
    camera_error_px: float
    method: str
    notes: tuple[str, ...] = ()

    @property
    def camera_mm(self) -> Floats:
        """Place of the camera in the wall's frame, z out of the wall."""
        place: Floats = -self.rotation.T @ self.shift
        return place

    def pixels_at(self, points: ArrayLike) -> Floats:
        """Return where points (n, 2) of the wall lie in the photo."""
        return mapped(self.to_pixels, points)

    def wall_at(self, pixels: ArrayLike) -> Floats:
        """Return which points of the wall lie at pixels (n, 2)."""
        return mapped(np.linalg.inv(self.to_pixels), pixels)


def rectangle_corners(width: float, height: float) -> Floats:
    """Return the corners of a rectangle clockwise from the upper left, its lower left at 0, 0."""
    return np.array([(0, height), (width, height), (width, 0), (0, 0)], np.float64)


def view_from_rectangle(
    corners: ArrayLike,
    size_mm: tuple[float, float],
    pixels: tuple[int, int],
    focal_px: float | None = None,
) -> WallView:
    """Return the view from four corners of a rectangle of known size.

    Parameters
    ----------
    corners : array_like (4, 2)
        In pixels, clockwise from the upper left one as it hangs on the wall.
    size_mm : tuple of float
        Width and height of the rectangle; its lower left corner is the wall's origin.
    pixels : tuple of int
        Width and height of the photo.
    focal_px : float, optional
        From EXIF or the user.

    Raises
    ------
    GeometryError
        The corners are no convex quadrilateral that runs clockwise.
    """
    seen = np.asarray(corners, np.float64)
    if seen.shape != (4, 2):
        raise GeometryError(f"Expected four corners, found {len(seen)}.")
    _refuse_if_not_clockwise(seen)
    known = rectangle_corners(*size_mm)
    to_pixels = homography(known, seen)
    focal, said = _focal(focal_px, _focals_of(_centred_on(pixels) @ to_pixels), pixels)
    rotation, shift = _pose(_centred_on(pixels) @ to_pixels, focal)
    rotation, shift, error = _refined(rotation, shift, focal, known, seen, pixels)
    notes = list(said[1:])
    ratio = _aspect(_centred_on(pixels) @ to_pixels, focal)
    if focal_px is not None and abs(ratio - 1) > ASPECT_OFF:
        notes.append(
            f"By the lens the rectangle is {100 * ratio:.0f} % as high for its width as told: "
            "measure it again, or look whether the photo was cropped."
        )
    return WallView(
        to_pixels,
        pixels,
        focal,
        rotation,
        shift,
        error,
        f"homography from four corners of {size_mm[0]:g} x {size_mm[1]:g} mm; focal length "
        f"{focal:.0f} px, {said[0]}",
        tuple(notes),
    )


def view_from_lines(
    level: ArrayLike,
    upright: ArrayLike,
    length: ArrayLike,
    length_mm: float,
    pixels: tuple[int, int],
    focal_px: float | None = None,
    second: tuple[ArrayLike, float] | None = None,
) -> WallView:
    """Return the view from two families of parallel lines and one length.

    Parameters
    ----------
    level, upright : array_like (n, 2, 2)
        Two lines or more each, by two points on each, in pixels: those that run level on the wall,
        and those that run square to them.
    length : array_like (2, 2)
        Two points in pixels, and
    length_mm : float
        how far apart they are on the wall.
    pixels : tuple of int
        Width and height of the photo.
    focal_px : float, optional
    second : tuple, optional
        Another length, in another direction: two points in pixels and their distance in mm. With
        it sizes rest on no lens, as they must where the photo was cropped.

    Returns
    -------
    WallView
        The wall's origin is the photo's middle.

    Raises
    ------
    GeometryError
        Fewer than two lines in a family, or lines and lengths that fix no view.
    """
    families = [np.asarray(lines, np.float64) for lines in (level, upright)]
    for name, lines in zip(("level", "upright"), families, strict=True):
        if lines.ndim != 3 or lines.shape[1:] != (2, 2) or len(lines) < 2:
            raise GeometryError(f"Expected two {name} lines or more, each by two points.")
        if (np.hypot(*(lines[:, 1] - lines[:, 0]).T) < 1).any():
            raise GeometryError(f"A {name} line's two points are the same.")
    ends = np.asarray(length, np.float64)
    if ends.shape != (2, 2) or np.hypot(*(ends[1] - ends[0])) < 1:
        raise GeometryError("Expected a known length by two points that differ.")
    to_middle = _centred_on(pixels)
    found = [
        _vanishing_point(mapped(to_middle, lines.reshape(-1, 2)).reshape(-1, 2, 2))
        for lines in families
    ]
    (v1, off1), (v2, off2) = found
    # Directions point the way that the wall's x and y do in the photo.
    across = _towards(v1, (1.0, 0.0))
    up = _towards(v2, (0.0, -1.0))
    crossing = float(across[0] * up[1] - across[1] * up[0])
    if abs(crossing) < 1e-12 * np.linalg.norm(across) * np.linalg.norm(up):
        raise GeometryError("The level and the upright lines run the same way in the photo.")
    guesses = [-float(across[:2] @ up[:2]) / float(across[2] * up[2])] if across[2] * up[2] else []
    focal, said = _focal(focal_px, guesses, pixels)
    inverse = np.diag([1 / focal, 1 / focal, 1.0])
    r1, r2 = (d / np.linalg.norm(d) for d in (inverse @ across, inverse @ up))
    rotation = _nearest_rotation(r1, r2)
    middle = np.array([0.0, 0.0, 1.0])
    plane = np.diag([focal, focal, 1.0]) @ np.column_stack([rotation[:, 0], rotation[:, 1], middle])
    one, two = mapped(np.linalg.inv(plane), mapped(to_middle, ends))
    distance = length_mm / float(np.hypot(*(two - one)))
    shift = middle * distance
    plane = np.diag([focal, focal, 1.0]) @ np.column_stack([rotation[:, 0], rotation[:, 1], shift])
    to_pixels = np.linalg.inv(to_middle) @ plane
    error, lengths, notes = float(max(off1, off2)), f"a length of {length_mm:g} mm", said[1:]
    if second is not None:
        other = np.asarray(second[0], np.float64)
        # By the vanishing points as they are, not as a lens would have them square.
        lines = np.diag([focal, focal, 1.0]) @ np.column_stack([r1, r2, middle])
        to_pixels = np.linalg.inv(to_middle) @ lines
        to_pixels = _stretched(to_pixels, (ends, length_mm), (other, second[1]))
        focal, said = _focal(focal_px, _focals_of(to_middle @ to_pixels), pixels)
        known = rectangle_corners(2 * length_mm, 2 * length_mm) - length_mm
        seen = mapped(to_pixels, known)
        rotation, shift = _pose(to_middle @ to_pixels, focal)
        rotation, shift, off = _refined(rotation, shift, focal, known, seen, pixels)
        error, lengths = max(error, off), f"lengths of {length_mm:g} and {second[1]:g} mm"
        notes = said[1:]
    elif focal_px is None:
        notes = [*notes, _LENS]
    return WallView(
        to_pixels / to_pixels[2, 2],
        pixels,
        focal,
        rotation,
        shift,
        error,
        f"two families of parallel lines ({len(families[0])} level, {len(families[1])} upright) "
        f"and {lengths}; lines are off by {max(off1, off2):.2f} px at most; "
        f"focal length {focal:.0f} px, {said[0]}",
        tuple(notes),
    )


def _stretched(
    to_pixels: Floats, first: tuple[Floats, float], second: tuple[Floats, float]
) -> Floats:
    """Return the map with the wall's x and y scaled, so that two lengths are as told.

    Parameters
    ----------
    to_pixels : float64 array (3, 3)
    first, second : tuple
        Two points in pixels, and their distance in mm.
    """
    back = np.linalg.inv(to_pixels)
    rows, wanted = [], []
    for ends, told in (first, second):
        if ends.shape != (2, 2):
            raise GeometryError("Expected the second length by two points.")
        one, two = mapped(back, ends)
        rows.append((two - one) ** 2)
        wanted.append(told**2)
    table = np.array(rows)
    if abs(np.linalg.det(table)) < 0.01 * table[0].sum() * table[1].sum():
        raise GeometryError("The two lengths run the same way: expected one across the other.")
    squares = np.linalg.solve(table, wanted)
    if (squares <= 0).any():
        raise GeometryError("The two lengths do not go together: measure them again.")
    found: Floats = to_pixels @ np.diag([*(1 / np.sqrt(squares)), 1.0])
    return found


def click_error(
    find: Callable[[Floats], WallView], clicked: Floats, places: ArrayLike, off_px: float = 1.0
) -> float:
    """Return how far places on the wall move, in mm, when clicks are a little off.

    The worst place counts, its moves by all clicks added up as the root of their squares.

    Parameters
    ----------
    find : callable
        From clicked points (n, 2) to the view.
    clicked : float64 array (n, 2)
    places : array_like (m, 2)
        On the wall.
    off_px : float
        Each click's error, in x and in y.
    """
    still = find(clicked)
    seen = still.pixels_at(places)
    wanted = np.asarray(places, np.float64)
    total = np.zeros(len(wanted))
    for k in range(len(clicked)):
        for way in (0, 1):
            moved = clicked.copy()
            moved[k, way] += off_px
            total += ((find(moved).wall_at(seen) - wanted) ** 2).sum(axis=1)
    return float(np.sqrt(total.max()))


def _centred_on(pixels: tuple[int, int]) -> Floats:
    """Return the map that moves the photo's middle to the origin."""
    return np.array([[1, 0, -pixels[0] / 2], [0, 1, -pixels[1] / 2], [0, 0, 1.0]])


def _refuse_if_not_clockwise(corners: Floats) -> None:
    following = np.roll(corners, -1, axis=0) - corners
    (x0, y0), (x1, y1) = following.T, np.roll(following, -1, axis=0).T
    turns = x0 * y1 - y0 * x1
    # y points down, so that clockwise as seen is a positive turn.
    if (turns < 0).all():
        raise GeometryError(
            "The corners run counter-clockwise: expected upper left, upper right, lower right, "
            "lower left."
        )
    if not (turns > 0).all():
        raise GeometryError(
            "The four corners cross over or lie in line: expected upper left, upper right, lower "
            "right, lower left."
        )


def _focals_of(h: Floats) -> list[float]:
    """Return the squares of the focal lengths that a centred homography allows for.

    With the wall's directions h1 and h2 square to each other and of one length in the camera.
    """
    a, b = h[:, 0], h[:, 1]
    squares = []
    flat = a[2] * b[2]
    if abs(flat) > 1e-15:
        squares.append((abs(flat), -float(a[:2] @ b[:2]) / float(flat)))
    steep = b[2] ** 2 - a[2] ** 2
    if abs(steep) > 1e-15:
        squares.append((abs(steep), float(a[:2] @ a[:2] - b[:2] @ b[:2]) / float(steep)))
    # The one that rests on the stronger convergence first.
    return [square for _, square in sorted(squares, reverse=True)]


def _focal(
    given: float | None, squares: Sequence[float], pixels: tuple[int, int]
) -> tuple[float, list[str]]:
    """Return the focal length in pixels and where it is from; more sentences are notes."""
    diagonal = float(np.hypot(*pixels))
    if given is not None:
        return given, ["as the photo's data or the job tell"]
    for square in squares:
        low, high = (k * diagonal for k in _FOCAL_RANGE)
        if low**2 < square < high**2:
            return float(np.sqrt(square)), ["from the photo's own convergence"]
    return focal_from_35(USUAL_35, *pixels), [
        f"assumed ({USUAL_35:g} mm of 35 mm film)",
        "The photo does not tell its focal length: a phone's is assumed. A camera placed by it "
        "fits what was marked, and may be off in depth; focal_mm35 tells it.",
    ]


def _pose(h: Floats, focal: float) -> tuple[Floats, Floats]:
    """Return rotation and shift from a centred homography and a focal length."""
    columns = np.diag([1 / focal, 1 / focal, 1.0]) @ h
    size = (np.linalg.norm(columns[:, 0]) + np.linalg.norm(columns[:, 1])) / 2
    columns = columns / size
    if columns[2, 2] < 0:  # the wall lies before the camera
        columns = -columns
    return _nearest_rotation(columns[:, 0], columns[:, 1]), columns[:, 2]


def _nearest_rotation(r1: Floats, r2: Floats) -> Floats:
    u, _, vt = np.linalg.svd(np.column_stack([r1, r2, np.cross(r1, r2)]))
    turned: Floats = u @ np.diag([1.0, 1.0, np.linalg.det(u @ vt)]) @ vt
    return turned


def _aspect(h: Floats, focal: float) -> float:
    """Return the height for the width that the camera sees, over that which was told."""
    columns = np.diag([1 / focal, 1 / focal, 1.0]) @ h
    return float(np.linalg.norm(columns[:, 1]) / np.linalg.norm(columns[:, 0]))


def _refined(
    rotation: Floats,
    shift: Floats,
    focal: float,
    known: Floats,
    seen: Floats,
    pixels: tuple[int, int],
) -> tuple[Floats, Floats, float]:
    """Return the pose that puts known points nearest to where they are seen, and the farthest off.

    Gauss and Newton's method over a small turn and a shift.
    """
    wall = np.column_stack([known, np.zeros(len(known))])
    target = seen - np.array(pixels) / 2

    def off(r: Floats, t: Floats) -> Floats:
        placed = wall @ r.T + t
        found: Floats = (focal * placed[:, :2] / placed[:, 2:] - target).ravel()
        return found

    depth = float(np.linalg.norm(shift))
    steps = np.array([1e-6] * 3 + [1e-6 * depth] * 3)

    def moved(change: Floats) -> tuple[Floats, Floats]:
        return _turn(change[:3]) @ rotation, shift + change[3:]

    for _ in range(_ROUNDS):
        here = off(rotation, shift)
        slopes = np.stack(
            [
                (off(*moved(step * unit)) - here) / step
                for step, unit in zip(steps, np.eye(6), strict=True)
            ],
            axis=1,
        )
        change = -np.linalg.lstsq(slopes * steps, here, rcond=None)[0] * steps
        tried = moved(change)
        if np.abs(off(*tried)).max() > np.abs(here).max():
            break
        rotation, shift = tried
    error = np.hypot(*off(rotation, shift).reshape(-1, 2).T).max()
    return rotation, shift, float(error)


def _turn(axis: Floats) -> Floats:
    """Return the rotation about an axis by its length in radians (Rodrigues' formula)."""
    angle = float(np.linalg.norm(axis))
    x, y, z = axis / max(angle, 1e-300)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    found: Floats = np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
    return found


def _vanishing_point(lines: Floats) -> tuple[Floats, float]:
    """Return where lines (n, 2, 2) meet, homogeneous, and the farthest that an end is off in px.

    The least squares of the lines' ends from lines through the point and their own middles.
    """
    size = max(float(np.abs(lines).max()), 1.0)
    scaled = lines / size
    ends = np.concatenate([scaled, np.ones((len(lines), 2, 1))], axis=2)
    normals = np.cross(ends[:, 0], ends[:, 1])
    normals /= np.linalg.norm(normals[:, :2], axis=1, keepdims=True)
    middles = ends.mean(axis=1)
    halves = np.linalg.norm(scaled[:, 1] - scaled[:, 0], axis=1) / 2
    point = np.linalg.svd(normals * halves[:, None])[2][-1]
    for _ in range(_ROUNDS):
        # How far an end is off: half the line's length times the angle, by the present point.
        through = np.cross(middles, point)
        away = np.linalg.norm(through[:, :2], axis=1)
        ways = np.cross(ends[:, 0] - ends[:, 1], middles) * 0.5
        rows = ways / np.maximum(away, NOT_ZERO)[:, None]
        point = np.linalg.svd(rows)[2][-1]
    through = np.cross(middles, point)
    away = np.maximum(np.linalg.norm(through[:, :2], axis=1, keepdims=True), NOT_ZERO)
    off = np.abs(np.einsum("nkc,nc->nk", ends, through / away)).max() * size
    return np.array([point[0] * size, point[1] * size, point[2]]), float(off)


def _towards(point: Floats, way: tuple[float, float]) -> Floats:
    """Return a vanishing point with the sign of a direction that runs a given way in the photo.

    The direction d of a wall before the camera moves its image towards d - d_z x (middle), which
    at the photo's middle is d's first two numbers.
    """
    return point if float(point[:2] @ np.array(way)) >= 0 else -point
