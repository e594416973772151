"""Narrow places: where a shape is narrower than a width, what kind of place it is, and how long.

A shape that is worn back by half the width and grown again loses what a disc of that width cannot
reach. Near what is lost the shape's medial axis is followed as far as it is narrower than the
width: each middle line there is a place. It is a neck where it leads from one wider part to
another, a tongue where its end is free, a sliver where there is no wider part. Sharp corners lose
their tips too, which is no fault of theirs: short ones are left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon, STRtree
from shapely.ops import substring

from ..arrays import Bools, Floats, Geometries, Indices
from ..progress import Progress
from ..threads import map_batches, map_geometries
from ..tolerance import ROUNDING
from .graph import connected_labels, members_of
from .medial_axis import (
    COARSEST,
    FINENESS,
    ROUND_A_CORNER,
    MedialAxis,
    Segments,
    axis_between,
    segments_of,
)
from .middle_lines import End, MiddleLine, middle_lines
from .subdivide import MOST_VERTICES, small_parts
from .union import cluster_labels, union_by_label

QUARTER_SEGMENTS = 12
_POLYGON = 3  # shapely.GeometryType.POLYGON
#: A tongue is told when it is longer than this many widths and slender: sharp corners are not.
LONG = 2.5
#: A place as wide as this share of the width is wide enough: rounds are polygons.
ENOUGH = 0.99
#: Candidates are sought with a disc wider by this factor, so that what is narrow by little only
#: loses something to it too.
WIDER = 1.25
#: The rest of the shape is grown a little further (by this share of half the width), so that round
#: parts, whose rounds are drawn as polygons, do not leave shavings all along.
SLACK = 0.02
#: Lost parts of less than this share of the width's square are nothing.
LEAST_AREA = 1e-3
#: The boundary is looked at within this many widths of what is lost. An axis that leads farther off
#: than this less half a width is another place's.
AROUND = 1.6
#: Shapes of what is lost are simplified by this share of the width first.
COARSE = 0.1
#: Between two corners that reach into a shape a disc loses nothing. They are looked at where they
#: turn by this angle at least, in radians, or by the smaller one if their sides are as short as on
#: a circle with a radius of this many widths.
SHARP, BENT = 0.2, 0.03
BENT_RADIUS = 1.1
#: Of corners that follow each other nearer than this, in widths, the sharpest is looked at.
CORNER_STEP = 0.05
#: So many corners are looked at together, or as many as have about so many edges opposite: each may
#: have tens of thousands.
CORNERS, OPPOSITE = 1_000, 500_000
#: Points of a middle line that lie this near the line of the others, as a share of the width, are
#: left out.
THINNED = 2e-3
#: A polygon with more holes than this is looked at through them: the buffer of a whole polygon
#: works on all its edges together.
MANY_HOLES = 8
#: Shapes are cut into parts of this many vertices where an index by boxes has to tell them apart.
SMALL = 32
#: Of a shape of more vertices only what lies near is held against each of the places lost in it.
BESIDE = 2_000
#: Segments of boundary whose axes are sought at a time: so many are quick, take little memory, and
#: leave when they are told to.
BATCH = 1_000
#: Sites on the edge of what hangs together, about; hundreds of thin teeth are looked at more
#: coarsely.
MOST_SITES = 40_000
#: The same of all together, as long as each batch has the fewest: a second for 40,000.
ALL_SITES, FEWEST_SITES = 600_000, 10_000
_WHAT = "looking for narrow places"


@dataclass(frozen=True)
class NarrowPlace:
    """One narrow place.

    Parameters
    ----------
    kind : str
        ``"neck"`` held at both ends, ``"tongue"`` with one end free, ``"sliver"`` with both.
    place : tuple of float
        x, y in mm: the middle of its narrowest width.
    width_mm : float
        Least width of a neck, median width of a tongue, which may end in a tip, greatest of a
        sliver. Less than what was asked for.
    length_mm : float
        Along its middle, to the end of the tip; what opens into a wider part not counted, so that
        it is 0 between two corners.
    path : float64 array (k, 2)
        Its middle line, from where the shape is as wide as was asked for, or from where it branches
        off another place.
    root : float64 array (r, 2)
        Of a branch, the way to it from where the shape is wide; else empty.
    ends : tuple of End
        What the path ends at.
    tips : tuple of float
        How far the shape goes on beyond each free end, in mm; else 0.
    off_mm : float
        How far the middle line may lie off where there was so much that it was sought in coarser
        steps; else 0.
    """

    kind: str
    place: tuple[float, float]
    width_mm: float
    length_mm: float
    path: Floats
    root: Floats
    ends: tuple[End, End]
    tips: tuple[float, float]
    off_mm: float = 0.0

    @property
    def line(self) -> LineString | Point:
        """The middle line as a geometry."""
        return Point(self.path[0]) if len(self.path) == 1 else LineString(self.path)

    def spine(self, width: float) -> LineString | Point:
        """Return the line along which a strip with round ends makes the place as wide as ``width``.

        It begins where the shape is wide, also that of a branch, and stops short of free ends by
        so much that the strip's end reaches no further than the tip.
        """
        rooted = np.concatenate([self.root[:-1], self.path])
        if len(rooted) == 1:
            return Point(rooted[0])
        line = LineString(rooted)
        cut = [
            max(0.0, width / 2 - tip) if end is End.FREE else 0.0
            for end, tip in zip(self.ends, self.tips, strict=True)
        ]
        if sum(cut) >= line.length:
            return line.interpolate(0.0 if self.ends[0] is not End.FREE else line.length / 2)
        return substring(line, cut[0], line.length - cut[1])


def narrow_places(
    shape: Polygon | MultiPolygon, width: float, progress: Progress | None = None
) -> list[NarrowPlace]:
    """Return the places where polygons are narrower than a width.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        Valid, in mm: a sheet, openings, or anything else.
    width : float
        In mm.
    progress : Progress, optional
        May raise ``Cancelled``.

    Returns
    -------
    list of NarrowPlace
        From the narrowest to the widest.

    Notes
    -----
    A neck is found when it is narrower than 0.99 of the width. The width between straight walls,
    and between corners, is exact; between curves, which are polygons, it is that of the polygons.
    Lengths are exact within a tenth of the width for straight places.

    Examples
    --------
    >>> slot = shapely.union_all([shapely.box(0, 0, 9, 9), shapely.box(9, 4, 20, 4.8)])
    >>> [(p.kind, round(p.width_mm, 3), round(p.length_mm, 1)) for p in narrow_places(slot, 1.5)]
    [('tongue', 0.8, 11.0)]
    """
    parts = shapely.get_parts(shape)
    parts = parts[shapely.area(parts) > 0]
    if not len(parts) or not width > 0:
        return []
    progress = progress or Progress()
    progress(0.0, _WHAT)
    lost, of, whole = _lost(parts, width)
    progress(0.2, _WHAT)
    near = _near_lost(parts, lost, of, width, progress.part(0.2, 0.3))
    # A line with both ends free in a part that is wide elsewhere is an odd corner.
    slivers = np.zeros(len(near.polygons), bool)
    slivers[near.of_seed[np.flatnonzero(whole)]] = True
    searching = progress.part(0.4, 0.9)
    batches = near.batches(BATCH)
    sites = min(MOST_SITES, max(FEWEST_SITES, ALL_SITES // max(1, len(batches))))
    search = partial(_places_in, near, slivers, width, sites)
    found = map_batches(search, batches, searching, _WHAT)
    places = [place for batch in found for place in batch]
    places += _specks(lost[whole], places, width)
    return sorted(places, key=lambda p: (p.width_mm, p.place))


@dataclass(frozen=True)
class _Near:
    """The boundary near what is lost.

    Parameters
    ----------
    segments : Segments
    group : int array (n,)
        What hangs together; segments of different groups do not see each other.
    polygons, homes : object array (g,)
        Each group's polygon, ready to be asked, and what is lost there.
    of_seed : int array (s,)
        The group of each lost part.
    """

    segments: Segments
    group: Indices
    polygons: Geometries
    homes: Geometries
    of_seed: Indices

    def batches(self, size: int) -> list[Indices]:
        """Return the segments' numbers in batches of about so many, no group in two of them."""
        order = np.argsort(self.group, kind="stable")
        group = self.group[order]
        first = np.flatnonzero(np.diff(group, prepend=-1))
        number = first // size
        cuts = first[1:][number[1:] != number[:-1]]
        return [np.sort(batch) for batch in np.split(order, cuts) if len(batch)]


