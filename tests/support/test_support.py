"""The artist's rules and the support of whole layers."""

import itertools
from dataclasses import fields, replace
from threading import Event

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw
from scipy.ndimage import distance_transform_edt, label
from shapely import LineString, MultiPolygon, Point, box

from sheetstack.geometry.artwork.read import Artwork, LayerDrawing
from sheetstack.geometry.artwork.source import source_of
from sheetstack.geometry.build import build, build_sheets
from sheetstack.geometry.errors import Cancelled
from sheetstack.geometry.finding import Severity
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.planar.snapping import FINEST
from sheetstack.geometry.progress import Progress
from sheetstack.geometry.support import support
from sheetstack.geometry.support.bridges import hold_islands
from sheetstack.geometry.support.constraints import DrawnBridge, Loads, Rules
from sheetstack.geometry.support.statics import Stiffness
from sheetstack.geometry.support.visible_damage import Coat, DamageMap
from sheetstack.geometry.tolerance import TOLERANCES

from ..demo_builds import demo
from ..random_sheets import many_islands, random_shape, rings, sheet_of
from ..small_builds import built_from
from .test_bridges import assert_holds

WIDTH = 2.0
RING = Point(100, 100).buffer(40).difference(Point(100, 100).buffer(25))
FILM = Loads(Stiffness(4500, 0.35), 0.35 * 1.39e-3, 0.02, 5.0, 50.0)

JOB = """
title = "Rings"
ground = "#ffffff"
[sheet]
width_mm = 200
height_mm = 200
margin_mm = 5
material = "polyester"
thickness_mm = 0.35
[bridges]
width_mm = 2.0
{bridges}
[[layers]]
name = "Ink"
colour = "#14202b"
artwork = "0.svg"
{layer}
{more}
"""


def built(shape, bridges="", layer="", more=""):
    """Build a job of one layer of a given shape."""
    job = parse_job(JOB.format(bridges=bridges, layer=layer, more=more))
    return built_from(job, [Artwork(as_multipolygon(shape), (200.0, 200.0))])


def bridges_of(held):
    return [b for b in held.bridges if b.kind == "bridge"]


# --- visible damage ---------------------------------------------------------------------------


def test_the_portraits_bridges_spoil_thirty_per_cent_less_than_plain_shortest_ones():
    # Both have the same width and hold the sheet as one whole within the same limits.
    layers = demo("portrait").layers
    damage = sum(layer.damage for layer in layers)
    assert damage <= 0.7 * sum(layer.plain_damage for layer in layers)


@pytest.mark.parametrize("name", ["portrait", "sign"])
def test_the_demos_hold_as_one_whole_within_their_limits(name):
    made = demo(name)
    for layer in made.layers:
        assert all(island.enough for island in layer.held_islands)
    assert not {"support.gives-way", "support.may-tear"} & {f.code for f in made.findings}


def test_one_bridge_an_island_spoils_forty_per_cent_less_too():
    # The first version's plain tree over shortest gaps, built anew, against the least visible tree.
    made = demo("portrait")
    chosen, plain = 0.0, 0.0
    coats = [Coat(x.artwork.shape, x.settings.colour) for x in made.layers]
    for i, layer in reversed(list(enumerate(made.layers))):
        damage = DamageMap(coats[i], coats[:i], coats[i + 1 :], made.job.ground)
        held = hold_islands(layer.plain_sheet, WIDTH, rules=Rules(WIDTH), damage=damage)
        shortest = hold_islands(layer.plain_sheet, WIDTH)
        strips = [b.shape for b in shortest.bridges if b.kind == "bridge"]
        assert len(strips) == len(bridges_of(held)) == len(layer.islands)
        chosen += held.damage
        plain += damage.of(strips).damage.sum()
        coats[i] = Coat(held.sheet.openings, layer.settings.colour)
    assert chosen <= 0.6 * plain


def test_damage_told_is_that_of_the_picture_as_cut():
    # Composited by polygons from what the sheets really open: what the ink's bridges leave bare.
    made = demo("portrait")
    shadow, highlight = made.layers[1], made.layers[2]
    strips = shapely.union_all([b.shape for b in shadow.bridges])
    bare = strips.intersection(shadow.artwork.shape).difference(highlight.sheet.openings).area
    assert sum(b.visible_mm2 for b in shadow.bridges) == pytest.approx(bare, rel=0.02)


