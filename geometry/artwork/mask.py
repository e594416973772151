"""Masks: PNG and JPEG images whose dark, or light, part is to be painted.

An image becomes shapes in four steps: how much each pixel is painted (grey level times opacity),
smoothing if asked for, curves of one level between pixel centres (see ``level_curves``), and
leaving out points within a tolerance. The outer corner of the first pixel is the page's top left
corner.

Contours of a hard-edged mask run along pixel edges and cut each pixel corner by a triangle of
1/8 pixel, inwards and outwards alike: every outer contour loses half a pixel of area in all, every
hole half a pixel too.
"""

from __future__ import annotations

import math
import re
import struct
import warnings
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError
from shapely import MultiPolygon, STRtree

from ..arrays import Floats, Geometries
from ..errors import ArtworkError
from ..finding import Finding, Severity
from ..planar.contours import level_curves
from ..planar.simplify import thin_out
from ..tolerance import TOLERANCES, Tolerances
from .deep_grey import deep_levels
from .read import Artwork
from .source import ArtworkSource

#: Larger images are refused. 100 megapixels are a square metre at ten pixels per mm.
MOST_PIXELS = 100_000_000

# Wider smoothing is a slip of the pen, and would take minutes.
_WIDEST_SMOOTHING_PIXELS = 200

MM_PER_INCH = 25.4

#: Resolutions in dots per inch that are believed; files that give 0 or less exist.
_LEAST_DPI, _MOST_DPI = 1, 1e5

#: ``simplify_mm`` may be this share of the image's smaller side at most.
_COARSEST = 0.1

#: Share of what is painted from which specks that go are more than dust.
_MUCH_IN_SPECKS = 0.01

#: An image painted by this share is painted all over.
_ALL = 1 - 1e-9

_EXIF_ORIENTATION, _EXIF_X_RESOLUTION = 0x0112, 0x011A

# For each EXIF orientation, how the stored picture is to be turned (EXIF 2.32, 4.6.4 A).
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}

# Everything that Pillow raises on damaged files.
_DAMAGE = (OSError, SyntaxError, ValueError, EOFError, struct.error, zlib.error, OverflowError)


def read_mask(source: ArtworkSource, tolerances: Tolerances = TOLERANCES) -> Artwork:
    """Read a PNG or JPEG mask.

    A pixel is painted where its grey level is at most ``source.threshold`` (``painted="dark"``)
    or at least that (``"light"``); transparency counts as unpainted, in proportion. A turn stated
    in EXIF data is obeyed. Paint that reaches the image's edge ends there in a straight line.

    Parameters
    ----------
    source : ArtworkSource
        ``pixel_mm`` is the side of a pixel; without it the file's own resolution counts.
    tolerances : Tolerances
        Contours around less than ``least_area``, or less than one pixel, are left out.

    Returns
    -------
    Artwork
        The page is the whole image.

    Raises
    ------
    ArtworkError
        The file is no whole PNG or JPEG image, is too large, states no resolution where the job
        states none, or a setting makes no sense.
    """
    _check_settings(source)
    grey, opacity, dpi, findings = _load(source.path)
    height, width = grey.shape
    pixel = _pixel_size(source, dpi)
    page = (width * pixel[0], height * pixel[1])
    _check_lengths(source, pixel, page)

    painted, level = _painted(grey, opacity, source)
    if source.smooth_mm > 0:
        painted = _smoothed(painted, (source.smooth_mm / pixel[1], source.smooth_mm / pixel[0]))
    # Beyond the edge the image goes on further than any point may move when points are left out.
    margin = 1 + math.ceil(source.simplify_mm / min(pixel))
    polygons = _nested(_curves_mm(painted, level, margin, pixel))
    least = max(tolerances.least_area, pixel[0] * pixel[1])
    polygons, specks = _without_specks(polygons, least)
    polygons, more = _clipped(thin_out(polygons, source.simplify_mm), page, least)
    findings += _speck_findings(specks + more, least, float(shapely.area(polygons).sum()))
    if not len(polygons):
        findings.append(_nothing_painted(grey, source))
    elif shapely.area(polygons).sum() >= page[0] * page[1] * _ALL:
        findings.append(
            Finding(
                "artwork.all-painted",
                Severity.WARNING,
                f"{source.path.name}: the whole image is painted; "
                "check 'painted' and 'threshold' in the job.",
            )
        )
    shape = MultiPolygon(list(shapely.orient_polygons(polygons)))
    return Artwork(shape, page, tuple(findings))


