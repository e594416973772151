import numpy as np
import pytest
import shapely
from shapely import MultiPoint, Point, affinity, box

from sheetstack.geometry.support import beam
from sheetstack.geometry.support.statics import (
    FRAME,
    Beams,
    Grillage,
    Plates,
    Stiffness,
    plates_of,
    rim_points,
)

# References 12: E 3000 MPa, b 3, t 0.25, L 10 mm, F 0.1 N, computed with PyPI anastruct and
# sectionproperties; Roark's tables give the same formulas (from memory).
E, B, T, L, F = 3000.0, 3.0, 0.25, 10.0, 0.1
EI = E * beam.second_moment(B, T)
GJ = E / (2 * (1 + beam.POISSON)) * float(beam.torsion_constant(B, T))


def grillage(centres, beams, rims=None, weight=0.0):
    """Return plates, by default points, and beams (first, second, start, end, width) on them."""
    centre = np.asarray(centres, float).reshape(-1, 2)
    rim = centre[:, None] if rims is None else np.asarray(rims, float)
    first, second, start, end, width = zip(*beams, strict=True)
    made = Grillage(
        Plates(centre, rim, np.full(len(centre), float(weight))),
        Beams(np.stack([first, second], axis=1), np.array(start, float), np.array(end, float)),
        Stiffness(E, T),
    )
    return made.under_load(np.arange(len(beams)), np.array(width, float))


def one_island(several, rim, weight=0.0, centre=(0.0, 0.0)):
    """Return the greatest deflection and stress of one island on bridges (base, tip, width)."""
    held = grillage(
        [centre], [(FRAME, 0, *strut) for strut in several], [np.asarray(rim, float)], weight
    )
    return held.deflections(F).max(), held.stresses(F).mpa.max()


def test_one_bridge_is_the_cantilever():
    deflection, stress = one_island([((-L, 0), (0, 0), B)], [(0, 0)])
    assert deflection == pytest.approx(2.8444444, abs=1e-6)
    assert stress == pytest.approx(beam.bending_stress(F * L, B, T))


def test_two_opposite_bridges_are_the_beam_built_in_at_both_ends():
    half = L / 2
    two = [((-half, 0), (0, 0), B), ((half, 0), (0, 0), B)]
    deflection, stress = one_island(two, [(0, 0)])
    assert deflection == pytest.approx(0.0444444, abs=1e-6)
    # Moment at the ends and under the load: F L / 8 (Roark, from memory).
    assert stress == pytest.approx(beam.bending_stress(F * L / 8, B, T))


def test_a_load_beyond_the_tip_adds_its_arm():
    # A cantilever of length L with a stiff arm a, load at its end:
    # F L^3 / 3EI + 2 a F L^2 / 2EI + a^2 F L / EI, by superposition.
    a = 6.0
    expected = F * (L**3 / 3 + a * L**2 + a**2 * L) / EI
    deflection, stress = one_island([((-L, 0), (0, 0), B)], [(a, 0)], centre=(a / 2, 0))
    assert deflection == pytest.approx(expected)
    assert stress == pytest.approx(beam.bending_stress(F * (L + a), B, T))


def test_a_load_beside_the_bridge_twists_it():
    # A cantilever with a stiff arm a square to it: F L^3 / 3EI + F a^2 L / GJ, and the stress of
    # F L and F a together, sqrt(sigma^2 + 3 tau^2).
    a = 6.0
    deflection, stress = one_island([((-L, 0), (0, 0), B)], [(0, a)])
    assert deflection == pytest.approx(F * L**3 / (3 * EI) + F * a**2 * L / GJ)
    bending = beam.bending_stress(F * L, B, T)
    shear = beam.torsion_stress(F * a, B, T)
    assert stress == pytest.approx(np.sqrt(bending**2 + 3 * shear**2))


