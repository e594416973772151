"""Contours to area: fill rules, repairs, and the union of shapes; every reader ends here.

The common case, rings that neither cross nor touch, is answered from containment alone, so that
its vertices come out exactly as they went in and the time grows near-linearly with their number.
Only rings that cross or touch something of their own shape are cut at their crossings ("noded")
and decided face by face by winding number.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon

from ...arrays import Bools, Floats, Geometries, Indices
from ...errors import ArtworkError
from ...finding import Finding
from ...planar.arrangement import arrange, merge_faces
from ...planar.crossings import about_crossings
from ...planar.graph import members_of
from ...planar.polygons import without_specks
from ...planar.union import edge_clusters, unite
from ...tolerance import TOLERANCES, Tolerances
from .contour import Compound, Contour, Rule
from .join_ends import join_ends
from .repairs import Repairs
from .rings import Rings, clean_rings, drop_duplicates, drop_specks

__all__ = [
    "Compound",
    "Contour",
    "Filled",
    "FilledEach",
    "Rule",
    "fill",
    "fill_all",
    "fill_each",
    "join_ends",
]

#: One shape's outlines may cross so often. Ten seconds to cut them into faces (by
#: tests/bench/odd_drawings.py, on one core); a picture that is meant has a few hundred crossings.
MOST_CROSSINGS = 40_000

#: So many points are looked up together, about, and so many pairs of a box and a point in it.
_POINTS_AT_ONCE, _PAIRS_AT_ONCE = 2_000, 4_000_000


@dataclass(frozen=True)
class Filled:
    """An area and what was repaired to get it.

    Parameters
    ----------
    shape : MultiPolygon
        Valid; shells run counter-clockwise, holes clockwise.
    findings : tuple of Finding
    """

    shape: MultiPolygon
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, eq=False)
class FilledEach:
    """The areas of several compounds, not yet united.

    Parameters
    ----------
    polygons : ndarray of Polygon
    owner : ndarray of int
        Index of the compound that each polygon comes from.
    findings : tuple of Finding
    """

    polygons: Geometries
    owner: Indices
    findings: tuple[Finding, ...] = ()


def fill(
    contours: Iterable[Contour],
    rule: Rule,
    *,
    tolerances: Tolerances = TOLERANCES,
    what: str = "artwork",
) -> Filled:
    """Fill outlines together under one fill rule.

    Open contours are closed by a straight line (told when the gap is longer than
    ``tolerances.join``), a second copy of an outline and outlines without area are dropped, and
    outlines that cross themselves or each other are resolved by the rule; all of it is told.

    Parameters
    ----------
    contours : iterable of Contour
    rule : {"nonzero", "evenodd"}
        As in SVG 1.1, section 11.3, 'fill-rule'.
    tolerances : Tolerances
    what : str
        Start of the sentence of an error, for example the file's name.

    Returns
    -------
    Filled
        Vertices of rings that cross nothing are those of the contours, unchanged.

    Raises
    ------
    ArtworkError
        A coordinate is not a number or beyond 1 km.

    Examples
    --------
    >>> outer = Contour(np.array([[0, 0], [60, 0], [60, 60], [0, 60]], float))
    >>> inner = Contour(np.array([[15, 15], [45, 15], [45, 45], [15, 45]], float))
    >>> [fill([outer, inner], rule).shape.area for rule in ("nonzero", "evenodd")]
    [3600.0, 2700.0]
    """
    each = fill_each([Compound(tuple(contours), rule)], tolerances=tolerances, what=what)
    # Polygons of one compound do not overlap, so that there is nothing to unite.
    return Filled(_as_multipolygon(each.polygons), each.findings)


def fill_all(
    compounds: Sequence[Compound],
    *,
    tolerances: Tolerances = TOLERANCES,
    what: str = "artwork",
) -> Filled:
    """Fill every compound by its own rule and unite the results.

    Parameters, errors and findings are those of :func:`fill`.
    """
    each = fill_each(compounds, tolerances=tolerances, what=what)
    return Filled(unite(each.polygons, tolerances=tolerances), each.findings)


def fill_each(
    compounds: Sequence[Compound],
    *,
    tolerances: Tolerances = TOLERANCES,
    what: str = "artwork",
) -> FilledEach:
    """Fill every compound by its own rule, all at once, without uniting the results.

    Parameters
    ----------
    compounds : sequence of Compound
    tolerances : Tolerances
    what : str
        Start of the sentence of an error.

    Returns
    -------
    FilledEach
        Polygons of one owner do not overlap; those of different owners may.

    Raises
    ------
    ArtworkError
        A coordinate is not a number or beyond 1 km, a rule is unknown, or outlines cross more
        often than ``MOST_CROSSINGS``.
    """
    for compound in compounds:
        if compound.rule not in ("nonzero", "evenodd"):
            raise ArtworkError(
                f"{what}: unknown fill rule '{compound.rule}', expected nonzero or evenodd."
            )
    told = Repairs(compounds)
    rings = clean_rings(compounds, tolerances, what, told)
    rings = drop_specks(rings, tolerances, told)
    rings = drop_duplicates(rings, compounds, tolerances, told)
    if len(rings.shapes) == 0:
        return FilledEach(np.empty(0, object), np.empty(0, np.int64), told.findings())

    pieces = _pieces(rings, tolerances, told, what)
    outside = _winding_outside(pieces, compounds)
    bounds = _boundaries(pieces, outside, compounds, tolerances)
    polygons, owner = _assemble(bounds, tolerances)
    polygons, owner = _without_crumbs(polygons, owner, bounds.noded_owners, tolerances)
    return FilledEach(shapely.orient_polygons(polygons), owner, told.findings())


@dataclass(frozen=True, eq=False)
class _Pieces:
    """Independent pieces: no outline of one meets an outline of another of the same owner.

    A piece is one ring alone, or a cluster of rings cut into faces. Every region (the inside of a
    lone ring, a face of a cluster) has the winding number that its piece alone gives it.
    """

    owner: Indices  # per piece
    point: Floats  # per piece, a point on its outline
    lone: Bools  # per piece: a simple ring alone
    region: Geometries  # Polygon per region
    weight: Indices  # per region
    piece: Indices  # per region


def _pieces(rings: Rings, tolerances: Tolerances, told: Repairs, what: str) -> _Pieces:
    n = len(rings.shapes)
    crowd = np.bincount(rings.owner)[rings.owner] > 1
    inside = np.flatnonzero(crowd)
    cluster = edge_clusters(rings.shapes[inside], rings.owner[inside])
    label = np.arange(n)
    label[inside] = inside[np.unique(cluster, return_index=True)[1]][cluster]
    lone = rings.simple & (np.bincount(label)[label] == 1)

    alone = np.flatnonzero(lone)
    regions = [shapely.polygons(rings.shapes[alone]) if len(alone) else np.empty(0, object)]
    weights = [np.where(rings.area[alone] > 0, 1, -1).astype(np.int64)]
    pieces = [np.arange(len(alone), dtype=np.int64)]
    heads = [alone]
    number = len(alone)
    for members in members_of(label[~lone], np.flatnonzero(~lone)):
        _refuse_tangle(rings, members, what)
        faces, weight, crossings = arrange(rings.shapes[members], tolerances)
        _tell_crossing(rings, members, faces, crossings, told)
        regions.append(faces)
        weights.append(weight)
        pieces.append(np.full(len(faces), number))
        heads.append(members[:1])
        number += 1
    head = np.concatenate(heads)
    return _Pieces(
        owner=rings.owner[head],
        point=rings.first[head],
        lone=lone[head],
        region=np.concatenate(regions),
        weight=np.concatenate(weights),
        piece=np.concatenate(pieces),
    )


def _refuse_tangle(rings: Rings, members: Indices, what: str) -> None:
    """Refuse outlines that cross so often that cutting them into faces would take minutes."""
    edges = int(shapely.get_num_coordinates(rings.shapes[members]).sum()) - len(members)
    if edges * (edges - 1) // 2 <= MOST_CROSSINGS:
        return
    about = about_crossings(rings.shapes[members])
    if about > MOST_CROSSINGS:
        name = rings.names[int(members[0])] or "an outline"
        raise ArtworkError(
            f"{what}: {name} crosses itself or its own outlines at about {about} places; expected "
            f"at most {MOST_CROSSINGS}. Simplify it, or unite its outlines in a drawing program."
        )


def _tell_crossing(
    rings: Rings, members: Indices, faces: Geometries, crossings: Floats, told: Repairs
) -> None:
    owner = int(rings.owner[members[0]])
    rule = told.compounds[owner].rule
    name = rings.names[int(members[0])]
    place = crossings[0] if len(crossings) else rings.first[int(members[0])]
    if len(faces) == 0:
        told.add(owner, "artwork.no-area", "encloses no area and was left out.", place, name=name)
        return
    alone = len(members) == 1
    how = "crosses or touches itself" if alone else "has outlines that meet"
    if len(crossings) == 0:
        how = "runs along itself" if alone else "has outlines that run along each other"
    elif len(crossings) == 1:
        how += " at one point"
    else:
        how += f" at {len(crossings)} points"
    told.add(
        owner,
        "artwork.self-crossing",
        f"{how}; the {rule} fill rule decided what is painted.",
        place,
        name=name,
    )


def _winding_outside(pieces: _Pieces, compounds: Sequence[Compound]) -> Indices:
    """Winding number just outside each piece: the sum over the other pieces' regions round it."""
    outside = np.zeros(len(pieces.owner), np.int64)
    crowd = np.bincount(pieces.owner, minlength=len(compounds)) > 1
    some = np.flatnonzero(crowd[pieces.owner])
    region = np.flatnonzero(crowd[pieces.owner[pieces.piece]])
    if len(some) == 0:
        return outside
    r, p = _points_in(
        pieces.region[region],
        pieces.owner[pieces.piece[region]],
        pieces.point[some],
        pieces.owner[some],
    )
    r, p = region[r], some[p]
    other = pieces.piece[r] != p
    np.add.at(outside, p[other], pieces.weight[r[other]])
    return outside


