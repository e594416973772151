"""Statics: how far the islands of a sheet give way, and what their bridges bear.

The sheet is one thing: islands hang on islands, and what holds one moves with the next. Every piece
but the frame is a rigid plate that can sink and tilt two ways; bridges are beams, built into the
pieces at both ends, that bend and twist; the frame is fixed. Together they are a grillage, one
stiffness matrix for the whole sheet. One bridge alone is the cantilever of the handbooks, two
opposite ones the beam built in at both ends.

**The case.** The sheet is held in the hand by its frame, lying: it bears its own weight and a
push, from above or from below, at the worst place of any island's rim. Flat against a wall it bears
less, for there the wall itself takes the push and the weight acts along the sheet; no case of its
own is made of that. The formulas are those of small deflection (slope-deflection equations of frame
analysis, as in any textbook of structural mechanics, from memory): beyond about a tenth of a
bridge's length a figure only says "far too much". What is left out: islands are rigid, though a
long thin one bends itself, and the frame is taken as held all round.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Floats, Geometries, Indices, ramp
from ..planar.graph import connected_labels
from ..tolerance import NOT_ZERO
from .beam import POISSON, bending_stress, second_moment, torsion_constant, torsion_stress
from .block_factor import BlockPattern, transposed
from .curved_bars import Bars, BarSections

#: Standard gravity in N per gram.
NEWTON_PER_GRAM = 9.80665e-3
#: How far a corner of a rim may lie beyond those that are pushed, as a share of the island's size
#: that way. A disc is pushed at 32 to 64 places then.
RIM_SAG = 0.001
#: Rims of so few corners are pushed at all of them.
_FEW_CORNERS = 12
#: Of islands that hang together, so many of the softest are pushed to find the greatest stress in
#: each bridge; both ends of a bridge are pushed in any case. Up to so many islands it is exact.
MOST_PUSHED = 64
#: What stands for the frame where plates are counted.
FRAME = -1
#: A bound is only one where it is greater by rounding.
_ROUNDING = 1 + 1e-9
#: Values of a table of stresses that are worked on at once.
_CHUNK = 2_000_000


@dataclass(frozen=True)
class Stiffness:
    """What sheets are made of, for bending.

    Parameters
    ----------
    modulus_mpa : float
    thickness_mm : float
    """

    modulus_mpa: float
    thickness_mm: float


@dataclass(frozen=True)
class Plates:
    """Pieces of sheet but the frame, as rigid plates.

    Parameters
    ----------
    centre : float64 array (n, 2)
        Centres of their weight in mm.
    rim : float64 array (n, k, 2)
        Places where each may be pushed, in mm.
    weight_n : float64 array (n,)
        In N.
    """

    centre: Floats
    rim: Floats
    weight_n: Floats

    def __len__(self) -> int:
        return len(self.weight_n)

    def take(self, which: Indices) -> Plates:
        """Return some of the plates, by position."""
        return Plates(self.centre[which], self.rim[which], self.weight_n[which])


@dataclass(frozen=True)
class Beams:
    """Bridges, laid or possible, as beams.

    Parameters
    ----------
    plates : int array (m, 2)
        The plates that each joins, ``FRAME`` for the frame; one of the two is a plate.
    start, end : float64 array (m, 2)
        Its ends in mm, on the first and on the second.
    bars : Bars, optional
        How each runs from end to end; straight and of one width when None.
    """

    plates: Indices
    start: Floats
    end: Floats
    bars: Bars | None = None

    def __len__(self) -> int:
        return len(self.start)

    def take(self, which: Indices) -> Beams:
        """Return some of the beams, by position."""
        bars = None if self.bars is None else self.bars.take(which)
        return Beams(self.plates[which], self.start[which], self.end[which], bars)


@dataclass(frozen=True)
class Stresses:
    """The worst push for each of some beams.

    Parameters
    ----------
    mpa : float64 array (m,)
        The greatest stress in each beam, of bending and twist together.
    plate, rim : int array (m,)
        The plate and the place on its rim where the push is worst for the beam.
    way : float64 array (m,)
        The way of that push: 1 with the weight, -1 against it.
    """

    mpa: Floats
    plate: Indices
    rim: Indices
    way: Floats


def summed(threes: Floats) -> Floats:
    """Return the sums of arrays (..., 3) along their last axis, ten times as fast as ``np.sum``.

    >>> summed(np.arange(6.0).reshape(2, 3))
    array([ 3., 12.])
    """
    total: Floats = threes[..., 0] + threes[..., 1]
    total += threes[..., 2]
    return total


def yielding_at(arms: Floats, compliance: Floats) -> Floats:
    """Return how far places of plates yield to a unit load on themselves, an array (n, k).

    Parameters
    ----------
    arms : float64 array (n, k, 3)
        From each place to its plate's motion there.
    compliance : float64 array (n, 3, 3)
        Of each plate.
    """
    moved: Floats = arms @ compliance
    moved *= arms
    return summed(moved)


def plates_of(islands: Sequence[Polygon], gram_per_mm2: float) -> Plates:
    """Return islands as plates that may be pushed at their rims.

    Parameters
    ----------
    islands : sequence of Polygon
    gram_per_mm2 : float
        Mass of the sheet.
    """
    array = np.asarray(islands, object)
    weight = shapely.area(array) * gram_per_mm2 * NEWTON_PER_GRAM
    return Plates(shapely.get_coordinates(shapely.centroid(array)), rim_points(islands), weight)


def rim_points(islands: Sequence[Polygon]) -> Floats:
    """Return the places where a push on each island's rim may do most, an array (n, k, 2).

    Weight and push together give way by a convex function of the place, so that the worst is a
    corner of the convex hull. Rims of many corners are thinned out: those left out lie within
    ``RIM_SAG`` of the ones kept, seen along the island's principal axes and measured by its size
    along each, so that the tip of a thin crescent counts as much as the end of a square. Islands of
    fewer corners than others have their first one repeated.

    >>> rim_points([shapely.box(0, 0, 4, 1)])[0].tolist()
    [[0.0, 0.0], [0.0, 1.0], [4.0, 1.0], [4.0, 0.0]]
    """
    corners, island = _hull_corners(np.asarray(islands, object))
    size = np.bincount(island, minlength=len(islands))
    first = np.cumsum(size) - size
    rim = np.repeat(corners[first][:, None], int(size.max(initial=1)), axis=1)
    rim[island, ramp(size)] = corners
    return rim


def _hull_corners(islands: Geometries) -> tuple[Floats, Indices]:
    """Return the corners of islands' hulls, thinned out where they are many, and whose they are."""
    corners, island = shapely.get_coordinates(shapely.convex_hull(islands), return_index=True)
    closing = np.append(island[1:] != island[:-1], True)[: len(island)]
    corners, island = corners[~closing], island[~closing]
    size = np.bincount(island, minlength=len(islands))
    begin = np.cumsum(size) - size
    many = np.flatnonzero(size > _FEW_CORNERS)
    if len(many) == 0:
        return corners, island
    row = np.repeat(begin[many], size[many]) + ramp(size[many])
    runs = np.cumsum(size[many]) - size[many]
    ring = np.repeat(np.arange(len(many)), size[many])
    middle = corners[row] - (np.add.reduceat(corners[row], runs) / size[many, None])[ring]
    x, y = middle.T
    spread = np.add.reduceat(np.stack([x * x, x * y, x * y, y * y], axis=1), runs)
    _, axes = np.linalg.eigh(spread.reshape(-1, 2, 2))
    even = x[:, None] * axes[ring, 0] + y[:, None] * axes[ring, 1]
    across = np.maximum.reduceat(even, runs) - np.minimum.reduceat(even, runs)
    even /= np.maximum(across, NOT_ZERO)[ring]
    # A ring keeps its first corner whatever it is: begin at the farthest.
    far = (even**2).sum(axis=1)
    first = np.lexsort((-far, ring))[runs]
    turned = runs[ring] + (ramp(size[many]) + (first - runs)[ring]) % size[many][ring]
    even, corners[row] = even[turned], corners[row][turned]
    closed = size[many] + 1
    at = np.repeat(runs, closed) + ramp(closed) % np.repeat(size[many], closed)
    rings = shapely.linestrings(even[at], indices=np.repeat(np.arange(len(many)), closed))
    kept, of = shapely.get_coordinates(shapely.simplify(rings, RIM_SAG), return_index=True)
    both = np.column_stack([np.append(ring, of), np.concatenate([even, kept])])
    same = np.unique(both, axis=0, return_inverse=True)[1].reshape(-1)
    stays = np.ones(len(corners), bool)
    stays[row] = np.isin(same[: len(row)], same[len(row) :])
    return corners[stays], island[stays]


