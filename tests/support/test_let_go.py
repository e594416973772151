"""Islands let go: what they are worth against what their bridges spoil."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw
from shapely import Point, box
from shapely.affinity import translate
from skimage.measure import label

from sheetstack.geometry.artwork.read import Artwork
from sheetstack.geometry.build import build
from sheetstack.geometry.colour import ciede2000, lab_from_srgb, srgb_from_hex
from sheetstack.geometry.finding import Severity
from sheetstack.geometry.job.load import load_job, parse_job
from sheetstack.geometry.mesh.islands import find_pieces
from sheetstack.geometry.planar.polygons import as_multipolygon

from ..small_builds import built_from

JOB = """
title = "Specks"
ground = "{ground}"
[sheet]
width_mm = 200
height_mm = 200
material = "polyester"
thickness_mm = 0.25
[bridges]
let_go = {let_go}
direction = "{direction}"
"""
STARS_JOB = """
title = "Stars"
[sheet]
width_mm = 160
height_mm = 160
margin_mm = 10
material = "birch-ply"
thickness_mm = 3
[[layers]]
name = "Stars"
colour = "#304050"
artwork = "stars.svg"
scale = 5.291338582677166
"""
LAYER = """
[[layers]]
name = "{name}"
colour = "{colour}"
artwork = "{name}.svg"
keep_mm = {keep}
"""
SPECK = Point(0, 0).buffer(60, quad_segs=64).difference(Point(0, 0).buffer(0.2))


def sheets(
    *shapes,
    colours=("#000000", "#c04020"),
    ground="#ffffff",
    let_go=True,
    keep=(),
    direction="any",
):
    """Build layers of shapes about the sheet's middle."""
    text = JOB.format(ground=ground, let_go=str(let_go).lower(), direction=direction)
    for name, colour in zip("AB", colours[: len(shapes)], strict=False):
        text += LAYER.format(name=name, colour=colour, keep=[list(at) for at in keep])
    placed = [as_multipolygon(translate(shape, 100, 100)) for shape in shapes]
    return built_from(parse_job(text), [Artwork(shape, (200.0, 200.0), ()) for shape in placed])


def opened(*islands, radius=30.0):
    return Point(0, 0).buffer(radius, quad_segs=64).difference(shapely.union_all(islands))


def only(build, number=0):
    return build.layers[number]


def test_a_speck_in_a_large_opening_is_let_go_and_told():
    layer = only(sheets(SPECK))
    assert layer.bridges == ()
    assert find_pieces(layer.mesh).islands == ()
    assert layer.sheet.openings.area == pytest.approx(Point(0, 0).buffer(60, quad_segs=64).area)
    (gone,) = layer.let_go
    (told,) = [f for f in layer.findings if f.code == "support.let-go"]
    assert told.severity is Severity.WARNING
    assert told.place == gone.place
    assert "keep_mm" in told.message


def test_what_it_is_worth_is_its_area_times_the_colour_difference():
    """By hand: black on white, where CIEDE2000 is 100 (CIE 142: L* alone counts between greys)."""
    lab = lab_from_srgb([srgb_from_hex("#000000"), srgb_from_hex("#ffffff")])
    step = float(ciede2000(lab[0], lab[1]))
    (gone,) = only(sheets(SPECK)).let_go
    assert gone.worth == pytest.approx(step * Point(0, 0).buffer(0.2).area, rel=1e-3)
    held = only(sheets(SPECK, let_go=False))
    assert gone.spared == pytest.approx(step * sum(b.covers for b in held.bridges), rel=1e-3)


def test_an_island_worth_its_bridges_is_held():
    layer = only(sheets(opened(Point(0, 0).buffer(20))))
    assert layer.let_go == ()
    assert len(layer.bridges) >= 1


def test_letting_go_can_be_forbidden_for_the_job_and_for_one_place():
    assert only(sheets(SPECK, let_go=False)).let_go == ()
    one = opened(Point(0, 0).buffer(0.3), radius=20)
    two = translate(one, -25, 0).union(translate(one, 25, 0))
    plain = only(sheets(two))
    assert len(plain.let_go) == 2
    place = max(gone.place for gone in plain.let_go)
    kept = only(sheets(two, keep=[place]))
    assert [gone.place for gone in kept.let_go] == [min(gone.place for gone in plain.let_go)]
    assert len(kept.bridges) >= 1
    assert find_pieces(kept.mesh).islands == ()


