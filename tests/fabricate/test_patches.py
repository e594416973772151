"""Patches: they cover their bridge and solid sheet at its roots, and no opening."""

import numpy as np
import pytest
import shapely
from shapely import Polygon

from sheetstack.geometry.fabricate.patches import patch_for, patch_sheet, place_marks
from sheetstack.geometry.support.bridges import hold_islands


@pytest.fixture
def held(sheet_maker):
    ring = shapely.Point(60, 60).buffer(40).difference(shapely.Point(60, 60).buffer(20))
    return sheet_maker(ring)


@pytest.fixture
def sheet_maker():
    from shapely import MultiPolygon

    from sheetstack.geometry.job.sections import SheetSettings
    from sheetstack.geometry.planar.polygons import as_multipolygon
    from sheetstack.geometry.sheet.sheet import PlacedArtwork, make_sheet

    def make(shape):
        settings = SheetSettings(width_mm=120, height_mm=120, margin_mm=0)
        placed = PlacedArtwork("Layer", as_multipolygon(shape), ())
        return hold_islands(make_sheet(placed, settings, MultiPolygon())[0], 3.0)

    return make


def test_a_patch_covers_its_bridge_and_no_opening(held):
    assert held.bridges
    for number, bridge in enumerate(held.bridges, 1):
        patch = patch_for(bridge, held.sheet.shape, f"1.{number}", overlap=8.0)
        assert patch.shape.difference(held.sheet.shape).area < 1e-9
        crossing = bridge.shape.intersection(held.sheet.shape)
        assert crossing.difference(patch.shape).area < 1e-6 * crossing.area + 1e-9
        assert isinstance(patch.shape, Polygon)
        for end in bridge.path[[0, -1]]:
            grip = patch.shape.intersection(shapely.Point(end).buffer(8.0)).area
            assert grip > 30  # of the 201 mm2 of a whole pad


def test_patches_lie_apart_on_their_scrap_with_their_names(held):
    patches = [patch_for(b, held.sheet.shape, f"1.{k}") for k, b in enumerate(held.bridges, 1)] * 3
    scrap = patch_sheet(patches, 100.0)
    loops = [Polygon(p.points) for p in scrap.cuts.outline]
    assert len(loops) == len(patches)
    area = sum(p.shape.area + sum(Polygon(r).area for r in p.shape.interiors) for p in patches)
    assert shapely.union_all(loops).area == pytest.approx(area, rel=1e-9)
    every = np.concatenate([*(p.points for p in scrap.cuts.outline), *scrap.engraved])
    assert (every >= 0).all()
    assert (every <= scrap.size).all()
    assert scrap.engraved


def test_places_are_marked_by_outline_and_name(held):
    patch = patch_for(held.bridges[0], held.sheet.shape, "1.1")
    lines = place_marks([patch])
    assert Polygon(lines[0]).area == pytest.approx(Polygon(patch.shape.exterior).area)
    assert len(lines) > 3
