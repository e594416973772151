"""Islands let go: what they are worth against what their bridges spoil."""

from __future__ import annotations

import pytest
import shapely
from shapely import Point, box
from shapely.affinity import translate

from sheetstack.geometry.artwork.read import Artwork
from sheetstack.geometry.colour import ciede2000, lab_from_srgb, srgb_from_hex
from sheetstack.geometry.finding import Severity
from sheetstack.geometry.job.load import parse_job
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
"""
LAYER = """
[[layers]]
name = "{name}"
colour = "{colour}"
artwork = "{name}.svg"
keep_mm = {keep}
"""
SPECK = Point(0, 0).buffer(60, quad_segs=64).difference(Point(0, 0).buffer(0.2))


def sheets(*shapes, colours=("#000000", "#c04020"), ground="#ffffff", let_go=True, keep=()):
    """Build layers of shapes about the sheet's middle."""
    text = JOB.format(ground=ground, let_go=str(let_go).lower())
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
