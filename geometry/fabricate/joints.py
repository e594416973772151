"""Keys on seams: dovetails that hold two tiles together in the plane, each within solid sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from ..arrays import Floats, Geometries
from ..planar.morphology import dilate, openings_of, without_openings
from ..tolerance import ROUNDING

#: Width of a key's neck as a share of its head: a slope of about 1 to 3 on common proportions.
_NECK = 0.6
#: Sizes that are tried where the full key finds no room.
_SCALES = (1.0, 0.75, 0.5)
#: How far a key's neck reaches back into its own tile in mm, so that the two are one piece.
_ROOT = 0.5
#: Free length of seam from key to key, in widths of a key.
_PITCH = 4.0


@dataclass(frozen=True)
class Key:
    """One dovetail.

    Parameters
    ----------
    shape : Polygon
        Head and neck, which begins a little within its own tile.
    owner, other : int
        Cell that it belongs to, and cell that it reaches into.
    at : tuple of float
        Middle of its base in mm.
    """

    shape: Polygon
    owner: int
    other: int
    at: tuple[float, float]


def keys_along(
    seams: Sequence[LineString],
    cells: Sequence[Polygon],
    shape: MultiPolygon,
    *,
    width: float,
    depth: float,
    wall: float,
) -> list[Key]:
    """Put keys on the straight, solid stretches of seams.

    Parameters
    ----------
    seams : sequence of LineString
        Each between two cells.
    cells : sequence of Polygon
        They share the seams as edges.
    shape : MultiPolygon
        The sheet.
    width, depth : float
        Of a key's head, and from the seam to the head's end, in mm.
    wall : float
        Least solid sheet round a key in mm.

    Returns
    -------
    list of Key
        Owners lie left of or below their seam: keys point right or up.
    """
    array = np.array(cells, object)
    tree = shapely.STRtree(array)
    openings = openings_of(shape)
    near = np.unique(
        shapely.STRtree(openings).query(
            np.array(seams, object), predicate="dwithin", distance=depth + width + 2 * wall
        )[1]
    )
    grown = dilate(openings[near], wall)
    inner = shapely.buffer(without_openings(shape), -wall, join_style="mitre")
    solid = inner.difference(grown)
    shapely.prepare(solid)
    blocked = shapely.get_parts(grown)
    blocks = shapely.STRtree(blocked)
    found: list[Key] = []
    for seam in seams:
        around = blocked[blocks.query(seam, predicate="intersects")]
        for a, b in _stretches(seam, inner, shapely.multipolygons(around)):
            found += _on_stretch(a, b, array, tree, solid, width, depth, wall)
    return _apart(found, wall)


def _apart(keys: list[Key], wall: float) -> list[Key]:
    """Leave out keys that come nearer than ``wall`` to one that was found before them."""
    shapes = np.array([key.shape for key in keys], object)
    if len(keys) == 0:
        return keys
    a, b = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=wall)
    rivals: dict[int, list[int]] = {}
    for i, j in zip(a.tolist(), b.tolist(), strict=True):
        if j < i and shapely.distance(shapes[i], shapes[j]) < wall:
            rivals.setdefault(i, []).append(j)
    out: set[int] = set()
    for i in range(len(keys)):
        if any(j not in out for j in rivals.get(i, ())):
            out.add(i)
    return [key for i, key in enumerate(keys) if i not in out]


def _stretches(
    seam: LineString, inner: shapely.Geometry, blocked: shapely.Geometry
) -> list[tuple[Floats, Floats]]:
    """Return the straight runs of a seam within a sheet and clear of openings, longest first."""
    points = shapely.get_coordinates(seam)
    runs = []
    for a, b in pairwise(points):
        for part in shapely.get_parts(_clear(LineString([a, b]), inner, blocked)):
            if isinstance(part, LineString) and part.length > 0:
                ends = shapely.get_coordinates(part)
                runs.append((ends[0], ends[-1]))
    runs.sort(key=lambda run: -float(np.hypot(*(run[1] - run[0]))))
    return runs


def _clear(
    line: LineString, inner: shapely.Geometry, blocked: shapely.Geometry
) -> shapely.Geometry:
    return line.intersection(inner).difference(blocked)


def _on_stretch(
    a: Floats,
    b: Floats,
    cells: Geometries,
    tree: shapely.STRtree,
    solid: shapely.Geometry,
    width: float,
    depth: float,
    wall: float,
) -> list[Key]:
    length = float(np.hypot(*(b - a)))
    along = (b - a) / length
    normal = np.array([along[1], -along[0]])
    # To the right of an upright seam, above a lying one.
    if normal[0] + normal[1] < 0:
        normal = -normal
    keys: list[Key] = []
    count = max(1, int(length // (_PITCH * width)))
    if width * _SCALES[-1] + 2 * wall > length / count + ROUNDING:
        return []
    shares = (np.arange(count) + 0.5) / count
    places = a + shares[:, None] * length * along
    owners = _cells_at(tree, places - 0.5 * normal)
    others = _cells_at(tree, places + 0.5 * normal)
    for at, owner, other in zip(places, owners, others, strict=True):
        if owner < 0 or other < 0 or owner == other:
            continue
        for scale in _SCALES:
            head = width * scale
            if head + 2 * wall > length / count + ROUNDING:
                continue
            polygon = Polygon(_key(at, along, normal, head, depth * scale))
            if not solid.covers(polygon):
                continue
            if cells[owner].union(cells[other]).covers(polygon.buffer(0.2)):
                keys.append(Key(polygon, owner, other, (float(at[0]), float(at[1]))))
                break
    return keys


def _key(at: Floats, along: Floats, normal: Floats, head: float, depth: float) -> Floats:
    neck = head * _NECK
    corners = [(-neck / 2, -_ROOT), (neck / 2, -_ROOT), (neck / 2, 0.0), (head / 2, depth)]
    corners += [(-head / 2, depth), (-neck / 2, 0.0)]
    return at + np.array(corners) @ np.array([along, normal])


def _cells_at(tree: shapely.STRtree, points: Floats) -> list[int]:
    """Return the cell in which each point lies, -1 where none."""
    found = np.full(len(points), -1)
    which, cell = tree.query(shapely.points(points), predicate="within")
    found[which[::-1]] = cell[::-1]
    cells: list[int] = found.tolist()
    return cells
