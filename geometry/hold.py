"""Hold: whether the bridges of an island hold it without flapping, turning or tearing.

The island is taken as a stiff plate on bridges that are beams, built into the island at one end and
into firm sheet at the other. A load on the plate bends and twists the bridges; where it comes to
rest, and what the bridges then bear, follows from a system of three equations. One bridge alone is
the cantilever of the handbooks, two opposite ones the beam built in at both ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from .beam import (
    POISSON,
    bending_stress,
    second_moment,
    torsion_constant,
    torsion_stress,
)

Floats = NDArray[np.float64]

#: Standard gravity in N per gram.
NEWTON_PER_GRAM = 9.80665e-3
#: Points of an island's rim at which the handling load is tried.
RIM_POINTS = 24


@dataclass(frozen=True)
class Strut:
    """A bridge as a beam.

    Parameters
    ----------
    base, tip : tuple of float
        x, y in mm of its ends: on firm sheet, and on the island.
    width : float
        In mm.
    """

    base: tuple[float, float]
    tip: tuple[float, float]
    width: float


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
    centre: tuple[float, float],
    rim: Floats,
    struts: Sequence[Strut],
    stiffness: Stiffness,
    weight_n: float,
    handling_n: float,
) -> Hold:
    """Return how a stiff island moves on its bridges, and what they bear.

    Parameters
    ----------
    centre : tuple of float
        Centre of the island's weight.
    rim : float64 array (n, 2)
        Places of the handling load; the worst one counts.
    struts : sequence of Strut
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
    equations of frame analysis. The sum over the struts is a stiffness of 3 x 3. Stress is that of bending and
    twist together, sqrt(sigma^2 + 3 tau^2) (von Mises). Small deflections: beyond about a tenth of
    the length a result only says "too much".
    """
    middle = np.asarray(centre)
    shear = stiffness.modulus_mpa / (2 * (1 + POISSON))
    thick = stiffness.thickness_mm
    total = np.zeros((3, 3))
    parts = []
    for strut in struts:
        way = np.asarray(strut.tip) - np.asarray(strut.base)
        # Shorter than it is thick a bridge is no beam, and next to stiff.
        length = max(float(np.hypot(*way)), thick, 1e-3)
        d = way / length if way.any() else np.array([1.0, 0.0])
        at = np.asarray(strut.tip) - middle
        to_tip = np.array([[1.0, at[0], at[1]], [0.0, d[0], d[1]], [0.0, -d[1], d[0]]])
        bend = stiffness.modulus_mpa * second_moment(strut.width, thick) / length**3
        twist = shear * torsion_constant(strut.width, thick) / length
        own = np.array(
            [
                [12 * bend, -6 * length * bend, 0.0],
                [-6 * length * bend, 4 * length**2 * bend, 0.0],
                [0.0, 0.0, twist],
            ]
        )
        total += to_tip.T @ own @ to_tip
        parts.append((own @ to_tip, length, strut.width))
    arms = np.column_stack([np.ones(len(rim)), rim - middle])
    loads = handling_n * arms + weight_n * np.array([1.0, 0.0, 0.0])
    moves = np.linalg.solve(total, loads.T).T
    deflection = np.abs(np.einsum("ij,ij->i", moves, arms))
    stress = np.zeros(len(rim))
    for to_forces, length, width in parts:
        force, moment, torque = (moves @ to_forces.T).T
        bending = bending_stress(1.0, width, thick) * np.maximum(
            np.abs(moment), np.abs(force * length + moment)
        )
        shearing = torsion_stress(1.0, width, thick) * np.abs(torque)
        stress = np.maximum(stress, np.sqrt(bending**2 + 3 * shearing**2))
    worst = int(np.argmax(deflection))
    return Hold(
        float(deflection[worst]), float(stress.max()), (float(rim[worst, 0]), float(rim[worst, 1]))
    )