# --- enough support ---------------------------------------------------------------------------


def test_a_big_island_gets_bridges_well_spread():
    sheet = sheet_of(RING, thickness=0.35)
    held = hold_islands(sheet, WIDTH, rules=Rules(WIDTH, loads=FILM))
    assert_holds(sheet, held, WIDTH)
    (island,) = held.islands
    assert island.enough
    assert island.hold.deflection_mm <= 5.0
    assert island.bridges == len(bridges_of(held)) >= 2
    ends = np.array([b.place for b in bridges_of(held)]) - (100, 100)
    angle = np.sort(np.degrees(np.arctan2(ends[:, 1], ends[:, 0])))
    gaps = np.diff(np.append(angle, angle[0] + 360))
    assert gaps.min() >= 40


def test_a_stiff_sheet_needs_one_bridge_only():
    # The same island in 3 mm plywood: thickness counts by its cube.
    board = Loads(Stiffness(9000, 3.0), 3 * 0.68e-3, 1.0, 5.0, 20.0)
    sheet = sheet_of(Point(100, 100).buffer(20).difference(Point(100, 100).buffer(12)), thickness=3)
    held = hold_islands(sheet, 3.0, rules=Rules(3.0, loads=board))
    assert len(bridges_of(held)) == 1
    assert held.islands[0].enough


def test_what_cannot_be_held_firmly_is_told_with_the_reason():
    weak = replace(FILM, deflection_mm=0.01)
    held = hold_islands(sheet_of(RING), WIDTH, rules=Rules(WIDTH, loads=weak, most_per_island=2))
    (finding,) = held.findings
    assert finding.code == "support.gives-way"
    assert finding.severity is Severity.SPOILS  # many times too far
    assert "2 bridges, the most that the job allows" in finding.message
    assert len(bridges_of(held)) == 2


@pytest.mark.parametrize("most", [1, 2, 3, 4])
def test_no_island_gets_more_bridges_than_the_job_allows(most):
    weak = replace(FILM, deflection_mm=0.05)
    held = hold_islands(sheet_of(RING), WIDTH, rules=Rules(WIDTH, loads=weak, most_per_island=most))
    assert len(bridges_of(held)) == most
    assert held.islands[0].bridges == most


def chain(count, apart=8.0, width=40.0, height=12.0):
    """Return an opening with a row of bars in it, and the bars."""
    bars = [
        box(60, 20 + k * (height + apart), 60 + width, 20 + k * (height + apart) + height)
        for k in range(count)
    ]
    return box(30, 5, 70 + width, bars[-1].bounds[3] + 15).difference(MultiPolygon(bars)), bars


def test_a_row_of_islands_is_held_as_one():
    # Held one by one, each as if the one before it were firm, the last of four gave way by 77 mm.
    card = Loads(Stiffness(3000, 0.4), 0.4 * 0.8e-3, 0.02, 5.0, 12.5, 25.0)
    shape, bars = chain(4)
    held = hold_islands(sheet_of(shape), WIDTH, rules=Rules(WIDTH, loads=card))
    assert [f.code for f in held.findings] == []
    assert all(island.enough and island.hold.deflection_mm <= 5 for island in held.islands)
    assert len(bridges_of(held)) > len(bars)


def test_an_island_with_many_others_on_it_gets_all_the_bridges_that_it_needs():
    # A large disc on the frame, with six discs in openings of their own all around on it: their
    # bridges are not in the way of those that hold the large one.
    middle = Point(100, 100)
    shape = middle.buffer(88).difference(middle.buffer(81))
    for angle in np.radians(np.arange(0, 360, 60) + 10):
        x, y = 100 + 58 * np.cos(angle), 100 + 58 * np.sin(angle)
        shape = shape.union(Point(x, y).buffer(18).difference(Point(x, y).buffer(12)))
    held = hold_islands(sheet_of(shape, thickness=0.25), WIDTH, rules=Rules(WIDTH, loads=FILM))
    assert [f.code for f in held.findings] == []
    assert held.islands[0].area_mm2 > 10_000
    assert held.islands[0].bridges >= 3