def _check_settings(source: ArtworkSource) -> None:
    def refuse(key: str, value: object, expected: str) -> ArtworkError:
        return ArtworkError(f"{source.path}: {key} = {value!r}: expected {expected}.")

    if source.painted not in ("dark", "light"):
        raise refuse("painted", source.painted, "'dark' or 'light'")
    if not 0 < source.threshold < 1:
        raise refuse("threshold", source.threshold, "a level between 0 and 1, both excluded")
    if source.pixel_mm is not None and not 0 < source.pixel_mm < math.inf:
        raise refuse("pixel_mm", source.pixel_mm, "a positive length in mm")
    for key in ("smooth_mm", "simplify_mm"):
        if not 0 <= getattr(source, key) < math.inf:
            raise refuse(key, getattr(source, key), "a length in mm, or 0")
    if source.group is not None:
        raise refuse("group", source.group, "none, since an image has no groups")


def _check_lengths(
    source: ArtworkSource, pixel: tuple[float, float], page: tuple[float, float]
) -> None:
    if source.simplify_mm > _COARSEST * min(page):
        raise ArtworkError(
            f"{source.path}: simplify_mm = {source.simplify_mm}: expected at most a tenth of the "
            f"image's smaller side of {min(page):.3g} mm."
        )
    if source.smooth_mm > _WIDEST_SMOOTHING_PIXELS * min(pixel):
        raise ArtworkError(
            f"{source.path}: smooth_mm = {source.smooth_mm}: expected at most "
            f"{_WIDEST_SMOOTHING_PIXELS * min(pixel):.3g} mm "
            f"({_WIDEST_SMOOTHING_PIXELS} pixels of {min(pixel):.3g} mm)."
        )


def _load(
    path: Path,
) -> tuple[
    NDArray[np.float32], NDArray[np.float32] | None, tuple[float, float] | None, list[Finding]
]:
    """Return grey levels and opacity from 0 to 1, dots per inch along x and y, and findings."""
    findings: list[Finding] = []

    def tell(code: str, severity: Severity, message: str) -> None:
        findings.append(Finding(code, severity, f"{path.name}: {message}"))

    with warnings.catch_warnings(record=True) as told_by_pillow:
        warnings.simplefilter("always")
        try:
            with Image.open(path, formats=("PNG", "JPEG")) as image:
                if image.width * image.height > MOST_PIXELS:
                    raise _too_large(path, f"{image.width} x {image.height} pixels")
                image.load()
                kind, animated = image.format, getattr(image, "is_animated", False)
                picture: Image.Image = image.copy()
        except Image.DecompressionBombError as error:
            size = re.search(r"\d+ pixels", str(error))
            raise _too_large(path, size[0] if size else "more") from error
        except UnidentifiedImageError as error:
            raise ArtworkError(f"{path}: {_what_it_is(path)}") from error
        except _DAMAGE as error:
            reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
            raise ArtworkError(
                f"{path}: the image cannot be read: {' '.join(reason.split()).rstrip('.')}."
            ) from error
        try:
            exif: Mapping[int, Any] = picture.getexif()
        except _DAMAGE:
            exif = {}
            tell(
                "artwork.damaged-exif",
                Severity.WARNING,
                "its EXIF data are damaged; the picture is taken to be upright.",
            )
    if any(issubclass(warning.category, UserWarning) for warning in told_by_pillow):
        tell("artwork.damaged-exif", Severity.NOTE, "some of its EXIF data are damaged.")
    if animated and kind == "PNG":
        tell(
            "artwork.animation",
            Severity.WARNING,
            "is an animation; only its first picture is used.",
        )
    dpi = _stated_dpi(picture, kind, exif)
    orientation = exif.get(_EXIF_ORIENTATION, 1)
    if orientation in _TURNS:
        picture = picture.transpose(_TURNS[orientation])
        if orientation >= 5 and dpi is not None:
            dpi = (dpi[1], dpi[0])
    grey, opacity = _levels(picture, path)
    return grey, opacity, dpi, findings


def _too_large(path: Path, found: str) -> ArtworkError:
    return ArtworkError(
        f"{path}: the image is too large: expected at most {MOST_PIXELS // 1_000_000} megapixels, "
        f"found {found}."
    )