class Grillage:
    """Plates, and the beams that may join them.

    Parameters
    ----------
    plates : Plates
    beams : Beams
        All that may be laid; ``under_load`` says which are.
    stiffness : Stiffness

    Notes
    -----
    A plate's motion is w0 + a x + b y about its centre. A beam from plate i to plate j, of length L
    and direction d, is strained by what its end moves more than plate i, carried on to there,
    would: by a deflection w, a slope s along d and a slope c across. Its energy is
    (EI / 2 L^3) (12 w^2 - 12 L w s + 4 L^2 s^2) + (GJ / 2 L) c^2, the slope-deflection equations.
    Shorter than it is thick, a bridge counts as long as it is thick: it is no beam, and next to
    rigid. A curved or tapered one resists the same strains in its own way (see ``curved_bars``).
    """

    def __init__(self, plates: Plates, beams: Beams, stiffness: Stiffness) -> None:
        self.plates = plates
        self.beams = beams
        self.stiffness = stiffness
        first, second = beams.plates[:, 0], beams.plates[:, 1]
        way = beams.end - beams.start
        size = np.hypot(way[:, 0], way[:, 1])
        along = np.where(size[:, None] > 0, way / np.maximum(size, NOT_ZERO)[:, None], [1.0, 0.0])
        #: Length that counts, in mm.
        self.length: Floats = np.maximum(size, stiffness.thickness_mm)
        #: From a plate's motion to the strain of a beam, float64 arrays (m, 3, 3); 0 at the frame.
        self.at_first: Floats = -_motion(beams.end, along, plates.centre, first)
        self.at_second: Floats = _motion(beams.end, along, plates.centre, second)
        #: From a place of the rim to the motion there: 1, x, y about the centre.
        self.arms: Floats = np.concatenate(
            [np.ones((*plates.rim.shape[:2], 1)), plates.rim - plates.centre[:, None]], axis=2
        )
        #: The greatest of these at each plate, one by one, without sign: no place lies further out.
        self.farthest: Floats = np.abs(self.arms).max(axis=1, initial=0)
        count = len(plates)
        both = (first != FRAME) & (second != FRAME)
        keys = np.minimum(first, second) * count + np.maximum(first, second)
        unique, number = np.unique(keys[both], return_inverse=True)
        self._pairs = np.stack([unique // max(count, 1), unique % max(count, 1)], axis=1)
        self._pair = np.full(len(beams), -1)
        self._pair[both] = number.reshape(-1)
        self._turned = first > second
        # Which pairs of plates are looked at: made anew where others are.
        self._blocks: _Blocks | None = None
        #: The last one, for it is often asked for again.
        self._under_load: LoadedGrillage | None = None

    def own_stiffness(self, which: Indices, width: Floats) -> Floats:
        """Return how beams of given widths resist their three strains, an array (m, 3, 3).

        Parameters
        ----------
        which : int array (m,)
            Positions of beams.
        width : float64 array (m,)
            In mm.
        """
        modulus, thick = self.stiffness.modulus_mpa, self.stiffness.thickness_mm
        if self.beams.bars is not None:
            return self.sections(which, width, self.beams.bars).stiffness()
        length = self.length[which]
        bend = modulus * second_moment(width, thick) / length**3
        shear = modulus / (2 * (1 + POISSON))
        own = np.zeros((len(length), 3, 3))
        own[:, 0, 0] = 12 * bend
        own[:, 0, 1] = own[:, 1, 0] = -6 * length * bend
        own[:, 1, 1] = 4 * length**2 * bend
        own[:, 2, 2] = shear * torsion_constant(width, thick) / length
        return own

    def sections(self, which: Indices, width: Floats, bars: Bars) -> BarSections:
        """Return the sections of some beams that are curved or tapered.

        Parameters
        ----------
        which : int array (m,)
            Indices of the bars.
        width : float64 array (m,)
            At the narrowest, in mm.
        bars : Bars
        """
        modulus, thick = self.stiffness.modulus_mpa, self.stiffness.thickness_mm
        return BarSections(bars.take(which), width, thick, modulus)

    def under_load(
        self, which: Indices, width: Floats, looked_at: Indices | None = None
    ) -> LoadedGrillage:
        """Return the grillage with some of its beams laid, bearing its own weight.

        Parameters
        ----------
        which : int array (k,)
            Positions of the beams that are laid; they join every plate to the frame.
        width : float64 array (k,)
            Their widths in mm.
        looked_at : int array, optional
            Positions of all beams that ``between`` and ``yielding`` will be asked for beside those
            that are laid; any when None. The fewer they are, the less there is to be solved.

        Raises
        ------
        numpy.linalg.LinAlgError
            A plate is joined to nothing.
        """
        pairs = self._pair if looked_at is None else self._pair[np.append(which, looked_at)]
        pairs = np.unique(pairs[pairs >= 0])
        last = self._under_load
        if (
            last is None
            or not np.array_equal(last.which, which)
            or not np.array_equal(last.width, width)
            or not last.blocks.have(pairs)
        ):
            if self._blocks is None or not self._blocks.have(pairs):
                place = np.full(len(self._pairs), -1)
                place[pairs] = np.arange(len(pairs))
                pattern = BlockPattern(len(self.plates), self._pairs[pairs])
                self._blocks = _Blocks(pattern, place)
            self._under_load = last = self._loaded(which, width, self._blocks)
        return last

    def _loaded(self, which: Indices, width: Floats, blocks: _Blocks) -> LoadedGrillage:
        own = self.own_stiffness(which, width)
        diagonal = np.zeros((len(self.plates), 3, 3))
        at_first, at_second = self.at_first[which], self.at_second[which]
        for plate, at in ((0, at_first), (1, at_second)):
            number = self.beams.plates[which, plate]
            on = number != FRAME
            np.add.at(diagonal, number[on], (transposed(at) @ own @ at)[on])
        across = transposed(at_first) @ own @ at_second
        turned = self._turned[which][:, None, None]
        beside = np.zeros((int((blocks.place >= 0).sum()), 3, 3))
        on = self._pair[which] >= 0
        np.add.at(
            beside,
            blocks.place[self._pair[which][on]],
            np.where(turned, transposed(across), across)[on],
        )
        return LoadedGrillage(self, which, width, own, blocks, diagonal, beside)


class _Blocks(NamedTuple):
    """Pairs of plates that are looked at: the pattern, and the place in it of each pair, or -1."""

    pattern: BlockPattern
    place: Indices

    def have(self, pairs: Indices) -> bool:
        """Return whether all these pairs are among them."""
        return bool((self.place[pairs] >= 0).all())


def _motion(at: Floats, along: Floats, centre: Floats, plate: Indices) -> Floats:
    """Return the map from plates' motions to deflection and both slopes at points, 0 at the frame.

    Parameters
    ----------
    at, along : float64 array (m, 2)
        Points and unit directions.
    centre : float64 array (n, 2)
    plate : int array (m,)
        Whose motion it is.
    """
    on = plate != FRAME
    arm = at[on] - centre[plate[on]]
    motion = np.zeros((len(at), 3, 3))
    motion[on, 0, 0] = 1
    motion[on, 0, 1:] = arm
    motion[on, 1, 1:] = along[on]
    motion[on, 2, 1:] = np.stack([-along[on, 1], along[on, 0]], axis=1)
    return motion


class LoadedGrillage:
    """A grillage with beams laid, its rest position under its own weight, and how it yields.

    Made by ``Grillage.under_load``.

    Attributes
    ----------
    grillage : Grillage
    which : int array (k,)
        The beams that are laid.
    width : float64 array (k,)
        Their widths in mm.
    own : float64 array (k, 3, 3)
        Their own stiffness.
    blocks : _Blocks
        The pairs of plates whose compliance with each other is known.
    rest : float64 array (n, 3)
        Motions of the plates under the sheet's own weight.
    compliance : float64 array (n, 3, 3)
        What each plate yields to a load on itself: blocks on the diagonal of the inverse of the
        stiffness matrix.
    """

    def __init__(
        self,
        grillage: Grillage,
        which: Indices,
        width: Floats,
        own: Floats,
        blocks: _Blocks,
        diagonal: Floats,
        beside: Floats,
    ) -> None:
        self.grillage = grillage
        self.which = which
        self.width = width
        self.own = own
        self.blocks = blocks
        self._factor = blocks.pattern.factor(diagonal, beside)
        weight = np.zeros((len(grillage.plates), 3, 1))
        weight[:, 0, 0] = grillage.plates.weight_n
        self.rest: Floats = self._factor.solve(weight)[..., 0]
        self.compliance: Floats
        self.compliance, self._beside = self._factor.inverse_blocks()
        self._deflections: dict[float, Floats] = {}
        self._stresses: dict[tuple[float, int, float], Stresses] = {}

    def moves(self, loads: Floats) -> Floats:
        """Return how all plates move under further loads.

        Parameters
        ----------
        loads : float64 array (n, 3, k)
            Force and both moments on each plate, of k cases.

        Returns
        -------
        float64 array (n, 3, k)
        """
        return self._factor.solve(loads)

    @cached_property
    def clusters(self) -> Indices:
        """Labels of plates that hang together by other ways than over the frame."""
        pairs = self.grillage.beams.plates[self.which]
        inner = pairs[(pairs != FRAME).all(axis=1)]
        return connected_labels(len(self.grillage.plates), inner)

    @cached_property
    def beam_clusters(self) -> Indices:
        """The cluster of each laid beam."""
        clusters: Indices = self.clusters[self.grillage.beams.plates[self.which].max(axis=1)]
        return clusters

    def deflections(self, push_n: float) -> Floats:
        """Return how far each plate gives way where it is pushed, under its weight too.

        Parameters
        ----------
        push_n : float
            In N, with the weight or against it, whichever does more.

        Returns
        -------
        float64 array (n, k)
            In mm, at each place of each rim when the push is there.

        Notes
        -----
        No place of the sheet gives way to a push further than the softest place does to a push on
        itself: by the inequality of Cauchy and Schwarz in the metric of the compliance C,
        \\|C_ab\\| <= max(C_aa, C_bb). So the greatest value is that of the whole sheet.
        """
        if push_n not in self._deflections:  # asked for by several, and not cheap
            arms = self.grillage.arms
            greatest = np.abs(self.at_rest) + push_n * yielding_at(arms, self.compliance)
            greatest.setflags(write=False)
            self._deflections[push_n] = greatest
        return self._deflections[push_n]

    @cached_property
    def at_rest(self) -> Floats:
        """How far each place of each rim sinks under the sheet's weight, an array (n, k) in mm.

        Where it is negative the place rises, as the far end of an island does that tips.
        """
        sunk: Floats = (self.grillage.arms @ self.rest[:, :, None])[..., 0]
        return sunk

    def between(self, beams: Indices) -> Floats:
        """Return the blocks of the compliance between the two plates of beams, 0 at the frame.

        Parameters
        ----------
        beams : int array (m,)
            Positions of beams that are laid or were said to be looked at.

        Returns
        -------
        float64 array (m, 3, 3)
            Rows of the first, columns of the second plate.

        Raises
        ------
        ValueError
            One of them is neither.
        """
        pair = self.grillage._pair[beams]
        blocks = np.zeros((len(beams), 3, 3))
        on = pair >= 0
        if not self.blocks.have(pair[on]):
            raise ValueError("beams that were not said to be looked at have no compliance")
        blocks[on] = self._beside[self.blocks.place[pair[on]]]
        turned = self.grillage._turned[beams][:, None, None]
        return np.where(turned, transposed(blocks), blocks)

    def yielding(self, beams: Indices) -> Floats:
        """Return how far the two ends of beams yield to the forces that a beam there would bear.

        With B the map from motions to a beam's strain and C the compliance: B C B^T.

        Parameters
        ----------
        beams : int array (m,)
            Positions of beams that are laid or were said to be looked at.

        Returns
        -------
        float64 array (m, 3, 3)
        """
        grillage = self.grillage
        first, second = grillage.at_first[beams], grillage.at_second[beams]
        plates = grillage.beams.plates[beams]
        mixed = first @ self.between(beams) @ transposed(second)
        return (
            first @ self.compliance[plates[:, 0]] @ transposed(first)
            + second @ self.compliance[plates[:, 1]] @ transposed(second)
            + mixed
            + transposed(mixed)
        )

    def strains(self, beams: Indices, moves: Floats) -> Floats:
        """Return the strains of beams, laid or not, when the plates move.

        Parameters
        ----------
        beams : int array (m,)
        moves : float64 array (n, 3, k)

        Returns
        -------
        float64 array (m, 3, k)
            Deflection, slope along and slope across at the beam's end, beyond its start's motion.
        """
        grillage = self.grillage
        plates = grillage.beams.plates[beams]
        strain: Floats = (
            grillage.at_first[beams] @ moves[plates[:, 0]]
            + grillage.at_second[beams] @ moves[plates[:, 1]]
        )
        return strain

    @cached_property
    def stress_rows(self) -> Floats:
        """The map from strains of the laid beams to stresses in MPa, an array (k, 3, 3).

        Bending at the end, bending at the start, and the square root of 3 times the shear of
        twist: the greater of the first two and the third, squared and added, are the square of
        von Mises' stress. Of curved or tapered beams, bending and shear in sections along them, an
        array (k, 2 s, 3).
        """
        bars = self.grillage.beams.bars
        if bars is not None:
            return self.grillage.sections(self.which, self.width, bars).stress_rows(self.own)
        thick = self.grillage.stiffness.thickness_mm
        force, moment, torque = self.own[:, 0], self.own[:, 1], self.own[:, 2]
        length = self.grillage.length[self.which][:, None]
        bending = bending_stress(1.0, self.width, thick)[:, None]
        shear = np.sqrt(3) * torsion_stress(1.0, self.width, thick)[:, None]
        return np.stack(
            [bending * moment, bending * (force * length + moment), shear * torque], axis=1
        )

    def stresses(
        self, push_n: float, most_pushed: int = MOST_PUSHED, least_mpa: float = 0.0
    ) -> Stresses:
        """Return the greatest stress in each laid beam under the weight and the worst push.

        Parameters
        ----------
        push_n : float
            In N, at any place of any rim, with the weight or against it.
        most_pushed : int
            Of plates that hang together, so many of the softest are pushed, and both plates that a
            beam joins. Exact where no more hang together; else a push elsewhere may be worse.
        least_mpa : float
            Beams that are strained less count as strained so much, with no worst push: where only
            those over a limit are asked for, most are soon seen to be under it.
        """
        key = push_n, most_pushed, least_mpa
        if key not in self._stresses:
            self._stresses[key] = self._worst_stresses(*key)
        return self._stresses[key]

    def _worst_stresses(self, push_n: float, most_pushed: int, least_mpa: float) -> Stresses:
        by_weight = (self.stress_rows @ self.strains(self.which, self.rest[..., None]))[..., 0]
        worst = _Worst(len(self.which), least_mpa)
        for side in (0, 1):
            self._push_on_ends(side, push_n, by_weight, worst)
        self._push_on_softest(push_n, most_pushed, by_weight, worst)
        return Stresses(np.sqrt(worst.square), worst.plate, worst.rim, worst.way)

    def _push_on_ends(self, side: int, push_n: float, by_weight: Floats, worst: _Worst) -> None:
        grillage = self.grillage
        plates = grillage.beams.plates[self.which]
        between = self.between(self.which)
        own = self.compliance[plates[:, side]]
        yields = (own, transposed(between)) if side == 0 else (between, own)
        unit = self.stress_rows @ (
            grillage.at_first[self.which] @ yields[0] + grillage.at_second[self.which] @ yields[1]
        )
        worst.take(unit[:, :, None], plates[:, side, None], push_n, by_weight, grillage)

    def _push_on_softest(
        self, push_n: float, most_pushed: int, by_weight: Floats, worst: _Worst
    ) -> None:
        # One case of load pushes the plates of one rank in all clusters at once.
        label, count = self.clusters, len(self.grillage.plates)
        soft = self.deflections(push_n).max(axis=1, initial=0)
        size = np.bincount(label, minlength=1)
        order = np.lexsort((-soft, label))
        rank = np.empty(count, np.int64)
        rank[order] = ramp(size)
        cases = min(int(size.max()), most_pushed)
        terms = self.stress_rows.shape[1]
        step = max(1, _CHUNK // max(1, len(self.which) * self.grillage.plates.rim.shape[1] * terms))
        for low in range(0, cases, step):
            high = min(cases, low + step)
            chosen = np.flatnonzero((rank >= low) & (rank < high))
            loads = np.zeros((count, 3, high - low, 3))
            loads[chosen, :, rank[chosen] - low] = np.eye(3)
            moves = self.moves(loads.reshape(count, 3, -1))
            unit = self.stress_rows @ self.strains(self.which, moves)
            pushed = np.full((len(size), high - low), FRAME)
            pushed[label[chosen], rank[chosen] - low] = chosen
            worst.take(
                unit.reshape(len(unit), terms, high - low, 3),
                pushed[self.beam_clusters],
                push_n,
                by_weight,
                self.grillage,
            )


class _Worst:
    """The worst of the pushes so far, for each of some beams."""

    def __init__(self, beams: int, least_mpa: float) -> None:
        self.square = np.full(beams, least_mpa**2)
        self._bounded = least_mpa > 0
        self.plate = np.full(beams, FRAME)
        self.rim = np.zeros(beams, np.int64)
        self.way = np.ones(beams)

    def take(
        self, unit: Floats, plate: Indices, push_n: float, by_weight: Floats, grillage: Grillage
    ) -> None:
        """Hold further pushes against the worst so far.

        Parameters
        ----------
        unit : float64 array (m, s, k, 3)
            Terms of stress of each beam (see ``stress_rows``) for unit loads on k plates.
        plate : int array (m, k)
            These plates; ``FRAME`` where there is none.
        push_n : float
        by_weight : float64 array (m, s)
            Terms of stress under the sheet's own weight.
        grillage : Grillage
        """
        may = plate != FRAME
        if self._bounded or plate.shape[1] > 1:
            # No place of a rim does more than the farthest ones along and across it together: most
            # plates strain a beam less than those on its ends, which were pushed before.
            reach = grillage.farthest[plate]
            most = np.abs(by_weight)[:, :, None]
            most = most + push_n * summed(np.abs(unit) * reach[:, None])
            may &= _square(most) * _ROUNDING > self.square[:, None]
        beam, case = np.nonzero(may)
        if len(beam) == 0:
            return
        arms = grillage.arms[plate[beam, case]]
        by_push = push_n * unit[beam, :, case] @ transposed(arms)
        rest = by_weight[beam][:, :, None]
        begins = np.append(True, beam[1:] != beam[:-1])
        first = np.flatnonzero(begins)
        for way, terms in ((1.0, rest + by_push), (-1.0, rest - by_push)):
            square = _square(terms)
            rim = square.argmax(axis=1)
            greatest = square[np.arange(len(beam)), rim]
            most_of = np.maximum.reduceat(greatest, first)
            # The first of the greatest of each beam.
            equal = np.flatnonzero(greatest == most_of[np.cumsum(begins) - 1])
            pair = equal[np.append(True, beam[equal[1:]] != beam[equal[:-1]])]
            pair = pair[greatest[pair] > self.square[beam[pair]]]
            to = beam[pair]
            self.square[to], self.rim[to], self.way[to] = greatest[pair], rim[pair], way
            self.plate[to] = plate[to, case[pair]]


def _square(terms: Floats) -> Floats:
    """Return the greatest square of von Mises' stress, of terms (m, s, k) of stress."""
    count = terms.shape[1]
    if count == 3:  # the twist of a straight bar is the same all along
        both: Floats = np.maximum(terms[:, 0] ** 2, terms[:, 1] ** 2) + terms[:, 2] ** 2
        return both
    square: Floats = terms[:, : count // 2] ** 2
    square += terms[:, count // 2 :] ** 2
    greatest: Floats = square.max(axis=1)
    return greatest