def test_a_chain_that_cannot_be_held_is_told_once_and_named():
    # Only the first bar reaches the frame: no bridge may be laid in the rest of the opening's rim.
    card = Loads(Stiffness(3000, 0.4), 0.4 * 0.8e-3, 0.02, 5.0, 12.5, 25.0)
    shape, _ = chain(4)
    drawn = [DrawnBridge(np.array([[80.0, y], [80.0, y + 8.0]])) for y in (32.0, 52.0, 72.0)]
    rules = Rules(WIDTH, loads=card, most_per_island=1, drawn=tuple(drawn))
    held = hold_islands(sheet_of(shape), WIDTH, rules=rules)
    (finding,) = [f for f in held.findings if f.code == "support.gives-way"]
    assert finding.severity is Severity.SPOILS
    last = max(held.islands, key=lambda island: island.hold.deflection_mm)
    assert finding.place == last.place
    assert finding.size_mm == pytest.approx(last.hold.deflection_mm)
    assert f"{last.steps} bridges from the frame" in finding.message
    for x, y in last.chain:
        assert f"({x:.0f}, {y:.0f})" in finding.message
    assert "4 are over a limit" in finding.message


def test_a_greater_push_asks_for_more():
    counts = []
    for push in (0.0, 0.05, 0.5):
        loads = replace(FILM, handling_n=push)
        held = hold_islands(sheet_of(rings(3)), WIDTH, rules=Rules(WIDTH, loads=loads))
        counts.append(sum(b.width for b in bridges_of(held)))
    assert counts[0] < counts[1] < counts[2]


@pytest.mark.parametrize("seed", range(20))
def test_random_sheets_with_loads_and_damage_hold_together(seed):
    shape = as_multipolygon(random_shape(seed, islands=10))
    above = Coat(as_multipolygon(random_shape(seed + 500)), "#fff0cf")
    damage = DamageMap(Coat(shape, "#14202b"), (), (above,), "#2f8f83")
    rules = Rules(WIDTH, loads=FILM, fillet=1.0 if seed % 2 else 0.0)
    sheet = sheet_of(shape)
    held = hold_islands(sheet, WIDTH, rules=rules, damage=damage)
    assert_holds(sheet, held, WIDTH)
    assert len({b.name for b in held.bridges}) == len(held.bridges)


# --- the artist rules -------------------------------------------------------------------------


def test_a_drawn_bridge_comes_first_and_no_other_is_laid():
    line = np.array([[100.0, 128.0], [100.0, 136.0]])  # both ends in the opening
    rules = Rules(WIDTH, drawn=(DrawnBridge(line, 3.0, "mine"),))
    sheet = sheet_of(RING)
    held = hold_islands(sheet, WIDTH, rules=rules)
    assert_holds(sheet, held, WIDTH)
    (bridge,) = bridges_of(held)
    assert (bridge.name, bridge.state, bridge.width) == ("mine", "locked", 3.0)
    assert LineString(bridge.path).buffer(1e-6).covers(LineString(line))
    assert bridge.gap == pytest.approx(15, abs=0.05)


def test_what_drawn_bridges_leave_is_filled_in():
    rules = Rules(WIDTH, drawn=(DrawnBridge(np.array([[100.0, 160.0], [100.0, 195.0]])),))
    sheet = sheet_of(rings(3))
    held = hold_islands(sheet, WIDTH, rules=rules)
    assert_holds(sheet, held, WIDTH)
    assert sorted(b.state for b in bridges_of(held)) == ["automatic", "automatic", "locked"]


def test_a_bent_bridge_holds():
    line = np.array([[100.0, 122.0], [106.0, 130.0], [98.0, 136.0], [100.0, 143.0]])
    sheet = sheet_of(RING)
    held = hold_islands(sheet, WIDTH, rules=Rules(WIDTH, drawn=(DrawnBridge(line),)))
    assert_holds(sheet, held, WIDTH)
    assert len(bridges_of(held)) == 1


def test_a_drawn_line_that_joins_nothing_is_told():
    far = DrawnBridge(np.array([[10.0, 10.0], [20.0, 10.0]]))
    held = hold_islands(sheet_of(RING), WIDTH, rules=Rules(WIDTH, drawn=(far,)))
    assert "support.drawn-holds-nothing" in {f.code for f in held.findings}
    assert [b.state for b in bridges_of(held)] == ["automatic"]


def test_a_forbidden_bridge_is_laid_elsewhere():
    first = bridges_of(built(RING, "deflection_mm = 1000").layers[0])
    (bridge,) = first
    row = f'[[bridge]]\nlayer = "Ink"\nstate = "forbidden"\nline_mm = {bridge.path.tolist()}'
    (other,) = bridges_of(built(RING, "deflection_mm = 1000", more=row).layers[0])
    assert other.shape.intersection(bridge.shape).area < 0.1