def _near_lost(
    parts: Geometries, lost: Geometries, of: Indices, width: float, progress: Progress
) -> _Near:
    """Return the boundary near lost parts, and near corners that lie opposite an edge."""
    rings, ring_part = shapely.get_rings(parts, return_index=True)
    segments = segments_of(rings)
    part_of = ring_part[segments.ring].astype(np.int64)
    lines = segments.lines()
    gaps, gap_of = _corner_gaps(parts, segments, part_of, lines, width, progress)
    return _near(
        parts, segments, part_of, lines, np.append(lost, gaps), np.append(of, gap_of), width
    )


def _places_in(
    near: _Near, slivers: Bools, width: float, sites: int, batch: Indices
) -> list[NarrowPlace]:
    """Return the narrow places of some groups, given by the numbers of all their segments."""
    groups, group = np.unique(near.group[batch], return_inverse=True)
    group = group.reshape(-1)
    polygons, sliver = near.polygons[groups], slivers[groups]

    def inside(middle: Floats, segment: Indices, mark: Indices) -> Bools:
        found: Bools = shapely.contains_xy(polygons[group[segment[:, 0]]], *middle.T)
        return found

    segments = near.segments.take(batch)
    axis = axis_between(segments, group, width, inside, most_sites=sites)
    lines = [
        line
        for line in middle_lines(axis, _at_home(axis, near.homes[groups], width))
        if line.ends[0] is not End.FREE or sliver[axis.group[line.pieces[0]]]
    ]
    told = [place for line in lines if (place := _told(axis, line, width)) is not None]
    return told if axis.coarser == 1 else [_off(place, axis.coarser, width) for place in told]


