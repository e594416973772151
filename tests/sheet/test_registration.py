"""Registration: a sheet laid wrongly does not go onto its pins."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import MultiPolygon, affinity, box

from sheetstack.geometry.fabricate.marks import edge_marks, pin_crosses
from sheetstack.geometry.finding import Severity
from sheetstack.geometry.job.sections import RegistrationSettings, SheetSettings
from sheetstack.geometry.sheet.registration import (
    holes,
    pin_centres,
    registration_findings,
    wrong_ways_that_fit,
)
from sheetstack.geometry.sheet.sheet import PlacedArtwork, make_sheet


def wrong_layings(shape, width, height):
    """The sheet laid wrongly on the same pins, by Shapely's own affine maps."""
    middle = (width / 2, height / 2)
    yield "turned by half", affinity.rotate(shape, 180, origin=middle)
    yield "flipped left to right", affinity.scale(shape, -1, 1, origin=middle)
    yield "flipped top to bottom", affinity.scale(shape, 1, -1, origin=middle)
    if width == height:
        turned = affinity.rotate(shape, 90, origin=middle)
        yield "turned by a quarter", turned
        yield "turned back by a quarter", affinity.rotate(shape, -90, origin=middle)
        yield "flipped over a diagonal", affinity.scale(turned, -1, 1, origin=middle)
        yield "flipped over the other", affinity.scale(turned, 1, -1, origin=middle)


@pytest.mark.parametrize("feature", ["holes", "notches"])
@pytest.mark.parametrize("size", [(400.0, 500.0), (300.0, 300.0), (600.0, 300.0), (60.0, 60.0)])
def test_a_sheet_laid_wrongly_meets_its_pins(feature, size):
    sheet = SheetSettings(width_mm=size[0], height_mm=size[1], margin_mm=5)
    settings = RegistrationSettings(hole_diameter_mm=5, inset_mm=10, feature=feature)
    taken = holes(settings, sheet)
    assert len(taken.geoms) == 3
    artwork = PlacedArtwork("a", MultiPolygon([box(20, 20, 40, 40)]), ())
    shape = make_sheet(artwork, sheet, taken)[0].shape
    pins = shapely.buffer(shapely.points(pin_centres(settings, sheet)), 2.4)
    assert shape.intersection(shapely.union_all(pins)).area < 1e-9
    for way, wrong in wrong_layings(shape, *size):
        assert wrong.intersection(shapely.union_all(pins)).area > 2, way
    assert wrong_ways_that_fit(settings, sheet) == ()


@given(
    st.floats(40, 2000),
    st.floats(40, 2000),
    st.floats(2, 10),
    st.sampled_from(["holes", "notches"]),
)
def test_no_sheet_size_lets_it_be_laid_wrongly(width, height, diameter, feature):
    sheet = SheetSettings(width_mm=width, height_mm=height)
    settings = RegistrationSettings(hole_diameter_mm=diameter, inset_mm=10, feature=feature)
    assert wrong_ways_that_fit(settings, sheet) == ()


def test_the_artists_own_symmetric_holes_are_told():
    sheet = SheetSettings(width_mm=200, height_mm=100)
    corners = ((10, 10), (190, 10), (10, 90), (190, 90))
    found = registration_findings(RegistrationSettings(hole_diameter_mm=5, holes_mm=corners), sheet)
    assert [f.code for f in found] == ["registration.fits-wrongly"]
    assert "turned by half or flipped left to right or flipped top to bottom" in found[0].message
    moved = (*corners[:3], (180, 90))
    assert (
        registration_findings(RegistrationSettings(hole_diameter_mm=5, holes_mm=moved), sheet) == ()
    )
    one = registration_findings(
        RegistrationSettings(hole_diameter_mm=5, holes_mm=((30, 30),)), sheet
    )
    assert [f.code for f in one] == ["registration.turns"]


def test_edge_marks_run_inwards_from_the_middles():
    marks = edge_marks(SheetSettings(width_mm=200, height_mm=100))
    assert [m[0].tolist() for m in marks] == [[100, 0], [100, 100], [0, 50], [200, 50]]
    assert all(box(0, 0, 200, 100).covers(shapely.LineString(m)) for m in marks)


def test_crosses_meet_in_the_pins_and_letters_stay_on_the_sheet():
    sheet = SheetSettings(width_mm=200, height_mm=150)
    settings = RegistrationSettings(hole_diameter_mm=5)
    crosses, letters = pin_crosses(settings, sheet)
    centres = np.array([np.mean(c, axis=0) for c in crosses[::2]])
    assert centres == pytest.approx(np.array(pin_centres(settings, sheet)))
    every = np.concatenate(letters)
    assert (every >= 0).all()
    assert (every <= (200, 150)).all()


@pytest.mark.parametrize(("diameter", "inset"), [(200, 10), (30, 10), (8, 4), (5, 0), (5, 2000)])
def test_holes_that_the_sheet_has_no_room_for_are_left_out_and_told(diameter, inset):
    """Cut by half they would leave horns at the edge, told as islands and narrow places."""
    sheet = SheetSettings(width_mm=140, height_mm=140)
    registration = RegistrationSettings(hole_diameter_mm=diameter, inset_mm=inset)
    assert holes(registration, sheet).is_empty
    told = registration_findings(registration, sheet)
    assert [f.code for f in told] == ["registration.hole-off-sheet"] * 3
    assert all(f.severity is Severity.SPOILS and "is left out" in f.message for f in told)


def test_holes_that_fit_are_cut_beside_one_that_does_not():
    sheet = SheetSettings(width_mm=140, height_mm=140)
    own = RegistrationSettings(hole_diameter_mm=6, holes_mm=((10, 10), (139, 70)))
    (hole,) = holes(own, sheet).geoms
    assert hole.centroid.coords[0] == pytest.approx((10, 10))
    (told,) = [f for f in registration_findings(own, sheet) if "left out" in f.message]
    assert "holes_mm" in told.message
