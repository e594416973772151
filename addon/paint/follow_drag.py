"""The painted picture follows a bridge that is dragged: only the part that changes is made anew."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from shapely import MultiPolygon

from ...geometry.build import Build
from ...geometry.files.png import png_bytes
from ...geometry.paint.patch import Patch, painted_patch
from ...geometry.progress import Progress
from ..bridges.live_drag import FOLLOWERS
from ..core.long_work import Running
from ..core.ownership import made
from .painted_plane import ROLE, pack_png, picture_image


class PictureFollows:
    """Keeps the picture's pixels during a drag, and a thread that makes a PNG file of them.

    Blender has them bottom row first, four floats each. To encode them where the bridge is dropped
    would block the window, so that it is done meanwhile.
    """

    def __init__(self) -> None:
        self._build: Build | None = None
        self._image: bpy.types.Image | None = None
        self._pixels: NDArray[np.float32] = np.empty((0, 0, 4), np.float32)
        self._before: NDArray[np.float32] = self._pixels
        self._patches: list[Patch] = []
        self._encoding: Running | None = None

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
        self._patches, self._encoding = [], None

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
        self._patches.append(patch)
        if bpy.app.background or self._encoding is None or self._encoding.ended:
            self._encode()

    def _encode(self) -> None:
        """Begin to encode, until no patch is newer than the file: how many are in it, and it."""
        before, patches = self._before, self._patches

        def encode(progress: Progress) -> tuple[int, bytes]:
            while True:
                count = len(patches)
                picture = np.rint(before[::-1, :, :3] * 255).astype(np.uint8)
                for patch in patches[:count]:
                    high, wide = patch.pixels.shape[:2]
                    place = np.s_[patch.row : patch.row + high, patch.column : patch.column + wide]
                    picture[place] = patch.pixels
                png = png_bytes(Image.fromarray(picture))
                if len(patches) == count:
                    return count, png

        self._encoding = Running("Packing", encode)
        if bpy.app.background:
            self._encoding.run()
        else:
            self._encoding.start()

    def end(self, *, keep: bool) -> None:
        """Keep the picture, or put back what it was."""
        if self._image is not None and self._patches:
            if not keep:
                self._put(self._before)
            elif (png := self._file()) is not None:
                pack_png(self._image, png)
                self._image.buffers_free()  # they count as unsaved
            else:  # dropped faster than it was encoded
                self._image.pack()
        self._image, self._build, self._encoding = None, None, None

    def _file(self) -> bytes | None:
        """Return the PNG file of what is shown, where the thread is through with it."""
        work = self._encoding
        if work is None:
            return None
        if work.failure is not None:
            raise work.failure
        count, png = work.result or (0, b"")
        return png if count == len(self._patches) else None

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
