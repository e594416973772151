import pytest

from sheetstack.geometry.support import beam

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
