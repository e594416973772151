"""Sampled drifts: what all sheets together do to small details when each lies off its place.

Margins (see ``register_margins``) tell of two edges that run side by side; a small patch of colour
may be lost between more of them. Drifts are drawn with a fixed seed, and what is left of each patch
is measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Floats, Geometries
from ..colour import hides
from ..planar.polygons import as_multipolygon
from ..threads import map_geometries
from .wall import Can

#: Sampled drifts of all sheets together.
SAMPLES = 48
SEED = 20250
#: A detail of which less than this share is left counts as lost.
LEFT = 0.5
#: Patches under this area in mm2 are specks that nobody misses.
LEAST_DETAIL = 2.0
#: A patch wider by this, in mm, than what two sheets may drift apart cannot vanish.
SPARE = 0.5


@dataclass(frozen=True)
class Detail:
    """A small patch of one colour that drifting sheets may cover.

    Parameters
    ----------
    layer : int
        Position of its layer; -1 for the bare wall.
    place : tuple of float
    area_mm2 : float
    lost_share : float
        Share of the sampled drifts in which more than half of it was gone.
    """

    layer: int
    place: tuple[float, float]
    area_mm2: float
    lost_share: float


def sample_drifts(
    count: int, layers: int, allowed_mm: float, allowed_deg: float, seed: int = SEED
) -> tuple[Floats, Floats]:
    """Return drifts of all sheets, the same in every run.

    Parameters
    ----------
    count, layers : int
    allowed_mm, allowed_deg : float
        Shifts fill the disc of that radius evenly, turns the range to both sides.
    seed : int

    Returns
    -------
    shifts : float64 array (count, layers, 2)
    turns : float64 array (count, layers)
        In degrees.
    """
    rng = np.random.default_rng(seed)
    radius = allowed_mm * np.sqrt(rng.random((count, layers)))
    way = rng.uniform(0, 2 * np.pi, (count, layers))
    shifts = radius[..., None] * np.stack([np.cos(way), np.sin(way)], axis=-1)
    return shifts, rng.uniform(-allowed_deg, allowed_deg, (count, layers))


def lost_details(
    shapes: Sequence[MultiPolygon],
    paints: Sequence[Can],
    centre: tuple[float, float],
    allowed_mm: float,
    allowed_deg: float,
) -> tuple[Detail, ...]:
    """Let all sheets drift and tell which small patches of colour get lost.

    Parameters
    ----------
    shapes : sequence of MultiPolygon
        What each layer paints, in spray order, in mm.
    paints : sequence of Can
    centre : tuple of float
        That sheets turn about.
    allowed_mm, allowed_deg : float

    Returns
    -------
    tuple of Detail
        Those lost in any sample, the most often lost first.
    """
    if allowed_mm == 0 and allowed_deg == 0:
        return ()
    count = len(shapes)
    patches: list[shapely.Geometry] = []
    owners: list[int] = []
    whole = shapely.union_all(list(shapes))
    hull = shapely.box(*whole.bounds) if not whole.is_empty else MultiPolygon()
    covered = MultiPolygon()
    for layer in range(count - 1, -2, -1):
        shape = shapes[layer] if layer >= 0 else hull
        for patch in as_multipolygon(shapely.difference(shape, covered)).geoms:
            # A patch wider than this all over cannot vanish.
            if LEAST_DETAIL <= patch.area < (2 * allowed_mm + SPARE) * patch.length:
                patches.append(patch)
                owners.append(layer)
        if layer >= 0 and hides(paints[layer].opacity):
            covered = shapely.union(covered, shape)
    if not patches:
        return ()
    cells, owner = np.array(patches, object), np.array(owners)
    areas = shapely.area(cells)
    bounds = shapely.bounds(cells)
    lever = float(np.hypot(*(bounds.reshape(-1, 2) - centre).T).max())
    reach = allowed_mm + lever * np.radians(allowed_deg)
    # Of its own sheet and of one above it no more is lost than lies within both drifts' reach.
    safe = map_geometries(shapely.buffer, cells, distance=-2 * reach, quad_segs=2)
    small = shapely.area(safe) < LEFT * areas
    cells, owner, areas, bounds = cells[small], owner[small], areas[small], bounds[small]
    if not len(cells):
        return ()
    windows = shapely.box(*(bounds[:, :2] - 3 * reach).T, *(bounds[:, 2:] + 3 * reach).T)
    clips = [_clipped(shape, windows) for shape in shapes]
    around = map_geometries(shapely.buffer, cells, distance=reach)
    lost = np.zeros(len(cells))
    shifts, turns = sample_drifts(SAMPLES, count, allowed_mm, allowed_deg)
    for shift, turn in zip(shifts, turns, strict=True):
        left = around.copy()
        for layer in range(count - 1, -1, -1):
            moved = _drifted(clips[layer], shift[layer], turn[layer], centre)
            own = owner == layer
            under = owner < layer
            left[own] = map_geometries(shapely.intersection, left[own], moved[own])
            left[under] = map_geometries(shapely.difference, left[under], moved[under])
        lost += shapely.area(left) < LEFT * areas
    gone = np.flatnonzero(lost)
    gone = gone[np.lexsort((-areas[gone], -lost[gone]))]
    points = shapely.get_coordinates(shapely.point_on_surface(cells[gone]))
    return tuple(
        Detail(
            int(owner[k]), (float(at[0]), float(at[1])), float(areas[k]), float(lost[k] / SAMPLES)
        )
        for k, at in zip(gone.tolist(), points, strict=True)
    )


def _clipped(shape: MultiPolygon, windows: Geometries) -> Geometries:
    """Return the part of a shape in each window, from its parts near by only."""
    parts = shapely.get_parts(shape)
    result = np.full(len(windows), MultiPolygon(), object)
    if not len(parts):
        return result
    window, part = shapely.STRtree(parts).query(windows, predicate="intersects")
    pieces = shapely.intersection(parts[part], windows[window])
    for number in np.unique(window).tolist():
        result[number] = shapely.union_all(pieces[window == number])
    return result


def _drifted(
    shapes: Geometries, shift: Floats, turn_deg: float, centre: tuple[float, float]
) -> Geometries:
    angle = np.radians(turn_deg)
    matrix = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    moved: Geometries = shapely.transform(
        shapes, lambda xy: (xy - centre) @ matrix + centre + shift
    )
    return moved
