"""Openings that strips fill are told, and registration holes stay whole."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, box

from sheetstack.geometry.finding import Severity
from sheetstack.geometry.job.sections import SheetSettings
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.planar.subdivide import MOST_VERTICES
from sheetstack.geometry.sheet.sheet import PlacedArtwork, make_sheet
from sheetstack.geometry.support.bridges import hold_islands
from sheetstack.geometry.support.lost import lost_findings
from sheetstack.geometry.tolerance import TOLERANCES

NO_HOLES = MultiPolygon()
SETTINGS = SheetSettings(width_mm=140, height_mm=140, margin_mm=5)


def sheet_of(openings, holes=NO_HOLES):
    return make_sheet(PlacedArtwork("A", as_multipolygon(openings), ()), SETTINGS, holes)[0]


def test_a_ring_that_its_bridges_fill_spoils():
    # Drawn 2.4 mm across, round an island: bridges 3 mm wide cover all of it.
    ring = Point(70, 70).buffer(1.2).difference(Point(70, 70).buffer(0.5))
    plain = sheet_of(ring.union(box(20, 20, 40, 40)))
    held = hold_islands(plain, 3.0)
    (finding,) = lost_findings(plain, held)
    assert (finding.code, finding.severity) == ("support.opening-lost", Severity.SPOILS)
    assert finding.place == pytest.approx((70, 70), abs=1.3)


def test_openings_that_keep_most_of_their_area_are_not_told():
    plain = sheet_of(Point(70, 70).buffer(30).difference(Point(70, 70).buffer(15)))
    assert lost_findings(plain, hold_islands(plain, 2.0)) == []


def test_a_registration_hole_stays_whole_under_a_strip():
    hole = MultiPolygon([Point(5, 5).buffer(2.5)])
    plain = sheet_of(box(60, 60, 80, 80), hole)
    held = hold_islands(plain, 3.0)
    # Crossings on the rim lie on the grid: what is lost there is thinner than a point is wide.
    lost = held.sheet.shape.intersection(plain.holes).area
    assert lost < TOLERANCES.same_point * plain.holes.length
    assert [f.code for f in lost_findings(plain, held)] == ["registration.hole-weakens"]


def test_what_is_left_of_a_hatch_is_measured_in_small_parts():
    at = np.arange(20.0, 121.0, 4.0)
    lines = [*shapely.box(at, 18, at + 1, 122), *shapely.box(18, at, 122, at + 1)]
    plain = sheet_of(shapely.union_all(lines).union(box(5.5, 5.5, 6.5, 6.5)))
    held = hold_islands(plain, 1.5)
    assert shapely.get_num_coordinates(held.sheet.openings) > 5 * MOST_VERTICES
    assert lost_findings(plain, held) == []
    # The same with all strips so wide that they fill all lines: one finding for the hatch.
    gone = replace(
        held, sheet=replace(held.sheet, openings=as_multipolygon(box(5.5, 5.5, 6.5, 6.5)))
    )
    (finding,) = lost_findings(plain, gone)
    assert finding.code == "support.opening-lost"
