"""A part of the painted picture, made by itself, has the pixels of the whole."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import box

from sheetstack.geometry.paint.compositing import painted_picture
from sheetstack.geometry.paint.patch import painted_patch

from ..small_builds import DISC, RING, built


@pytest.fixture(scope="module")
def build():
    return built({"Ring": RING, "Disc": DISC.union(box(20, 50, 90, 62))})


@pytest.mark.parametrize("around", [(20, 40, 60, 70), (33.3, 20.1, 61.7, 33.3), (-5, -5, 30, 200)])
@pytest.mark.parametrize("pixels", [100, 333])
def test_a_patch_is_a_part_of_the_picture(build, around, pixels):
    whole = painted_picture(build, pixels)
    patch = painted_patch(build, {}, around, pixels)
    rows, columns = patch.pixels.shape[:2]
    part = whole[patch.row : patch.row + rows, patch.column : patch.column + columns]
    # Sums of edges differ in rounding, which is one step of 255 at most.
    assert np.abs(part.astype(int) - patch.pixels).max() <= 1
    assert len(np.unique(part.reshape(-1, 3), axis=0)) > 1


def test_other_openings_show_within_their_box_only(build):
    before = painted_picture(build, 200)
    spot = box(70, 25, 80, 35)
    openings = build.layers[1].sheet.openings.difference(spot)
    patch = painted_patch(build, {build.layers[1].sheet.layer: openings}, spot.bounds, 200)
    after = before.copy()
    rows, columns = patch.pixels.shape[:2]
    after[patch.row : patch.row + rows, patch.column : patch.column + columns] = patch.pixels
    assert (after[130:150, 140:160] == after[140, 150]).all()
    changed = np.argwhere((after != before).any(axis=2))
    assert changed.min(axis=0).tolist() == [130, 140]
    assert changed.max(axis=0).tolist() == [149, 159]
