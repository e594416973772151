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

from ..arrays import Bools, Floats, Geometries, Indices
from ..colour import hides
from ..planar.polygons import as_multipolygon
from ..progress import Progress
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
#: Rounding of a distance that must not make it more than it is.
NEARLY = 1 - 1e-9
#: Edges times samples that are worked at in one go, for the sake of memory.
_EDGES_AT_ONCE = 200_000
# What is told meanwhile.
_SAYS = "letting sheets drift"
#: Edges are looked at in runs of this share of the farthest.
RUN = 0.5


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
    progress: Progress | None = None,
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
    progress : Progress, optional
        May raise ``Cancelled``.

    Returns
    -------
    tuple of Detail
        Those lost in any sample, the most often lost first.
    """
    if allowed_mm == 0 and allowed_deg == 0:
        return ()
    progress = progress or Progress()
    hiding = [k for k, can in enumerate(paints) if hides(can.opacity)]
    cells, owner = _patches(shapes, hiding, allowed_mm)
    if not len(cells):
        return ()
    areas, bounds = shapely.area(cells), shapely.bounds(cells)
    lever = float(np.hypot(*(bounds.reshape(-1, 2) - centre).T).max())
    reach = allowed_mm + lever * np.radians(allowed_deg)
    drifts = sample_drifts(SAMPLES, len(shapes), allowed_mm, allowed_deg)
    # Two sheets, and an edge may lie that much farther off the centre than the patch that it meets.
    apart = 2 * reach * (1 + 4 * np.radians(allowed_deg))
    bounding = progress.part(0.2, 0.6)
    most = _most_covered(cells, owner, shapes, hiding, drifts, centre, apart, bounding)
    open_ = most >= (1 - LEFT) * areas[:, None]
    looked_at = np.flatnonzero(open_.any(axis=1))
    if not len(looked_at):
        return ()
    cells, owner, areas, open_ = (
        cells[looked_at],
        owner[looked_at],
        areas[looked_at],
        open_[looked_at],
    )
    drifting = progress.part(0.6, 1.0)
    left = _left(cells, owner, shapes, hiding, drifts, centre, reach, open_, drifting)
    lost = (left < LEFT * areas[:, None]).sum(axis=1)
    gone = np.flatnonzero(lost)
    gone = gone[np.lexsort((-areas[gone], -lost[gone]))]
    points = shapely.get_coordinates(shapely.point_on_surface(cells[gone]))
    return tuple(
        Detail(
            int(owner[k]), (float(at[0]), float(at[1])), float(areas[k]), float(lost[k] / SAMPLES)
        )
        for k, at in zip(gone.tolist(), points, strict=True)
    )


def _patches(
    shapes: Sequence[MultiPolygon], hiding: Sequence[int], allowed_mm: float
) -> tuple[Geometries, Indices]:
    """Return the patches that are seen and may vanish, and the layer of each, -1 for the wall."""
    patches: list[Geometries] = [np.empty(0, object)]
    owners: list[Indices] = [np.empty(0, np.int64)]
    bounds = shapely.total_bounds(list(shapes))
    hull = MultiPolygon() if np.isnan(bounds).any() else shapely.box(*bounds)
    covered = MultiPolygon()
    for layer in range(len(shapes) - 1, -2, -1):
        shape = shapes[layer] if layer >= 0 else hull
        seen = shapely.get_parts(as_multipolygon(shapely.difference(shape, covered)))
        area = shapely.area(seen)
        # A patch wider than this all over cannot vanish.
        slim = area < (2 * allowed_mm + SPARE) * shapely.length(seen)
        seen = seen[(area >= LEAST_DETAIL) & slim]
        patches.append(seen)
        owners.append(np.full(len(seen), layer))
        if layer in hiding:
            covered = shapely.union(covered, shape)
    return np.concatenate(patches), np.concatenate(owners)


def _most_covered(
    cells: Geometries,
    owner: Indices,
    shapes: Sequence[MultiPolygon],
    hiding: Sequence[int],
    drifts: tuple[Floats, Floats],
    centre: tuple[float, float],
    farthest: float,
    progress: Progress,
) -> Floats:
    """Return a bound (cells, samples) of the area that later layers cover of each patch, in mm2.

    Seen from the patch's own sheet another one moves by r. What its paint comes to cover, its edge
    has swept over; an edge of length l sweeps no more than l times its way across itself. So the
    sum over all edges near enough bounds what is lost, and most patches need no more than that.
    """
    shifts, turns = drifts
    most = np.zeros((len(cells), len(shifts)))
    for layer in hiding:
        start, end, run = _outward_edges(shapes[layer], RUN * farthest)
        under = np.flatnonzero(owner < layer)
        if not len(start) or not len(under):
            continue
        along, middle = end - start, (start + end) / 2
        length = np.hypot(*along.T)
        first = np.flatnonzero(np.diff(run, prepend=-1))
        lines = shapely.linestrings(
            np.stack([start, end], axis=1).reshape(-1, 2), indices=np.repeat(run, 2)
        )
        tree = shapely.STRtree(lines)
        batches = min(len(shifts), -(-len(shifts) * len(start) // _EDGES_AT_ONCE))
        for below in np.unique(owner[under]).tolist():
            own = under[owner[under] == below]
            cell, near, apart = _near_pairs(tree, cells[own], farthest)
            if not len(near):
                continue
            for batch in np.array_split(np.arange(len(shifts)), batches):
                progress(layer / len(shapes), _SAYS)
                ways = [
                    _against(
                        (shifts[k, below], turns[k, below]) if below >= 0 else (np.zeros(2), 0.0),
                        (shifts[k, layer], turns[k, layer]),
                        centre,
                    )
                    for k in batch.tolist()
                ]
                matrices, steps, bends = (np.array(column) for column in zip(*ways, strict=True))
                way = middle @ matrices.transpose(0, 2, 1) + steps[:, None]
                far = np.hypot(way[..., 0], way[..., 1])
                across = way[..., 0] * along[:, 1] - way[..., 1] * along[:, 0]
                # The edge turns on its way, and its ends move otherwise than its middle.
                turned = bends[:, None] * length
                swept = np.maximum(across, 0.0) + turned * (far + length)
                swept = np.add.reduceat(swept, first, axis=1)
                far = np.maximum.reduceat(far + turned, first, axis=1)
                met = apart <= far[:, near]
                for sample, hit, area in zip(batch.tolist(), met, swept[:, near], strict=True):
                    if hit.any():
                        most[own, sample] += np.bincount(cell[hit], area[hit], len(own))
    return most


def _outward_edges(shape: MultiPolygon, longest: float) -> tuple[Floats, Floats, Indices]:
    """Return starts and ends of all edges, the inside of the shape on the left of each, and the
    runs of edges, no longer than a length where no edge is, that each belongs to."""
    rings = shapely.get_rings(shapely.get_parts(shapely.orient_polygons(shape)))
    points, ring = shapely.get_coordinates(rings, return_index=True)
    first = np.flatnonzero(ring[1:] == ring[:-1])
    start, end, ring = points[first], points[first + 1], ring[first]
    passed = np.cumsum(np.hypot(*(end - start).T))
    new = (np.diff(ring, prepend=-1) != 0) | (np.diff(passed // longest, prepend=-1) != 0)
    return start, end, np.cumsum(new) - 1


def _near_pairs(
    tree: shapely.STRtree, cells: Geometries, most: float
) -> tuple[Indices, Indices, Floats]:
    """Return which lines may lie near which patches, and a distance that is no more than theirs.

    Both are those of their boxes: a patch round all others is slow to measure against each line.
    """
    lines, areas = shapely.bounds(tree.geometries), shapely.bounds(cells)
    cell, line = tree.query(shapely.box(*(areas + np.array([-most, -most, most, most])).T))
    gaps = np.maximum(
        np.maximum(lines[line, :2] - areas[cell, 2:], areas[cell, :2] - lines[line, 2:]), 0.0
    )
    apart = np.hypot(*gaps.T) * NEARLY
    return cell, line, apart


def _against(
    first: tuple[Floats, float], other: tuple[Floats, float], centre: tuple[float, float]
) -> tuple[Floats, Floats, float]:
    """Return how the points of one drifted sheet move as seen from another: a matrix and a step
    that give each point's way, and the angle between the sheets in radians."""
    angle = np.radians(other[1] - first[1])
    turn, back = _turned(angle), _turned(-np.radians(first[1]))
    matrix = turn - np.eye(2)
    return matrix, back @ (other[0] - first[0]) - matrix @ centre, abs(float(angle))


