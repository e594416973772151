"""Triangles for flat sheets of any size, in time near-linear in their vertices.

Ear clipping alone grows with (holes x vertices). A big sheet is therefore cut by vertical lines
into thin slabs and each slab is ear-clipped by itself; slabs share the points on the cut lines by
index, so that nothing has to be welded. The lines run between the x values of the vertices, never
through one: every crossing is then a clean pass from inside to outside, and the pieces of a slab
follow from the order of the crossings along the lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import manifold3d
import mapbox_earcut
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Indices, ramp
from ..errors import GeometryError
from ..progress import Progress
from ..tolerance import MERGE, NOT_ZERO

#: Gaps between vertices to each side among which the widest is taken for a cut line.
_GAPS = 40
#: A gap is wide enough for a line in its middle when it is so many times what readers merge at.
_APART = 3.0


def _slab_vertices(vertices: int) -> int:
    """Return how many vertices a slab should have.

    Crossings added grow with the number of slabs, ear clipping with the square of a slab's size:
    both balance near a multiple of the square root (measured by tests/bench/bench_extrude.py).
    """
    return max(3000, int(11 * vertices**0.5))


@dataclass(frozen=True)
class Triangulation:
    """A flat region as triangles, with its boundary.

    Parameters
    ----------
    points : array (n, 2)
        Every ring point in ring order, with the points added on cut lines among them, in mm. Points
        that two rings share are there once a ring: rings that touch stay apart by index.
    triangles : int array (m, 3)
        Indices into ``points``, counter-clockwise.
    following : int array (n,)
        Next point along the ring of each point; the region lies on the left.
    """

    points: Floats
    triangles: Indices
    following: Indices


@dataclass(frozen=True)
class _Rings:
    """All rings of a region end to end, exteriors counter-clockwise and holes clockwise."""

    points: Floats
    start: Indices  # first point of each ring; one more entry closes the last ring
    polygon: Indices  # polygon of each ring
    is_hole: Bools


def triangulate(
    region: Polygon | MultiPolygon,
    progress: Progress | None = None,
    slab_vertices: int | None = None,
) -> Triangulation:
    """Triangulate polygons with holes, keeping every vertex.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        Valid, in mm.
    progress : Progress, optional
    slab_vertices : int, optional
        Vertices a slab; larger regions are cut. Chosen by the region's size when None.

    Returns
    -------
    Triangulation
        Without cut lines it has v + 2h - 2 triangles for a polygon of v vertices and h holes.

    Raises
    ------
    GeometryError
        The region is invalid, so that no triangulation keeps all its edges.

    Examples
    --------
    >>> plate = shapely.box(0, 0, 30, 30).difference(shapely.box(10, 10, 20, 20))
    >>> triangulate(plate).triangles.shape
    (8, 3)
    """
    progress = progress or Progress()
    rings = _rings(region)
    if len(rings.points) == 0:
        empty = np.empty((0, 3), np.int64)
        return Triangulation(np.empty((0, 2)), empty, np.empty(0, np.int64))
    slab_vertices = slab_vertices or _slab_vertices(len(rings.points))
    slabs = _cut_into_slabs(rings, _cut_lines(rings.points[:, 0], slab_vertices))
    pieces = _with_their_holes(slabs)
    triangles: list[Indices] = []
    for done, (outer, holes) in enumerate(pieces):
        if done % 256 == 0:
            progress(done / len(pieces), "triangulating")
        triangles.append(_ear_clip(slabs.points, [outer, *holes]))
    return Triangulation(slabs.points, np.concatenate(triangles), slabs.following)


def _rings(region: Polygon | MultiPolygon) -> _Rings:
    polygons = shapely.get_parts(shapely.orient_polygons(region))
    polygons = polygons[~shapely.is_empty(polygons)]
    all_rings, polygon = shapely.get_rings(polygons, return_index=True)
    coordinates, ring_of = shapely.get_coordinates(all_rings, return_index=True)
    last = np.append(ring_of[1:] != ring_of[:-1], True) if len(ring_of) else np.empty(0, bool)
    points, ring_of = coordinates[~last], ring_of[~last]
    is_hole = np.append(False, polygon[1:] == polygon[:-1]) if len(polygon) else np.empty(0, bool)
    start = np.searchsorted(ring_of, np.arange(len(all_rings) + 1)).astype(np.int64)
    return _Rings(points, start, polygon.astype(np.int64), is_hole)


def _cut_lines(x: Floats, slab_vertices: int) -> Floats:
    """Return x positions of cut lines: about equal shares of vertices, none on a vertex."""
    count = len(x) // slab_vertices
    if count < 1:
        return np.empty(0)
    values = np.unique(x)
    wanted = np.quantile(x, np.arange(1, count + 1) / (count + 1))
    above = np.clip(np.searchsorted(values, wanted, side="right"), 1, len(values) - 1)
    # The widest gap thereabouts: a point on the line must not be merged with a vertex beside it.
    near = np.clip(above[:, None] + np.arange(-_GAPS, _GAPS + 1), 1, len(values) - 1)
    gaps = values[near] - values[near - 1]
    above = np.unique(near[np.arange(len(near)), gaps.argmax(axis=1)])
    low, high = values[above - 1], values[above]
    middle = low + (high - low) / 2
    lines: Floats = middle[high - low > _APART * _told_apart(x)]
    return lines


def _told_apart(values: Floats) -> float:
    """Return the least distance at which readers of a file keep two numbers like these apart."""
    return max(MERGE, float(np.spacing(np.float32(np.abs(values).max()))))


@dataclass(frozen=True)
class _Slabs:
    """Rings with the crossings inserted, and the rings of the slabs as index arrays."""

    points: Floats
    following: Indices
    outer: list[Indices]
    outer_slab: Indices
    outer_polygon: Indices
    hole: list[Indices]
    hole_slab: Indices
    hole_polygon: Indices


def _cut_into_slabs(rings: _Rings, lines: Floats) -> _Slabs:
    n = len(rings.points)
    following = np.arange(1, n + 1)
    following[rings.start[1:] - 1] = rings.start[:-1]
    while True:
        slab = np.searchsorted(lines, rings.points[:, 0])
        steps = slab[following] - slab
        crossings = np.abs(steps)
        # Position of each original point among the points with crossings inserted after it.
        place = np.arange(n) + np.append(0, np.cumsum(crossings)[:-1])
        edge = np.repeat(np.arange(n), crossings)
        nth = ramp(crossings)
        rightward = steps[edge] > 0
        line = np.where(rightward, slab[edge] + nth, slab[edge] - nth - 1)
        a, b = rings.points[edge], rings.points[following[edge]]
        share = (lines[line] - a[:, 0]) / (b[:, 0] - a[:, 0]) if len(edge) else np.empty(0)
        y = a[:, 1] + share * (b[:, 1] - a[:, 1])
        order = np.lexsort((y, line))
        # Upwards along a line the region begins at a rightward edge and ends at a leftward one.
        expected = np.arange(len(order)) % 2 == 0
        wrong = rightward[order] != expected
        # What reads a file must not make one of two crossings.
        close = np.diff(y[order]) <= (2 * _told_apart(y) if len(y) else 0.0)
        wrong |= np.append(False, close & (np.diff(line[order]) == 0))
        if not wrong.any():
            break
        # Rounding has swapped two crossings, as beside a pinch: do without those lines. Each
        # line has an even number of crossings, so that one line's fault shifts no other's parity.
        lines = np.delete(lines, np.unique(line[order][wrong]))
    points = np.empty((n + len(edge), 2))
    inserted = place[edge] + 1 + nth
    points[place] = rings.points
    points[inserted, 0] = lines[line]
    points[inserted, 1] = y
    ring_start = np.append(place[rings.start[:-1]], len(points))
    ring_of = np.repeat(np.arange(len(ring_start) - 1), np.diff(ring_start))
    new_following = np.arange(1, len(points) + 1)
    new_following[ring_start[1:] - 1] = ring_start[:-1]

    crossed = np.zeros(len(ring_start) - 1, bool)
    crossed[ring_of[inserted]] = True
    whole = np.flatnonzero(~crossed)
    whole_slab = slab[rings.start[:-1][whole]]
    ranges = [np.arange(ring_start[r], ring_start[r + 1]) for r in whole]
    hole_at = np.flatnonzero(rings.is_hole[whole])
    outer_at = np.flatnonzero(~rings.is_hole[whole])

    partner = np.empty(len(edge), np.int64)
    partner[order] = order[np.arange(len(order)) ^ 1]
    cycles = _walk(inserted, partner, ring_start, ring_of)
    first = np.array([c[0] for c in cycles], np.int64)
    # A cycle starts at a crossing and leaves it into its slab.
    crossing_at = np.full(len(points), -1)
    crossing_at[inserted] = np.arange(len(inserted))
    k = crossing_at[first]
    cycle_slab = np.where(rightward[k], line[k] + 1, line[k]) if len(first) else first
    return _Slabs(
        points=points,
        following=new_following,
        outer=[ranges[i] for i in outer_at] + cycles,
        outer_slab=np.append(whole_slab[outer_at], cycle_slab),
        outer_polygon=np.append(
            rings.polygon[whole[outer_at]], rings.polygon[ring_of[first]] if len(first) else first
        ),
        hole=[ranges[i] for i in hole_at],
        hole_slab=whole_slab[hole_at],
        hole_polygon=rings.polygon[whole[hole_at]],
    )


def _walk(
    inserted: Indices, partner: Indices, ring_start: Indices, ring_of: Indices
) -> list[Indices]:
    """Return the closed outlines of slab pieces that touch a cut line.

    From a crossing the outline follows its ring to the next crossing, jumps along the cut line to
    that crossing's partner, and goes on from there.
    """
    count = len(inserted)
    if count == 0:
        return []
    ring = ring_of[inserted]
    # Crossings are stored in ring order: the next one is the next entry, or the ring's first.
    next_crossing = np.arange(1, count + 1)
    last_of_ring = np.append(ring[1:] != ring[:-1], True)
    first_of_ring = np.flatnonzero(np.append(True, ring[1:] != ring[:-1]))
    next_crossing[last_of_ring] = first_of_ring
    begin = inserted
    end = inserted[next_crossing]
    wraps = last_of_ring
    successor = partner[next_crossing]
    seen = np.zeros(count, bool)
    cycles: list[Indices] = []
    jump = successor.tolist()
    for k in range(count):
        if seen[k]:
            continue
        runs: list[Indices] = []
        at = k
        while not seen[at]:
            seen[at] = True
            if wraps[at]:
                r = ring[at]
                runs.append(np.arange(begin[at], ring_start[r + 1]))
                runs.append(np.arange(ring_start[r], end[at] + 1))
            else:
                runs.append(np.arange(begin[at], end[at] + 1))
            at = jump[at]
        cycles.append(np.concatenate(runs))
    return cycles


def _with_their_holes(slabs: _Slabs) -> list[tuple[Indices, list[Indices]]]:
    """Return each outer ring of a slab with the holes that lie in it."""
    pieces: list[tuple[Indices, list[Indices]]] = [(outer, []) for outer in slabs.outer]
    key_of_outer = np.stack([slabs.outer_slab, slabs.outer_polygon], axis=1)
    key_of_hole = np.stack([slabs.hole_slab, slabs.hole_polygon], axis=1)
    if len(key_of_hole) == 0:
        return pieces
    keys, key = np.unique(np.concatenate([key_of_outer, key_of_hole]), axis=0, return_inverse=True)
    key = key.reshape(-1)
    outer_key, hole_key = key[: len(key_of_outer)], key[len(key_of_outer) :]
    candidates = np.bincount(outer_key, minlength=len(keys))
    only = np.full(len(keys), -1)
    only[outer_key] = np.arange(len(outer_key))
    unclear = np.flatnonzero(candidates[hole_key] > 1)
    home = only[hole_key]
    if len(unclear):
        home[unclear] = _find_homes(slabs, unclear, outer_key, hole_key)
    for h, o in enumerate(home.tolist()):
        pieces[o][1].append(slabs.hole[h])
    return pieces


def _find_homes(slabs: _Slabs, unclear: Indices, outer_key: Indices, hole_key: Indices) -> Indices:
    """Return the outer ring that holds each unclear hole, by point in polygon."""
    open_keys = np.unique(hole_key[unclear])
    outers = np.flatnonzero(np.isin(outer_key, open_keys))
    polygons = [Polygon(slabs.points[slabs.outer[o]]) for o in outers]
    tree = shapely.STRtree(polygons)
    # A hole may touch its outer ring at points, so ask for a point inside the hole itself.
    inside = shapely.point_on_surface([Polygon(slabs.points[slabs.hole[h]]) for h in unclear])
    which, found = tree.query(inside, predicate="within")
    same = outer_key[outers[found]] == hole_key[unclear[which]]
    which, found = which[same], found[same]
    home = np.full(len(unclear), -1)
    home[which] = outers[found]
    if (home < 0).any():
        x, y = slabs.points[slabs.hole[unclear[np.argmax(home < 0)]]][0]
        raise GeometryError(
            f"At ({x:.3f}, {y:.3f}) mm: an opening lies outside the sheet that it should be cut "
            "from; the region is not valid."
        )
    return home


def _ear_clip(points: Floats, rings: list[Indices]) -> Indices:
    """Return triangles of one outer ring with its holes, as indices into ``points``."""
    index = np.concatenate(rings) if len(rings) > 1 else rings[0]
    if len(index) == 3:
        return index[None, :]
    flat = points[index]
    ends = np.cumsum([len(r) for r in rings])
    # Every diagonal of a polygon with h holes: v + 2h - 2 triangles. Ear clipping gives a
    # triangle for every point it clips, so a smaller number means that it left out points (it
    # drops points on a straight line), and a mesh with such a cap would leak.
    expected = len(index) + 2 * len(rings) - 4
    found = mapbox_earcut.triangulate_float64(flat, ends.astype(np.uint32)).reshape(-1, 3)
    if len(found) != expected or not _covers(flat, found, ends, 1e-9):
        found = np.asarray(manifold3d.triangulate(np.split(flat, ends[:-1]), -1.0, True))
        if len(found) != expected or not _covers(flat, found, ends, 1e-6):
            x, y = flat[0]
            raise GeometryError(
                f"Near ({x:.3f}, {y:.3f}) mm: the sheet's outline crosses itself, so that it "
                "cannot be made solid."
            )
    return index[found.astype(np.int64)]


def _covers(flat: Floats, triangles: NDArray[Any], ends: Indices, share: float) -> bool:
    """Return whether the triangles have the rings' area, but for a share (holes run clockwise)."""
    start = np.append(0, ends[:-1])
    following = np.arange(1, len(flat) + 1)
    following[ends - 1] = start
    origin = flat[0]
    x, y = (flat - origin).T
    wanted = (x * y[following] - x[following] * y).sum()
    a, b, c = (flat[triangles[:, k]] for k in range(3))
    doubled = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    got = np.abs(doubled).sum()
    return bool(abs(got - wanted) <= share * max(wanted, NOT_ZERO))
