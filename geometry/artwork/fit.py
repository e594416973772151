"""Artwork fitted to a stated size, so that nobody has to work out a factor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .source import ArtworkSource

#: Masks, whose pixels have a size of their own.
_MASKS = (".png", ".jpg", ".jpeg")

Size = tuple[float, float]
Bounds = tuple[float, float, float, float]
Read = tuple[ArtworkSource, Size | None, Bounds]


def with_pixels(source: ArtworkSource) -> ArtworkSource:
    """Return a source whose mask, if it is one, has pixels of some size: it is fitted later."""
    if source.text is None and source.path.suffix.lower() in _MASKS and source.pixel_mm is None:
        return replace(source, pixel_mm=1.0)
    return source


def artwork_size(read: Sequence[Read]) -> Size | None:
    """Return width and height in mm of the artwork of several layers, None where there is none.

    Parameters
    ----------
    read : sequence of (ArtworkSource, page, bounds)
        Page and bounds in mm, as they came of the source. The first page counts; without any, the
        bounds that all have in common.
    """
    page = next((page for source, page, _ in read if page and source.text is None), None)
    return page or _common([bounds for source, _, bounds in read if source.text is None])


def _common(bounds: Sequence[Bounds]) -> Size | None:
    some = np.array([b for b in bounds if not np.isnan(b).any()])
    if not len(some):
        return None
    width, height = some[:, 2:].max(axis=0) - some[:, :2].min(axis=0)
    return float(width), float(height)


def fitted_sources(read: Sequence[Read], room: Size) -> list[ArtworkSource]:
    """Return the sources with factors by which their artwork fits into a room, in its shape.

    What has a page is fitted by its page. What has none (DXF) is fitted by the bounds that all such
    artworks have in common, so that they stay in register. Text keeps the size that it is set in.

    Parameters
    ----------
    read : sequence of (ArtworkSource, page, bounds)
        Page and bounds in mm, as they came of the source.
    room : tuple of float
        Width and height in mm.

    Examples
    --------
    >>> from pathlib import Path
    >>> icon = ArtworkSource(Path("icon.svg"))
    >>> [fitted] = fitted_sources([(icon, (6.35, 6.35), (0, 0, 6, 6))], (127.0, 254.0))
    >>> round(fitted.scale, 6)
    20.0
    """
    common = _common([b for source, page, b in read if page is None and source.text is None])
    fitted = []
    for source, page, _ in read:
        size = page or common
        if source.text is not None or size is None or max(size) <= 0:
            fitted.append(source)
            continue
        factor = min(
            (whole / own if own > 0 else math.inf for whole, own in zip(room, size, strict=True))
        )
        if source.pixel_mm is not None:
            fitted.append(replace(source, pixel_mm=source.pixel_mm * factor))
        else:
            fitted.append(replace(source, scale=source.scale * factor))
    return fitted
