"""The whole sheet as a grillage against frame solvers of other kinds.

On 200 random sheets with chains, nests and loops against the tests' own frame solver (see
``frame_solver``), which itself is held against PyPI anastruct in the plane and PyPI PyNiteFEA in
space.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely import Point, box

from sheetstack.geometry.planar.polygons import as_multipolygon, largest_piece
from sheetstack.geometry.support import beam
from sheetstack.geometry.support.candidates import crossings
from sheetstack.geometry.support.constraints import Loads, Rules
from sheetstack.geometry.support.gaps import spanning_gaps
from sheetstack.geometry.support.selection import Islands, choose_bridges, held_by
from sheetstack.geometry.support.statics import (
    FRAME,
    Beams,
    Grillage,
    Stiffness,
    plates_of,
)

from ..random_sheets import random_shape, sheet_of
from .frame_solver import Frame, plane, worst_of_all

FILM = Loads(Stiffness(4500, 0.35), 0.35 * 1.39e-3, 0.02, 5.0, 50.0, 100.0)
CARD = Loads(Stiffness(3000, 0.4), 0.4 * 0.8e-3, 0.02, 5.0, 12.5, 25.0)


def opening(seed):
    """Return a random artwork: one opening with rows of islands, nests, or blobs."""
    rng = np.random.default_rng(seed)
    if seed % 4 == 3:
        return random_shape(seed, islands=10)
    shape = box(20, 20, 180, rng.uniform(120, 180))
    for _ in range(rng.integers(1, 4)):  # rows of islands, slanting
        at, way = rng.uniform(40, 130, 2), rng.uniform(-1, 1, 2)
        for k in range(rng.integers(2, 7)):
            x, y = at + way / np.hypot(*way) * k * rng.uniform(9, 16)
            island = Point(x, y).buffer(rng.uniform(2, 5), quad_segs=rng.integers(1, 6))
            shape = shape.difference(shapely.affinity.scale(island, rng.uniform(0.6, 2), 1))
    if seed % 4 == 1:  # a nest
        x, y = rng.uniform(60, 110, 2)
        for radius in (24, 17, 8):
            shape = shape.difference(Point(x, y).buffer(radius, quad_segs=4))
            shape = shape.union(Point(x, y).buffer(radius - 3, quad_segs=4))
    return shape.intersection(box(5, 5, 195, 195))


def chosen(seed, loads, width=2.0):
    """Return the islands of a random sheet, its bridges, and what the product tells of them."""
    pieces = list(sheet_of(as_multipolygon(opening(seed))).shape.geoms)
    rules = Rules(width, loads=loads)
    if len(pieces) < 2:
        return None
    candidates = crossings(pieces, spanning_gaps(pieces, 2 * width), width)
    cost = candidates.length * width
    choice = choose_bridges(pieces, candidates, cost, np.full(len(candidates), width), rules)
    frame = largest_piece(pieces)
    number = [None if k == frame else k - (k > frame) for k in range(len(pieces))]
    gaps = candidates.take(choice.chosen)
    bridges = [
        (number[a], number[b], start, end, own)
        for (a, b), start, end, own in zip(
            gaps.pieces.tolist(), gaps.start, gaps.end, choice.width.tolist(), strict=True
        )
    ]
    of = Islands(pieces, loads)
    told = held_by(of, gaps, choice.width, rules).islands(of, rules)
    return [p for k, p in enumerate(pieces) if k != frame], bridges, told


def handbook_torsion(width, thick):
    return float(beam.torsion_constant(width, thick))


@pytest.mark.parametrize("tenth", range(10))
def test_two_hundred_random_sheets_give_way_as_the_frame_solver_says(tenth):
    chains = loops = 0
    for seed in range(20 * tenth, 20 * tenth + 20):
        # A strict limit, so that loops are closed; and one that nothing exceeds: trees.
        base = CARD if seed % 2 else FILM
        loads = replace(base, deflection_mm=2.0 if seed % 3 else 1e4, stress_mpa=1e4)
        made = chosen(seed, loads)
        if made is None:
            continue
        islands, bridges, told = made
        stiff = loads.stiffness
        frame = Frame(
            islands, bridges, stiff.modulus_mpa, beam.POISSON, stiff.thickness_mm, handbook_torsion
        )
        deflection, stress = worst_of_all(frame, loads.gram_per_mm2, loads.handling_n)
        by_place = {island.place: island for island in told}
        assert len(by_place) == len(islands)
        for number, piece in enumerate(islands):
            island = by_place[tuple(shapely.get_coordinates(shapely.point_on_surface(piece))[0])]
            assert island.hold.deflection_mm == pytest.approx(deflection[number], rel=0.01)
        greatest = max(island.hold.stress_mpa for island in told)
        assert greatest == pytest.approx(stress.max(), rel=0.01)
        chains += max(island.steps for island in told) > 2
        loops += len(bridges) > len(islands)
    assert chains > 3
    assert loops > 3


def test_the_exact_torsion_constant_changes_little():
    # The product's constant is a closed formula (Roark, from memory) instead of the series.
    islands, bridges, told = chosen(5, FILM)
    frame = Frame(islands, bridges, 4500, beam.POISSON, 0.35)
    deflection, stress = worst_of_all(frame, FILM.gram_per_mm2, FILM.handling_n)
    softest = max(island.hold.deflection_mm for island in told)
    assert softest == pytest.approx(deflection.max(), rel=0.01)
    assert max(i.hold.stress_mpa for i in told) == pytest.approx(stress.max(), rel=0.02)


# --- the frame solver itself ------------------------------------------------------------------


def test_a_row_of_pieces_is_anastructs_beam():
    # Three pieces in a row between two ends of the frame: one plane frame, the pieces a million
    # times stiffer than the bridges.
    anastruct = pytest.importorskip("anastruct")
    modulus, thick, width, push = 3000.0, 0.4, 2.0, 0.02
    bend = modulus * beam.second_moment(width, thick)
    xs = [0.0, 6.0, 16.0, 25.0, 37.0, 42.0, 50.0, 58.0]
    for ends in (2, 1):
        frame = anastruct.SystemElements(EI=bend)
        corners = xs[: 8 if ends == 2 else 7]
        for k, (a, b) in enumerate(pairwise(corners)):
            frame.add_element([[a, 0], [b, 0]], EI=bend * (1e6 if k % 2 else 1))
        frame.add_support_fixed(1)
        if ends == 2:
            frame.add_support_fixed(8)
        frame.point_load(7, Fy=-push)
        frame.solve()
        expected = abs(frame.get_node_displacements(7)["uy"])
        moments = [
            np.abs(frame.element_map[k].bending_moment[[0, -1]]).max()
            for k in range(1, len(corners), 2)
        ]
        pieces = [box(xs[k], -1, xs[k + 1], 1) for k in (1, 3, 5)]
        bridges = [
            (None if k == 0 else k - 1, None if k == 3 else k, (xs[2 * k], 0), (xs[2 * k + 1], 0))
            for k in range(ends + 2)
        ]
        own = Frame(pieces, [(*b, width) for b in bridges], modulus, beam.POISSON, thick)
        load = np.zeros((own.size, 1))
        load[6:9, 0] = push * plane((50, 0))[0]
        moves = own.solve(load)
        assert abs(plane((50, 0))[0] @ moves[6:9, 0]) == pytest.approx(expected, rel=1e-4)
        strained = own.stresses(moves)[:, 0] * beam.section_modulus(width, thick)
        assert strained == pytest.approx(moments, rel=1e-3)
        # And the product's grillage.
        plates = plates_of(pieces, 0.0)
        pairs = np.array([[FRAME if p is None else p for p in b[:2]] for b in bridges])
        ends_at = np.array([b[2:4] for b in bridges], float)
        grillage = Grillage(
            plates, Beams(pairs, ends_at[:, 0], ends_at[:, 1]), Stiffness(modulus, thick)
        )
        held = grillage.under_load(np.arange(len(pairs)), np.full(len(pairs), width))
        push_at = np.zeros((3, 3, 1))
        push_at[2, :, 0] = [push, push * (50 - plates.centre[2, 0]), 0]
        there = held.moves(push_at)[2, :, 0] @ [1, 50 - plates.centre[2, 0], 0]
        assert there == pytest.approx(expected, rel=1e-4)


# Not 7, whose bridges are shorter than the sheet is thick: ours count as long as that.
@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5, 6, 8, 9])
def test_sheets_in_space_are_pynites_frames(seed):
    pynite = pytest.importorskip("Pynite")
    islands, bridges, _ = chosen(seed, replace(FILM, deflection_mm=2.0, stress_mpa=1e4))
    modulus, thick = 4500.0, 0.35
    shear = modulus / (2 * (1 + beam.POISSON))
    model = pynite.FEModel3D()
    model.add_material("film", modulus, shear, beam.POISSON, 1e-9)
    model.add_section("stiff", 10.0, 100.0, 100.0, 100.0)
    # Off the centre: PyNite joins a member to every node that it happens to run over.
    middle = [
        (p.centroid.x + 0.37 + 0.11 * k, p.centroid.y - 0.23 + 0.07 * k)
        for k, p in enumerate(islands)
    ]
    for k, (x, y) in enumerate(middle):
        model.add_node(f"P{k}", x, y, 0)
    ends: dict[tuple[object, ...], str] = {}
    for k, (first, second, start, end, width) in enumerate(bridges):
        inertia = beam.second_moment(width, thick)
        model.add_section(
            f"S{k}", width * thick, inertia, thick * width**3 / 12, handbook_torsion(width, thick)
        )
        names = []
        for name, piece, at in ((f"A{k}", first, start), (f"B{k}", second, end)):
            # Bridges that end at one place share its node: PyNite would join them in its own way.
            names.append(ends.setdefault((piece, *np.round(at, 6).tolist()), name))
            if names[-1] != name:
                continue
            model.add_node(name, float(at[0]), float(at[1]), 0)
            if piece is None:
                model.def_support(name, *[True] * 6)
            else:
                model.add_member(f"R{name}", f"P{piece}", name, "film", "stiff")
        # PyNite's local z lies in the sheet for a member that is not upright: bending out of the
        # sheet's plane, along global Z, is about local y.
        model.add_member(f"M{k}", *names, "film", f"S{k}")
    own = Frame(islands, bridges, modulus, beam.POISSON, thick, handbook_torsion)
    for k in range(len(islands)):
        model.def_support(f"P{k}", support_DX=True, support_DY=True, support_RZ=True)
    pushed = len(islands) // 2
    model.add_node_load(f"P{pushed}", "FZ", -0.02)
    model.analyze_linear()
    load = np.zeros((own.size, 1))
    load[3 * pushed : 3 * pushed + 3, 0] = 0.02 * plane(middle[pushed])[0]
    moves = own.solve(load)[:, 0]
    for k, place in enumerate(middle):
        at = plane(place)[0]
        expected = -model.nodes[f"P{k}"].DZ["Combo 1"]
        assert at @ moves[3 * k : 3 * k + 3] == pytest.approx(expected, rel=0.01, abs=1e-6)