def _what_it_is(path: Path) -> str:
    with path.open("rb") as file:
        start = file.read(8)
    if not start:
        return "the file is empty; expected a PNG or JPEG image."
    for kind, signature in (("PNG", b"\x89PNG"), ("JPEG", b"\xff\xd8")):
        if start.startswith(signature):
            return f"starts like a {kind} image, but has no valid header or no pixels at all."
    return "is neither a PNG nor a JPEG image."


def _stated_dpi(
    image: Image.Image, kind: str | None, exif: Mapping[int, Any]
) -> tuple[float, float] | None:
    """Return the resolution that the file itself states; None when it states no unit."""
    dpi = image.info.get("dpi")
    if kind == "JPEG" and image.info.get("jfif_unit", 0) not in (1, 2):
        # Pillow fills in 72 where EXIF data are there but say nothing about resolution.
        dpi = dpi if _EXIF_X_RESOLUTION in exif else None
    return None if dpi is None else (float(dpi[0]), float(dpi[1]))


def _levels(
    image: Image.Image, path: Path
) -> tuple[NDArray[np.float32], NDArray[np.float32] | None]:
    if image.mode.startswith("I"):  # 16 bits
        key = image.info.get("transparency")
        opacity = None if key is None else (np.asarray(image) != key).astype(np.float32)
        return deep_levels(image, path), opacity
    transparent = "transparency" in image.info or image.mode in ("LA", "La", "PA", "RGBA", "RGBa")
    if not transparent:
        return _unit(image.convert("L")), None
    image = image.convert("RGBA")
    return _unit(image.convert("RGB").convert("L")), _unit(image.getchannel("A"))


def _unit(image: Image.Image) -> NDArray[np.float32]:
    return np.asarray(image, dtype=np.float32) / np.float32(255)


def _pixel_size(source: ArtworkSource, dpi: tuple[float, float] | None) -> tuple[float, float]:
    if source.pixel_mm is not None:
        return source.pixel_mm, source.pixel_mm
    if dpi is None:
        raise ArtworkError(
            f"{source.path}: the image gives no resolution; set pixel_mm in the job, the "
            "width of one pixel in mm."
        )
    if not all(_LEAST_DPI <= value <= _MOST_DPI for value in dpi):
        raise ArtworkError(
            f"{source.path}: the image gives an absurd resolution of {dpi[0]:g} x {dpi[1]:g} dots "
            "per inch; set pixel_mm in the job, the width of one pixel in mm."
        )
    return MM_PER_INCH / dpi[0], MM_PER_INCH / dpi[1]


def _painted(
    grey: NDArray[np.float32], opacity: NDArray[np.float32] | None, source: ArtworkSource
) -> tuple[NDArray[np.float32], float]:
    """Return how much each pixel is painted, 0 to 1, and the level from which it counts."""
    dark = source.painted == "dark"
    painted = 1 - grey if dark else grey.copy()
    if opacity is not None:
        painted *= opacity
    level = 1 - source.threshold if dark else source.threshold
    if not ((painted > 0) & (painted < 1)).any():
        # Black and white alone: every threshold means the same, and the edge is the pixel's edge.
        level = 0.5
    return painted, level


def _smoothed(painted: NDArray[np.float32], sigma: tuple[float, float]) -> NDArray[np.float32]:
    """Return the image convolved with a Gaussian, cut off at four standard deviations."""
    for axis, width in enumerate(sigma):
        radius = int(np.ceil(4 * width))
        weights = np.exp(-0.5 * (np.arange(-radius, radius + 1) / max(width, 1e-9)) ** 2)
        weights /= weights.sum()
        long = painted.shape[axis]
        around = np.pad(
            painted, [(radius, radius) if k == axis else (0, 0) for k in (0, 1)], "edge"
        )
        moved = np.moveaxis(around, axis, 0)
        total = np.zeros_like(np.moveaxis(painted, axis, 0))
        for offset, weight in enumerate(weights.astype(np.float32)):
            total += weight * moved[offset : offset + long]
        painted = np.moveaxis(total, 0, axis)
    return np.ascontiguousarray(painted)


