"""Curved and tapered bridges against a frame in space of many straight members (PyNite)."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely

from sheetstack.geometry.planar.strips import taper
from sheetstack.geometry.support import beam
from sheetstack.geometry.support.curved_bars import bars_of
from sheetstack.geometry.support.statics import FRAME, Beams, Grillage, Plates, Stiffness

MODULUS, THICK, PUSH = 4500.0, 0.35, 0.02
SHEAR = MODULUS / (2 * (1 + beam.POISSON))
MEMBERS = 120


def bezier(*corners):
    a, b, c, d = np.array(corners, float)
    s = np.linspace(0, 1, 241)[:, None]
    return (1 - s) ** 3 * a + 3 * (1 - s) ** 2 * s * b + 3 * (1 - s) * s**2 * c + s**3 * d


#: An island on two bridges from the frame, and a second one that hangs on it: an arc, an S, a hook.
WAYS = (
    bezier((0, 0), (8, 0), (14, 4), (16, 12)),
    bezier((30, 40), (24, 38), (33, 28), (22, 22)),
    bezier((24, 14), (31, 13), (36, 18), (34, 24)),
)
WIDTHS = (2.0, 1.4, 1.7)
PAIRS = ((FRAME, 0), (FRAME, 0), (0, 1))
CENTRES = ((19.3, 16.2), (35.1, 27.4))
#: Where each island is pushed.
RIMS = (((15.0, 22.0), (25.0, 12.0)), ((31.0, 29.0), (39.0, 26.0)))


def pynite_frame(flare):
    pynite = pytest.importorskip("Pynite")
    model = pynite.FEModel3D()
    model.add_material("film", MODULUS, SHEAR, beam.POISSON, 1e-9)
    model.add_section("stiff", 10.0, 100.0, 100.0, 100.0)
    for k, centre in enumerate(CENTRES):
        model.add_node(f"P{k}", *centre, 0)
        for r, rim in enumerate(RIMS[k]):
            model.add_node(f"R{k}{r}", *rim, 0)
            model.add_member(f"arm{k}{r}", f"P{k}", f"R{k}{r}", "film", "stiff")
    for number, (way, width, pair) in enumerate(zip(WAYS, WIDTHS, PAIRS, strict=True)):
        line = shapely.linestrings(way)
        share = np.linspace(0, 1, MEMBERS + 1)
        points = shapely.line_interpolate_point(line, share, normalized=True)
        for k, (x, y) in enumerate(shapely.get_coordinates(points).tolist()):
            model.add_node(f"B{number}-{k}", x, y, 0)
        for k, (a, b) in enumerate(pairwise(share)):
            wide = float(width * taper(np.array([(a + b) / 2]), flare)[0])
            torsion = float(beam.torsion_constant(wide, THICK))
            second = beam.second_moment(wide, THICK)
            model.add_section(f"S{number}-{k}", wide * THICK, second, THICK * wide**3 / 12, torsion)
            model.add_member(
                f"M{number}-{k}", f"B{number}-{k}", f"B{number}-{k + 1}", "film", f"S{number}-{k}"
            )
        for end, plate in ((0, pair[0]), (MEMBERS, pair[1])):
            node = f"B{number}-{end}"
            if plate == FRAME:
                model.def_support(node, *[True] * 6)
            else:
                model.add_member(f"to{number}-{end}", f"P{plate}", node, "film", "stiff")
    return model


@pytest.mark.parametrize("flare", [(0.0, 0.0), (0.5, 0.5)])
def test_curved_bridges_yield_as_pynites_frame_of_straight_members(flare):
    model = pynite_frame(flare)
    names = [f"R{k}{r}" for k in range(2) for r in range(2)]
    for name in names:
        model.add_load_combo(name, {name: 1.0})
        model.add_node_load(name, "FZ", -PUSH, case=name)
    model.analyze_linear()
    expected = np.array([-model.nodes[name].DZ[name] for name in names]).reshape(2, 2)

    plates = Plates(np.array(CENTRES), np.array(RIMS), np.zeros(2))
    start, end = (np.array([way[k] for way in WAYS]) for k in (0, -1))
    bars = bars_of(WAYS, np.array([flare] * 3))
    beams = Beams(np.array(PAIRS), start, end, bars)
    held = Grillage(plates, beams, Stiffness(MODULUS, THICK)).under_load(
        np.arange(3), np.array(WIDTHS)
    )
    np.testing.assert_allclose(held.deflections(PUSH), expected, rtol=0.01)
    # Straight ones between the same ends would yield otherwise by far more than that.
    straight = Grillage(
        plates, Beams(np.array(PAIRS), start, end), Stiffness(MODULUS, THICK)
    ).under_load(np.arange(3), np.array(WIDTHS))
    assert np.abs(straight.deflections(PUSH) / held.deflections(PUSH) - 1).max() > 0.08

    stress = 0.0
    for name in names:
        for number, width in enumerate(WIDTHS):
            for k in (0, MEMBERS - 1):
                member = model.members[f"M{number}-{k}"]
                wide = width * taper(np.array([(k + 0.5) / MEMBERS]), flare)[0]
                bent = max(abs(member.max_moment("My", name)), abs(member.min_moment("My", name)))
                twist = abs(member.max_torque(name))
                sigma = beam.bending_stress(bent, wide, THICK)
                tau = float(beam.torsion_stress(twist, wide, THICK))
                stress = max(stress, float(np.hypot(sigma, np.sqrt(3) * tau)))
    assert held.stresses(PUSH).mpa.max() >= 0.98 * stress
    if flare == (0.0, 0.0):
        assert held.stresses(PUSH).mpa.max() == pytest.approx(stress, rel=0.03)
