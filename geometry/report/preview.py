"""The preview: the painted picture as people will see it on the wall, cropped to the sheet."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from ..build import Build
from ..files.png import png_bytes, write_png
from ..paint.compositing import painted_picture


def preview(build: Build, pixels: int = 1600) -> Image.Image:
    """Draw the painted picture.

    Parameters
    ----------
    build : Build
    pixels : int
        Along the long side.

    Returns
    -------
    Image
        RGB, see :func:`~sheetstack.geometry.paint.compositing.painted_picture`.
    """
    return Image.fromarray(painted_picture(build, pixels))


def plain_preview_bytes(build: Build, pixels: int = 1200) -> bytes:
    """Draw the picture as plain shortest bridges would leave it; return the bytes of a PNG."""
    return png_bytes(Image.fromarray(painted_picture(build, pixels, plainly_bridged=True)))


def write_preview(path: Path | str, build: Build, pixels: int = 1600) -> None:
    """Draw the painted picture into a PNG file with its resolution, whole or not at all.

    Parameters
    ----------
    path : Path or str
    build : Build
    pixels : int
        Along the long side.

    Raises
    ------
    WriteError
        The file cannot be written.
    """
    sheet = build.job.sheet
    write_png(path, preview(build, pixels), pixels / max(sheet.width_mm, sheet.height_mm))