def _curves_mm(
    painted: NDArray[np.float32], level: float, margin: int, pixel: tuple[float, float]
) -> list[Floats]:
    """Return closed curves in mm, y up, counter-clockwise around paint."""
    height = painted.shape[0]
    # The image goes on for `margin` pixels beyond its edge, so that curves cross the edge squarely,
    # and ends in a frame without paint, so that they close.
    around = np.pad(painted, margin + 1, mode="edge")
    around[[0, -1]] = around[:, [0, -1]] = 0
    curves = []
    for curve in level_curves(around, level):
        x = (curve[:, 0] - margin - 0.5) * pixel[0]
        y = (height - (curve[:, 1] - margin - 0.5)) * pixel[1]
        curves.append(np.column_stack([x, y]))
    return curves


def _nested(curves: list[Floats]) -> Geometries:
    """Make polygons of curves that do not touch: outer ones counter-clockwise, holes clockwise."""
    if not curves:
        return np.empty(0, dtype=object)
    lengths = [len(curve) for curve in curves]
    rings = shapely.linearrings(
        np.concatenate(curves), indices=np.repeat(np.arange(len(curves)), lengths)
    )
    outer = shapely.is_ccw(rings)
    shells, holes = rings[outer], rings[~outer]
    filled = shapely.polygons(shells)
    # The smallest outer curve around a hole's first point owns it.
    around, hole = STRtree(shapely.get_point(holes, 0)).query(filled, "contains")
    by_size = np.argsort(-shapely.area(filled)[around], kind="stable")
    owner = np.empty(len(holes), dtype=np.intp)
    owner[hole[by_size]] = around[by_size]
    every, owner = np.concatenate([shells, holes]), np.append(np.arange(len(shells)), owner)
    order = np.argsort(owner, kind="stable")  # each shell stays before its holes
    return np.asarray(shapely.polygons(every[order], indices=owner[order]), dtype=object)


class _Speck(NamedTuple):
    place: tuple[float, float]
    area: float


def _without_specks(polygons: Geometries, least: float) -> tuple[Geometries, list[_Speck]]:
    """Leave out polygons and fill holes under an area; return what went."""
    rings, owner = shapely.get_rings(polygons, return_index=True)
    if not len(rings):
        return polygons, []
    areas = shapely.area(shapely.polygons(rings))
    small = areas < least
    middles = shapely.get_coordinates(shapely.centroid(rings[small])).tolist()
    specks = [_Speck((x, y), area) for (x, y), area in zip(middles, areas[small], strict=True)]
    first = np.append(True, owner[1:] != owner[:-1])
    kept = ~small & ~small[first][owner]
    if not kept.any():
        return np.empty(0, dtype=object), specks
    _, owner = np.unique(owner[kept], return_inverse=True)
    return np.asarray(shapely.polygons(rings[kept], indices=owner), dtype=object), specks


def _clipped(
    polygons: Geometries, page: tuple[float, float], least: float
) -> tuple[Geometries, list[_Speck]]:
    """Cut off what lies beyond the image's edge; specks that are left of it go too."""
    frame = shapely.box(0, 0, *page)
    beyond = ~shapely.contains(frame, polygons)
    if not beyond.any():
        return polygons, []
    # Twice, since a part may be a collection that also holds a line along the edge.
    parts = shapely.get_parts(shapely.get_parts(shapely.intersection(polygons[beyond], frame)))
    parts = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]
    parts, specks = _without_specks(parts, least)
    return np.concatenate([polygons[~beyond], parts]), specks


def _speck_findings(specks: list[_Speck], least: float, painted: float) -> list[Finding]:
    """Tell of specks; with a warning where they are much of the picture, as a screen of dots is."""
    if not specks:
        return []
    noun = "contour" if len(specks) == 1 else "contours"
    area = sum(speck.area for speck in specks)
    much = area > _MUCH_IN_SPECKS * painted
    share = f", {area:.3g} mm2 of the picture in all" if much else ""
    return [
        Finding(
            "artwork.speck",
            Severity.WARNING if much else Severity.NOTE,
            f"Left out {len(specks)} {noun} around less than {least:.3g} mm2{share}, "
            f"the first of them here.",
            place=specks[0].place,
        )
    ]


def _nothing_painted(grey: NDArray[np.float32], source: ArtworkSource) -> Finding:
    return Finding(
        "artwork.empty",
        Severity.WARNING,
        f"{source.path.name}: nothing is painted: no area is {source.painted} at threshold "
        f"{source.threshold:g}; grey levels run from {grey.min():.2f} to {grey.max():.2f}.",
    )
