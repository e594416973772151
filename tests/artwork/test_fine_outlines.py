"""Outlines drawn finer than any tool cuts."""

import numpy as np
import pytest
import shapely

from sheetstack.geometry.artwork.fine_outlines import MOST_CORNERS, without_fine_corners
from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.tolerance import TOLERANCES


def teeth(count, high, pitch):
    """A comb: two corners up, two down, on a strip 1 mm high."""
    x = np.repeat(np.arange(count // 2), 2)[:count] * pitch
    y = np.where(np.arange(count) % 4 < 2, 1.0, 1.0 + high)
    return shapely.Polygon([*zip(x, y, strict=True), (x[-1], 0), (0, 0)])


def moved(before, after):
    """How far corners of an outline lie off another one, in mm; some of many are asked."""
    points = shapely.points(shapely.get_coordinates(before)[::97])
    return float(shapely.distance(points, after.boundary).max())


def test_what_is_drawn_as_curves_are_is_left_as_it_is():
    # 60,000 corners, 0.02 mm apart.
    disc = np.array([shapely.Point(0, 0).buffer(191, 15_000)])
    assert without_fine_corners(disc, TOLERANCES) == (disc, None)


def test_corners_that_nothing_hangs_on_go_and_it_is_told():
    disc = np.array([shapely.Point(0, 0).buffer(40, 12_500)])
    (thinned,), told = without_fine_corners(disc, TOLERANCES)
    assert shapely.get_num_coordinates(thinned) < 1000
    assert thinned.is_valid
    assert moved(disc[0], thinned) <= 1e-3 + 1e-12
    assert abs(thinned.area / disc[0].area - 1) < 1e-4
    assert told.code == "artwork.fine-outlines"
    assert told.message.startswith("Outlines with 50001 corners, 0.005 mm apart")


def test_many_teeth_are_left_out_in_time_that_grows_with_their_number_only():
    # Simplified in one go, each tooth is found after all those before it: minutes, and a stack as
    # deep as there are teeth.
    comb = np.array([teeth(100_000, 0.004, 0.0006)])
    (thinned,), told = without_fine_corners(comb, TOLERANCES)
    assert shapely.get_num_coordinates(thinned) < MOST_CORNERS
    assert moved(comb[0], thinned) <= 0.008
    assert told.message.endswith("no outline moved by more than 0.002 mm.")


def test_teeth_longer_than_a_tool_is_wide_are_kept():
    comb = np.array([teeth(60_000, 0.06, 0.0006)])
    (thinned,), _ = without_fine_corners(comb, TOLERANCES)
    assert thinned.area == pytest.approx(comb[0].area, rel=1e-3)


def test_two_banks_of_a_fine_channel_do_not_cross():
    x = np.linspace(0, 12, 60_001)
    bank = np.stack([x, 0.5 * np.sin(40 * x)], axis=1)
    upper = np.concatenate([bank + [0, 0.0007], [[12, 5], [0, 5]]])
    lower = np.concatenate([bank, [[12, -5], [0, -5]]])
    both = np.array([shapely.Polygon(upper), shapely.Polygon(lower)])
    thinned, told = without_fine_corners(both, TOLERANCES)
    assert told is not None
    assert shapely.MultiPolygon(list(thinned)).is_valid


def test_a_drawing_is_thinned_by_its_reader_at_the_size_of_the_sheet(tmp_path):
    turn = np.linspace(0, 2 * np.pi, 60_000, endpoint=False)
    corners = 50 + 40 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    path = tmp_path / "disc.svg"
    points = "L".join(f"{x:.5f} {y:.5f}" for x, y in corners)
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" '
        f'viewBox="0 0 100 100"><path d="M{points}Z"/></svg>'
    )
    small = read_artwork(ArtworkSource(path))
    assert [f.code for f in small.findings] == ["artwork.fine-outlines"]
    assert small.shape.area == pytest.approx(np.pi * 40**2, rel=1e-4)
    large = read_artwork(ArtworkSource(path, scale=5.0))
    assert [f.code for f in large.findings] == []
    assert shapely.get_num_coordinates(large.shape) == 60_001
