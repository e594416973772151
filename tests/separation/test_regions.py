"""Regions: cells of one colour that hang together, without what is too thin to be cut."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.affinity import affine_transform

from sheetstack.geometry.separation.regions import _is_thin
from sheetstack.geometry.separation.separate import read_and_separate
from sheetstack.geometry.separation.settings import SeparationSettings
from tests.separation.drawings import written


def test_crumbs_between_two_shapes_that_nearly_meet_leave_no_regions(tmp_path):
    # Two edges that wind about each other within a hundredth of a mm, as drawing programs write
    # the same edge twice: dark crumbs show between them, others overlap.
    rng = np.random.default_rng(4)
    y = np.linspace(0, 100, 400)
    left, right = (
        " ".join(f"{50 + off:.5f} {at:.4f}" for at, off in zip(y, offs, strict=True))
        for offs in rng.normal(0, 0.004, (2, len(y)))
    )
    text = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">'
        '<rect width="100" height="100" fill="#101010"/>'
        f'<path d="M0 0L{left}L0 100Z" fill="#d03020"/>'
        f'<path d="M100 0L{right}L100 100Z" fill="#2060c0"/></svg>'
    )
    path = written(tmp_path, "crumbs.svg", text)
    separation = read_and_separate(path, SeparationSettings(sheet_width_mm=340))
    assert len(separation.seen.cells.cells) > 200
    assert len(separation.regions.shapes) == 2
    assert separation.plan.islands == 0


@pytest.mark.parametrize("seed", range(4))
def test_an_intricate_shape_is_thin_where_shrinking_it_whole_leaves_nothing(seed):
    rng = np.random.default_rng(seed)
    lines = shapely.linestrings(np.cumsum(rng.normal(0, 3, (12, 60, 2)), axis=1) + 50)
    web = shapely.union_all(shapely.buffer(lines, rng.uniform(0.1, 0.3, 12), quad_segs=2))
    assert shapely.get_num_coordinates(web) > 1000
    web = affine_transform(web, (0.9, 0.1, -0.1, 0.9, 0, 0))
    asked = np.linspace(0.1, 1.2, 8)
    whole = [web.buffer(-radius, quad_segs=4).is_empty for radius in asked]
    assert [_is_thin(web, radius) for radius in asked] == whole
    assert not whole[0]
