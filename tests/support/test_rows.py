"""Bridges of neighbours in one line of lettering, measured on what is laid."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import matplotlib
import numpy as np
import pytest
import shapely
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from sheetstack.geometry.artwork.fill.contour import Contour
from sheetstack.geometry.artwork.fill.fill import fill
from sheetstack.geometry.mesh.islands import find_pieces
from sheetstack.geometry.support import rows as rows_module
from sheetstack.geometry.support.rows import neighbours

from ..small_builds import ink_built

FONT = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans-Bold.ttf"


#: One bridge holds a letter, however it is moved, and none faces it.
FIRM = "deflection_mm = 900\nsafety = 1\nhandling_load_n = 0.001\nsymmetry_percent = 0\n"


def letter(x, height, top, bottom):
    """Return an oval ring on the line y = 20, its arms thick as told above and below."""
    outer = shapely.affinity.scale(shapely.Point(x, 20 + height / 2).buffer(1), 20, height / 2)
    inner = shapely.affinity.scale(
        shapely.Point(x, 20 + bottom + (height - top - bottom) / 2).buffer(1),
        12,
        (height - top - bottom) / 2,
    )
    return outer - inner


def heights(shape, keys, size=(220, 100)):
    """Return the middle of each bridge, x and y, in the order of the letters."""
    (layer,) = ink_built(shape, size, keys).layers
    assert find_pieces(layer.mesh).islands == ()
    found = [b.path[1:3].mean(axis=0) for b in layer.bridges if b.kind == "bridge"]
    return np.array(sorted(found, key=lambda one: one[0]))


def test_level_bridges_of_neighbours_are_brought_to_one_height_within_the_price():
    row = shapely.union_all([letter(35, 60, 9, 13), letter(85, 54, 13, 9), letter(135, 60, 9, 13)])
    apart = heights(row, f'{FIRM}direction = "horizontal"\nrows_percent = 0')
    together = heights(row, f'{FIRM}direction = "horizontal"\nrows_percent = 30')
    assert len(apart) == len(together) == 3
    assert np.ptp(apart[:, 1]) > 1
    assert np.ptp(together[:, 1]) < 1e-6
    keys = FIRM.replace("symmetry_percent = 0", "symmetry_percent = 110")
    facing = heights(row, f'{keys}direction = "horizontal"')
    assert len(facing) == 6
    assert np.ptp(facing[:, 1]) < 1e-6


def test_upright_bridges_of_neighbours_are_at_the_same_end():
    one = f'{FIRM}direction = "vertical"\n'
    row = shapely.union_all([letter(35, 60, 9, 10), letter(85, 60, 10, 9), letter(135, 60, 9, 10)])
    apart = heights(row, f"{one}rows_percent = 0")
    together = heights(row, f"{one}rows_percent = 30")
    assert len(apart) == len(together) == 3
    assert np.ptp(apart[:, 1]) > 30
    assert np.ptp(together[:, 1]) < 3


def test_openings_of_many_bridges_are_no_letters(monkeypatch):
    row = shapely.union_all([letter(35, 60, 9, 13), letter(85, 54, 13, 9)])
    keys = f'{FIRM}direction = "horizontal"\nrows_percent = 30'
    assert np.ptp(heights(row, keys)[:, 1]) < 1e-6
    monkeypatch.setattr(rows_module, "MOST_BRIDGES", 0)
    assert np.ptp(heights(row, keys)[:, 1]) > 1


def test_lines_of_lettering_do_not_meddle_with_each_other():
    row = shapely.union_all([letter(35, 60, 9, 9), letter(85, 60, 9, 9)])
    rows = row.union(shapely.affinity.translate(letter(40, 54, 9, 9), 0, 70))
    found = heights(rows, 'direction = "horizontal"', (140, 170))
    assert len(np.unique(found[:, 1].round(6))) == 2
    assert neighbours(np.array([[0, 0, 4, 9], [0, 10, 4, 19.0]])) == [[], []]


@pytest.mark.parametrize(("direction", "least"), [("horizontal", 6), ("vertical", 6)])
def test_bridges_of_letters_line_up_more_than_without(direction, least):
    path = TextPath((10, 30), "bdopqbdO", size=60, prop=FontProperties(fname=str(FONT)))
    shape = fill([Contour(points) for points in path.to_polygons()], "nonzero").shape

    def agreeing(percent):
        keys = f'direction = "{direction}"\nrows_percent = {percent}'
        (layer,) = ink_built(shape, (460, 100), keys).layers
        letters = sorted(layer.plain_sheet.openings.geoms, key=lambda one: one.bounds[0])
        middles = [b.path[1:3].mean(axis=0) for b in layer.bridges]
        high = [[m[1] for m in middles if one.contains(shapely.Point(m))] for one in letters]
        near = 0.05 if direction == "horizontal" else 3.0
        pairs = pairwise(high)
        return sum(any(abs(a - b) <= near for a in p for b in q) for p, q in pairs), layer.damage

    without, cheap = agreeing(0)
    lined, price = agreeing(25)
    assert lined >= max(least, without)
    assert price <= 1.25 * cheap
