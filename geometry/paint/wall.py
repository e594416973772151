"""Spraying: what is on the wall after each pass, as exact areas of colour, for any spray order.

Each cell of the partition (see ``partition``) is covered by a set of layers; its colour follows by
laying those layers' paints over the ground in spray order. Two cells of one set always look alike,
so that colours are computed a set, not a cell.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import MultiPolygon

from ..arrays import Bools, Floats, Indices
from ..build import Build
from ..colour import hex_from_srgb, linear_from_srgb, source_over, srgb_from_hex
from ..errors import GeometryError
from ..job.sections import LayerSettings
from ..planar.arrangement import Partition, distinct_sets, partition
from ..planar.raster import Coverage, coverage, extent_of, pixel_shape, srgb_bytes
from ..progress import Progress


@dataclass(frozen=True)
class Can:
    """What is in one can.

    Parameters
    ----------
    colour : str
        Like ``"#a0522d"``: how it looks where it hides the ground.
    opacity : float
        1 hides what is below; less lets it show, as the same number does in a drawing program.
    """

    colour: str
    opacity: float = 1.0


@dataclass(frozen=True)
class ColourArea:
    """All places of one colour in a picture."""

    colour: str
    shape: MultiPolygon
    area_mm2: float


def cans_of(layers: Iterable[LayerSettings]) -> tuple[Can, ...]:
    """Return the paint of each layer."""
    return tuple(Can(layer.colour, layer.opacity) for layer in layers)


def composite_colours(
    covered: Bools,
    cans: Sequence[Can],
    ground: str,
    order: Sequence[int] | None = None,
) -> Floats:
    """Return the colours after each pass, for any sets of layers.

    Parameters
    ----------
    covered : bool array (m, layers)
        Which layers' paint falls on each of m places.
    cans : sequence of Can
        Of each layer.
    ground : str
        Colour of the bare wall.
    order : sequence of int, optional
        Layers in the order in which they are sprayed; as they stand when absent.

    Returns
    -------
    float64 array (layers + 1, m, 3)
        sRGB, 0 to 1: first the bare wall, then what is seen after each pass.

    Raises
    ------
    GeometryError
        Places and cans are not of as many layers, or the order leaves one out.

    Notes
    -----
    W3C Compositing and Blending Level 1, 5.1, source-over on an opaque backdrop: co = cs as + cb
    (1 - as), taken of sRGB values, the space that CSS and drawing programs composite in. Where two
    paints meet within a pixel, light mixes instead, see ``painted_pixels``.

    Examples
    --------
    >>> colours = composite_colours(np.array([[True]]), [Can("#000000", 0.25)], "#ffffff")
    >>> colours[:, 0].tolist()
    [[1.0, 1.0, 1.0], [0.75, 0.75, 0.75]]
    """
    covered = np.asarray(covered, bool)
    seen = np.empty((len(cans) + 1, len(covered), 3))
    for number, wall in enumerate(_pass_after_pass(covered, cans, ground, order)):
        seen[number] = wall
    return seen


def final_colours(
    covered: Bools,
    cans: Sequence[Can],
    ground: str,
    order: Sequence[int] | None = None,
) -> Floats:
    """Return the colours after the last pass alone, as :func:`composite_colours` has them.

    Parameters
    ----------
    covered : bool array (m, layers)
    cans : sequence of Can
    ground : str
    order : sequence of int, optional

    Returns
    -------
    float64 array (m, 3)

    Raises
    ------
    GeometryError
        As of :func:`composite_colours`.

    Examples
    --------
    >>> cans = [Can("#ffffff"), Can("#000000", 0.25)]
    >>> final_colours(np.array([[False, False], [True, True]]), cans, "#808080").round(3).tolist()
    [[0.502, 0.502, 0.502], [0.75, 0.75, 0.75]]
    """
    *_, seen = _pass_after_pass(np.asarray(covered, bool), cans, ground, order)
    return seen


def _pass_after_pass(
    covered: Bools, cans: Sequence[Can], ground: str, order: Sequence[int] | None
) -> Iterator[Floats]:
    """Yield the bare wall's colours, then those after each pass: one array, painted on."""
    if covered.ndim != 2 or covered.shape[1] != len(cans):
        raise GeometryError(
            f"Expected places x {len(cans)} layers, found an array {covered.shape}."
        )
    passes = range(len(cans)) if order is None else order
    if sorted(passes) != list(range(len(cans))):
        raise GeometryError(f"Spray order {tuple(passes)}: expected each layer's position once.")
    seen = np.empty((len(covered), 3))
    seen[:] = srgb_from_hex(ground)
    yield seen
    # Of hundreds of layers a place lies in a few.
    layer, row = np.nonzero(np.ascontiguousarray(covered.T))
    first = np.searchsorted(layer, np.arange(len(cans) + 1))
    for number in passes:
        rows = row[first[number] : first[number + 1]]
        if len(rows):
            colour = srgb_from_hex(cans[number].colour)
            seen[rows] = source_over(seen[rows], colour, cans[number].opacity)
        yield seen


