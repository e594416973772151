"""The assembly picture: tiles told apart by name and tint."""

import re
from itertools import combinations

import shapely
from shapely import box

from sheetstack.geometry.files.assembly_svg import assembly_svg
from sheetstack.geometry.planar.polygons import as_multipolygon


def test_tiles_that_border_on_each_other_have_different_tints():
    # Eight columns, as many as make tints repeat; rows of each column at heights of their own.
    tiles = []
    for column in range(8):
        low = 0.0
        heights = (100, 200 + 9 * (column % 3), 300 - 8 * (column % 2), 400)
        for row, high in zip("DCBA", heights, strict=True):
            shape = as_multipolygon(box(100 * column, low, 100 * column + 100, high))
            tiles.append((f"{row}{column + 1}", shape))
            low = high
    tiles.sort(key=lambda tile: (tile[0][0], int(tile[0][1:])))
    text = assembly_svg(tiles, (0, 0, 800, 400), "Wall")
    tints = re.findall(r'<path d="[^"]*" fill="(#\w+)"', text)
    assert len(tints) == len(tiles)
    borders = 0
    for (a, (_, one)), (b, (_, other)) in combinations(enumerate(tiles), 2):
        if shapely.length(one.intersection(other)) > 0:
            borders += 1
            assert tints[a] != tints[b]
    assert borders > 50
