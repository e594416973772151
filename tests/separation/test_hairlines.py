"""Hairlines of a drawing: left out where no blade follows, kept where they make an area."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, box

from sheetstack.geometry.artwork.coloured import ColouredShape
from sheetstack.geometry.errors import ArtworkError
from sheetstack.geometry.separation.hairlines import without_hairlines
from sheetstack.geometry.separation.separate import read_and_separate
from sheetstack.geometry.separation.settings import SeparationSettings
from tests.separation.drawings import written

PAGE = (100.0, 80.0)
INK, RED = (0.0, 0.0, 0.0), (0.8, 0.1, 0.1)


def _shape(shape, rgb=INK):
    return ColouredShape(MultiPolygon(list(shapely.get_parts(shape))), rgb)


def _line(*points, width=0.2):
    return shapely.LineString(points).buffer(width / 2, cap_style="flat")


def _area(shapes):
    return sum(s.shape.area for s in shapes)


def test_a_line_of_a_fifth_of_a_millimetre_goes_and_one_that_can_be_cut_stays():
    fine, broad = _shape(_line((5, 5), (90, 60))), _shape(_line((5, 60), (90, 5), width=1.2))
    left, lost = without_hairlines([fine, broad], PAGE, 1.0)
    assert left == (broad,)
    assert lost.count == 1
    assert lost.area == pytest.approx(fine.shape.area)
    assert without_hairlines([broad], PAGE, 1.0) == ((broad,), None)


def test_a_fine_line_with_a_blot_in_it_stays_whole():
    both = _shape(_line((5, 5), (90, 60)).union(shapely.Point(50, 34).buffer(2)))
    assert without_hairlines([both], PAGE, 1.0) == ((both,), None)


def test_lines_side_by_side_that_make_an_area_stay():
    # A shade in steps of a fifth of a millimetre, each its own colour, as programs write blends.
    steps = [_shape(box(20 + x / 5, 20, 20.2 + x / 5, 50), (x / 200, 0.2, 0.4)) for x in range(200)]
    left, lost = without_hairlines(steps, PAGE, 1.0)
    assert _area(left) == pytest.approx(40 * 30)
    assert lost is None or lost.area == pytest.approx(0, abs=1e-6)
    # ... and alone what leads away from it goes.
    ray = _shape(_line((5, 35), (95, 35)))
    left, lost = without_hairlines([*steps, ray], PAGE, 1.0)
    assert _area(left) == pytest.approx(40 * 30 + 44 * 0.2, rel=0.002)
    assert lost.area == pytest.approx(46 * 0.2, rel=0.02)


def test_lines_that_others_hide_make_no_area():
    steps = [_shape(box(20 + x / 5, 20, 20.2 + x / 5, 50), (x / 200, 0.2, 0.4)) for x in range(200)]
    left, lost = without_hairlines([*steps, _shape(box(15, 15, 70, 55), RED)], PAGE, 1.0)
    assert len(left) == 1
    assert lost.area == pytest.approx(40 * 30)


def _leaves(stroke):
    # A wreath of leaves that lie over each other, each with an outline and a rib.
    rng = np.random.default_rng(5)
    leaves = "".join(
        f'<path transform="translate({x:.2f} {y:.2f}) rotate({a:.0f})" d="M0 0Q6 -5 12 0Q6 5 0 0Z'
        f'M0 0L12 0"/>'
        for x, y, a in np.column_stack(
            [rng.uniform(30, 270, 160), rng.uniform(30, 270, 160), rng.uniform(0, 360, 160)]
        )
    )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 300 300">'
        f'<g fill="#2f7d32" stroke="#101010" stroke-width="{stroke}">{leaves}</g></svg>'
    )


def test_an_engravers_outlines_leave_the_leaves_that_they_go_round(tmp_path):
    path = written(tmp_path, "leaves.svg", _leaves(0.15))
    separation = read_and_separate(path, SeparationSettings(sheet_width_mm=340))
    bare = written(tmp_path, "bare.svg", _leaves(0))
    plain = read_and_separate(bare, SeparationSettings(sheet_width_mm=340))
    assert [layer.colour for layer in separation.layers] == ["#2f7d32"]
    (own,), (wanted,) = separation.layers, plain.layers
    assert shapely.symmetric_difference(own.shape, wanted.shape).area < 0.001 * wanted.shape.area
    assert len(separation.seen.cells.cells) < 1.2 * len(plain.seen.cells.cells)
    told = [f for f in separation.findings if f.code == "separation.too-thin"]
    assert len(told) == 1
    assert "places too thin to be cut" in told[0].message


@pytest.mark.parametrize("width", [0.2, 0.4])
def test_a_drawing_of_nothing_but_hairlines_says_so(tmp_path, width):
    text = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 300 300"><path fill="none" '
        f'stroke="#a00" stroke-width="{width}" d="M10 10 290 200M50 50 100 280"/></svg>'
    )
    path = written(tmp_path, "fine.svg", text)
    with pytest.raises(ArtworkError, match="too thin to be cut on a page of 300 x 300 mm"):
        read_and_separate(path, SeparationSettings(sheet_width_mm=340))