@dataclass(frozen=True)
class Wall:
    """The wall of a job: its cells, and what is sprayed on them.

    Parameters
    ----------
    cells : Partition
        Regions: first the openings of each sheet, then the artwork of each layer.
    cans : tuple of Can
        Of each sheet; the two of a layer that is split have the same.
    ground : str
    names : tuple of str
        Of each sheet.
    """

    cells: Partition
    cans: tuple[Can, ...]
    ground: str
    names: tuple[str, ...]

    @property
    def sprayed(self) -> Bools:
        """Which layers' paint falls on each cell: bridges keep it off. (n, layers)."""
        return self.cells.inside[:, : len(self.cans)]

    @property
    def wanted(self) -> Bools:
        """Which layers' artwork covers each cell. (n, layers)."""
        return self.cells.inside[:, len(self.cans) :]

    def passes(self, order: Sequence[int] | None = None) -> Floats:
        """Return the colours of all cells after each pass: (layers + 1, n, 3), sRGB."""
        sets, number = distinct_sets(self.sprayed)
        seen = composite_colours(sets, self.cans, self.ground, order)
        return seen[:, number]

    def picture_wanted(self) -> Floats:
        """Return the colours of all cells as the artwork has them: (n, 3), sRGB."""
        sets, number = distinct_sets(self.wanted)
        return final_colours(sets, self.cans, self.ground)[number]


def wall_of(build: Build, progress: Progress | None = None) -> Wall:
    """Cut the wall of a built job into cells.

    Parameters
    ----------
    build : Build
    progress : Progress, optional

    Returns
    -------
    Wall
    """
    sheet = build.job.sheet
    regions = [layer.sheet.openings for layer in build.layers]
    regions += [layer.artwork.shape for layer in build.layers]
    frame = shapely.box(0, 0, sheet.width_mm, sheet.height_mm)
    return Wall(
        partition(regions, frame, progress),
        cans_of(layer.settings for layer in build.layers),
        build.job.ground,
        tuple(layer.sheet.layer for layer in build.layers),
    )


def colour_areas(cells: Partition, colours: ArrayLike) -> tuple[ColourArea, ...]:
    """Return a picture as exact polygons, one shape a colour, the largest first.

    Parameters
    ----------
    cells : Partition
    colours : array_like (n, 3)
        sRGB of each cell, 0 to 1, as ``Wall.passes`` gives them.

    Returns
    -------
    tuple of ColourArea
        Their areas add up to the frame's.
    """
    kinds, kind = np.unique(_shown(colours), axis=0, return_inverse=True)
    kind = kind.reshape(-1)
    areas = np.bincount(kind, cells.areas, len(kinds))
    return tuple(
        ColourArea(hex_from_srgb(kinds[k] / 255), cells.shape(kind == k), float(areas[k]))
        for k in np.argsort(-areas).tolist()
    )


def painted_pixels(
    areas: Sequence[ColourArea], frame: tuple[float, float], pixels_per_mm: float
) -> NDArray[np.uint8]:
    """Return areas of colour as a picture.

    Parameters
    ----------
    areas : sequence of ColourArea
        That fill the frame.
    frame : tuple of float
        Width and height in mm.
    pixels_per_mm : float

    Returns
    -------
    uint8 array (rows, columns, 3)
        sRGB, top row first. A pixel across an edge mixes just the colours that meet in it, in
        linear light: no colour below shines through where two paints abut.
    """
    light, total = _light_of(areas, frame, pixels_per_mm)
    return srgb_bytes(light / total[..., None])


def painted_passes(
    cells: Partition, passes: Floats, frame: tuple[float, float], pixels_per_mm: float
) -> Iterator[NDArray[np.uint8]]:
    """Yield the picture after each pass, as ``painted_pixels`` draws it.

    Of each pass only what it changes is drawn: forty passes take hardly longer than one.

    Parameters
    ----------
    cells : Partition
    passes : float64 array (passes + 1, n, 3)
        sRGB of each cell, 0 to 1, as ``Wall.passes`` gives them.
    frame : tuple of float
        Width and height in mm.
    pixels_per_mm : float

    Yields
    ------
    uint8 array (rows, columns, 3)
        Its own each time.
    """
    light, total = _light_of(colour_areas(cells, passes[0]), frame, pixels_per_mm)
    pixels = srgb_bytes(light / total[..., None])
    yield pixels
    for before, after in pairwise(map(_shown, passes)):
        pixels = pixels.copy()
        changed = (before != after).any(axis=1)
        pairs = np.concatenate([before, after], axis=1)
        kinds, kind = np.unique(pairs[changed], axis=0, return_inverse=True)
        number = np.full(len(changed), -1)
        number[changed] = kind.reshape(-1)
        for k, colours in enumerate(kinds):
            share = coverage(cells.shape(number == k), frame, pixels_per_mm)
            at = extent_of(share > 0)
            old, new = linear_from_srgb(colours.reshape(2, 3) / 255)
            light[at] += share[at][..., None] * (new - old).astype(np.float32)
            pixels[at] = srgb_bytes(light[at] / total[at][..., None])
        yield pixels


def _light_of(
    areas: Sequence[ColourArea], frame: tuple[float, float], pixels_per_mm: float
) -> tuple[Coverage, Coverage]:
    """Return the light of areas that fill a frame, summed in each pixel, and how much they cover.

    The last row and column may reach past the frame, where nothing covers them.
    """
    rows, columns = pixel_shape(frame, pixels_per_mm)
    light = np.zeros((rows, columns, 3), np.float32)
    total = np.zeros((rows, columns), np.float32)
    for area in areas:
        share = coverage(area.shape, frame, pixels_per_mm)
        at = extent_of(share > 0)
        colour = linear_from_srgb(srgb_from_hex(area.colour)).astype(np.float32)
        light[at] += share[at][..., None] * colour
        total[at] += share[at]
    return light, np.maximum(total, np.float32(1e-6))


def _shown(colours: ArrayLike) -> Indices:
    """Return sRGB, 0 to 1, as the bytes that show it."""
    return np.rint(np.clip(np.asarray(colours, np.float64), 0, 1) * 255).astype(np.int64)
