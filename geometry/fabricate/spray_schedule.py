"""The spray schedule: which tile of which layer when, what is masked, what must dry.

Layers go in spray order; within one, tiles in rounds such that no two tiles of a round border on
each other: a tile is laid over its neighbour's paint only when that has dried to the touch. Paint
by tile is the layer's openings parted by the tiles' areas, so that the parts add up to the layer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Geometries
from ..build import Build
from ..job.job import Job
from ..planar.polygons import as_multipolygon
from .estimate import coverage_m2_per_l
from .making import Making
from .pieces import MadeSheet
from .wall_pins import WallPin

#: Tiles this near (mm) border on each other: as wide as the widest joint.
_BESIDE = 2.5
#: Less than this (mm2) is no paint: what rounding leaves of an opening cut by a seam.
_NOTHING = 0.01
_SIDES = ("left", "right", "below", "above")


@dataclass(frozen=True)
class SprayStep:
    """One tile of one layer.

    Parameters
    ----------
    number : int
        From 1, in the order of work.
    layer, colour, tile : str
        ``tile`` is empty for a sheet in one piece.
    round : int
        Tiles of one round of a layer border on none of the same round.
    paint_mm2 : float
        Openings that are sprayed through it.
    paint_ml : tuple of float
        Without loss, and with the loss that the job assumes.
    masked : tuple of str
        Sides of the tile where wall lies bare beside it and is covered: ``"left"`` and so on.
    pins : tuple of int
        Numbers of the wall pins that it hangs on.
    starts_min, ends_min : float
        From the first step's start, hanging, masking, spraying and taking off counted.
    dry_min : float
        When its paint is dry to the touch, from the first step's start.
    waits_for : str
        What it waits for longest, in words; empty where it waits for nothing.
    """

    number: int
    layer: str
    colour: str
    tile: str
    round: int
    paint_mm2: float
    paint_ml: tuple[float, float]
    masked: tuple[str, ...]
    pins: tuple[int, ...]
    starts_min: float
    ends_min: float
    dry_min: float
    waits_for: str


def spray_schedule(
    job: Job, making: Making, openings: Sequence[MultiPolygon]
) -> tuple[SprayStep, ...]:
    """Return the steps in the order of work.

    Parameters
    ----------
    job : Job
        ``[spray]`` says how long paint dries and a tile takes.
    making : Making
    openings : sequence of MultiPolygon
        For each sheet what is sprayed through it: registration holes left out.

    Notes
    -----
    Where the job does not state the drying times, they count as 0; ``schedule_text`` asks for them.
    A tile through which nothing is sprayed has no step.
    """
    spray, given = job.spray, job.estimate
    touch, recoat = spray.touch_dry_min or 0.0, spray.recoat_min or 0.0
    wet_ml = 1000.0 / 1e6 / coverage_m2_per_l(given.solids_percent, given.film_um)
    lost = 1 - given.paint_loss_percent / 100
    steps: list[SprayStep] = []
    now = 0.0
    dry_at = 0.0  # when the layer below may be painted over
    below = ""
    for made, open_area in zip(making.sheets, openings, strict=True):
        tiles = made.tiling.tiles
        areas = np.array([tile.shape for tile in tiles], object)
        painted = _parted(open_area, made)
        hung = _hung_on(making.pins, areas)
        near = _neighbours(areas)
        rounds = _rounds(near, len(tiles))
        used = [k for k in range(len(tiles)) if painted[k] > _NOTHING]
        order = sorted(used, key=lambda k: (rounds[k], k))
        ended: dict[int, float] = {}
        for k in order:
            fresh = [j for j in near[k] if j in ended]
            reasons = [(now, "")]
            if below:
                reasons.append((dry_at, f"{below} to be dry enough to be painted over"))
            reasons += [
                (ended[j] + touch, f"{tiles[j].name} to be dry to the touch") for j in fresh
            ]
            starts, why = max(reasons, key=lambda r: r[0])
            now = starts + spray.tile_min
            ended[k] = now
            amount = painted[k]
            steps.append(
                SprayStep(
                    len(steps) + 1,
                    made.sheet.name,
                    made.sheet.colour,
                    tiles[k].name,
                    rounds[k] + 1,
                    amount,
                    (amount * wet_ml, amount * wet_ml / lost),
                    _bare_sides(areas[k], made.sheet.shape.bounds),
                    hung[k],
                    starts,
                    now,
                    now + touch,
                    why,
                )
            )
        dry_at = now + recoat
        below = made.sheet.name
    return tuple(steps)


def schedule_of_build(build: Build, making: Making) -> tuple[SprayStep, ...]:
    """Return the schedule of a build's sheets; see :func:`spray_schedule`."""
    sheets = [layer.sheet for layer in build.layers]
    sprayed = [as_multipolygon(sheet.openings.difference(sheet.holes)) for sheet in sheets]
    return spray_schedule(build.job, making, sprayed)


