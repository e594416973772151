"""Bridges as beams against a frame analysis library (PyPI anastruct)."""

import numpy as np
import pytest

from sheetstack.geometry.support import beam
from sheetstack.geometry.support.statics import FRAME, Beams, Grillage, Plates, Stiffness

anastruct = pytest.importorskip("anastruct")

E, B, T, F = 3000.0, 3.0, 0.25, 0.1
EI = E * beam.second_moment(B, T)


def test_both_formulas():
    frame = anastruct.SystemElements(EI=EI)
    frame.add_element([[0, 0], [5, 0]])
    frame.add_element([[5, 0], [10, 0]])
    frame.add_support_fixed(1)
    frame.point_load(3, Fy=-F)
    frame.solve()
    tip = abs(frame.get_node_displacements(3)["uy"])
    assert beam.cantilever_deflection(F, 10, E, EI / E) == pytest.approx(tip, rel=1e-9)
    frame = anastruct.SystemElements(EI=EI)
    frame.add_element([[0, 0], [5, 0]])
    frame.add_element([[5, 0], [10, 0]])
    frame.add_support_fixed(1)
    frame.add_support_fixed(3)
    frame.point_load(2, Fy=-F)
    frame.solve()
    middle = abs(frame.get_node_displacements(2)["uy"])
    assert beam.built_in_deflection(F, 10, E, EI / E) == pytest.approx(middle, rel=1e-9)


@pytest.mark.parametrize(
    ("left", "right", "at"), [(4.0, 9.0, 2.0), (3.0, 3.0, 11.0), (8.0, 5.0, 6.0)]
)
def test_an_island_between_two_unequal_bridges(left, right, at):
    # The island, 12 mm long, is a bar a million times stiffer than the bridges.
    frame = anastruct.SystemElements(EI=EI)
    frame.add_element([[-left, 0], [0, 0]])
    frame.add_element([[0, 0], [at, 0]], EI=1e6 * EI)
    frame.add_element([[at, 0], [12, 0]], EI=1e6 * EI)
    frame.add_element([[12, 0], [12 + right, 0]])
    frame.add_support_fixed(1)
    frame.add_support_fixed(5)
    frame.point_load(3, Fy=-F)
    frame.solve()
    expected = abs(frame.get_node_displacements(3)["uy"])
    moments = [abs(m) for e in (1, 4) for m in frame.element_map[e].bending_moment[[0, -1]]]
    rim = np.array([[[at, 0.0]]])
    grillage = Grillage(
        Plates(np.array([[6.0, 0.0]]), rim, np.zeros(1)),
        Beams(
            np.array([[FRAME, 0], [0, FRAME]]),
            np.array([(-left, 0.0), (12.0, 0.0)]),
            np.array([(0.0, 0.0), (12 + right, 0.0)]),
        ),
        Stiffness(E, T),
    )
    held = grillage.under_load(np.arange(2), np.array([B, B]))
    assert held.deflections(F).max() == pytest.approx(expected, rel=1e-4)
    assert held.stresses(F).mpa.max() == pytest.approx(
        beam.bending_stress(max(moments), B, T), rel=1e-3
    )
