"""Judge of strength: the whole sheet as a grillage, every island at once.

Pieces of the sheet are rigid plates, each with a lift and two turns; the frame stands still.
Bridges are straight beams between two pieces, built in at both ends, that bend (Euler-Bernoulli)
and twist (Saint-Venant). From first principles; nothing of Sheetstack is used here. Lengths in mm,
forces in N, moduli and stresses in MPa.

Sources: the beam's stiffness matrix as in any text on frame analysis (Przemieniecki, Theory of
Matrix Structural Analysis, 1968); the torsion of a rectangle by its exact series (Timoshenko and
Goodier, Theory of Elasticity): both from memory, checked in tests/reference/test_sweep_judges.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu
from shapely import LineString, MultiPolygon, Polygon, STRtree

GRAVITY = 9.80665e-3  # N of a gram
POISSON = 0.35
#: Turns are counted in this length, in mm, so that lift and turn have figures of one size.
ARM = 30.0
#: Most points of a rim at which the stress is looked at; the deflection is at all.
STRESS_POINTS = 24


@dataclass(frozen=True)
class Plate:
    """What the sheet is made of and has to bear: mm, MPa, g/mm3, N."""

    thickness: float
    modulus: float
    density: float
    push: float


@dataclass(frozen=True)
class Beams:
    """Beams between points of two pieces.

    Parameters
    ----------
    pieces : int array (n, 2)
    start, end : float64 array (n, 2)
        In mm, on the first and on the second piece.
    length, width : float64 array (n,)
        In mm.
    """

    pieces: np.ndarray
    start: np.ndarray
    end: np.ndarray
    length: np.ndarray
    width: np.ndarray


@dataclass(frozen=True)
class WholeHold:
    """How the whole sheet holds.

    Parameters
    ----------
    deflection : float
        Most that the rim of any island gives way, in mm, under the weight of all and a push there.
    stress : float
        Greatest stress in any bridge under the same, in MPa.
    islands, beams : int
        How many there are.
    loose : int
        Islands that no bridge joins to the frame.
    place : tuple of float
        Where the deflection is greatest.
    """

    deflection: float
    stress: float
    islands: int
    beams: int
    loose: int
    place: tuple[float, float]


def beams_of(
    plain: MultiPolygon, sheet: MultiPolygon, strips: Sequence[tuple[LineString, float]]
) -> tuple[list[Polygon], Beams]:
    """Return the pieces that the bridges join, frame first, and the bridges as beams.

    Parameters
    ----------
    plain : MultiPolygon
        The sheet without bridges.
    sheet : MultiPolygon
        The sheet as cut; pieces that it has no more (let go) are left out.
    strips : sequence of (LineString, float)
        Middle line and width of each bridge; the parts of the line over openings are the beams.

    Returns
    -------
    list of Polygon, Beams
    """
    parts = shapely.get_parts(plain)
    shapely.prepare(sheet)
    kept = shapely.area(shapely.intersection(parts, sheet)) > 0.5 * shapely.area(parts)
    x0, y0, x1, y1 = shapely.bounds(parts).T
    frame = int(((x1 - x0) * (y1 - y0)).argmax())
    pieces = [parts[frame], *(p for k, p in enumerate(parts) if kept[k] and k != frame)]
    tree = STRtree(pieces)
    rows: list[tuple[int, int, np.ndarray, np.ndarray, float, float]] = []
    for line, width in strips:
        for way in _over_openings(line, plain):
            ends = shapely.get_coordinates(way)[[0, -1]]
            near = [int(tree.nearest(shapely.Point(end))) for end in ends]
            far = max(pieces[k].distance(shapely.Point(e)) for k, e in zip(near, ends, strict=True))
            if near[0] != near[1] and far < width:
                rows.append((near[0], near[1], ends[0], ends[1], way.length, width))
    return pieces, Beams(
        np.array([row[:2] for row in rows], np.int64).reshape(-1, 2),
        np.array([row[2] for row in rows]).reshape(-1, 2),
        np.array([row[3] for row in rows]).reshape(-1, 2),
        np.array([row[4] for row in rows], np.float64),
        np.array([row[5] for row in rows], np.float64),
    )


def _over_openings(line: LineString, plain: MultiPolygon) -> list[LineString]:
    near = plain.intersection(shapely.box(*line.buffer(1.0).bounds))
    rest = shapely.line_merge(line.difference(near))
    return [part for part in shapely.get_parts(rest) if part.length > 0]


def torsion_constant(width: float, thickness: float) -> float:
    """Return the torsion constant of a rectangle in mm4, by its series.

    >>> round(torsion_constant(1.0, 1.0), 4)  # a square, as tabled by Timoshenko
    0.1406
    """
    a, b = max(width, thickness), min(width, thickness)
    odd = np.arange(1, 80, 2)
    series = (np.tanh(odd * np.pi * a / (2 * b)) / odd**5).sum()
    return a * b**3 / 3 * (1 - 192 * b / (np.pi**5 * a) * float(series))


def solve(pieces: Sequence[Polygon], beams: Beams, plate: Plate) -> WholeHold:
    """Solve the whole sheet: weight of all islands, and a push at each place of their rims in turn.

    Parameters
    ----------
    pieces : sequence of Polygon
        The first is the frame.
    beams : Beams
    plate : Plate

    Returns
    -------
    WholeHold
    """
    count = len(pieces)
    n = len(beams.length)
    if count < 2:
        return WholeHold(0.0, 0.0, 0, n, 0, (0.0, 0.0))
    joined = sparse.coo_matrix((np.ones(n), (beams.pieces[:, 0], beams.pieces[:, 1])), (count,) * 2)
    _, group = connected_components(joined, directed=False)
    held = np.flatnonzero(group == group[0])[1:]
    loose = count - 1 - len(held)
    if len(held) == 0:
        return WholeHold(math.inf, math.inf, count - 1, n, loose, (0.0, 0.0))
    place = np.full(count, -1)
    place[held] = np.arange(len(held))
    use = group[beams.pieces[:, 0]] == group[0]
    centre = shapely.get_coordinates(shapely.centroid(list(pieces)))
    ends, own = _elements(beams, centre, plate)
    ends, own, pair = ends[use], own[use], beams.pieces[use]
    # Forces at the beams' ends from motions of the pieces: own @ ends, and back by its transpose.
    stiff = np.einsum("nji,njk,nkl->nil", ends, own, ends)
    dofs = 3 * place[pair][:, :, None] + np.arange(3)
    dofs = np.where(place[pair][:, :, None] < 0, -1, dofs).reshape(-1, 6)
    rows = np.repeat(dofs, 6, axis=1).ravel()
    columns = np.tile(dofs, (1, 6)).ravel()
    free = (rows >= 0) & (columns >= 0)
    size = 3 * len(held)
    total = sparse.csc_matrix((stiff.ravel()[free], (rows[free], columns[free])), (size, size))
    solver = splu(total)
    area = shapely.area(np.asarray(pieces, object))[held]
    load = np.zeros(size)
    load[::3] = area * plate.thickness * plate.density * GRAVITY
    sag = solver.solve(load)
    worst, where, stress = 0.0, (0.0, 0.0), 0.0
    for number, piece in enumerate(held.tolist()):
        unit = np.zeros((size, 3))
        unit[3 * number + np.arange(3), np.arange(3)] = 1.0
        answer = solver.solve(unit)
        rim = _hull(pieces[piece])
        arms = np.column_stack([np.ones(len(rim)), (rim - centre[piece]) / ARM])
        block = answer[3 * number : 3 * number + 3]
        gives = np.abs(arms @ sag[3 * number : 3 * number + 3]) + plate.push * np.einsum(
            "ri,ij,rj->r", arms, block, arms
        )
        if gives.max() > worst:
            worst = float(gives.max())
            where = (float(rim[gives.argmax(), 0]), float(rim[gives.argmax(), 1]))
        some = arms[np.linspace(0, len(arms) - 1, min(STRESS_POINTS, len(arms))).astype(int)]
        near = _reached(pair, piece, len(held))
        motion = sag[:, None] + plate.push * answer @ some.T
        stress = max(
            stress, _stress(motion, dofs[near], ends[near], own[near], beams, use, near, plate)
        )
    return WholeHold(worst, stress, count - 1, n, loose, where)


def _reached(pair: np.ndarray, piece: int, islands: int) -> np.ndarray:
    """Return the beams whose stress is looked at: all, or in big sheets those of the piece."""
    if islands * len(pair) < 200_000:
        return np.arange(len(pair))
    return np.flatnonzero((pair == piece).any(axis=1))


def _elements(beams: Beams, centre: np.ndarray, plate: Plate) -> tuple[np.ndarray, np.ndarray]:
    """Return for each beam: motions of its two pieces to those of its ends, and its own stiffness.

    Motions of an end: lift, slope along the beam, slope across it.
    """
    thick = plate.thickness
    way = beams.end - beams.start
    direction = way / np.maximum(np.hypot(*way.T), 1e-12)[:, None]
    # A gap of no width has no direction that matters: shorter than thick it is as good as stiff.
    length = np.maximum(beams.length, thick)
    n = len(length)
    ends = np.zeros((n, 6, 6))
    for side, at in enumerate((beams.start, beams.end)):
        arm = (at - centre[beams.pieces[:, side]]) / ARM
        k = 3 * side
        ends[:, k, k] = 1.0
        ends[:, k, k + 1 : k + 3] = arm
        ends[:, k + 1, k + 1 : k + 3] = direction / ARM
        ends[:, k + 2, k + 1] = -direction[:, 1] / ARM
        ends[:, k + 2, k + 2] = direction[:, 0] / ARM
    bend = plate.modulus * beams.width * thick**3 / 12 / length**3
    twist = np.array([torsion_constant(w, thick) for w in beams.width.tolist()])
    twist = plate.modulus / (2 * (1 + POISSON)) * twist / length
    own = np.zeros((n, 6, 6))
    one, two = bend * length, bend * length**2
    own[:, 0, 0] = own[:, 3, 3] = 12 * bend
    own[:, 0, 3] = own[:, 3, 0] = -12 * bend
    for lift, slope, sign in ((0, 1, 6), (0, 4, 6), (3, 1, -6), (3, 4, -6)):
        own[:, lift, slope] = own[:, slope, lift] = sign * one
    own[:, 1, 1] = own[:, 4, 4] = 4 * two
    own[:, 1, 4] = own[:, 4, 1] = 2 * two
    own[:, 2, 2] = own[:, 5, 5] = twist
    own[:, 2, 5] = own[:, 5, 2] = -twist
    return ends, own


def _stress(
    motion: np.ndarray,
    dofs: np.ndarray,
    ends: np.ndarray,
    own: np.ndarray,
    beams: Beams,
    use: np.ndarray,
    near: np.ndarray,
    plate: Plate,
) -> float:
    """Return the greatest stress of bending and twist together (von Mises) in some beams."""
    if len(near) == 0:
        return 0.0
    moves = np.where((dofs >= 0)[:, :, None], motion[dofs], 0.0)
    force = np.einsum("nij,njk,nkr->nir", own, ends, moves)
    width, thick = beams.width[use][near], plate.thickness
    bent = np.abs(force[:, [1, 4]]).max(axis=1) * (6 / (width * thick**2))[:, None]
    short = np.minimum(width, thick)
    per_torque = np.array(
        [s / torsion_constant(w, thick) for s, w in zip(short, width, strict=True)]
    )
    sheared = np.abs(force[:, 2]) * per_torque[:, None]
    return float(np.sqrt(bent**2 + 3 * sheared**2).max())


def _hull(piece: Polygon) -> np.ndarray:
    """Return the corners of a piece's convex hull, among which a push does worst."""
    return shapely.get_coordinates(shapely.convex_hull(piece))
