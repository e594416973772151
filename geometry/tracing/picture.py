"""Pictures: PNG, JPEG and TIFF files read at the size that the work needs.

A picture is scaled down while it is read: what is finer than the least feature of the sheet
cannot be cut, so that nothing is gained by carrying twelve megapixels along.
"""

from __future__ import annotations

import io
import struct
import warnings
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from ..arrays import Bools, Plane
from ..artwork.deep_grey import deep_levels
from ..errors import ArtworkError

Size = tuple[int, int]

#: Larger pictures are refused: each megapixel takes 3 MB or more while it is decoded.
MOST_PIXELS = 100_000_000
#: Sides under this are no picture.
LEAST_SIDE = 8

_EXIF_ORIENTATION = 0x0112
_FORMATS = ("PNG", "JPEG", "TIFF")
# Everything that Pillow raises on damaged files.
_DAMAGE = (
    OSError,
    SyntaxError,
    ValueError,
    EOFError,
    KeyError,
    TypeError,
    struct.error,
    zlib.error,
    OverflowError,
)


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture at working size.

    Parameters
    ----------
    srgb : float32 array (rows, columns, 3)
        0 to 1, row 0 at the top, turned as its EXIF data say.
    opacity : float32 array (rows, columns)
        0 to 1; 1 everywhere for a picture without transparency.
    full : tuple of int
        Width and height in pixels of the picture in the file, after its turn.
    name : str
        The file's name.
    """

    srgb: Plane
    opacity: Plane
    full: Size
    name: str

    @property
    def shape(self) -> Size:
        """Rows and columns at working size."""
        return self.opacity.shape[0], self.opacity.shape[1]


def read_picture(path: Path, working: Callable[[Size], Size]) -> Picture:
    """Read a picture and scale it to the size it is to be worked on.

    16 bit, palette, CMYK, transparency, an EXIF turn and an embedded colour profile are honoured.

    Parameters
    ----------
    path : Path
    working : callable
        From the picture's full width and height to those wanted.

    Raises
    ------
    ArtworkError
        The file is missing, no PNG, JPEG or TIFF picture, damaged, too small or too large.
    """
    if not path.exists():
        raise ArtworkError(f"{path}: the picture does not exist.")
    if not path.is_file():
        raise ArtworkError(f"{path}: expected a picture here, found a folder or device.")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # sizes are checked below; damaged EXIF data are no matter
        try:
            return _read(path, working)
        except Image.DecompressionBombError as error:
            raise _too_large(path, "far more pixels") from error
        except UnidentifiedImageError as error:
            raise ArtworkError(f"{path}: is no PNG, JPEG or TIFF picture.") from error
        except _DAMAGE as error:
            reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
            raise ArtworkError(
                f"{path}: the picture cannot be read: {' '.join(reason.split()).rstrip('.')}."
            ) from error


def read_marks(path: Path, size: Size) -> Bools:
    """Read a mask: which pixels are marked, white (or opaque white) on black.

    Parameters
    ----------
    path : Path
    size : tuple of int
        Width and height to scale it to.

    Returns
    -------
    bool array (rows, columns)
    """
    picture = read_picture(path, lambda full: size)
    marked: Bools = picture.srgb.mean(axis=2) * picture.opacity >= 0.5
    return marked


def _too_large(path: Path, found: str) -> ArtworkError:
    return ArtworkError(
        f"{path}: the picture is too large: expected at most {MOST_PIXELS // 1_000_000} "
        f"megapixels, found {found}."
    )


def _read(path: Path, working: Callable[[Size], Size]) -> Picture:
    with Image.open(path, formats=_FORMATS) as image:
        if image.width * image.height > MOST_PIXELS:
            raise _too_large(path, f"{image.width} x {image.height} pixels")
        if min(image.size) < LEAST_SIDE:
            raise ArtworkError(
                f"{path}: the picture is too small: expected at least {LEAST_SIDE} pixels a side, "
                f"found {image.width} x {image.height}."
            )
        if image.format != "JPEG":
            image.load()  # TIFF is turned by Pillow itself here, and says so only then
        turned = image.getexif().get(_EXIF_ORIENTATION, 1) in (5, 6, 7, 8)
        full = (image.height, image.width) if turned else image.size
        wanted = working(full)
        stored = wanted[::-1] if turned else wanted
        image.draft(None, stored)  # JPEG is decoded at half, quarter or eighth size
        image.load()
        small = ImageOps.exif_transpose(_scaled(image, stored, path))
    if small.mode == "F":
        grey = np.clip(np.asarray(small, np.float32), 0, 1)
        return Picture(np.repeat(grey[..., None], 3, axis=2), np.ones_like(grey), full, path.name)
    values = np.asarray(small, np.float32) / np.float32(255)
    opaque = np.ones(values.shape[:2], np.float32)
    opacity = values[..., 3].copy() if values.shape[2] == 4 else opaque
    # Colours under full transparency mean nothing: what shows through is taken as white.
    srgb = values[..., :3] * opacity[..., None] + (1 - opacity[..., None])
    return Picture(srgb, opacity, full, path.name)


def _scaled(image: Image.Image, size: Size, path: Path) -> Image.Image:
    """Return the picture as RGB, RGBA or, for more than 8 bits of grey, F from 0 to 1, scaled."""
    exif, profile = image.info.get("exif"), image.info.get("icc_profile")
    if image.mode.startswith("I"):
        image = Image.fromarray(deep_levels(image, path))
    elif image.mode == "F":
        image = Image.fromarray(_unit(np.asarray(image)))
    elif image.mode in ("LA", "La", "PA", "RGBA", "RGBa") or "transparency" in image.info:
        image = image.convert("RGBA")
    elif image.mode not in ("RGB", "CMYK"):
        image = image.convert("RGB")
    # Shrunk with every pixel counted, enlarged smoothly.
    small = image.resize(size, Image.Resampling.BICUBIC, reducing_gap=3.0)
    small = _in_srgb(small, profile)
    if exif:
        small.info["exif"] = exif
    return small


def _unit(values: NDArray[np.generic]) -> Plane:
    levels = values.astype(np.float32)
    if not np.isfinite(levels).all():
        raise ValueError("a pixel's value is not a number")
    low, high = min(0.0, float(levels.min())), max(1.0, float(levels.max()))
    # In halves: values may span more than the greatest number of their kind.
    half = np.float32(0.5)
    unit: Plane = (levels * half - np.float32(low / 2)) / np.float32(high / 2 - low / 2)
    return unit


def _in_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """Return the picture in sRGB; one whose profile is damaged is taken as it is."""
    plain = image.convert("RGB") if image.mode == "CMYK" else image
    if not profile or image.mode not in ("RGB", "CMYK", "RGBA"):
        return plain
    colours = image.convert("RGB") if image.mode == "RGBA" else image
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        turned = ImageCms.profileToProfile(
            colours, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError):
        return plain
    if turned is None:
        return plain
    if image.mode == "RGBA":
        turned.putalpha(image.getchannel("A"))
    return turned
