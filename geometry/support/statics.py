"""Hold: whether the bridges of an island hold it without flapping, turning or tearing.

The island is taken as a stiff plate on bridges that are beams, built into the island at one end and
into firm sheet at the other. A load on the plate bends and twists the bridges; where it comes to
rest, and what the bridges then bear, follows from a system of three equations. One bridge alone is
the cantilever of the handbooks, two opposite ones the beam built in at both ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Floats, Indices
from .beam import (
    POISSON,
    bending_stress,
    second_moment,
    torsion_constant,
    torsion_stress,
)

#: Standard gravity in N per gram.
NEWTON_PER_GRAM = 9.80665e-3
#: Points of an island's rim at which the handling load is tried.
RIM_POINTS = 24


@dataclass(frozen=True)
class Struts:
    """Bridges as beams.

    Parameters
    ----------
    base, tip : float64 array (n, 2)
        Their ends in mm: on firm sheet, and on the island.
    width : float64 array (n,)
        In mm.
    """

    base: Floats
    tip: Floats
    width: Floats

    def __len__(self) -> int:
        return len(self.width)


@dataclass(frozen=True)
class Hold:
    """How an island is held.

    Parameters
    ----------
    deflection_mm : float
        How far the island's rim moves under its weight and the handling load, at the worst place.
    stress_mpa : float
        Greatest stress in a bridge under the same loads.
    place : tuple of float
        Where the handling load is worst, x, y in mm.
    """

    deflection_mm: float
    stress_mpa: float
    place: tuple[float, float]


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


def rim_points(island: Polygon) -> Floats:
    """Return points on the convex rim of an island where a hand or the spray may push."""
    hull = shapely.convex_hull(island)
    if not isinstance(hull, Polygon):
        return shapely.get_coordinates(hull)
    share = np.arange(RIM_POINTS) / RIM_POINTS
    return shapely.get_coordinates(
        shapely.line_interpolate_point(hull.exterior, share, normalized=True)
    )


def hold(
    centre: Floats,
    rim: Floats,
    struts: Struts,
    stiffness: Stiffness,
    weight_n: float,
    handling_n: float,
) -> Hold:
    """Return how a stiff island moves on its bridges, and what they bear.

    Parameters
    ----------
    centre : float64 array (2,)
        Centre of the island's weight.
    rim : float64 array (n, 2)
        Places of the handling load; the worst one counts.
    struts : Struts
        At least one.
    stiffness : Stiffness
    weight_n, handling_n : float
        Loads in N, square to the sheet.

    Returns
    -------
    Hold

    Notes
    -----
    The plate's deflection is w0 + a x + b y about the centre. A strut of direction d, built in at
    its base, meets it at its tip with deflection w, slope s along d and slope c across: its energy
    is (EI / 2 L^3) (12 w^2 - 12 L w s + 4 L^2 s^2) + (GJ / 2 L) c^2, the slope-deflection
    equations of frame analysis. The sum over the struts is a stiffness of 3 x 3. Stress is that
    of bending and twist together, sqrt(sigma^2 + 3 tau^2) (von Mises). Small deflections: beyond
    about a tenth of the length a result only says "too much".
    """
    to_tip, own, length = _struts(centre, struts, stiffness)
    total = np.einsum("nji,njk,nkl->il", to_tip, own, to_tip)
    moves, deflection = _moves(total, rim - centre, weight_n, handling_n)
    force, moment, torque = np.einsum("nij,njk,rk->inr", own, to_tip, moves)
    thick = stiffness.thickness_mm
    per_moment = [bending_stress(1.0, w, thick) for w in struts.width.tolist()]
    per_torque = [torsion_stress(1.0, w, thick) for w in struts.width.tolist()]
    largest = np.maximum(np.abs(moment), np.abs(force * length[:, None] + moment))
    bending = np.asarray(per_moment)[:, None] * largest
    shearing = np.asarray(per_torque)[:, None] * torque
    worst = int(np.argmax(deflection))
    return Hold(
        float(deflection[worst]),
        float(np.sqrt(bending**2 + 3 * shearing**2).max()),
        (float(rim[worst, 0]), float(rim[worst, 1])),
    )


def deflections_with_more(
    centre: Floats,
    rim: Floats,
    struts: Struts,
    options: Struts,
    sets: Indices,
    stiffness: Stiffness,
    weight_n: float,
    handling_n: float,
) -> Floats:
    """Return the island's deflection in mm with each set of options added to its struts.

    Parameters
    ----------
    centre, rim, struts, stiffness, weight_n, handling_n
        As of ``hold``; the struts may be none.
    options : Struts
    sets : int array (n, k)
        Positions of options; none of the sets may leave the island without a strut.

    Returns
    -------
    float64 array (n,)
    """
    to_tip, own, _ = _struts(centre, struts, stiffness)
    total = np.einsum("nji,njk,nkl->il", to_tip, own, to_tip)
    to_tip, own, _ = _struts(centre, options, stiffness)
    more = np.einsum("nji,njk,nkl->nil", to_tip, own, to_tip)
    _, deflection = _moves(total + more[sets].sum(axis=1), rim - centre, weight_n, handling_n)
    worst: Floats = deflection.max(axis=-1)
    return worst


def _struts(centre: Floats, struts: Struts, stiffness: Stiffness) -> tuple[Floats, Floats, Floats]:
    """Return for each strut: plate's motion to its tip's, tip's motion to forces, its length."""
    thick = stiffness.thickness_mm
    shear = stiffness.modulus_mpa / (2 * (1 + POISSON))
    way = struts.tip - struts.base
    size = np.hypot(way[:, 0], way[:, 1])
    d = np.where(size[:, None] > 0, way / np.maximum(size, 1e-12)[:, None], [1.0, 0.0])
    # Shorter than it is thick a bridge is no beam, and next to stiff.
    length = np.maximum(size, thick)
    at = struts.tip - centre
    one, nought = np.ones(len(at)), np.zeros(len(at))
    to_tip = np.stack(
        [
            np.stack([one, at[:, 0], at[:, 1]], axis=1),
            np.stack([nought, d[:, 0], d[:, 1]], axis=1),
            np.stack([nought, -d[:, 1], d[:, 0]], axis=1),
        ],
        axis=1,
    )
    moment = np.array([second_moment(w, thick) for w in struts.width.tolist()])
    torsion = np.array([torsion_constant(w, thick) for w in struts.width.tolist()])
    bend = stiffness.modulus_mpa * moment / length**3
    own = np.zeros((len(at), 3, 3))
    own[:, 0, 0] = 12 * bend
    own[:, 0, 1] = own[:, 1, 0] = -6 * length * bend
    own[:, 1, 1] = 4 * length**2 * bend
    own[:, 2, 2] = shear * torsion / length
    return to_tip, own, length


def _moves(total: Floats, arm: Floats, weight_n: float, handling_n: float) -> tuple[Floats, Floats]:
    """Return the plate's motions (..., rim, 3) and the deflection at each loaded place."""
    arms = np.column_stack([np.ones(len(arm)), arm])
    loads = handling_n * arms + weight_n * np.array([1.0, 0.0, 0.0])
    moves = np.einsum("...ij,rj->...ri", np.linalg.inv(total), loads)
    return moves, np.abs(np.einsum("...ij,ij->...i", moves, arms))
