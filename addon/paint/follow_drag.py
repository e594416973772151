"""The painted picture follows a bridge that is dragged: only the part that changes is made anew."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon

from ...geometry.build import Build
from ...geometry.paint.patch import painted_patch
from ..bridges.live_drag import FOLLOWERS
from ..core.ownership import made
from .painted_plane import ROLE, picture_image


class PictureFollows:
    """Keeps the picture's pixels during a drag.

    Blender has them bottom row first, four floats each.
    """

    def __init__(self) -> None:
        self._build: Build | None = None
        self._image: bpy.types.Image | None = None
        self._pixels: NDArray[np.float32] = np.empty((0, 0, 4), np.float32)
        self._before: NDArray[np.float32] = self._pixels

    def begin(self, scene: Any, build: Build) -> None:
        """Take the pixels of the picture that is shown, if one is."""
        plane = next(iter(made(scene, ROLE).values()), None)
        self._image = picture_image(plane) if plane is not None else None
        if self._image is None:
            return
        columns, rows = self._image.size
        self._build = build
        self._before = np.empty((rows, columns, 4), np.float32)
        self._image.pixels.foreach_get(self._before.ravel())
        self._pixels = self._before.copy()

    def show(self, sheet: str, openings: MultiPolygon, box: tuple[float, ...]) -> None:
        """Paint the part of the picture that a box covers.

        Parameters
        ----------
        sheet : str
            Name of its layer.
        openings : MultiPolygon
            All of the sheet, as it is now.
        box : tuple of float
            x0, y0, x1, y1 in mm, within which they have changed.
        """
        if self._image is None or self._build is None:
            return
        rows, columns = self._pixels.shape[:2]
        x0, y0, x1, y1 = box
        patch = painted_patch(self._build, {sheet: openings}, (x0, y0, x1, y1), max(rows, columns))
        high, wide = patch.pixels.shape[:2]
        bottom = rows - patch.row - high
        self._pixels[bottom : bottom + high, patch.column : patch.column + wide, :3] = patch.pixels[
            ::-1
        ] / np.float32(255)
        self._put(self._pixels)

    def end(self, *, keep: bool) -> None:
        """Keep the picture, or put back what it was."""
        if self._image is not None:
            if keep:
                self._image.pack()
            else:
                self._put(self._before)
        self._image, self._build = None, None

    def _put(self, pixels: NDArray[np.float32]) -> None:
        assert self._image is not None
        self._image.pixels.foreach_set(pixels.ravel())
        self._image.update()


_FOLLOWER = PictureFollows()

CLASSES = ()


def register() -> None:
    """Follow dragged bridges from now on."""
    FOLLOWERS.append(_FOLLOWER)


def unregister() -> None:
    """Follow no more."""
    FOLLOWERS.remove(_FOLLOWER)