def test_a_stated_direction_alone_lets_no_island_go():
    """Thin letters far apart in a banner: the ways to the sides cost more than the letters."""
    letters = [box(x - 1.2, -8, x + 1.2, 8) for x in (-75, -45, -15, 15, 45, 75)]
    banner = box(-90, -12, 90, 12).difference(shapely.union_all(letters))
    assert only(sheets(banner)).let_go == ()
    level = only(sheets(banner, direction="horizontal"))
    assert level.let_go == ()
    assert find_pieces(level.mesh).islands == ()
    # A speck is worth no bridge, by whatever way.
    assert len(only(sheets(SPECK, direction="horizontal")).let_go) == 1


def test_a_speck_inside_an_island_goes_and_the_island_stays():
    ring = Point(0, 0).buffer(20).difference(Point(0, 0).buffer(12)).union(Point(0, 0).buffer(0.2))
    layer = only(sheets(opened(ring)))
    assert len(layer.let_go) == 1
    assert layer.let_go[0].shape.area < 1
    assert len(layer.islands) == 1


def test_a_row_of_specks_goes_together():
    """Each is held by the next, so that none is a leaf but the last."""
    row = [Point(x, 0).buffer(0.4) for x in range(-9, 10, 3)]
    layer = only(sheets(opened(*row)))
    assert len(layer.let_go) == len(row)
    assert layer.bridges == ()


def test_an_island_that_a_later_layer_covers_goes_with_a_note():
    """Nobody sees it; its bridges would show beside the cover."""
    cover = box(-3, -3, 3, 3)
    build = sheets(opened(box(-2, -2, 2, 2)), cover)
    (told,) = [f for f in only(build).findings if f.code == "support.let-go"]
    assert told.severity is Severity.NOTE
    assert only(build).let_go[0].worth == 0


@pytest.mark.parametrize("side", [1.0, 3.0, 5.0, 7.0, 12.0, 20.0])
def test_of_holding_and_painting_over_that_is_done_which_spoils_less(side):
    """Both ways built; the area in another colour than the picture wants, from the sheets alone."""
    island = box(-side / 2, -side / 2, side / 2, side / 2)
    shape = opened(island)
    wanted = translate(shape, 100, 100)

    def other_colour(build):
        return only(build).sheet.openings.symmetric_difference(wanted).area

    done, held = other_colour(sheets(shape)), other_colour(sheets(shape, let_go=False))
    assert done == pytest.approx(min(held, island.area), abs=0.01)


def test_a_crowd_of_specks_goes_before_bridges_are_looked_for_and_is_told_once():
    """Crossing hatches leave more islands than anyone could hold; what is kept by hand stays."""
    specks = [box(x, y, x + 0.6, y + 0.6) for x in range(-20, 21, 2) for y in range(-20, 21, 2)]
    build = sheets(opened(*specks, radius=35), keep=[(100.3, 100.3)])
    layer = only(build)
    assert len(layer.let_go) == len(specks) - 1
    (told,) = [f for f in layer.findings if f.code == "support.let-go"]
    assert str(len(specks) - 1) in told.message
    assert len(layer.islands) == 1
    assert find_pieces(layer.mesh).islands == ()


def group_of_islands(seed):
    """Return an opening full of islands of all sizes, some with an opening and a speck in it."""
    rng = np.random.default_rng(seed)
    taken, islands = [], []
    while len(islands) < 14:
        radius = float(rng.choice([0.4, 0.8, 1.5, 4.0, 9.0]))
        x, y = rng.uniform(-60, 60, 2)
        disc = Point(x, y).buffer(radius + 0.6)
        if np.hypot(x, y) + radius > 64 or any(disc.intersects(other) for other in taken):
            continue
        taken.append(disc)
        island = Point(x, y).buffer(radius)
        if radius == 9.0:
            island = island.difference(Point(x, y).buffer(5)).union(Point(x, y).buffer(0.5))
        islands.append(island)
    return opened(*islands, radius=66.0)


