"""Curved bars: how bridges yield whose middle lines bend, or whose width changes along them.

The flexibility of a bar held at its start and loaded at its end, square to the sheet, is the sum
over its length of what each short stretch yields: it bends by the moment about the line across it
and twists by the moment about the line along it (Castigliano's theorem for slender bars, as in any
textbook of strength of materials, from memory). The moments in a section follow from the loads at
the end by statics alone, so that the middle line may bend any way. What is left out: shear, and
that the inner side of a bend is shorter than the outer. For a straight bar of one width it is the
stiffness of the slope-deflection equations.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Indices
from ..planar.measured_lines import MeasuredLines
from ..planar.strips import taper
from ..tolerance import NOT_ZERO
from .beam import POISSON, second_moment, section_modulus, torsion_constant, torsion_stress

#: Stretches that a bridge is cut into, and every how many of their ends the stress is looked at.
STRETCHES, LOOKED_AT = 16, 2
#: Places within a stretch, as shares of it, that stand for it: Gauss' rule of two points, exact for
#: what grows with the square of the way.
_GAUSS = (0.5 - 0.5 / np.sqrt(3), 0.5 + 0.5 / np.sqrt(3))


@dataclass(frozen=True)
class Bars:
    """Middle lines and widths of bridges, each at ``STRETCHES`` + 1 places evenly along it.

    Parameters
    ----------
    middle : float64 array (m, k, 2)
        From end to end, in mm.
    flare : float64 array (m, k)
        How many times as wide the bridge is there as at its narrowest.
    """

    middle: Floats
    flare: Floats

    def __len__(self) -> int:
        return len(self.middle)

    def take(self, which: Indices) -> Bars:
        """Return some of the bars, by position."""
        return Bars(self.middle[which], self.flare[which])


def evenly(ways: Sequence[Floats]) -> Floats:
    """Return lines (k, 2) as points evenly along them, an array (n, STRETCHES + 1, 2).

    >>> evenly([np.array([[0.0, 0.0], [8.0, 0.0]])])[0, :3].tolist()
    [[0.0, 0.0], [0.5, 0.0], [1.0, 0.0]]
    """
    if not len(ways):
        return np.empty((0, STRETCHES + 1, 2))
    middle = MeasuredLines.of(ways).at_shares(np.linspace(0, 1, STRETCHES + 1))
    # Ends as they are: along a line they have the rounding of its length.
    middle[:, 0] = [way[0] for way in ways]
    middle[:, -1] = [way[-1] for way in ways]
    return middle


def bars_of(ways: Sequence[Floats], flare: Floats) -> Bars | None:
    """Return how bridges run as bars; None where all are straight and of one width.

    Parameters
    ----------
    ways : sequence of float64 array (k, 2)
        Middle lines from edge to edge.
    flare : float64 array (n, 2)
        How much wider each is at its start and its end, as shares.
    """
    if not flare.any() and all(len(way) == 2 for way in ways):
        return None
    share = np.linspace(0, 1, STRETCHES + 1)
    return Bars(evenly(ways), taper(share, flare))


class BarSections:
    """Sections of bars, and what loads at their ends do there.

    Parameters
    ----------
    bars : Bars
    width : float64 array (m,)
        At the narrowest, in mm.
    thickness : float
        Of the sheet in mm: a bar shorter than that counts as long as that.
    modulus : float
        Young's modulus in MPa.
    """

    def __init__(self, bars: Bars, width: Floats, thickness: float, modulus: float) -> None:
        self._thickness, self._modulus = thickness, modulus
        middle = bars.middle
        chord = middle[:, -1] - middle[:, 0]
        size = np.hypot(chord[:, 0], chord[:, 1])
        along = np.where(size[:, None] > 0, chord / np.maximum(size, NOT_ZERO)[:, None], [1.0, 0.0])
        # Any motion about the end is three strains: the deflection, a slope along the chord, and
        # one across it; the loads that go with them are a force and two moments.
        self._chord = np.stack([along, np.stack([-along[:, 1], along[:, 0]], axis=1)], axis=2)
        steps = np.diff(middle, axis=1)
        length = np.hypot(steps[..., 0], steps[..., 1])
        whole = length.sum(axis=1)
        # One shorter than the sheet is thick, or of no length, is as stiff as one that long.
        longer = np.maximum(whole, thickness) / np.maximum(whole, NOT_ZERO)
        even = np.maximum(whole, thickness)[:, None] / STRETCHES
        self._length = np.where(whole[:, None] > 0, length * longer[:, None], even)
        way = np.where(whole[:, None, None] > 0, steps, along[:, None])
        self._way = way / np.maximum(np.hypot(way[..., 0], way[..., 1]), NOT_ZERO)[..., None]
        self._to_end = (middle[:, -1:] - middle) * longer[:, None, None]
        nothing = whole == 0
        if nothing.any():
            left = np.linspace(thickness, 0, STRETCHES + 1)
            self._to_end[nothing] = left[None, :, None] * along[nothing, None]
        self._width = width[:, None] * bars.flare

    def _moments(self, stretch: slice | Indices, share: float) -> tuple[Floats, Floats, Floats]:
        """Return, at a share of some stretches, the bending moment and the torque of unit loads at
        the end, arrays (m, k, 3), and the widths there (m, k)."""
        from_, to = self._to_end[:, :-1][:, stretch], self._to_end[:, 1:][:, stretch]
        arm = from_ + share * (to - from_)
        loads = np.concatenate(
            [arm[..., None], np.broadcast_to(self._chord[:, None], (*arm.shape, 2))], axis=3
        )
        way = self._way[:, stretch]
        aside = np.stack([-way[..., 1], way[..., 0]], axis=2)
        wide = self._width[:, :-1][:, stretch], self._width[:, 1:][:, stretch]
        width: Floats = wide[0] + share * (wide[1] - wide[0])
        bending: Floats = (way[:, :, None] @ loads)[:, :, 0]
        torque: Floats = (aside[:, :, None] @ loads)[:, :, 0]
        return bending, torque, width

    def stiffness(self) -> Floats:
        """Return how bars resist the three strains of their ends, an array (m, 3, 3).

        Deflection, slope along the chord and slope across it, beyond the motion of the start.
        """
        thick = self._thickness
        shear = self._modulus / (2 * (1 + POISSON))
        yields = np.zeros((len(self._width), 3, 3))
        for share in _GAUSS:
            bending, torque, width = self._moments(slice(None), share)
            bends = self._length / 2 / (self._modulus * second_moment(width, thick))
            twists = self._length / 2 / (shear * torsion_constant(width, thick))
            yields += np.einsum("mk,mki,mkj->mij", bends, bending, bending)
            yields += np.einsum("mk,mki,mkj->mij", twists, torque, torque)
        stiff: Floats = np.linalg.inv(yields)
        return stiff

    def stress_rows(self, own: Floats) -> Floats:
        """Return the map from strains at the end to stresses in some sections, in MPa.

        Parameters
        ----------
        own : float64 array (m, 3, 3)
            As ``stiffness`` gives.

        Returns
        -------
        float64 array (m, 2 k, 3)
            Of k sections the bending, then of each the square root of 3 times the shear of twist.
        """
        thick = self._thickness
        lots = [
            self._moments(np.arange(0, STRETCHES, LOOKED_AT), 0.0),
            self._moments(np.arange(STRETCHES - 1, STRETCHES), 1.0),
        ]
        bending, torque, width = (
            np.concatenate([lot[k] for lot in lots], axis=1) for k in range(3)
        )
        bent = bending / section_modulus(width, thick)[..., None]
        twisted = np.sqrt(3) * torque * torsion_stress(1.0, width, thick)[..., None]
        rows: Floats = np.concatenate([bent, twisted], axis=1) @ own
        return rows