def test_a_locked_bridge_stays_when_the_job_is_built_again():
    layer = built(RING).layers[0]
    kept = bridges_of(layer)[0]
    row = f'[[bridge]]\nlayer = "Ink"\nid = "{kept.name}"\nline_mm = {kept.path.tolist()}'
    # The drawing changes: a second ring, and the first with another hole in it.
    shape = RING.union(Point(30, 30).buffer(20).difference(Point(30, 30).buffer(12)))
    again = built(shape, more=row).layers[0]
    (same,) = [b for b in bridges_of(again) if b.name == kept.name]
    assert same.state == "locked"
    np.testing.assert_allclose(same.path, kept.path, atol=1e-9)
    assert same.shape.equals_exact(kept.shape, 1e-9)


def test_ids_last_when_something_else_changes():
    names = {b.name for b in bridges_of(built(RING).layers[0])}
    more = RING.union(box(10, 10, 20, 20))
    assert {b.name for b in bridges_of(built(more).layers[0])} == names


def test_kept_free_areas_stay_free():
    # The place kept free is just where a bridge would be.
    x, y = bridges_of(built(RING).layers[0])[0].place
    free = box(x - 12, y - 12, x + 12, y + 12)
    made = built(RING, f"keep_free_mm = [[{x - 12}, {y - 12}, 24, 24]]").layers[0]
    bridges = bridges_of(made)
    assert made.islands_left == ()
    assert len(bridges) > 0
    assert all(b.shape.intersection(free).area < 0.05 for b in bridges)


def test_where_no_other_place_is_left_a_bridge_in_a_kept_free_area_is_told():
    made = built(RING, "keep_free_areas_mm = [[[0, 0], [200, 0], [200, 200], [0, 200]]]")
    assert "support.bridge-in-kept-free" in {f.code for f in made.findings}
    assert made.layers[0].islands_left == ()


def test_bridges_of_an_svg_group_are_laid(tmp_path):
    (tmp_path / "0.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="200mm" '
        'viewBox="0 0 200 200"><path id="ink" fill-rule="evenodd" d="M50 50H150V150H50Z'
        'M80 80V120H120V80Z"/><g id="hands" stroke="red"><line x1="100" y1="70" x2="100" '
        'y2="60"/><polyline points="118,100 140,104 152,100" fill="none"/></g></svg>'
    )
    text = JOB.format(bridges="", layer='group = "ink"\nbridges_group = "hands"', more="")
    made = build(parse_job(text, folder=tmp_path)).layers[0]
    places = [b.place for b in made.bridges if b.state == "locked"]
    # SVG's y runs down: the line at y 60 to 70 lies above the middle of the sheet.
    assert [round(x) for x, _ in places] == [100, 135]
    assert places[0][1] > 120
    assert made.islands_left == ()


# --- two sheets -------------------------------------------------------------------------------


def parts_of(made):
    first, second = made.layers
    assert [first.settings.name, second.settings.name] == ["Ink A", "Ink B"]
    assert [x.name for x in made.job.layers] == ["Ink A", "Ink B"]
    return first, second


@pytest.mark.parametrize("shape", [RING, rings(4), many_islands(9, pitch=30)[0]])
def test_two_sheets_paint_the_whole_opening(shape):
    first, second = parts_of(built(shape, layer="split = true"))
    wanted = as_multipolygon(shape)
    painted = shapely.union_all([first.sheet.openings, second.sheet.openings])
    # What snapping to the grid may move edges by, and walls thinner than a cut, which go.
    slack = 2 * FINEST * wanted.length
    assert wanted.difference(painted).area < slack
    assert painted.difference(wanted).buffer(-TOLERANCES.wall / 2).is_empty
    for part in (first, second):
        assert part.islands_left == ()
        assert len(part.sheet.shape.geoms) == 1
    assert first.damage == pytest.approx(0, abs=1.0)
    assert sum(b.covers for b in first.bridges) > 10


@pytest.mark.parametrize("overlap", [0.0, 1.0, 2.5])
def test_the_second_coat_overlaps_the_first_by_what_is_asked(overlap):
    first, second = parts_of(
        built(
            RING,
            f"seam_overlap_mm = {overlap}\ndeflection_mm = 1000",
            layer="split = true",
        )
    )
    (bridge,) = bridges_of(first)
    twice = first.sheet.openings.intersection(second.sheet.openings).area
    # Two seams as long as the bridge.
    assert twice == pytest.approx(2 * bridge.gap * overlap, rel=0.06, abs=0.5)