def labelled(shape, size=200, scale=10):
    """Return the pieces of a shape as labels of pixels, 8 neighbours, by scikit-image."""
    image = Image.new("1", (size * scale, size * scale), 0)
    pen = ImageDraw.Draw(image)
    # What lies in a hole of another part is drawn after it.
    for part in sorted(shapely.get_parts(shape), key=lambda p: -shapely.Polygon(p.exterior).area):
        for ring, fill in [(part.exterior, 1), *((hole, 0) for hole in part.interiors)]:
            pen.polygon([(scale * x, scale * y) for x, y in ring.coords], fill=fill)
    return label(np.asarray(image), connectivity=2)


@pytest.mark.parametrize("seed", [1, 2])
def test_of_groups_of_islands_as_many_go_as_pixels_tell(seed):
    shape = group_of_islands(seed)
    drawn = translate(shape, 100, 100)
    sheet = box(0, 0, 200, 200).difference(drawn)
    layer = only(sheets(shape))
    plain = labelled(sheet)
    held = labelled(layer.sheet.shape)
    assert held.max() == 1, "nothing falls out"
    sizes = np.bincount(plain.ravel())
    gone = np.setdiff1d(np.arange(1, plain.max() + 1), np.unique(plain[held > 0]))
    assert len(gone) == len(layer.let_go) > 2
    area = sum(one.shape.area for one in layer.let_go)
    assert sizes[gone].sum() / 100 == pytest.approx(area, rel=0.15)
    assert len(layer.islands) == plain.max() - 1 - len(gone)

    # Forbidden: all stay. Forbidden for one: it stays, and others still go.
    stays = labelled(only(sheets(shape, let_go=False)).sheet.shape)
    assert stays.max() == 1
    assert np.isin(np.arange(1, plain.max() + 1), plain[stays > 0]).all()
    place = layer.let_go[0].place
    kept = only(sheets(shape, keep=[place]))
    found = labelled(kept.sheet.shape)
    assert found.max() == 1
    assert found[int(10 * place[1]), int(10 * place[0])] == 1
    assert held[int(10 * place[1]), int(10 * place[0])] == 0
    assert 0 < len(kept.let_go) < len(layer.let_go)


#: Overlapping stars of a fuzzer's, by the even-odd rule.
STARS = (
    "M87 76L67 65L65 65L64 69L61 69L58 71L48 77L54 65L45 66L53 60L41 55L45 50L51 48L53 42"
    "L58 43L63 50L69 37L69 49L79 44L80 51L77 56L74 60L76 64Z"
    "M91.678 71.8154L80.8671 76.0717L79.9975 89.1747L68.8157 86.187L63.1023 75.8882"
    "L50.3582 84.579L47.1704 75.1105L63.6756 64.8118L55.3966 61.331L43.4559 46.1875"
    "L59.345 51.735L63.2864 36.752L73.493 39.9312L74.1682 54.7719L84.8603 54.32"
    "L88.5104 62.034Z"
    "M25.8244 83.3028L24.5225 84.4739L26.1266 97.7695L17.6828 105.81L11.0233 97.5699"
    "L12.8415 87.0133L5.1799 83.633L2.0117 75.518L0.1044 62.8412L13.3094 63.345"
    "L21.3821 62.0115L30.0835 61.4213L30.1491 73.463L38.0848 75.4599L24.6215 81.4661Z"
    "M73.3 44.4L63.9 36.9L66.5 61.6L57.8 58.1L49.3 56.4L47.9 46.5L52.4 38.3L38.2 34"
    "L60.9 34.1L42.8 16.8L52.8 15.9L61.7 26.5L67.6 12.5L71.5 21.1L81.3 20.6L87.3 27"
    "L82.8 35.7L68.1 37.1Z"
    "M85 50L86 55L86 67L80 63L75 62L70 59L57 58L77 48L67 43L75 43L80 45L79 39L82 32L83 44"
    "L87 42L106 32L95 44L91 48L89 50Z"
)


def test_islands_that_are_let_go_leave_no_needles_at_their_edges(tmp_path):
    """Sheet lies on a grid, its artwork does not: a needle 0.1 um wide stayed between the two."""
    view = 'xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100"'
    drawing = f'<svg {view}><path fill-rule="evenodd" d="{STARS}"/></svg>'
    (tmp_path / "stars.svg").write_text(drawing)
    (tmp_path / "job.toml").write_text(STARS_JOB)
    (layer,) = build(load_job(tmp_path / "job.toml")).layers
    assert layer.let_go
    assert not layer.islands_left
    assert len(layer.sheet.shape.geoms) == 1
