"""PNG files of pictures: sRGB, with their scale, whole or not at all."""

from __future__ import annotations

import io
import struct
from pathlib import Path

from PIL import Image
from PIL.PngImagePlugin import PngInfo

from .atomic import atomic


def png_bytes(image: Image.Image, pixels_per_mm: float | None = None) -> bytes:
    """Return a picture as the bytes of a PNG file, marked as sRGB.

    Parameters
    ----------
    image : Image
        RGB or RGBA.
    pixels_per_mm : float, optional
        Written as the file's resolution, so that a print at 100 % has true size.

    Returns
    -------
    bytes

    Notes
    -----
    PNG (ISO/IEC 15948), 11.3.3.5 sRGB: rendering intent 0 (perceptual), with the gAMA chunk that
    the same clause recommends beside it, 1/2.2 as 45455. pHYs counts pixels per metre.
    """
    info = PngInfo()
    info.add(b"gAMA", struct.pack(">I", 45455))
    info.add(b"sRGB", b"\0")
    file = io.BytesIO()
    dpi = None if pixels_per_mm is None else (pixels_per_mm * 25.4,) * 2
    options = {} if dpi is None else {"dpi": dpi}
    image.save(file, "PNG", pnginfo=info, optimize=False, compress_level=6, **options)
    return file.getvalue()


def write_png(path: Path | str, image: Image.Image, pixels_per_mm: float | None = None) -> None:
    """Write a picture as a PNG file.

    Parameters
    ----------
    path : Path or str
    image, pixels_per_mm
        See :func:`png_bytes`.

    Raises
    ------
    WriteError
        The file cannot be written.
    """
    content = png_bytes(image, pixels_per_mm)
    with atomic(path) as file:
        file.write(content)
