"""Beams: how far a bridge bends and how hard it is strained, by the formulas of small deflection.

A bridge is a flat bar of rectangular section that bends out of the sheet's plane. Formulas as in
Roark's Formulas for Stress and Strain, tables for straight beams and for torsion of solid sections
(from memory; the tests check them against beam libraries). Lengths in mm, forces in N, moduli and
stresses in MPa = N/mm2.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np

from ..arrays import Floats

#: One width, or many at once.
_Widths = TypeVar("_Widths", float, Floats)
#: Poisson's ratio of most sheet materials, for the shear modulus E / (2 (1 + nu)): common practice.
POISSON = 0.35


def second_moment(width: _Widths, thickness: float) -> _Widths:
    """Return the second moment of area of a flat bar, w t^3 / 12, in mm4.

    >>> second_moment(3.0, 0.25)
    0.00390625
    """
    return width * thickness**3 / 12


def section_modulus(width: _Widths, thickness: float) -> _Widths:
    """Return the section modulus of a flat bar, w t^2 / 6, in mm3.

    >>> section_modulus(3.0, 0.2).__round__(9)
    0.02
    """
    return width * thickness**2 / 6


def torsion_constant(width: float | Floats, thickness: float) -> Floats:
    """Return the torsion constants of solid rectangles in mm4.

    With long side a and short side b: a b^3 (1/3 - 0.21 (b/a) (1 - b^4 / (12 a^4))), within 4 % of
    the exact series.

    >>> float(torsion_constant(1.0, 1.0).round(3))  # a square: 0.1406 exactly
    0.141
    """
    a, b = np.maximum(width, thickness), np.minimum(width, thickness)
    constant: Floats = a * b**3 * (1 / 3 - 0.21 * b / a * (1 - b**4 / (12 * a**4)))
    return constant


def cantilever_deflection(force: float, length: float, modulus: float, moment: float) -> float:
    """Return the deflection at the loaded tip of a beam built in at one end, F L^3 / (3 E I).

    Parameters
    ----------
    force : float
        In N.
    length : float
        In mm.
    modulus : float
        E in MPa.
    moment : float
        Second moment of area I in mm4.

    Examples
    --------
    >>> round(cantilever_deflection(0.1, 10, 3000, 0.00390625), 7)
    2.8444444
    """
    return force * length**3 / (3 * modulus * moment)


def built_in_deflection(force: float, length: float, modulus: float, moment: float) -> float:
    """Return the deflection under a load at the middle of a beam built in at both ends.

    F L^3 / (192 E I).

    Parameters
    ----------
    force : float
        N, at the middle.
    length : float
        mm, between the ends.
    modulus : float
        Young's modulus E in MPa.
    moment : float
        Second moment of area I in mm4.

    Examples
    --------
    >>> round(built_in_deflection(0.1, 10, 3000, 0.00390625), 7)
    0.0444444
    """
    return force * length**3 / (192 * modulus * moment)


def bending_stress(moment: float, width: _Widths, thickness: float) -> _Widths:
    """Return the stress in MPa at the face of a flat bar that is bent: M / Z.

    Parameters
    ----------
    moment : float
        Bending moment in N mm.
    width, thickness : float
        The bar's section in mm; it bends across its thickness.

    Examples
    --------
    >>> bending_stress(1.0, 6.0, 1.0)
    1.0
    """
    return moment / section_modulus(width, thickness)


def torsion_stress(moment: float, width: float | Floats, thickness: float) -> Floats:
    """Return the greatest shear stress in MPa of flat bars that are twisted.

    T b / J with short side b: exact for thin bars, low by up to a third for a square.

    Parameters
    ----------
    moment : float
        Twisting moment T in N mm.
    width : float or float64 array (n,)
        Widths of the bars in mm.
    thickness : float
        mm.
    """
    stress: Floats = moment * np.minimum(width, thickness) / torsion_constant(width, thickness)
    return stress