def test_a_push_from_below_counts_where_the_island_tips_up():
    # A cantilever whose stiff tip reaches a ahead, where the weight W is, and b back, where it
    # rises: tip W (L^3/3 + a L^2/2) / EI, slope W (L^2/2 + a L) / EI; a load at -b yields
    # F (L^3/3 - b L^2 + b^2 L) / EI there, by superposition.
    a, b, weight = 4.0, 9.0, 0.05
    sunk = weight * (L**3 / 3 + a * L**2 / 2 - b * (L**2 / 2 + a * L)) / EI
    assert sunk < 0
    yields = F * (L**3 / 3 - b * L**2 + b**2 * L) / EI
    bridge = [((-L, 0), (0, 0), B)]
    deflection, _ = one_island(bridge, [(-b, 0)], weight, centre=(a, 0))
    assert deflection == pytest.approx(-sunk + yields)
    # Moments at the frame and at the tip, of a pull of F on the rim against the weight or with it.
    moments = [weight * (L + a) - F * (L - b), weight * a + F * b]
    both = [*moments, weight * (L + a) + F * (L - b), weight * a - F * b]
    _, stress = one_island(bridge, [(-b, 0)], weight, centre=(a, 0))
    assert stress == pytest.approx(beam.bending_stress(max(map(abs, both)), B, T))
    assert max(map(abs, both)) == moments[1]  # with the weight only it would be less


def test_a_chain_in_a_row_is_one_long_cantilever():
    # Three point islands on one string: the tip is that of a cantilever three times as long.
    xs = [(k * L, 0) for k in range(4)]
    held = grillage(xs[1:], [(k - 1, k, xs[k], xs[k + 1], B) for k in range(3)])
    np.testing.assert_allclose(
        held.deflections(F)[:, 0], [F * (k * L) ** 3 / (3 * EI) for k in (1, 2, 3)]
    )
    stresses = held.stresses(F)
    np.testing.assert_allclose(
        stresses.mpa, [beam.bending_stress(F * k * L, B, T) for k in (3, 2, 1)]
    )
    assert stresses.plate.tolist() == [2, 2, 2]  # all are worst strained by the tip


def test_own_weight_of_a_chain_adds_up():
    # Weights W at L and 2 L: deflection of the tip W (L^3/3 + L^2/2 L) / EI + W (2 L)^3 / 3 EI.
    xs = [(k * L, 0) for k in range(3)]
    held = grillage(xs[1:], [(k - 1, k, xs[k], xs[k + 1], B) for k in range(2)], weight=0.01)
    expected = 0.01 * (L**3 / 3 + L**3 / 2 + 8 * L**3 / 3) / EI
    assert held.deflections(0.0)[1, 0] == pytest.approx(expected)


def test_a_row_tied_at_both_ends_is_the_beam_of_its_whole_length():
    # Two bays: three bridges over 30 mm with a push on the first island, L from one end:
    # F a^3 b^3 / (3 EI l^3) for a beam built in at both ends (Roark, from memory).
    xs = [(k * L, 0) for k in range(4)]
    pairs = [(FRAME, 0), (0, 1), (1, FRAME)]
    held = grillage(xs[1:3], [(*p, xs[k], xs[k + 1], B) for k, p in enumerate(pairs)])
    expected = F * L**3 * (2 * L) ** 3 / (3 * EI * (3 * L) ** 3)
    assert held.deflections(F)[0, 0] == pytest.approx(expected)
    # Moment at the nearer end: F a b^2 / l^2.
    stress = beam.bending_stress(F * L * (2 * L) ** 2 / (3 * L) ** 2, B, T)
    assert held.stresses(F).mpa[0] == pytest.approx(stress)


def test_a_portal_loaded_square_to_its_plane():
    # Two legs of length a, a crossbar of length b between their ends, F at its middle. The legs
    # bend under F/2 each and are twisted by T, which the crossbar's ends bear as a moment:
    # T (a / GJ + b / 2EI) = F b^2 / 16EI, and the middle sinks by
    # F a^3 / 6EI + F b^3 / 48EI - T b^2 / 8EI (by superposition from the beam tables; by hand).
    a, b = 12.0, 16.0
    torque = F * b**2 / (16 * EI) / (a / GJ + b / (2 * EI))
    expected = F * a**3 / (6 * EI) + F * b**3 / (48 * EI) - torque * b**2 / (8 * EI)
    left, right, middle = (0, a), (b, a), (b / 2, a)
    held = grillage(
        [left, middle, right],
        [
            (FRAME, 0, (0, 0), left, B),
            (0, 1, left, middle, B),
            (1, 2, middle, right, B),
            (2, FRAME, right, (b, 0), B),
        ],
    )
    assert held.deflections(F)[1, 0] == pytest.approx(expected)