def _off(place: NarrowPlace, coarser: float, width: float) -> NarrowPlace:
    """Return a place with how far its line may lie off, steps being so many times coarser."""
    step = min(FINENESS * coarser * place.width_mm, COARSEST * width)
    wide = max(place.width_mm, step)
    # Between sheet that meets at a point the width is 0, and the line goes through the point.
    return place if wide == 0 else replace(place, off_mm=step**2 / (4 * wide))


def _lost(parts: Geometries, width: float) -> tuple[Geometries, Indices, Bools]:
    """Return what a disc cannot reach, the part that each belongs to, and which are whole parts.

    Tips of corners are left out.
    """
    radius = width / 2 * WIDER
    holes = shapely.get_num_interior_rings(parts)
    few = np.flatnonzero(holes <= MANY_HOLES)
    core = map_geometries(shapely.buffer, parts[few], distance=-radius, quad_segs=QUARTER_SEGMENTS)
    grow = radius * (1 + SLACK)
    wide = map_geometries(shapely.buffer, core, distance=grow, quad_segs=QUARTER_SEGMENTS)
    rest, number = shapely.get_parts(
        map_geometries(shapely.difference, parts[few], wide), return_index=True
    )
    kept = _counts(rest, width)
    rest, number = rest[kept], number[kept]
    whole = shapely.is_empty(core)[number]
    edges = shapely.boundary(rest)
    touch = map_geometries(shapely.intersection, edges, _beside(edges, wide, number, width))
    kept = whole | _more_than_tips(rest, touch, width)
    found = [(rest[kept], few[number[kept]], whole[kept])]
    for part in np.flatnonzero(holes > MANY_HOLES).tolist():
        rest = _lost_between_holes(parts[part], radius, width)
        found.append((rest, np.full(len(rest), part), np.zeros(len(rest), bool)))
    lost, of, whole = (np.concatenate(columns) for columns in zip(*found, strict=True))
    return lost, of, whole


