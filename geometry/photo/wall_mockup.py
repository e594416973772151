"""A job on the client's wall: the wall file read, the camera found, the picture painted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..build import Build
from ..errors import GeometryError, JobError
from ..progress import Progress
from ..tracing.picture import read_picture
from .focal_length import exif_focal, focal_from_35
from .painted_photo import PlacedPicture, painted_photo
from .wall_file import WallFile, in_words
from .wall_view import WallView, click_error, view_from_lines, view_from_rectangle

#: Pixels that a click is taken to be off, for the error that is told.
CLICK_PX = 1.0


@dataclass(frozen=True, eq=False)
class WallMockup:
    """A painted photo and what is known of it.

    Parameters
    ----------
    picture : uint8 array (rows, columns, 3)
    view : WallView
    placed : tuple of PlacedPicture
    error_mm : float
        How far the picture's corners move when every click is ``CLICK_PX`` off.
    """

    picture: NDArray[np.uint8]
    view: WallView
    placed: tuple[PlacedPicture, ...]
    error_mm: float

    def sentences(self) -> tuple[str, ...]:
        """Return how the wall was measured, and how well."""
        corners = self.view.pixels_at(self.placed[0].corners_mm)
        camera = self.view.camera_mm
        return (
            f"Method: {self.view.method}.",
            f"A pixel's error in each click moves the picture's corners by {self.error_mm:.0f} mm."
            if self.error_mm >= 1
            else "A pixel's error in each click moves the picture's corners by less than 1 mm.",
            f"The camera stood {camera[2] / 1000:.2f} m before the wall.",
            "The picture's corners in the photo: "
            + ", ".join(f"({x:.1f}, {y:.1f})" for x, y in corners.tolist())
            + " px.",
            *self.view.notes,
        )


def wall_mockup(
    wall: WallFile,
    build: Build,
    more: Sequence[Build] = (),
    progress: Progress | None = None,
) -> WallMockup:
    """Paint a built job, and others, onto a wall's photo.

    Parameters
    ----------
    wall : WallFile
    build : Build
    more : sequence of Build
        One for each ``[[picture]]`` of the wall file.
    progress : Progress, optional

    Raises
    ------
    ArtworkError
        Photo or mask cannot be read.
    JobError, GeometryError
        The mask is of another size, or what was marked fixes no view.
    """
    given = wall.settings
    photo = read_picture(wall.photo, lambda full: full)
    pixels = photo.full
    shown = np.rint(photo.srgb * 255).astype(np.uint8)
    before = None
    if wall.before is not None:
        mask = read_picture(wall.before, lambda full: full)
        if mask.full != pixels:
            raise JobError(
                f"{wall.before}: expected the photo's {pixels[0]} x {pixels[1]} pixels, found "
                f"{mask.full[0]} x {mask.full[1]}."
            )
        before = (mask.srgb.mean(axis=2) * mask.opacity).astype(np.float32)
    sheet = build.job.sheet
    size = (sheet.width_mm, sheet.height_mm)
    find, clicked = _finder(wall, pixels, size)
    try:
        view = find(clicked)
        places = [(build, given.middle_px, given.corner_mm, given.ground)]
        places += [
            (b, m.middle_px, m.corner_mm, m.ground) for b, m in zip(more, wall.more, strict=True)
        ]
        placed = tuple(
            PlacedPicture(b, _corner(b, view, wall, middle, corner), ground == "painted")
            for b, middle, corner, ground in places
        )
        picture = painted_photo(
            shown,
            view,
            placed,
            before=before,
            reflectance=given.reflectance,
            white_px=(given.white_px[0], given.white_px[1]) if given.white_px else None,
            relief=given.relief,
            shadows=given.shadows,
            progress=progress,
        )
        error = click_error(find, clicked, placed[0].corners_mm, CLICK_PX)
    except GeometryError as error_:
        raise in_words(wall, error_) from error_
    return WallMockup(picture, view, placed, error)


def _finder(
    wall: WallFile, pixels: tuple[int, int], size_mm: tuple[float, float]
) -> tuple[Callable[[Floats], WallView], Floats]:
    """Return what finds the view from clicked points, and those of the file."""
    given = wall.settings
    if given.focal_mm35 is not None:
        focal: float | None = focal_from_35(given.focal_mm35, *pixels)
    else:
        focal = exif_focal(wall.photo)
    if given.corners_px:
        rectangle = size_mm
        if given.rectangle_mm:
            rectangle = (given.rectangle_mm[0], given.rectangle_mm[1])

        def by_corners(clicked: Floats) -> WallView:
            return view_from_rectangle(clicked, rectangle, pixels, focal)

        return by_corners, np.array(given.corners_px)
    level, upright = np.array(given.level_px), np.array(given.upright_px)
    length_mm = given.length_mm
    assert length_mm is not None  # load_wall has checked it

    half, whole = len(level), len(level) + len(upright)

    def by_lines(clicked: Floats) -> WallView:
        pairs = clicked.reshape(-1, 2, 2)
        second = None if given.second_mm is None else (pairs[whole + 1], given.second_mm)
        return view_from_lines(
            pairs[:half], pairs[half:whole], pairs[whole], length_mm, pixels, focal, second
        )

    marked = [level.reshape(-1, 2), upright.reshape(-1, 2), np.array(given.length_px)]
    if given.second_px:
        marked.append(np.array(given.second_px))
    return by_lines, np.concatenate(marked)


def _corner(
    build: Build,
    view: WallView,
    wall: WallFile,
    middle: Sequence[float],
    corner: Sequence[float],
) -> tuple[float, float]:
    """Return where a picture's lower left corner goes on the wall."""
    given, sheet = wall.settings, build.job.sheet
    if corner:
        return corner[0], corner[1]
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    if middle:
        at = view.wall_at([(middle[0], middle[1])])[0]
    elif given.corners_px and not given.rectangle_mm:
        return 0.0, 0.0  # the corners are the picture's own place
    elif given.rectangle_mm:
        at = np.array(given.rectangle_mm) / 2
    else:
        at = np.zeros(2)
    x, y = (at - half).tolist()
    return x, y
