"""Bridges beside the corners of a drawing, measured on what is cut."""

from __future__ import annotations

from pathlib import Path

import matplotlib
import numpy as np
import pytest
import shapely
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from sheetstack.geometry.artwork.fill.contour import Contour
from sheetstack.geometry.artwork.fill.fill import fill
from sheetstack.geometry.support.corners import CLEAR, Corners
from sheetstack.geometry.support.gaps import Gaps

from ..small_builds import ink_built

FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
WIDTH = 2.0


def disorder(start_x, end_x=None):
    """Return the disorder of an upright bridge below a square counter, 40 wide."""
    pieces = [
        shapely.box(0, 0, 100, 100) - shapely.box(20, 20, 80, 80),
        shapely.box(30, 30, 70, 70),
    ]
    rings, owner = shapely.get_rings(pieces, return_index=True)
    start = np.array([[start_x, 30.0]])
    end = np.array([[start_x if end_x is None else end_x, 20.0]])
    gaps = Gaps(np.array([[1, 0]]), start, end, np.hypot(*(end - start).T))
    return float(Corners(rings, owner, WIDTH).disorder(gaps)[0])


def test_a_bridge_is_tidy_where_it_is_clear_of_corners_or_flush_with_them():
    assert disorder(50) == 0
    assert disorder(30 + WIDTH / 2) == 0
    assert disorder(30 + WIDTH / 2 + CLEAR * WIDTH) == 0


def test_a_bridge_that_bites_into_a_stem_or_leaves_a_tooth_is_not():
    bite, tooth = disorder(30 + 0.2 * WIDTH), disorder(30 + 0.7 * WIDTH)
    assert 0.3 < bite < 1
    assert tooth > 0.8
    assert disorder(30 + 1.5 * WIDTH) < tooth


def test_chords_of_curves_are_no_corners():
    ring = shapely.Point(0, 0).buffer(30, quad_segs=24)
    rings, owner = shapely.get_rings([ring], return_index=True)
    assert len(Corners(rings, owner, WIDTH).near([ring], 5)[1]) == 0


def steps_beside(opening, bridge, reach):
    """Return how far from a bridge's nearer side the opening's height jumps, as at a stem."""
    (x, low), (_, high) = bridge.path[1:3]
    at = np.arange(x - reach, x + reach, 0.02)
    middle = (low + high) / 2
    lines = shapely.linestrings([[(a, -500), (a, 900)] for a in at.tolist()])
    height = np.zeros(len(at))
    for number, cut in enumerate(shapely.intersection(lines, opening)):
        for part in shapely.get_parts(cut):
            ends = shapely.get_coordinates(part)[:, 1]
            if ends.min() <= middle <= ends.max():
                height[number] = np.ptp(ends)
    jumps = at[1:][np.abs(np.diff(height)) > 4]
    return np.abs(np.abs(jumps - x) - bridge.width / 2)


@pytest.mark.parametrize("font", ["DejaVuSans-Bold.ttf", "DejaVuSerif-Bold.ttf"])
def test_upright_bridges_of_letters_with_stems_leave_neither_bites_nor_teeth(font):
    path = TextPath((10, 30), "BDRbdae", size=90, prop=FontProperties(fname=str(FONTS / font)))
    shape = fill([Contour(points) for points in path.to_polygons()], "nonzero").shape
    (layer,) = ink_built(shape, (700, 140), 'direction = "vertical"').layers
    bridges = [b for b in layer.bridges if b.kind == "bridge"]
    assert len(bridges) >= 8
    for bridge in bridges:
        beside = steps_beside(layer.plain_sheet.openings, bridge, 4.0)
        # Flush with the stem, to the step of 0.02 mm, or half a width from it at least.
        assert ((beside < 0.05) | (beside > 1.0)).all(), bridge.path