def test_a_layer_without_islands_is_not_split():
    made = built(Point(100, 100).buffer(30), layer="split = true")
    (layer,) = made.layers
    assert layer.settings.name == "Ink"
    assert "split.needless" in {f.code for f in layer.findings}


# --- mending ----------------------------------------------------------------------------------


def test_an_accepted_neck_is_thickened():
    shape = MultiPolygon([box(60, 60, 99.6, 140), box(100.4, 60, 140, 140)])
    before = built(shape)
    (neck,) = [f for f in before.findings if f.code == "support.neck"]
    assert neck.size_mm == pytest.approx(0.8, rel=1e-3)
    after = built(shape, layer=f"mend_mm = [[{neck.place[0]}, {neck.place[1]}]]")
    assert "support.neck" not in {f.code for f in after.findings}
    assert [b.kind for b in after.layers[0].bridges] == ["mend"]
    # Width now by hand: from one opening to the other across the middle. Least width 1.5 mm.
    left, right = sorted(after.layers[0].sheet.openings.geoms, key=lambda p: p.bounds[0])
    assert 1.5 <= left.distance(right) < 1.55


def tongue_along(line, root, tip):
    """Return a tongue with round ends along a line, as wide as stated at its root and its tip."""
    middle = LineString(line)
    steps = np.linspace(0, middle.length, 60)
    at = [middle.interpolate(step) for step in steps]
    wide = np.interp(steps, [0, middle.length], [root, tip])
    discs = [p.buffer(w / 2, quad_segs=16) for p, w in zip(at, wide, strict=True)]
    pairs = [[*a.exterior.coords, *b.exterior.coords] for a, b in itertools.pairwise(discs)]
    return shapely.union_all([shapely.MultiPoint(pair).convex_hull for pair in pairs])


