"""The picture painted on the photo of a wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from ..arrays import Floats
from ..build import Build
from ..colour import linear_from_srgb
from ..errors import GeometryError
from ..paint.compositing import sprayed
from ..paint.overspray import dose, soft_edge
from ..planar.raster import coverage, srgb_bytes
from ..progress import Progress
from .homography import scale_at
from .wall_light import Plane, WallLight, wall_light
from .wall_view import WallView, rectangle_corners
from .warp import warped

#: Pixels of the picture before it is seen through the camera, at most.
_MOST_PIXELS = 8_000_000
#: Soft edges narrower than this many pixels are finer than the photo.
_FINE = 0.35
#: Directions of the spray cone: enough for an edge of a few pixels.
_DIRECTIONS = 16
#: Photo taken along beside the picture, as a share of its size: light is judged over a brick.
_AROUND = 0.25


@dataclass(frozen=True, eq=False)
class PlacedPicture:
    """A built job and where it goes on the wall.

    Parameters
    ----------
    build : Build
    corner_mm : tuple of float
        Place of its sheets' lower left corner on the wall.
    ground : bool
        Whether the job's ground is painted first, as large as the sheet.
    """

    build: Build
    corner_mm: tuple[float, float]
    ground: bool = True

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of its sheets."""
        return self.build.job.sheet.width_mm, self.build.job.sheet.height_mm

    @property
    def corners_mm(self) -> Floats:
        """Its corners on the wall, clockwise from the upper left, (4, 2)."""
        found: Floats = rectangle_corners(*self.size_mm) + np.array(self.corner_mm)
        return found


def painted_photo(
    photo: NDArray[np.uint8],
    view: WallView,
    pictures: Sequence[PlacedPicture],
    *,
    before: Plane | None = None,
    reflectance: float | None = None,
    white_px: tuple[float, float] | None = None,
    relief: float = 0.75,
    shadows: bool = True,
    progress: Progress | None = None,
) -> NDArray[np.uint8]:
    """Paint pictures onto the photo of a wall.

    Parameters
    ----------
    photo : uint8 array (rows, columns, 3)
        sRGB.
    view : WallView
        Of that photo.
    pictures : sequence of PlacedPicture
        In the order in which they are painted.
    before : float32 array (rows, columns), optional
        1 where something stands before the wall.
    reflectance, white_px, relief, shadows
        See :func:`~sheetstack.geometry.photo.wall_light.wall_light`; the white place in pixels.
    progress : Progress, optional

    Returns
    -------
    uint8 array (rows, columns, 3)

    Raises
    ------
    GeometryError
        A picture lies outside the photo, or over the wall's horizon.

    Notes
    -----
    I' = R' S, with S from ``wall_light`` and R' the wall's own reflectance I / S with one coat
    after the other laid over it as far as the coat's dose lands and stays.
    """
    progress = progress or Progress()
    result = photo.copy()
    white = None
    if white_px is not None:
        white = _place_colour(photo, white_px)
    for number, picture in enumerate(pictures):
        part = progress.part(number / len(pictures), (number + 1) / len(pictures))
        window = _window(view, picture)
        left, top, right, bottom = window
        linear, bare = (
            linear_from_srgb(p[top:bottom, left:right] / np.float32(255)).astype(np.float32)
            for p in (result, photo)
        )
        scale = scale_at(view.to_pixels, picture.corners_mm.mean(axis=0)[None])[0]
        to_wall = np.linalg.inv(view.to_pixels)
        # Pixels of the raster, y down, from pixels of the photo.
        largest = float(scale_at(view.to_pixels, picture.corners_mm).max())
        fine = min(largest, float(np.sqrt(_MOST_PIXELS / np.prod(picture.size_mm))))
        move = np.array(
            [
                [fine, 0, -fine * picture.corner_mm[0]],
                [0, -fine, fine * (picture.corner_mm[1] + picture.size_mm[1])],
                [0, 0, 1],
            ]
        )
        to_raster = move @ to_wall
        part(0.1, "spraying")
        # The sheet's own area comes first: where the ground goes.
        landed = warped(_landed(picture, fine, part.part(0.1, 0.6)), to_raster, window)
        on = landed[..., 0]
        part(0.6, "reading the wall's light")
        # Of the wall as it was: a picture beside this one is no light.
        wall = wall_light(
            bare,
            float(np.sqrt(np.prod(scale))),
            on,
            before=None if before is None else before[top:bottom, left:right],
            reflectance=reflectance,
            white=white,
            relief=relief,
            shadows=shadows,
        )
        painted = _painted(linear, wall, picture, landed)
        if before is not None:
            hidden = before[top:bottom, left:right, None]
            painted = np.asarray(painted * (1 - hidden) + linear * hidden, np.float32)
        changed = (painted != linear).any(axis=2)
        area = result[top:bottom, left:right]
        # Pixels that no paint reaches stay as the photo has them, to the byte.
        area[changed] = srgb_bytes(painted[changed])
    return result