def _hung_on(pins: Sequence[WallPin], areas: Geometries) -> list[tuple[int, ...]]:
    """Return for each tile the numbers of the pins that it hangs on: a pin's place is a hole."""
    hung: list[list[int]] = [[] for _ in areas]
    if pins:
        # Holes closed; one query for all: a wall has thousands of tiles and of pins.
        parts, of = shapely.get_parts(areas, return_index=True)
        closed = shapely.polygons(shapely.get_exterior_ring(parts))
        tree = shapely.STRtree(shapely.points([pin.at for pin in pins]))
        for part, pin in tree.query(closed, predicate="intersects").T.tolist():
            hung[of[part]].append(pins[pin].number)
    return [tuple(dict.fromkeys(sorted(numbers))) for numbers in hung]


def _parted(openings: MultiPolygon, made: MadeSheet) -> list[float]:
    """Return the area of openings that belongs to each tile; they add up to all of it.

    Seams run on through openings and part them; where an opening parts a cell into several tiles,
    each part of it goes to the tile that it lies by.
    """
    tiles, areas = made.tiling.tiles, made.tiling.areas
    if len(tiles) == 1 or not areas:
        return [float(openings.area)] + [0.0] * (len(tiles) - 1)
    found = [0.0] * len(tiles)
    parts = shapely.get_parts(openings)
    tree = shapely.STRtree(parts)
    owners: dict[str, list[int]] = {}
    for number, tile in enumerate(tiles):
        owners.setdefault(tile.name.rstrip("abcdefghijklmnopqrstuvwxyz"), []).append(number)
    for name, area in areas:
        mine = owners.get(name)
        if not mine:  # all of its sheet went to neighbours
            boxes = np.array([t.shape for t in tiles], object)
            mine = [int(np.argmin(shapely.distance(boxes, area)))]
        near = parts[tree.query(area, predicate="intersects")]
        cut = shapely.intersection(near, area)
        if len(mine) == 1:
            found[mine[0]] += float(shapely.area(cut).sum())
            continue
        shapes = [tiles[k].shape for k in mine]
        for part in cut:
            gaps = shapely.distance(np.array(shapes, object), part)
            found[mine[int(np.argmin(gaps))]] += float(part.area)
    return found


def _neighbours(areas: Geometries) -> list[list[int]]:
    """Return for each tile those that lie beside it, by their boxes: paint drifts over corners."""
    boxes = shapely.box(*shapely.bounds(areas).T)
    a, b = shapely.STRtree(boxes).query(boxes, predicate="dwithin", distance=_BESIDE)
    near: list[list[int]] = [[] for _ in areas]
    for i, j in zip(a.tolist(), b.tolist(), strict=True):
        if i != j:
            near[i].append(j)
    return near


def _rounds(near: Sequence[Sequence[int]], count: int) -> list[int]:
    """Return a round for each tile: the first that no neighbour has (greedy colouring)."""
    rounds = [-1] * count
    for k in range(count):
        taken = {rounds[j] for j in near[k]}
        rounds[k] = next(n for n in range(count) if n not in taken)
    return rounds


def _bare_sides(
    tile: shapely.Geometry, sheet: tuple[float, float, float, float]
) -> tuple[str, ...]:
    """Return the sides beyond which no sheet's edge follows at once: they are masked."""
    x0, y0, x1, y1 = tile.bounds
    left, low, right, high = sheet
    inner = (x0 > left + _BESIDE, x1 < right - _BESIDE, y0 > low + _BESIDE, y1 < high - _BESIDE)
    # A neighbour is not hung at the same time, so that inner sides lie bare as well as outer ones;
    # outer ones are the sheet's own edge, which has its margin.
    return tuple(side for side, bare in zip(_SIDES, inner, strict=True) if bare)