@pytest.mark.parametrize(
    ("line", "root", "tip"),
    [
        ([(60, 100), (80, 100), (80, 113)], 1.0, 1.0),
        ([(60, 100), (85, 100), (85, 110), (75, 110)], 1.2, 0.9),
        ([(60, 100), (95, 108)], 1.4, 0.6),
        ([(60, 100), (70, 104), (80, 103), (88, 96), (90, 88), (86, 82)], 1.3, 0.8),
    ],
    ids=["hooked", "hooked twice", "tapered", "curled and tapered"],
)
def test_a_mended_tongue_outlives_erosion_as_a_whole(line, root, tip):
    """Eroded by just under half the least width, by Shapely and by SciPy's distance on pixels, the
    sheet is one piece and reaches along all of the tongue; as drawn it did not."""
    tongue = tongue_along([(50, 100), *line], root, tip)
    shape = box(60, 70, 140, 130).difference(tongue)
    before = built(shape)
    told = [f for f in before.findings if f.code == "support.tongue"]
    assert told
    places = [list(f.place) for f in told]
    after = built(shape, layer=f"mend_mm = {places}")
    assert "support.tongue" not in {f.code for f in after.findings}
    half = 0.98 * 1.5 / 2
    middle = LineString(line)
    along = [middle.interpolate(s) for s in np.arange(3.0, middle.length - 1.5, 0.5)]
    for made, lives in ((before, False), (after, True)):
        sheet = made.layers[0].sheet.shape
        core = sheet.buffer(-half)
        near = [core.distance(p) < 0.5 for p in along]
        assert all(near) if lives else not any(near[len(near) // 2 :])
        assert (core.geom_type == "Polygon") or not lives
        pixels, near = eroded_pixels(sheet, half, along)
        assert all(near) if lives else not any(near[len(near) // 2 :])
        assert pixels == 1 or not lives


def eroded_pixels(sheet, half, points, scale=20):
    """Return into how many pieces a sheet falls on pixels, and whether one reaches each point."""
    x0, y0, size = 45, 60, 100
    image = Image.new("1", (size * scale, 80 * scale), 0)
    pen = ImageDraw.Draw(image)
    for part in shapely.get_parts(sheet):
        for ring, fill in [(part.exterior, 1), *((hole, 0) for hole in part.interiors)]:
            pen.polygon([((x - x0) * scale, (y - y0) * scale) for x, y in ring.coords], fill=fill)
    solid = np.pad(np.asarray(image), 2 * scale, mode="edge")
    # A slanting edge on pixels is off by up to one and a half.
    core = distance_transform_edt(solid) > half * scale - 1.5
    labels, count = label(core)
    away = distance_transform_edt(labels == 0)
    spots = [
        away[int((p.y - y0) * scale) + 2 * scale, int((p.x - x0) * scale) + 2 * scale]
        for p in points
    ]
    return count, [spot < 0.5 * scale for spot in spots]


def test_an_accepted_slit_is_widened():
    shape = shapely.union_all(
        [box(60, 60, 90, 140), box(110, 60, 140, 140), box(89, 99.8, 111, 100.2)]
    )
    (slit,) = [f for f in built(shape).findings if f.code == "opening.neck"]
    assert slit.size_mm == pytest.approx(0.4, rel=1e-2)
    after = built(shape, layer=f"mend_mm = [[{slit.place[0]}, {slit.place[1]}]]")
    assert "opening.neck" not in {f.code for f in after.findings}


def test_a_place_with_nothing_to_mend_is_told():
    made = built(RING, layer="mend_mm = [[10, 10]]")
    assert "support.nothing-to-mend" in {f.code for f in made.findings}


# --- shape ------------------------------------------------------------------------------------


def test_fillets_round_the_roots():
    sheet = sheet_of(RING)
    straight = hold_islands(sheet, WIDTH, rules=Rules(WIDTH))
    filleted = hold_islands(sheet, WIDTH, rules=Rules(WIDTH, fillet=1.5))
    assert_holds(sheet, filleted, WIDTH)
    (a,), (b,) = bridges_of(straight), bridges_of(filleted)
    assert b.shape.buffer(1e-3).covers(a.shape)
    # Four corners, nearly square: each fillet has r2 (1 - pi / 4).
    extra = b.covers - a.covers
    assert extra == pytest.approx(4 * 1.5**2 * (1 - np.pi / 4), rel=0.25)


def test_plain_bridges_are_worked_out_only_when_asked_for():
    layer = next(layer for layer in demo("portrait").layers if layer.islands)
    fresh = replace(layer, plain=replace(layer.plain))
    given = {field.name for field in fields(fresh.plain)}
    assert set(vars(fresh.plain)) == given
    assert fresh.plain_damage > 0
    assert set(vars(fresh.plain)) == {*given, "strips", "damage"}
    assert len(fresh.plain.strips) >= len(fresh.islands)


def test_a_tiny_island_that_is_not_held_firmly_is_told_with_its_area():
    shape = Point(100, 100).buffer(60).difference(Point(100, 100).buffer(0.3, quad_segs=64))
    made = built(shape, "let_go = false")
    (told,) = [f for f in made.findings if f.code == "support.gives-way"]
    assert "An island of 0.28 mm2" in told.message


def test_a_slit_where_sheet_touched_itself_is_told_once_and_a_drawn_one_as_narrow():
    touching = [box(30, 30, 60, 60), box(60, 60, 75, 75)]
    drawn = [box(30, 80, 45, 90), box(45, 84.8, 55, 85.2), box(55, 80, 70, 90)]
    (layer,) = built(shapely.union_all([*touching, *drawn])).layers
    told = {f.code: f.place for f in layer.findings}
    assert len(layer.findings) == 2
    assert told["sheet.touches-at-point"] == pytest.approx((60, 60))
    assert told["opening.neck"] == pytest.approx((50, 85), abs=0.1)


# --- long work --------------------------------------------------------------------------------


def test_work_on_bridges_is_told_and_can_be_left_while_it_is_silent(monkeypatch):
    silent, left = Event(), Event()

    def hold(*_, **__):
        silent.set()
        left.wait(60)
        raise AssertionError("nobody waits for this")

    def leave(share, what):
        if silent.is_set():
            raise Cancelled("Left.")

    monkeypatch.setattr(support, "hold_islands", hold)
    job = parse_job(JOB.format(bridges="", layer="", more=""))
    artwork = Artwork(as_multipolygon(RING), (200.0, 200.0))
    drawing = LayerDrawing(source_of(job, job.layers[0]), artwork)
    try:
        with pytest.raises(Cancelled):
            build_sheets(job, [drawing], Progress(leave))
    finally:
        left.set()