def _turned(angle: float) -> Floats:
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def _left(
    cells: Geometries,
    owner: Indices,
    shapes: Sequence[MultiPolygon],
    hiding: Sequence[int],
    drifts: tuple[Floats, Floats],
    centre: tuple[float, float],
    reach: float,
    open_: Bools,
    progress: Progress,
) -> Floats:
    """Return what is left of each patch in each sample, infinite where that is not asked for."""
    clips = [_clipped(shape, cells, 3 * reach) for shape in shapes]
    # Most of many layers have nothing near most patches.
    there = [~shapely.is_empty(clip) for clip in clips]
    around = map_geometries(shapely.buffer, cells, distance=reach)
    areas = np.full(open_.shape, np.inf)
    for sample, (shift, turn) in enumerate(zip(*drifts, strict=True)):
        progress(sample / len(drifts[0]), _SAYS)
        asked = np.flatnonzero(open_[:, sample])
        left, of = around[asked], owner[asked]
        for layer in range(len(shapes) - 1, -1, -1):
            for works_on, how in (
                (of == layer, shapely.intersection),
                ((of < layer) & (layer in hiding) & there[layer][asked], shapely.difference),
            ):
                if works_on.any():
                    shape = clips[layer][asked[works_on]]
                    moved = _drifted(shape, shift[layer], turn[layer], centre)
                    left[works_on] = map_geometries(how, left[works_on], moved)
        areas[asked, sample] = shapely.area(left)
    return areas


def _clipped(shape: MultiPolygon, cells: Geometries, reach: float) -> Geometries:
    """Return what of a shape lies in a window about each patch, of its parts within reach only.

    The window about a ring is all that lies in it, rings in rings, too.
    """
    bounds = shapely.bounds(cells)
    windows = shapely.box(*(bounds[:, :2] - reach).T, *(bounds[:, 2:] + reach).T)
    parts = shapely.get_parts(shape)
    result = np.full(len(windows), MultiPolygon(), object)
    if not len(parts):
        return result
    window, part = shapely.STRtree(parts).query(cells, predicate="dwithin", distance=reach)
    cut = parts[part]
    # Most parts lie in a window whole.
    over = shapely.bounds(cut) - shapely.bounds(windows[window])
    sticks_out = np.flatnonzero((over[:, :2] < 0).any(axis=1) | (over[:, 2:] > 0).any(axis=1))
    cut[sticks_out] = map_geometries(
        shapely.intersection, cut[sticks_out], windows[window[sticks_out]]
    )
    pieces, of = shapely.get_parts(cut, return_index=True)
    is_area = shapely.get_dimensions(pieces) == 2
    pieces, of = pieces[is_area], window[of[is_area]]
    order = np.argsort(of, kind="stable")
    shapely.multipolygons(pieces[order], indices=of[order], out=result)
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
