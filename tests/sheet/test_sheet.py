from __future__ import annotations

import pytest
import shapely
from shapely import MultiPolygon, Polygon, box

from sheetstack.geometry.artwork.read import Artwork
from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.finding import Finding, Severity
from sheetstack.geometry.job.sections import SheetSettings
from sheetstack.geometry.planar.polygons import as_multipolygon, touching_points
from sheetstack.geometry.sheet.sheet import PlacedArtwork, make_sheet, place_artworks

SETTINGS = SheetSettings(width_mm=100, height_mm=80, margin_mm=10, thickness_mm=0.5)
NO_HOLES = MultiPolygon()


def multi(*parts) -> MultiPolygon:
    return as_multipolygon(shapely.union_all(parts))


def art(shape, page=None, findings=()) -> Artwork:
    return Artwork(multi(shape), page, findings)


def codes(findings) -> list[str]:
    return [f.code for f in findings]


def test_all_layers_move_by_the_same_shift():
    layers = [("A", art(box(0, 0, 10, 10), (60, 40))), ("B", art(box(5, 5, 6, 6), (60, 40)))]
    a, b = place_artworks(layers, SETTINGS)
    assert a.shape.bounds == (20, 20, 30, 30)
    assert b.shape.bounds == (25, 25, 26, 26)


def test_artwork_without_a_page_is_centred_by_the_bounds_of_all_layers():
    a, b = place_artworks([("A", art(box(0, 0, 10, 10))), ("B", art(box(30, 0, 40, 10)))], SETTINGS)
    assert a.shape.bounds[0] == 30
    assert b.shape.bounds[2] == 70
    assert a.shape.bounds[1] == 35


def test_corner_placement_lays_the_page_on_the_sheets_corner():
    settings = SheetSettings(width_mm=100, height_mm=80, placement="corner")
    (a,) = place_artworks([("A", art(box(1, 2, 3, 4), (60, 40)))], settings)
    assert a.shape.bounds == (1, 2, 3, 4)


def test_findings_move_with_the_artwork_and_get_their_layer():
    note = Finding("x", Severity.NOTE, "here", place=(1.0, 2.0))
    (a,) = place_artworks([("A", art(box(0, 0, 9, 9), (100, 80), (note,)))], SETTINGS)
    assert a.findings[0].place == (1, 2)
    assert a.findings[0].layer == "A"


def test_pages_of_another_size_are_found():
    layers = [("A", art(box(0, 0, 9, 9), (60, 40))), ("B", art(box(0, 0, 9, 9), (61, 40)))]
    assert codes(place_artworks(layers, SETTINGS)[1].findings) == ["sheet.page-differs"]


def test_an_empty_layer_spoils_and_an_empty_job_is_refused():
    empty = Artwork(MultiPolygon())
    placed = place_artworks([("A", art(box(0, 0, 9, 9))), ("B", empty)], SETTINGS)
    assert codes(placed[1].findings) == ["sheet.empty"]
    with pytest.raises(GeometryError, match="every layer is empty"):
        place_artworks([("A", empty)], SETTINGS)


def test_a_sheet_is_its_outline_minus_openings_and_holes():
    hole = MultiPolygon([box(3, 3, 6, 6)])
    opening = multi(box(20, 20, 40, 40))
    sheet, findings = make_sheet(PlacedArtwork("A", opening, ()), SETTINGS, hole)
    assert findings == ()
    assert sheet.shape.area == 100 * 80 - 400 - 9
    assert sheet.openings.equals(opening)
    assert sheet.thickness == 0.5


def test_artwork_that_exactly_fills_the_margin_is_no_finding():
    _, findings = make_sheet(PlacedArtwork("A", multi(box(10, 10, 90, 70)), ()), SETTINGS, NO_HOLES)
    assert findings == ()


def test_an_opening_in_the_margin_is_found_with_its_distance_from_the_edge():
    opening = multi(box(4, 20, 30, 30))
    _, (finding,) = make_sheet(PlacedArtwork("A", opening, ()), SETTINGS, NO_HOLES)
    assert finding.code == "sheet.in-margin"
    assert finding.size_mm == pytest.approx(4)
    assert finding.place[0] < 10


def test_an_opening_over_the_edge_is_cut_off_and_spoils():
    opening = multi(box(-5, 20, 30, 30))
    sheet, (finding,) = make_sheet(PlacedArtwork("A", opening, ()), SETTINGS, NO_HOLES)
    assert (finding.code, finding.severity) == ("sheet.over-edge", Severity.SPOILS)
    assert sheet.openings.bounds[0] == 0


def test_a_registration_hole_in_an_opening_spoils():
    opening = multi(box(20, 20, 40, 40))
    holes = MultiPolygon([box(38, 38, 44, 44)])
    _, (finding,) = make_sheet(PlacedArtwork("A", opening, ()), SETTINGS, holes)
    assert finding.code == "registration.hole-in-opening"


def test_sheet_touching_itself_at_a_point_is_opened_there():
    openings = multi(box(20, 20, 30, 30), box(30, 30, 40, 40))
    sheet, (finding,) = make_sheet(PlacedArtwork("A", openings, ()), SETTINGS, NO_HOLES)
    assert finding.code == "sheet.touches-at-point"
    assert finding.place == pytest.approx((30, 30), abs=0.03)
    assert len(touching_points(sheet.shape)) == 0
    assert sheet.shape.area == pytest.approx(100 * 80 - 200, abs=2e-3)


def test_openings_that_leave_nothing_are_refused():
    everything = multi(box(-1, -1, 101, 81))
    with pytest.raises(GeometryError, match="leave nothing"):
        make_sheet(PlacedArtwork("A", everything, ()), SETTINGS, NO_HOLES)


def test_as_multipolygon_leaves_lines_and_points_out():
    mixed = shapely.GeometryCollection(
        [box(0, 0, 1, 1), shapely.LineString([(0, 0), (5, 5)]), MultiPolygon([box(2, 2, 3, 3)])]
    )
    assert len(as_multipolygon(mixed).geoms) == 2
    assert as_multipolygon(Polygon()).is_empty


def _comb(gap: float) -> MultiPolygon:
    """Eleven teeth of 1 mm, 40 mm long, with gaps between them."""
    return MultiPolygon([box(20 + k * (1 + gap), 20, 21 + k * (1 + gap), 60) for k in range(11)])


def test_walls_closed_are_a_warning_where_they_are_much_of_the_picture():
    _, findings = make_sheet(PlacedArtwork("Hair", _comb(0.04), ()), SETTINGS, NO_HOLES)
    assert codes(findings) == ["sheet.wall-closed"]
    assert findings[0].severity is Severity.WARNING
    # Ten gaps of 0.04 x 40 mm between eleven teeth of 40 mm2.
    assert (
        "and 16 mm2 more are painted, 3.6% of what was drawn (and at 9 more" in findings[0].message
    )


def test_walls_closed_are_notes_where_they_are_little():
    _, findings = make_sheet(PlacedArtwork("Hair", _comb(0.004), ()), SETTINGS, NO_HOLES)
    assert codes(findings) == ["sheet.wall-closed"] * 10
    assert {f.severity for f in findings} == {Severity.NOTE}
    assert not any("more are painted" in f.message for f in findings)
