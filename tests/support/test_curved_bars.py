import numpy as np
import pytest
from scipy.integrate import quad

from sheetstack.geometry.planar.strips import taper
from sheetstack.geometry.support import beam
from sheetstack.geometry.support.curved_bars import STRETCHES, Bars, BarSections, bars_of
from sheetstack.geometry.support.statics import FRAME, Beams, Grillage, Plates, Stiffness

E, B, T, F = 3000.0, 3.0, 0.25, 0.1
EI = E * beam.second_moment(B, T)
GJ = E / (2 * (1 + beam.POISSON)) * float(beam.torsion_constant(B, T))


def tip(ways, flare=(0.0, 0.0), width=B):
    """Return deflection and greatest stress of a point island at the end of one bridge."""
    way = np.asarray(ways, float)
    bars = bars_of([way], np.array([flare]))
    plates = Plates(way[-1:], way[-1:, None], np.zeros(1))
    beams = Beams(np.array([[FRAME, 0]]), way[:1], way[-1:], bars)
    held = Grillage(plates, beams, Stiffness(E, T)).under_load(np.array([0]), np.array([width]))
    return held.deflections(F).max(), held.stresses(F).mpa.max()


def arc(radius, corners=400):
    turn = np.linspace(0, np.pi / 2, corners + 1)
    return radius * np.stack([np.sin(turn), 1 - np.cos(turn)], axis=1)


def test_straight_bars_of_one_width_are_given_up_to_the_beam():
    straight = [np.array([[0.0, 0.0], [9.0, 2.0]])]
    assert bars_of(straight, np.zeros((1, 2))) is None
    share = np.linspace(0, 1, STRETCHES + 1)[:, None]
    middle = (straight[0][0] + share * (straight[0][1] - straight[0][0]))[None]
    bars = Bars(middle, np.ones((1, STRETCHES + 1)))
    length = np.hypot(9, 2)
    own = BarSections(bars, np.array([B]), T, E).stiffness()[0]
    expected = np.zeros((3, 3))
    expected[:2, :2] = EI / length**3 * np.array([[12, -6 * length], [-6 * length, 4 * length**2]])
    expected[2, 2] = GJ / length
    np.testing.assert_allclose(own, expected, rtol=1e-9, atol=1e-12 * own.max())


def test_a_quarter_of_a_circle_loaded_at_its_tip_square_to_its_plane():
    # F R^3 (pi/4 / EI + (3 pi/4 - 2) / GJ): Castigliano with M = F R sin, T = F R (1 - cos); the
    # same as in Roark's table of circular bars loaded normal to their plane (from memory).
    radius = 14.0
    deflection, stress = tip(arc(radius))
    expected = F * radius**3 * (np.pi / 4 / EI + (3 * np.pi / 4 - 2) / GJ)
    assert deflection == pytest.approx(expected, rel=2e-3)
    # At the root, M = F R and T = F R.
    bent = beam.bending_stress(F * radius, B, T)
    twisted = beam.torsion_stress(F * radius, B, T)
    assert stress == pytest.approx(np.hypot(bent, np.sqrt(3) * twisted), rel=5e-3)


def test_a_curved_bridge_gives_way_more_than_the_straight_one_between_its_ends():
    way = arc(14.0)
    assert tip(way)[0] > 1.05 * tip(way[[0, -1]])[0]


@pytest.mark.parametrize("flare", [(0.5, 0.5), (1.0, 0.0), (0.0, 0.8)])
def test_a_tapered_cantilever(flare):
    # F int (L - s)^2 / (E I(s)) ds, the deflection at the tip by the principle of virtual work.
    length = 12.0

    def yields(s):
        width = B * float(taper(np.array([s / length]), flare)[0])
        return F * (length - s) ** 2 / (E * beam.second_moment(width, T))

    expected, _ = quad(yields, 0, length, points=[length / 2])
    deflection, stress = tip([[0, 0], [length, 0]], flare)
    # Widths are taken as linear between 17 places.
    assert deflection == pytest.approx(expected, rel=3e-3)
    # Stress by sections: the moment grows to the root, where it is widest.
    s = np.linspace(0, length, STRETCHES + 1)
    width = B * taper(s / length, flare)
    assert stress == pytest.approx(
        (F * (length - s) / beam.section_modulus(width, T))[::2].max(), rel=1e-9
    )


def test_a_bar_shorter_than_the_sheet_is_thick_counts_as_long_as_that():
    short = np.array([[0.0, 0.0], [0.05, 0.02], [0.1, 0.0]])
    deflection, _ = tip(short)
    # Bent a little, its ends are nearer than that.
    assert deflection == pytest.approx(F * T**3 / (3 * EI), rel=0.2)
    nothing, _ = tip([[0, 0], [0, 0]], (0.5, 0.5))
    assert 0 < nothing < F * T**3 / (3 * EI)