def _landed(picture: PlacedPicture, fine: float, progress: Progress) -> Plane:
    """Return the sheet's area and the dose of each layer, (rows, columns, layers + 1)."""
    build, size = picture.build, picture.size_mm
    spray = build.job.spray
    planes = [coverage(shapely.box(0, 0, *size), size, fine)]
    for number, layer in enumerate(build.layers):
        progress(number / len(build.layers), f"spraying {layer.settings.name}")
        openings, thickness = layer.sheet.openings, layer.sheet.thickness
        edge = soft_edge(thickness, spray)
        if max(edge.creep_mm, edge.shade_mm) * fine < _FINE:
            planes.append(coverage(openings, size, fine))
        else:
            planes.append(dose(openings, size, fine, thickness, spray, _DIRECTIONS))
    return np.stack(planes, axis=2)


def _painted(linear: Plane, wall: WallLight, picture: PlacedPicture, landed: Plane) -> Plane:
    """Return the photo with one coat after the other laid over the wall's own reflectance."""
    build = picture.build
    bare = np.asarray(linear / np.maximum(wall.light, 1e-5), np.float32)
    stays = landed * wall.reached[..., None]
    coat: Plane = bare
    if picture.ground:
        coat = sprayed(coat, build.job.ground, 1.0, stays[..., 0])
    for number, layer in enumerate(build.layers, 1):
        coat = sprayed(coat, layer.settings.colour, layer.settings.opacity, stays[..., number])
    return np.asarray(np.where(coat == bare, linear, coat * wall.light), np.float32)


def _window(view: WallView, picture: PlacedPicture) -> tuple[int, int, int, int]:
    """Return the part of the photo that a picture changes, and a little round it."""
    corners = picture.corners_mm
    depth = np.column_stack([corners, np.ones(4)]) @ view.to_pixels[2]
    if not (depth * np.sign(depth[0]) > 0).all():
        raise GeometryError(
            "The picture reaches over the wall's horizon in the photo: place it nearer, or take a "
            "photo from farther away."
        )
    seen = view.pixels_at(corners)
    low, high = seen.min(axis=0), seen.max(axis=0)
    around = _AROUND * (high - low)
    left, top = np.maximum(np.floor(low - around), 0).astype(int).tolist()
    right, bottom = np.minimum(np.ceil(high + around), view.pixels).astype(int).tolist()
    outside = (high <= 0).any() or (low >= np.array(view.pixels)).any()
    if outside or right - left < 2 or bottom - top < 2:
        raise GeometryError(
            f"The picture would lie outside the photo, about ({low[0]:.0f}, {low[1]:.0f}) to "
            f"({high[0]:.0f}, {high[1]:.0f}) px: place it elsewhere."
        )
    return left, top, right, bottom


def _place_colour(photo: NDArray[np.uint8], at: tuple[float, float]) -> Floats:
    """Return the mean linear light of 5 x 5 pixels about a place."""
    rows, columns = photo.shape[:2]
    x, y = int(at[0]), int(at[1])
    if not (0 <= x < columns and 0 <= y < rows):
        raise GeometryError(
            f"White place ({at[0]:g}, {at[1]:g}): expected a pixel of the {columns} x {rows} photo."
        )
    patch = photo[max(0, y - 2) : y + 3, max(0, x - 2) : x + 3].reshape(-1, 3)
    found: Floats = linear_from_srgb(patch / 255).mean(axis=0)
    return found
