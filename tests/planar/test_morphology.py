import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, box

from sheetstack.geometry.planar.morphology import ErodedSheet
from sheetstack.geometry.planar.polygons import as_multipolygon, piece_of

from ..random_sheets import random_shape, sheet_of


@pytest.mark.parametrize("seed", range(20))
def test_erosion_of_a_sheet(seed):
    sheet = sheet_of(random_shape(seed))
    openings = as_multipolygon(sheet.outline.difference(sheet.shape))
    core = ErodedSheet(sheet.outline, 1.5).of(openings)
    # Shapely's own offset with many segments a quarter stands for the true one, but for hollows
    # shallower than 1 % of the distance, which GEOS leaves out.
    worn = sheet.shape.buffer(-1.5, quad_segs=64)
    assert core.is_valid
    assert core.difference(worn.buffer(0.015)).area < 1e-6
    assert core.area == pytest.approx(worn.area, rel=2e-3)


def test_a_strip_under_the_width_has_no_core():
    plate = box(0, 0, 100, 100)
    cut = MultiPolygon([box(10, 10, 49, 90), box(51, 10, 90, 90)])  # 2 mm of sheet between
    assert len(ErodedSheet(plate, 0.99).of(cut).geoms) == 1
    assert ErodedSheet(plate, 0.99).of(cut).contains(shapely.points(50, 50))
    assert not ErodedSheet(plate, 1.01).of(cut).intersects(shapely.points(50, 50))


def test_core_follows_changed_openings():
    plate = box(0, 0, 100, 100)
    core = ErodedSheet(plate, 1.0)
    one = MultiPolygon([box(10, 10, 20, 20)])
    two = MultiPolygon([box(10, 10, 20, 20), box(50, 50, 60, 60)])
    assert core.of(two).area < core.of(one).area
    assert core.of(one).equals(ErodedSheet(plate, 1.0).of(one))


def test_piece_of_a_point():
    pieces = np.array([box(0, 0, 1, 1), box(2, 0, 3, 1)], object)
    points = shapely.points([(2.5, 0.5), (0.5, 0.5), (1.5, 0.5)])
    assert piece_of(points, pieces).tolist() == [1, 0, -1]
