"""Care: where damage to the picture is worse than elsewhere, as the artist has painted it.

And areas of the sheet that are drawn, not given by their corners.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import shapely
from PIL import Image, UnidentifiedImageError
from shapely import MultiPolygon
from shapely.affinity import translate

from ..errors import ArtworkError
from ..job.job import Job
from ..job.sections import BridgeArea
from ..planar.polygons import as_multipolygon
from ..step_cache import StepCache
from ..tolerance import TOLERANCES, Tolerances
from .read import read_once
from .source import ArtworkSource

#: How many times worse damage is where the care is white.
MOST_CARE = 8.0
# A picture is read in steps: from this grey on (0 to 1), damage counts so many times.
_STEPS = ((0.06, 2.0), (0.3, 4.0), (0.6, 6.0), (0.9, MOST_CARE))
#: An area drawn in greys holds from this grey on.
_LIGHT = 0.5
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
    scale: float = 1.0,
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
    scale : float
        Factor on the artwork's lengths, and so on those of a group.

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
    try:
        greys = [grey for grey, _ in _STEPS]
        nested = _painted(job, job.bridges.care, page, scale, greys, tolerances, cache)
    except ArtworkError as error:
        raise ArtworkError(f"care: {error}") from error
    factors = [factor for _, factor in _STEPS] if len(nested) > 1 else [MOST_CARE]
    return tuple(_apart(nested, factors))


def with_drawn_areas(
    job: Job,
    page: tuple[float, float] | None,
    shift: tuple[float, float],
    scale: float,
    tolerances: Tolerances = TOLERANCES,
    cache: StepCache | None = None,
) -> Job:
    """Return a job whose areas that name a drawing have its shape.

    Parameters
    ----------
    job : Job
    page : tuple of float, optional
        Width and height in mm of the artwork's page, which a picture covers.
    shift : tuple of float
        From the artwork's frame to the sheet's, in mm.
    scale : float
        Factor on the artwork's lengths, and so on those of a group.
    tolerances : Tolerances
    cache : StepCache, optional

    Returns
    -------
    Job
        A picture in greys gives several areas: what holds there holds where it is light, and the
        care grows in steps with the grey, up to the area's own in white.

    Raises
    ------
    ArtworkError
        The file cannot be read, or is a picture and the artwork has no page.
    """
    areas: list[BridgeArea] = []
    for number, area in enumerate(job.areas, 1):
        if not area.drawing:
            areas.append(area)
            continue
        try:
            greys = (_LIGHT, *(grey for grey, _ in _STEPS))
            nested = _painted(job, area.drawing, page, scale, greys, tolerances, cache)
        except ArtworkError as error:
            raise ArtworkError(f"[[area]] number {number}: {error}") from error
        nested = [translate(shape, *shift) for shape in nested]
        if len(nested) == 1:
            areas.append(replace(area, shape=nested[0]))
            continue
        light, *nested = nested
        areas.append(replace(area, shape=light, care=1.0))
        if area.care > 1:
            factors = [max(1.0, area.care * factor / MOST_CARE) for _, factor in _STEPS]
            areas += [
                BridgeArea(area.name, area.layer, care=one.factor, shape=one.shape)
                for one in _apart(nested, factors)
            ]
    return replace(job, areas=tuple(areas))


def _painted(
    job: Job,
    named: str,
    page: tuple[float, float] | None,
    scale: float,
    greys: Sequence[float],
    tolerances: Tolerances,
    cache: StepCache | None,
) -> list[MultiPolygon]:
    """Return what is painted: the one shape of a group, or of a picture what is at least as light
    as each of some greys."""
    name, _, group = named.partition("#")
    path = job.folder / name
    if path.suffix.lower() not in _IMAGES:
        source = ArtworkSource(path, group or None, scale=scale)
        return [read_once(source, tolerances, cache).shape]
    if page is None:
        raise ArtworkError(f"{path}: a picture of care needs artwork that has a page.")
    pixel = page[0] / _width(path)
    sources = (
        ArtworkSource(path, pixel_mm=pixel, painted="light", threshold=grey) for grey in greys
    )
    return [read_once(source, tolerances, cache).shape for source in sources]


def _apart(nested: Sequence[MultiPolygon], factors: Sequence[float]) -> Iterator[CareArea]:
    """Yield shapes that lie within each other as areas that do not overlap."""
    for number, factor in enumerate(factors):
        step: shapely.Geometry = nested[number]
        if number + 1 < len(nested):
            step = step.difference(nested[number + 1])
        if not step.is_empty:
            yield CareArea(as_multipolygon(step), factor)


def _width(path: object) -> int:
    try:
        with Image.open(str(path)) as image:
            return image.width
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError) as error:
        raise ArtworkError(f"{path}: the picture cannot be read: {error}.") from error
