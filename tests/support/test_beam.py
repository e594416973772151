import numpy as np
import pytest

from sheetstack.geometry.support import beam
from sheetstack.geometry.support.statics import Stiffness, Struts, deflections_with_more, hold

# References 12: E 3000 MPa, b 3, t 0.25, L 10 mm, F 0.1 N, computed with PyPI anastruct and
# sectionproperties; Roark's tables give the same formulas (from memory).
E, B, T, L, F = 3000.0, 3.0, 0.25, 10.0, 0.1


def test_handbook_example():
    moment = beam.second_moment(B, T)
    assert moment == pytest.approx(0.00390625)
    assert beam.built_in_deflection(F, L, E, moment) == pytest.approx(0.0444444, abs=1e-7)
    assert beam.cantilever_deflection(F, L, E, moment) == pytest.approx(2.8444444, abs=1e-7)


def test_steel_cantilever_of_the_textbooks():
    # A worked example of the textbooks' kind, by hand: steel 200 GPa, 20 x 10 mm bar, 500 mm long,
    # 100 N at the tip: I = 20 * 1000 / 12 = 1666.67 mm4, deflection 12.5 mm, stress 150 MPa.
    moment = beam.second_moment(20, 10)
    assert beam.cantilever_deflection(100, 500, 200e3, moment) == pytest.approx(12.5)
    assert beam.bending_stress(100 * 500, 20, 10) == pytest.approx(150)


@pytest.mark.parametrize(
    ("ratio", "exact"),
    # Timoshenko and Goodier, Theory of Elasticity, table for twisted rectangles: J / (a b^3)
    # (from memory).
    [(1.0, 0.1406), (1.5, 0.196), (2.0, 0.229), (3.0, 0.263), (5.0, 0.291), (10.0, 0.312)],
)
def test_torsion_constant_follows_the_table(ratio, exact):
    assert beam.torsion_constant(ratio, 1.0) / ratio == pytest.approx(exact, rel=0.01)
    assert beam.torsion_constant(1.0, ratio) == beam.torsion_constant(ratio, 1.0)


def struts(*several):
    base, tip, width = zip(*several, strict=True)
    return Struts(np.array(base, float), np.array(tip, float), np.array(width, float))


def held(several, rim, weight=0.0, handling=F, centre=(0.0, 0.0)):
    rim = np.asarray(rim, float)
    return hold(np.asarray(centre), rim, struts(*several), Stiffness(E, T), weight, handling)


def test_one_bridge_is_the_cantilever():
    one = held([((-L, 0), (0, 0), B)], [(0, 0)])
    assert one.deflection_mm == pytest.approx(2.8444444, abs=1e-6)
    assert one.stress_mpa == pytest.approx(beam.bending_stress(F * L, B, T))


def test_two_opposite_bridges_are_the_beam_built_in_at_both_ends():
    half = L / 2
    two = held([((-half, 0), (0, 0), B), ((half, 0), (0, 0), B)], [(0, 0)])
    assert two.deflection_mm == pytest.approx(0.0444444, abs=1e-6)
    # Moment at the ends and under the load: F L / 8 (Roark, from memory).
    assert two.stress_mpa == pytest.approx(beam.bending_stress(F * L / 8, B, T))


def test_a_load_beyond_the_tip_adds_its_arm():
    # A cantilever of length L with a stiff arm a, load at its end:
    # F L^3 / 3EI + 2 a F L^2 / 2EI + a^2 F L / EI, by superposition.
    a, stiff = 6.0, E * beam.second_moment(B, T)
    expected = F * (L**3 / 3 + a * L**2 + a**2 * L) / stiff
    one = held([((-L, 0), (0, 0), B)], [(a, 0)], centre=(a / 2, 0))
    assert one.deflection_mm == pytest.approx(expected)
    assert one.stress_mpa == pytest.approx(beam.bending_stress(F * (L + a), B, T))


def test_bridges_side_by_side_hold_worse_than_bridges_spread():
    rim = [(10, 0), (-10, 0), (0, 10), (0, -10)]
    near = held([((-14, 1), (-10, 1), B), ((-14, -1), (-10, -1), B)], rim)
    spread = held([((-14, 0), (-10, 0), B), ((14, 0), (10, 0), B)], rim)
    three = held(
        [
            ((14 * np.cos(t), 14 * np.sin(t)), (10 * np.cos(t), 10 * np.sin(t)), B)
            for t in np.radians([90, 210, 330])
        ],
        rim,
    )
    assert near.deflection_mm > spread.deflection_mm > three.deflection_mm


def test_turning_the_whole_changes_nothing():
    rim = np.array([(9.0, 2.0), (-3.0, 7.0)])
    several = [((-14, 1), (-10, 1), B), ((3, 15), (2, 10), 2 * B)]
    turn = np.radians(37)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    turned = [(spin @ base, spin @ tip, width) for base, tip, width in several]
    first = held(several, rim, weight=0.02, centre=(1.0, 2.0))
    second = held(turned, rim @ spin.T, weight=0.02, centre=tuple(spin @ (1.0, 2.0)))
    assert second.deflection_mm == pytest.approx(first.deflection_mm)
    assert second.stress_mpa == pytest.approx(first.stress_mpa)


def test_more_bridges_are_tried_as_if_they_were_laid():
    rim = np.array([(10.0, 0.0), (-10.0, 0.0), (0.0, 10.0)])
    own = ((-14, 1), (-10, 1), B)
    options = [((14, 0), (10, 0), B), ((-14, -1), (-10, -1), B), ((0, 12), (0, 10), 2 * B)]
    sets = np.array([[0, 1], [1, 2], [2, 0]])
    tried = deflections_with_more(
        np.zeros(2), rim, struts(own), struts(*options), sets, Stiffness(E, T), 0.01, F
    )
    laid = [held([own, options[a], options[b]], rim, weight=0.01).deflection_mm for a, b in sets]
    assert tried == pytest.approx(laid)
