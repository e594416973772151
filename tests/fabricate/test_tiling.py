"""Tiles: put together they are the sheet, each fits the bed, seams keep off bridges."""

from itertools import combinations

import pytest
import shapely
from shapely import affinity, box

from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.fabricate.tiling import split_for_bed
from sheetstack.geometry.job.sections import TileSettings
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.planar.snapping import FINEST

BED = (90.0, 70.0)

#: Share of a sheet's area by which snapping to the grid may move all its edges together.
SNAPPED = 5e-6


def split(shape, bed=BED, narrow=3.0, **settings):
    shape = as_multipolygon(shape)
    return split_for_bed(
        shape, box(*shape.bounds), bed, TileSettings(**settings), narrow=narrow, layer="Shadow"
    )


@pytest.mark.parametrize("joint", ["puzzle", "lap", "butt"])
@pytest.mark.parametrize("seed", range(4))
def test_tiles_and_joints_together_are_the_sheet(sheet_of_seed, joint, seed):
    sheet = sheet_of_seed(seed)
    tiling = split(sheet, joint=joint)
    assert len(tiling.tiles) > 3
    for level in (0, 1):
        exact = [t.exact[level] for t in tiling.tiles]
        made = [(t.lower, t.upper)[level] for t in tiling.tiles]
        together = shapely.union_all(exact)
        assert together.symmetric_difference(sheet).area < SNAPPED * sheet.area
        assert sum(e.area for e in exact) == pytest.approx(sheet.area, rel=1e-6)
        joints = tiling.joints[level].near(sheet).intersection(sheet)
        with_joints = shapely.union_all([*made, joints])
        assert with_joints.symmetric_difference(sheet).area < SNAPPED * sheet.area
        # Minus joints: nothing of a tile lies in a joint, so the sum is the sheet's.
        assert sum(m.area for m in made) + joints.area == pytest.approx(sheet.area, rel=SNAPPED)


@pytest.mark.parametrize("joint", ["puzzle", "lap"])
def test_every_tile_fits_the_bed_with_its_margin(sheet_of_seed, joint):
    for seed in range(4):
        for tile in split(sheet_of_seed(seed), joint=joint).tiles:
            x0, y0, x1, y1 = tile.shape.bounds
            assert min(x1 - x0, y1 - y0) <= 64 + 1e-6
            assert max(x1 - x0, y1 - y0) <= 84 + 1e-6


def test_neighbours_keep_the_clearance_and_hold_each_other():
    tiling = split(box(0, 0, 150, 60), clearance_mm=0.2)
    a, b = (t.shape for t in tiling.tiles)
    assert a.distance(b) == pytest.approx(0.2, abs=2 * FINEST)
    # A dovetail cannot be pulled out in the plane, only lifted.
    for pull in (1.0, 2.0, 3.0):
        assert affinity.translate(b, pull, 0).intersection(a).area > 0.05
    assert [t.keys for t in tiling.tiles] == [1, 1]


def test_butted_tiles_can_be_pulled_apart():
    a, b = (t.shape for t in split(box(0, 0, 150, 60), joint="butt").tiles)
    assert affinity.translate(b, 1.0, 0).intersection(a).area == 0


def test_laps_overlap_by_their_width():
    tiling = split(box(0, 0, 150, 60), joint="lap", key_depth_mm=6, clearance_mm=0)
    a, b = tiling.tiles
    assert a.shape.intersection(b.shape).area == pytest.approx(6 * 60)
    for one, other in combinations(tiling.tiles, 2):
        assert one.lower.intersection(other.lower).area < 1e-9
        assert one.upper.intersection(other.upper).area < 1e-9


def test_a_seam_goes_round_a_bridge_where_it_can():
    # A wide opening with a bridge of 2 mm where a straight middle seam would run along it.
    opening = box(20, 10, 140, 50).difference(box(79, 10, 81, 50))
    tiling = split(box(0, 0, 160, 60).difference(opening))
    bridge = box(79, 10, 81, 50)
    assert all(not seam.intersects(bridge) for seam in tiling.seams)
    assert tiling.findings == ()


def test_a_seam_that_must_cross_bridges_is_told_with_its_place():
    # Bridges all the way across both bands: nothing else is left.
    bars = shapely.union_all([box(8, y, 152, y + 8) for y in range(4, 54, 10)])
    tiling = split(box(0, 0, 160, 60).difference(bars))
    told = [f for f in tiling.findings if f.code == "tiles.seam-through-neck"]
    assert told
    assert all(8 < f.place[0] < 152 for f in told)


def test_a_sheet_that_fits_either_way_round_stays_whole():
    sheet = box(0, 0, 60, 80)
    tiling = split(sheet)
    assert [t.name for t in tiling.tiles] == [""]
    assert tiling.tiles[0].shape.equals(sheet)
    assert tiling.seams == ()


def test_tiles_are_named_from_the_top_left():
    names = [t.name for t in split(box(0, 0, 150, 110)).tiles]
    assert names == ["A1", "A2", "B1", "B2"]


def test_a_bed_too_small_for_joints_is_refused():
    with pytest.raises(GeometryError, match="Shadow: a bed of 30 x 30 mm is too small"):
        split(box(0, 0, 200, 200), bed=(30, 30))


def test_rows_after_z_are_named_with_two_letters_in_reading_order():
    tiling = split(box(0, 0, 20, 1100), bed=(46.0, 46.0), joint="butt")
    names = [tile.name for tile in tiling.tiles]
    assert names[0] == "A1"
    assert names[25:28] == ["Z1", "AA1", "AB1"]
    tops = [tile.shape.bounds[3] for tile in tiling.tiles]
    assert tops == sorted(tops, reverse=True)