def _lost_between_holes(part: Polygon, radius: float, width: float) -> Geometries:
    """Return the same of one part through its holes, grown and shrunk again where they meet."""
    voids = shapely.polygons(shapely.get_rings(part)[1:])
    outline = Polygon(part.exterior)
    if (shapely.distance(voids, outline.exterior) < 2 * radius).any() or not _is_box(outline):
        rim = outline.buffer(2 * width, join_style="mitre").difference(outline)
        voids = np.append(voids, rim)
    grown = map_geometries(shapely.buffer, voids, distance=radius, quad_segs=QUARTER_SEGMENTS)
    labels = cluster_labels(grown)
    joined, own = union_by_label(grown, labels), union_by_label(voids, labels)
    shrink = -radius * (1 + SLACK)
    closed = map_geometries(shapely.buffer, joined, distance=shrink, quad_segs=QUARTER_SEGMENTS)
    rest, number = shapely.get_parts(
        map_geometries(shapely.difference, closed, own), return_index=True
    )
    kept = _counts(rest, width)
    rest, number = rest[kept], number[kept]
    edges = shapely.boundary(rest)
    touch = map_geometries(shapely.difference, edges, _beside(edges, own, number, width))
    return rest[_more_than_tips(rest, touch, width)]


def _beside(edges: Geometries, shapes: Geometries, of: Indices, width: float) -> Geometries:
    """Return of the shape that belongs to each edge what lies about it, widened by a hair, so that
    the edge overlaps it where they touch.

    Parameters
    ----------
    edges : object array (n,)
    shapes : object array (m,)
        A sheet with thousands of narrow places is one of them: each edge is held against what is
        near it only.
    of : int array (n,)
        The shape of each edge.
    width : float
    """
    needed, place = np.unique(of, return_inverse=True)
    place = place.reshape(-1)
    hair = 1e-4 * width + 1e-6
    wider = map_geometries(shapely.buffer, shapes[needed], distance=hair, quad_segs=1)
    near = wider[place]
    cut = np.flatnonzero((shapely.get_num_coordinates(wider) > BESIDE) & (np.bincount(place) > 1))
    asked = np.flatnonzero(np.isin(place, cut))
    if len(asked) == 0:
        return near
    parts, of_part = small_parts(wider[cut], MOST_VERTICES)
    edge, part = STRtree(parts).query(edges[asked], predicate="intersects")
    own = place[asked[edge]] == cut[of_part[part]]
    edge, part = edge[own], part[own]
    near[asked] = Polygon()
    groups = members_of(edge, part)
    near[asked[np.unique(edge)]] = [
        parts[group[0]] if len(group) == 1 else shapely.union_all(parts[group]) for group in groups
    ]
    return near


def _counts(lost: Geometries, width: float) -> Bools:
    """Return which lost parts have an area that counts."""
    counts: Bools = (shapely.get_type_id(lost) == _POLYGON) & (
        shapely.area(lost) > LEAST_AREA * width * width
    )
    return counts


def _more_than_tips(lost: Geometries, touch: Geometries, width: float) -> Bools:
    """Return which lost parts are not just tips of corners: they hang on more than one wider part,
    or on none, or are too long round.

    ``touch`` is the share of each one's edge along which it hangs on wider parts.
    """
    contacts = shapely.get_num_geometries(shapely.line_merge(touch))
    more: Bools = (
        (contacts > 1) | shapely.is_empty(touch) | (shapely.length(lost) > 2 * LONG * width)
    )
    return more