def _points_in(
    polygons: Geometries, polygon_owner: Indices, points: Floats, point_owner: Indices
) -> tuple[Indices, Indices]:
    """Pairs (polygon, point) of the same owner where the point lies inside.

    Some owners at a time, and of their polygons some at a time: where outlines lie over each other
    by the hundred, most boxes hold most points.
    """
    shapely.prepare(polygons)
    owners, number = np.unique(point_owner, return_counts=True)
    run = (np.cumsum(number) - number) // _POINTS_AT_ONCE
    of_points = run[np.searchsorted(owners, point_owner)]
    place = np.minimum(np.searchsorted(owners, polygon_owner), max(len(owners) - 1, 0))
    known = np.flatnonzero(owners[place] == polygon_owner) if len(owners) else place[:0]
    found = [np.empty((2, 0), np.int64)]
    for one in np.unique(run).tolist():
        some = np.flatnonzero(of_points == one)
        asked = known[run[place[known]] == one]
        tree = shapely.STRtree(shapely.points(points[some]))
        step = max(1, _PAIRS_AT_ONCE // len(some))
        for start in range(0, len(asked), step):
            which, point = tree.query(polygons[asked[start : start + step]])
            which, point = asked[start + which], some[point]
            own = polygon_owner[which] == point_owner[point]
            which, point = which[own], point[own]
            inside = shapely.contains_xy(polygons[which], points[point, 0], points[point, 1])
            found.append(np.stack([which[inside], point[inside]]))
    which, point = np.concatenate(found, axis=1)
    return which, point


@dataclass(frozen=True, eq=False)
class _Boundaries:
    """Rings between painted and unpainted, per kind."""

    shells: Geometries  # Polygon: a shell, with the holes that are known to be its own
    shell_owner: Indices
    holes: Geometries  # Polygon: the inside of a hole whose shell is still to be found
    hole_owner: Indices
    hole_point: Floats
    noded_owners: Indices


def _is_painted(winding: Indices, nonzero: Bools) -> Bools:
    painted: Bools = np.where(nonzero, winding != 0, winding % 2 != 0)
    return painted


def _boundaries(
    pieces: _Pieces, outside: Indices, compounds: Sequence[Compound], tolerances: Tolerances
) -> _Boundaries:
    nonzero = np.array([c.rule == "nonzero" for c in compounds])[pieces.owner]
    out = _is_painted(outside, nonzero)
    painted = _is_painted(outside[pieces.piece] + pieces.weight, nonzero[pieces.piece])
    lone = pieces.lone[pieces.piece]
    edge = painted != out[pieces.piece]
    is_shell, is_hole = lone & edge & painted, lone & edge & ~painted
    shells, shell_owner = [pieces.region[is_shell]], [pieces.owner[pieces.piece[is_shell]]]
    holes, hole_owner = [pieces.region[is_hole]], [pieces.owner[pieces.piece[is_hole]]]
    hole_point = [pieces.point[pieces.piece[is_hole]]]

    faces = np.flatnonzero(~lone & edge)
    for members in members_of(pieces.piece[faces], faces):
        piece = int(pieces.piece[members[0]])
        parts = merge_faces(pieces.region[members], tolerances)
        if not out[piece]:
            shells.append(parts)
            shell_owner.append(np.full(len(parts), pieces.owner[piece]))
            continue
        # Unpainted parts within paint: their outer rings are holes, what they enclose is painted.
        filled = shapely.polygons(shapely.get_exterior_ring(parts))
        holes.append(filled)
        hole_owner.append(np.full(len(filled), pieces.owner[piece]))
        hole_point.append(shapely.get_coordinates(shapely.point_on_surface(filled)))
        rings, of = shapely.get_rings(parts, return_index=True)
        inner = rings[np.concatenate(([False], of[1:] == of[:-1]))]
        if len(inner):
            shells.append(shapely.polygons(inner))
            shell_owner.append(np.full(len(inner), pieces.owner[piece]))
    return _Boundaries(
        np.concatenate(shells),
        np.concatenate(shell_owner),
        np.concatenate(holes),
        np.concatenate(hole_owner),
        np.concatenate(hole_point),
        np.unique(pieces.owner[~pieces.lone]),
    )


def _assemble(bounds: _Boundaries, tolerances: Tolerances) -> tuple[Geometries, Indices]:
    """Give every hole to the smallest shell round it and build the polygons."""
    if len(bounds.holes) == 0:
        return bounds.shells, bounds.shell_owner
    plain = shapely.polygons(shapely.get_exterior_ring(bounds.shells))
    shell_area, hole_area = shapely.area(plain), shapely.area(bounds.holes)
    s, h = _points_in(plain, bounds.shell_owner, bounds.hole_point, bounds.hole_owner)
    # A painted part inside the hole may hold the hole's point too, but is smaller than the hole.
    bigger = shell_area[s] > hole_area[h]
    s, h = s[bigger], h[bigger]
    order = np.lexsort((shell_area[s], h))
    s, h = s[order], h[order]
    nearest = np.concatenate(([True], h[1:] != h[:-1])) if len(h) else np.empty(0, bool)
    s, h = s[nearest], h[nearest]

    known, of = shapely.get_rings(bounds.shells, return_index=True)
    rings = np.concatenate([known, shapely.get_exterior_ring(bounds.holes[h])])
    target = np.concatenate([of, s])
    order = np.argsort(target, kind="stable")  # keeps each shell before its holes
    polygons = shapely.polygons(rings[order], indices=target[order])

    # Holes that touch each other can cut their shell in two: take them away one by one.
    suspect = np.flatnonzero(np.isin(bounds.shell_owner, bounds.noded_owners))
    suspect = suspect[~shapely.is_valid(polygons[suspect])]
    if len(suspect) == 0:
        return polygons, bounds.shell_owner
    parts, owners = [np.delete(polygons, suspect)], [np.delete(bounds.shell_owner, suspect)]
    for index in suspect:
        grid = tolerances.grid
        gone = shapely.union_all(bounds.holes[h[s == index]], grid_size=grid)
        cut = shapely.difference(bounds.shells[index], gone, grid_size=grid)
        pieces = shapely.get_parts(cut)
        pieces = pieces[shapely.get_type_id(pieces) == shapely.GeometryType.POLYGON]
        parts.append(pieces)
        owners.append(np.full(len(pieces), bounds.shell_owner[index]))
    return np.concatenate(parts), np.concatenate(owners)


def _without_crumbs(
    polygons: Geometries, owner: Indices, noded_owners: Indices, tolerances: Tolerances
) -> tuple[Geometries, Indices]:
    """Drop crumbs that noding left: parts and holes under the least area."""
    noded = np.flatnonzero(np.isin(owner, noded_owners))
    cleaned, kept = without_specks(polygons[noded], tolerances.least_area)
    polygons = polygons.copy()
    polygons[noded[kept]] = cleaned
    return np.delete(polygons, noded[~kept]), np.delete(owner, noded[~kept])


def _as_multipolygon(polygons: Geometries) -> MultiPolygon:
    return shapely.multipolygons(np.asarray(polygons, dtype=object))
