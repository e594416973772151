"""Care: where damage to the picture is worse than elsewhere, as the artist has painted it."""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from PIL import Image, UnidentifiedImageError
from shapely import MultiPolygon

from ..errors import ArtworkError
from ..job.job import Job
from ..planar.polygons import as_multipolygon
from ..step_cache import StepCache
from ..tolerance import TOLERANCES, Tolerances
from .read import read_once
from .source import ArtworkSource

#: How many times worse damage is where the care is white.
MOST_CARE = 8.0
# A picture is read in steps: from this grey on (0 to 1), damage counts so many times.
_STEPS = ((0.06, 2.0), (0.3, 4.0), (0.6, 6.0), (0.9, MOST_CARE))
_IMAGES = (".png", ".jpg", ".jpeg")


@dataclass(frozen=True)
class CareArea:
    """A part of the page, in mm, and how many times damage counts there."""

    shape: MultiPolygon
    factor: float


def read_care(
    job: Job,
    page: tuple[float, float] | None,
    tolerances: Tolerances = TOLERANCES,
    cache: StepCache | None = None,
) -> tuple[CareArea, ...]:
    """Read where a job's bridges shall do least harm.

    Parameters
    ----------
    job : Job
        Its ``bridges.care`` names a picture, white where care is greatest, or a group of an SVG or
        DXF file after a ``#``.
    page : tuple of float, optional
        Width and height in mm of the artwork's page, which a picture covers.
    tolerances : Tolerances
    cache : StepCache, optional
        Files of the same bytes are not read again.

    Returns
    -------
    tuple of CareArea
        In the artwork's frame; no two overlap.

    Raises
    ------
    ArtworkError
        The file cannot be read, or is a picture and the artwork has no page.
    """
    if not job.bridges.care:
        return ()
    name, _, group = job.bridges.care.partition("#")
    path = job.folder / name
    try:
        if path.suffix.lower() not in _IMAGES:
            shape = read_once(ArtworkSource(path, group or None), tolerances, cache).shape
            return (CareArea(shape, MOST_CARE),)
        if page is None:
            raise ArtworkError(f"{path}: a picture of care needs artwork that has a page.")
        pixel = page[0] / _width(path)
        nested = [
            read_once(
                ArtworkSource(path, pixel_mm=pixel, painted="light", threshold=grey),
                tolerances,
                cache,
            ).shape
            for grey, _ in _STEPS
        ]
    except ArtworkError as error:
        raise ArtworkError(f"care: {error}") from error
    areas = []
    for number, (_, factor) in enumerate(_STEPS):
        step: shapely.Geometry = nested[number]
        if number + 1 < len(nested):
            step = step.difference(nested[number + 1])
        if not step.is_empty:
            areas.append(CareArea(as_multipolygon(step), factor))
    return tuple(areas)


def _width(path: object) -> int:
    try:
        with Image.open(str(path)) as image:
            return image.width
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError) as error:
        raise ArtworkError(f"{path}: the picture cannot be read: {error}.") from error