def _corner_gaps(
    parts: Geometries,
    segments: Segments,
    part_of: Indices,
    lines: Geometries,
    width: float,
    progress: Progress,
) -> tuple[Geometries, Indices]:
    """Return lines from corners that reach into a part to its edge opposite, and their parts.

    Parameters
    ----------
    parts : object array of Polygon
    segments : Segments
    part_of : int array (n,)
        The part of each segment.
    lines : object array (n,) of LineString
        The segments as geometries.
    width : float
    progress : Progress
        Called between batches.
    """
    order = np.lexsort((segments.at, segments.ring))
    ring = segments.ring[order]
    first = np.flatnonzero(np.append(True, ring[1:] != ring[:-1]))
    before = np.roll(order, 1)
    last = np.append(first[1:], len(order)) - 1
    before[first] = order[last]
    into, out = (segments.end - segments.start)[before], (segments.end - segments.start)[order]
    cross = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    turn = np.arctan2(cross, (into * out).sum(axis=1))
    # Seen along a ring that runs counter-clockwise the inside is on the left; holes run the other
    # way as often as not, so that each ring's own sense is asked for.
    sense = np.bincount(ring, turn, int(segments.ring.max()) + 1) > 0
    outer = np.zeros(len(sense), bool)
    outer[np.cumsum(np.append(0, shapely.get_num_interior_rings(parts)[:-1] + 1))] = True
    reaching = np.where((sense == outer)[ring], -turn, turn)
    length = np.hypot(*into.T) + np.hypot(*out.T)
    bent = (reaching > BENT) & (length / 2 < BENT_RADIUS * width * reaching)
    corners = np.flatnonzero(bent | (reaching > SHARP))
    # Finely drawn curves have thousands of them in a width: the sharpest of each step will do.
    step = (segments.at[order] // (CORNER_STEP * width)).astype(np.int64)
    by_step = corners[np.lexsort((-reaching[corners], step[corners], ring[corners]))]
    new = (np.diff(step[by_step], prepend=-1) != 0) | (np.diff(ring[by_step], prepend=-1) != 0)
    sharp = order[np.sort(by_step[new])]
    tree = STRtree(lines)
    found = [(np.empty(0, object), np.empty(0, np.int64))]
    done, size = 0, max(1, CORNERS // 20)
    while done < len(sharp):
        progress(done / len(sharp), _WHAT)
        some = sharp[done : done + size]
        corner = shapely.points(segments.start[some])
        pairs = tree.query(corner, predicate="dwithin", distance=width)
        found.append(_opposite(parts, segments, part_of, some, pairs, width))
        done += len(some)
        size = min(CORNERS, 1 + OPPOSITE * len(some) // max(1, pairs.shape[1]))
    gaps, of = (np.concatenate(values) for values in zip(*found, strict=True))
    return gaps, of


def _opposite(
    parts: Geometries,
    segments: Segments,
    part_of: Indices,
    sharp: Indices,
    pairs: Indices,
    width: float,
) -> tuple[Geometries, Indices]:
    """Return lines from the starts of some segments to edges opposite, and their parts.

    Parameters
    ----------
    parts : object array of Polygon
    segments : Segments
    part_of : int array
        Of each segment.
    sharp : int array (n,)
        The segments, by number.
    pairs : int array (2, m)
        Places in ``sharp``, and numbers of edges less than a width away.
    width : float
    """
    corner = segments.start[sharp]
    which, opposite = pairs
    own = part_of[sharp[which]] == part_of[opposite]
    which, opposite = which[own], opposite[own]
    start, way = segments.start[opposite], (segments.end - segments.start)[opposite]
    square = (way * way).sum(axis=1)
    share = np.clip(((corner[which] - start) * way).sum(axis=1) / square, 0, 1)
    foot = start + share[:, None] * way
    apart = np.hypot(*(foot - corner[which]).T)
    along = np.abs(segments.at[sharp[which]] - segments.at[opposite] - share * np.sqrt(square))
    around = segments.around[opposite]
    along = np.minimum(along, np.abs(around - along))
    far = segments.ring[sharp[which]] != segments.ring[opposite]
    far |= along > ROUND_A_CORNER * apart
    far &= apart < ENOUGH * width
    which, foot, opposite = which[far], foot[far], opposite[far]
    middle = (foot + corner[which]) / 2
    polygons = parts[part_of[opposite]]
    shapely.prepare(polygons)
    inside = shapely.contains_xy(polygons, *middle.T)
    gaps = shapely.linestrings(np.stack([corner[which], foot], axis=1)[inside])
    return gaps, part_of[opposite][inside]


def _is_box(outline: Polygon) -> bool:
    x0, y0, x1, y1 = outline.bounds
    return bool(outline.area > (1 - 1e-9) * (x1 - x0) * (y1 - y0))


def _near(
    parts: Geometries,
    segments: Segments,
    part_of: Indices,
    lines: Geometries,
    seeds: Geometries,
    of: Indices,
    width: float,
) -> _Near:
    """Return the edge near seeds, by groups of what hangs together."""
    # Coarse, and as much wider.
    seeds = shapely.simplify(seeds, COARSE * width)
    seeds, of, bundle = _bundled(seeds, of, width)
    reach = (AROUND + COARSE) * width
    windows = map_geometries(shapely.buffer, seeds, distance=reach, quad_segs=2)
    panes, pane_of = small_parts(windows, SMALL)
    a, b = pane_of[shapely.STRtree(panes).query(panes, predicate="intersects")]
    same = of[a] == of[b]
    label = connected_labels(len(windows), np.stack([a[same], b[same]], axis=1))
    pane, number = shapely.STRtree(lines).query(panes, predicate="intersects")
    window = pane_of[pane]
    own = of[window] == part_of[number]
    window, number = np.unique(np.stack([window[own], number[own]]), axis=1)
    near, group = _within(segments, lines, number, windows[window], label[window], width)
    count = int(label.max(initial=-1)) + 1
    owner = np.zeros(count, np.int64)
    owner[label] = of
    polygons = parts[owner]
    shapely.prepare(polygons)
    # GEOS builds an index at the first question, which two threads must not ask at once.
    shapely.contains_xy(polygons, 0.0, 0.0)
    order = np.argsort(label, kind="stable")
    homes = np.full(count, None)
    shapely.geometrycollections(seeds[order], indices=label[order], out=homes)
    return _Near(near, group, polygons, homes, label[bundle])


def _bundled(seeds: Geometries, of: Indices, width: float) -> tuple[Geometries, Indices, Indices]:
    """Return seeds with one hull for all lines whose middles lie in one cell of half the width;
    the part of each, and for each of the given seeds which one it is now.

    Finely drawn curves have thousands of gaps, whose windows would overlap by the hundred.
    """
    line = shapely.get_type_id(seeds) == shapely.GeometryType.LINESTRING
    cell = np.zeros((len(seeds), 4), np.int64)
    middle = shapely.get_coordinates(shapely.centroid(seeds[line]))
    cell[line, :2] = np.floor(middle / (width / 2))
    cell[line, 2] = of[line]
    cell[~line, 3] = 1 + np.flatnonzero(~line)  # each by itself
    _, bundle = np.unique(cell, axis=0, return_inverse=True)
    bundle = bundle.reshape(-1)
    order = np.argsort(bundle, kind="stable")
    first = order[np.flatnonzero(np.diff(bundle[order], prepend=-1))]
    bundled = seeds[first]
    lines = order[line[order]]
    shapely.multilinestrings(seeds[lines], indices=bundle[lines], out=bundled)
    hulls = line[first]
    bundled[hulls] = shapely.convex_hull(bundled[hulls])
    return bundled, of[first], bundle


def _at_home(axis: MedialAxis, homes: Geometries, width: float) -> Indices:
    """Return the edges of an axis of whose part none lies where the boundary was not looked at."""
    edges = _edges_of(homes)
    group = np.zeros(len(axis.points), np.int64)
    group[axis.edges] = axis.group[:, None]
    nodes = shapely.points(axis.points)
    away = ~shapely.dwithin(edges[group], nodes, (AROUND - 0.5) * width)
    label = connected_labels(len(axis.points), axis.edges)
    lost = np.zeros(len(axis.points), bool)
    lost[label[away]] = True
    return np.flatnonzero(~lost[label[axis.edges[:, 0]]])


def _edges_of(homes: Geometries) -> Geometries:
    """Return the edges of what is lost in each group as lines that are ready to be asked.

    What is lost is too narrow for a point in it to be as far from its edge as is asked for. Lines
    answer at once whether anything of them is near, however many they are; a collection does not.
    """
    seeds, group = shapely.get_parts(homes, return_index=True)
    area = shapely.get_dimensions(seeds) == 2
    seeds[area] = shapely.boundary(seeds[area])
    lines, of = shapely.get_parts(seeds, return_index=True)
    point = shapely.get_dimensions(lines) == 0
    spots = shapely.get_coordinates(lines[point])
    lines[point] = shapely.linestrings(np.stack([spots, spots], axis=1))
    edges = shapely.multilinestrings(lines, indices=group[of])
    shapely.prepare(edges)
    return edges


def _within(
    segments: Segments,
    lines: Geometries,
    number: Indices,
    windows: Geometries,
    group: Indices,
    width: float,
) -> tuple[Segments, Indices]:
    """Return segments clipped to the windows of each group, long ones only, and their groups.

    Parameters
    ----------
    segments : Segments
    lines : object array of LineString
        The same as geometries.
    number : int array (n,)
        Positions of segments.
    windows : object array (n,)
        One that the segment meets.
    group : int array (n,)
        What the window belongs to.
    width : float
        Of a long segment.
    """
    length = np.hypot(*(segments.end - segments.start)[number].T)
    long = length > width
    short = np.unique(np.stack([group[~long], number[~long]], axis=1), axis=0)
    number, group = number[long], group[long]
    clipped, of = shapely.get_parts(
        shapely.intersection(lines[number], windows[long]), return_index=True
    )
    # Where a window only touches a segment's end, rounding may leave a line of no length.
    is_line = shapely.length(clipped) > ROUNDING
    clipped, of = clipped[is_line], of[is_line]
    number, group = number[of], group[of]
    ends = np.stack(
        [
            shapely.get_coordinates(shapely.get_point(clipped, 0)),
            shapely.get_coordinates(shapely.get_point(clipped, -1)),
        ],
        axis=1,
    )
    way = (segments.end - segments.start)[number]
    along = way / np.hypot(*way.T)[:, None]
    at = ((ends - segments.start[number][:, None]) * along[:, None]).sum(axis=2)
    turned = at[:, 0] > at[:, 1]
    ends[turned], at[turned] = ends[turned, ::-1], at[turned, ::-1]
    first, last = _merged(group, number, at)
    kept = segments.take(np.append(short[:, 1], number[first]))
    start, end, begins = kept.start.copy(), kept.end.copy(), kept.at.copy()
    start[len(short) :], end[len(short) :] = ends[first, 0], ends[last, 1]
    begins[len(short) :] += at[first, 0]
    return (
        Segments(start, end, kept.ring, begins, kept.around, kept.mark),
        np.append(short[:, 0], group[first]),
    )


def _merged(group: Indices, number: Indices, at: Floats) -> tuple[Indices, Indices]:
    """Return which pieces of segments begin and which end what pieces of one group cover.

    Parameters
    ----------
    group, number : int array (n,)
        Of each piece.
    at : float64 array (n, 2)
        Where it begins and ends on its segment.
    """
    order = np.lexsort((at[:, 0], number, group))
    first, last, reach = [], [], -np.inf
    before = (-1, -1)
    keys = zip(group[order].tolist(), number[order].tolist(), strict=True)
    for piece, key, (begin, end) in zip(order.tolist(), keys, at[order].tolist(), strict=True):
        if key != before or begin > reach:
            first.append(piece)
            last.append(piece)
            reach, before = end, key
        elif end > reach:
            last[-1], reach = piece, end
    return np.array(first, np.int64), np.array(last, np.int64)


def _told(axis: MedialAxis, line: MiddleLine, width: float) -> NarrowPlace | None:
    """Return the narrow place along a middle line, None where it is too short or wide enough."""
    pieces, opens = _without_mouths(axis, line)
    lengths, widths = axis.lengths[pieces], axis.width[pieces]
    length = 0.0 if opens else float(lengths.sum())
    free = line.ends[1] is End.FREE
    if free:
        length += float(axis.clearance[line.nodes[-1]])
    if line.ends[0] is End.FREE:
        length += float(axis.clearance[line.nodes[0]])
        return _sliver(axis, line, length, width)
    if free:
        if line.ends[0] is End.BRANCHING:
            length -= float(axis.clearance[line.nodes[0]])
        half = int(np.searchsorted(np.cumsum(lengths), lengths.sum() / 2))
        middle = axis.points[axis.edges[pieces[min(half, len(pieces) - 1)]]].mean(axis=0)
        by_width = np.argsort(widths, kind="stable")
        passed = np.cumsum(lengths[by_width])
        typical = float(widths[by_width[np.searchsorted(passed, passed[-1] / 2)]])
        if length < LONG * width or length < LONG * typical or typical >= ENOUGH * width:
            return None
        return _place("tongue", axis, line, typical, length, middle)
    least = float(widths.min())
    if least >= ENOUGH * width:
        return None
    if line.ends[0] is End.CLOSED:
        return _sliver(axis, line, length, width)
    # Of a neck that is narrow all along, its middle.
    as_narrow = np.flatnonzero(widths <= 1.01 * least)
    passed = np.cumsum(lengths) - lengths / 2
    at = as_narrow[np.argmin(np.abs(passed[as_narrow] - length / 2))]
    ends = axis.edges[pieces[at]]
    middle = axis.points[ends[np.argmin(axis.clearance[ends])]]
    return _place("neck", axis, line, least, length, middle)


def _without_mouths(axis: MedialAxis, line: MiddleLine) -> tuple[Indices, bool]:
    """Return a line's pieces without those at its ends that only open into wider parts.

    Where all do, between two corners, the narrowest is returned and True.
    """
    begin, stop = 0, len(line.pieces)
    still = axis.still[line.pieces]
    moving = np.flatnonzero(~still)
    if line.ends[1] is End.BODY:
        stop = int(moving[-1]) + 1 if len(moving) else 0
    if line.ends[0] is End.BODY:
        begin = int(moving[0]) if len(moving) else 0
    if stop > begin:
        return line.pieces[begin:stop], False
    narrowest = int(np.argmin(axis.clearance[axis.edges[line.pieces]].min(axis=1)))
    return line.pieces[narrowest : narrowest + 1], True


def _sliver(axis: MedialAxis, line: MiddleLine, length: float, width: float) -> NarrowPlace | None:
    greatest = float(axis.width[line.pieces].max())
    if greatest >= ENOUGH * width:
        return None
    ends = axis.edges[line.pieces[int(np.argmax(axis.width[line.pieces]))]]
    return _place("sliver", axis, line, greatest, length, axis.points[ends].mean(axis=0))


def _place(
    kind: str, axis: MedialAxis, line: MiddleLine, width: float, length: float, at: Floats
) -> NarrowPlace:
    tips = [
        float(axis.clearance[node]) if end is End.FREE else 0.0
        for node, end in zip(line.nodes[[0, -1]], line.ends, strict=True)
    ]
    return NarrowPlace(
        kind,
        (float(at[0]), float(at[1])),
        width,
        length,
        _thinned(axis.points[line.nodes], width),
        _thinned(axis.points[line.root], width),
        line.ends,
        (tips[0], tips[1]),
    )


def _thinned(path: Floats, width: float) -> Floats:
    if len(path) < 3:
        return path
    thinned: Floats = shapely.get_coordinates(
        shapely.simplify(LineString(path), THINNED * width, preserve_topology=False)
    )
    return thinned


def _specks(lost: Geometries, places: list[NarrowPlace], width: float) -> list[NarrowPlace]:
    """Return slivers for parts that are lost whole and too round to have a middle line."""
    told = shapely.points([p.place for p in places]) if places else np.empty(0, object)
    near, _ = shapely.STRtree(lost).query(told, predicate="intersects")[::-1]
    alone = np.delete(lost, np.unique(near))
    found = []
    for part in alone:
        circle = shapely.maximum_inscribed_circle(part, 1e-3 * width)
        wide = 2 * float(circle.length)
        if wide < ENOUGH * width:
            at = shapely.get_coordinates(circle)[:1]
            place = (float(at[0, 0]), float(at[0, 1]))
            empty = np.empty((0, 2))
            found.append(
                NarrowPlace(
                    "sliver",
                    place,
                    wide,
                    wide,
                    at,
                    empty,
                    (End.FREE, End.FREE),
                    (wide / 2, wide / 2),
                )
            )
    return found