def test_bridges_side_by_side_hold_worse_than_bridges_spread():
    rim = [(10, 0), (-10, 0), (0, 10), (0, -10)]
    near, _ = one_island([((-14, 1), (-10, 1), B), ((-14, -1), (-10, -1), B)], rim)
    spread, _ = one_island([((-14, 0), (-10, 0), B), ((14, 0), (10, 0), B)], rim)
    three, _ = one_island(
        [
            ((14 * np.cos(t), 14 * np.sin(t)), (10 * np.cos(t), 10 * np.sin(t)), B)
            for t in np.radians([90, 210, 330])
        ],
        rim,
    )
    assert near > spread > three


def random_net(seed, count=9):
    """Return plates in a field with a tree and some loops of beams, as arguments of grillage."""
    rng = np.random.default_rng(seed)
    centre = rng.uniform(0, 80, (count, 2))
    rim = centre[:, None] + rng.uniform(-4, 4, (count, 6, 2))
    pairs = [(int(rng.integers(-1, k)), k) for k in range(count)]
    pairs += [tuple(rng.choice(count, 2, replace=False).tolist()) for _ in range(count // 3)]
    pairs.append((count - 1, FRAME))
    beams = []
    for a, b in pairs:
        start = rng.uniform(0, 80, 2) if a == FRAME else centre[a] + rng.uniform(-3, 3, 2)
        end = rng.uniform(0, 80, 2) if b == FRAME else centre[b] + rng.uniform(-3, 3, 2)
        beams.append((a, b, start, end, rng.uniform(1, 4)))
    return centre, beams, rim


@pytest.mark.parametrize("seed", range(5))
def test_turning_and_renumbering_the_whole_changes_nothing(seed):
    centre, beams, rim = random_net(seed)
    rng = np.random.default_rng(seed + 100)
    turn = np.radians(37)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    order = rng.permutation(len(centre))
    new = np.append(np.argsort(order), FRAME)
    turned = [
        (new[b], new[a], end @ spin.T, start @ spin.T, width) for a, b, start, end, width in beams
    ]
    first = grillage(centre, beams, rim, 0.001)
    second = grillage(centre[order] @ spin.T, turned, rim[order] @ spin.T, 0.001)
    np.testing.assert_allclose(second.deflections(F), first.deflections(F)[order], rtol=1e-6)
    np.testing.assert_allclose(second.stresses(F).mpa, first.stresses(F).mpa, rtol=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_no_place_gives_way_further_than_the_softest_where_it_is_pushed(seed):
    centre, beams, rim = random_net(seed)
    held = grillage(centre, beams, rim)
    unit = np.zeros((len(centre), 3, 3 * len(centre)))
    for k in range(len(centre)):
        unit[k, :, 3 * k : 3 * k + 3] = np.eye(3)
    moves = held.moves(unit).reshape(len(centre), 3, len(centre), 3)
    arms = held.grillage.arms
    anywhere = np.abs(np.einsum("iak,ikjl,jbl->iajb", arms, moves, arms)).max()
    assert held.deflections(F).max() == pytest.approx(F * anywhere)


@pytest.mark.parametrize("seed", range(5))
def test_pushing_fewer_plates_never_finds_more_stress(seed):
    held = grillage(*random_net(seed, 30))
    every = held.stresses(F)
    some = held.stresses(F, most_pushed=3)
    assert (some.mpa <= every.mpa * (1 + 1e-12)).all()
    assert some.mpa.max() == pytest.approx(every.mpa.max(), rel=0.2)


@pytest.mark.parametrize("seed", range(5))
def test_stresses_over_a_limit_are_told_as_all_are(seed):
    held = grillage(*random_net(seed, 30), 0.001)
    every = held.stresses(F)
    limit = float(np.median(every.mpa))
    over = every.mpa > limit
    told = held.stresses(F, least_mpa=limit)
    np.testing.assert_allclose(told.mpa, np.maximum(every.mpa, limit), rtol=1e-9)
    for name in ("plate", "rim", "way"):
        assert np.array_equal(getattr(told, name)[over], getattr(every, name)[over])


@pytest.mark.parametrize("seed", range(5))
def test_beams_that_are_not_looked_at_change_nothing_and_have_no_compliance(seed):
    centre, beams, rim = random_net(seed, 30)
    width = np.array([beam[-1] for beam in beams])
    laid = np.arange(len(beams) - 9)
    made = grillage(centre, beams, rim, 0.001).grillage
    every = made.under_load(laid, width[laid])
    some = np.append(laid, len(beams) - 5)
    anew = Grillage(made.plates, made.beams, made.stiffness)
    few = anew.under_load(laid, width[laid], some[-1:])
    np.testing.assert_allclose(few.deflections(F), every.deflections(F), rtol=1e-9)
    yields = every.yielding(some)
    # Blocks are differences of such as these.
    np.testing.assert_allclose(few.yielding(some), yields, atol=1e-9 * np.abs(yields).max())
    joined = {frozenset(beams[k][:2]) for k in some.tolist()}
    other = [k for k in range(len(beams) - 1) if frozenset(beams[k][:2]) not in joined]
    with pytest.raises(ValueError, match="looked at"):
        few.between(np.array(other))


@pytest.mark.parametrize("seed", range(5))
def test_a_beam_more_or_less_is_as_the_small_update_says(seed):
    # Woodbury: with a beam of stiffness k across, C falls by C B^T (1/k + B C B^T)^-1 B C.
    centre, beams, rim = random_net(seed)
    held = grillage(centre, beams, rim, 0.001)
    number = np.arange(len(beams) - 1)
    without = held.grillage.under_load(number, held.width[:-1])
    last = np.array([len(beams) - 1])
    bearing = np.linalg.inv(np.linalg.inv(held.own[-1]) + without.yielding(last)[0])
    plate = beams[-1][0]
    reach = without.compliance[plate] @ held.grillage.at_first[last[0]].T
    after = without.compliance[plate] - reach @ bearing @ reach.T
    np.testing.assert_allclose(after, held.compliance[plate], rtol=1e-6, atol=1e-12)


def test_rims_have_all_corners_of_a_polygon_and_enough_of_a_round():
    corners = {tuple(c) for c in rim_points([box(0, 0, 40, 12)])[0].tolist()}
    assert corners == {(0, 0), (40, 0), (40, 12), (0, 12)}
    disc = Point(5, 5).buffer(3, quad_segs=64)
    rims = rim_points([disc, box(0, 0, 1, 1)])
    assert 30 < rims.shape[1] <= 64
    np.testing.assert_allclose(np.hypot(*(rims[0] - 5).T), 3, rtol=1e-3)
    assert MultiPoint(rims[0]).convex_hull.area == pytest.approx(disc.area, rel=5e-3)
    assert {tuple(c) for c in rims[1].tolist()} == {(0, 0), (1, 0), (1, 1), (0, 1)}


@pytest.mark.parametrize("seed", range(20))
def test_the_worst_corner_of_any_rim_is_pushed_nearly(seed):
    """The rim's own quadratic form at all corners of its hull, against those that are pushed."""
    rng = np.random.default_rng(seed)
    curve = Point(0, 0).buffer(10, quad_segs=50)
    thin = affinity.scale(curve, 1.0, rng.uniform(0.02, 1))
    crescent = thin.difference(affinity.translate(thin, 0, rng.uniform(0.2, 1)))
    island = affinity.rotate(
        max(shapely.get_parts(crescent), key=lambda p: p.area), 360 * rng.random()
    )
    all_corners = shapely.get_coordinates(island.convex_hull)
    for _ in range(20):
        root = rng.normal(0, 1, (3, 3)) * [1, 0.1, 0.1]
        middle = shapely.get_coordinates(island.centroid)[0]

        def gives_way(places, root=root, middle=middle):
            arms = np.column_stack([np.ones(len(places)), places - middle])
            return ((arms @ root) ** 2).sum(axis=1).max()

        assert gives_way(rim_points([island])[0]) > 0.99 * gives_way(all_corners)


def test_plates_weigh_what_their_area_does():
    plates = plates_of([box(0, 0, 10, 20)], 1e-3)
    assert plates.weight_n == pytest.approx([0.2 * 9.80665e-3])
    assert plates.centre.tolist() == [[5, 10]]


def test_an_island_that_nothing_holds_is_an_error():
    with pytest.raises(np.linalg.LinAlgError):
        grillage([(0, 0), (9, 9)], [(FRAME, 0, (-L, 0), (0, 0), B)])


def test_a_bridge_shorter_than_the_sheet_is_thick_counts_as_long_as_that():
    deflection, _ = one_island([((-0.01, 0), (0, 0), B)], [(0, 0)])
    assert deflection == pytest.approx(F * T**3 / (3 * EI))
