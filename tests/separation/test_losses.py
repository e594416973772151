"""What is told of colours that have no can of their own."""

from __future__ import annotations

import math

import pytest
import shapely

from sheetstack.geometry.separation.separate import read_and_separate
from sheetstack.geometry.separation.settings import SeparationSettings
from tests.separation.drawings import written

#: A coat of two near blues with a small badge; 300 mm wide on its sheet.
GUARD = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 300 300">
<rect x="20" y="20" width="260" height="130" fill="#1d3f86"/>
<rect x="20" y="150" width="260" height="130" fill="#3a63b8"/>
<circle cx="150" cy="150" r="12" fill="{badge}"/></svg>"""


def _told(tmp_path, code, badge="#1f8a86", **settings):
    path = written(tmp_path, "guard.svg", GUARD.format(badge=badge))
    found = read_and_separate(path, SeparationSettings(sheet_width_mm=340, **settings)).findings
    return [f for f in found if f.code == f"separation.{code}"]


def test_a_small_badge_that_turns_blue_is_told_in_words_with_its_area_and_place(tmp_path):
    (told,) = _told(tmp_path, "other-hue", cans=("#1d3f86", "#3a63b8"))
    area = math.pi * 12**2 / 100
    assert f"teal becomes blue ({area:.2g} cm2)" in told.message
    assert "More cans" in told.message
    assert math.dist(told.place, (150, 150)) < 12
    # It is less than a hundredth of what is seen: what tells of much that is off passes over it.
    assert not _told(tmp_path, "far-can", cans=("#1d3f86", "#3a63b8"))


def test_with_a_can_for_it_nothing_is_told(tmp_path):
    assert not _told(tmp_path, "other-hue", layers=3)
    assert not _told(tmp_path, "other-hue", cans=("#1d3f86", "#3a63b8", "#209090"))


def test_what_is_only_darker_is_no_other_hue(tmp_path):
    assert not _told(tmp_path, "other-hue", badge="#16306a", cans=("#3a63b8",))


def test_much_that_is_off_is_told_in_words_too(tmp_path):
    (told,) = _told(tmp_path, "far-can", cans=("#f7d021", "#36963f"))
    assert told.message.startswith("100 % of") or told.message.startswith("99 % of")
    assert "most of all the dark blue #1d3f86, for which the green #36963f stands" in told.message


@pytest.mark.parametrize("layers", [1, 2])
def test_the_badge_stands_for_the_wall_where_that_is_nearest(tmp_path, layers):
    told = _told(tmp_path, "other-hue", badge="#f3e3a0", cans=("#1d3f86", "#3a63b8")[:layers])
    assert len(told) == 1
    assert "light yellow becomes bare wall" in told[0].message


#: A black frame about a yellow field, 300 mm wide on its sheet, with a spot of the wall's colour.
SPOT = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 300 300">
<rect x="20" y="20" width="260" height="260" fill="#222222"/>
<rect x="60" y="60" width="150" height="180" fill="#f5c518"/>
<circle cx="245" cy="150" r="{radius}" fill="#ffffff"/></svg>"""


def _spotted(tmp_path, radius, **settings):
    path = written(tmp_path, "spot.svg", SPOT.format(radius=radius))
    found = read_and_separate(path, SeparationSettings(sheet_width_mm=340, **settings))
    told = {f.code: f for f in found.findings}
    return found, told


def test_a_crumb_of_the_wall_is_painted_over_and_told_instead_of_getting_a_sheet(tmp_path):
    # Less than a square of a bridge's width: the bridges that hold it would spoil more.
    found, told = _spotted(tmp_path, 1.0)
    assert [layer.colour for layer in found.layers] == ["#222222", "#f5c518"]
    assert found.plan.islands == 0
    crumbs = told["separation.crumbs"]
    assert "1 crumb of bare wall, 3.1" in crumbs.message
    assert math.dist(crumbs.place, (245, 150)) < 1
    painted = found.layers[0].shape
    assert painted.covers(shapely.Point(245, 150))


def test_a_spot_worth_its_bridges_is_kept(tmp_path):
    found, told = _spotted(tmp_path, 12.0)
    assert "separation.crumbs" not in told
    white = [layer for layer in found.layers if layer.colour == "#ffffff"]
    assert white or not found.layers[0].shape.covers(shapely.Point(245, 150))


def test_a_layer_in_the_walls_colour_is_told_where_no_can_has_it(tmp_path):
    cans = ("#222222", "#f5c518")
    eyes = SPOT.replace("</svg>", '<circle cx="40" cy="150" r="9" fill="#ffffff"/></svg>')
    eyes = eyes.replace("</svg>", '<circle cx="130" cy="150" r="9" fill="#ffffff"/></svg>')
    path = written(tmp_path, "eyes.svg", eyes.format(radius=12))

    def told(*own):
        found = read_and_separate(path, SeparationSettings(sheet_width_mm=340, cans=own))
        assert any(layer.can < 0 or layer.colour == "#fefefe" for layer in found.layers)
        return [f.message for f in found.findings if f.code == "separation.wall-paint"]

    (message,) = told(*cans)
    assert "Layer White covers in the colour of the wall, #ffffff" in message
    assert not told(*cans, "#fefefe")
    assert not told()


def test_lines_that_are_lost_are_told_with_their_width_and_the_sheet_that_keeps_them(tmp_path):
    lines = "".join(f'<path d="M30 {y}H270"/>' for y in range(30, 271, 30))
    text = GUARD.format(badge="#3a63b8").replace(
        "</svg>", f'<g fill="none" stroke="#e0242e" stroke-width=".2">{lines}</g></svg>'
    )
    path = written(tmp_path, "lined.svg", text)

    def told(width):
        found = read_and_separate(path, SeparationSettings(sheet_width_mm=width))
        red = [layer for layer in found.layers if layer.colour == "#e0242e"]
        return {f.code: f.message for f in found.findings}, red

    # The page is as wide as the sheet less its margins: 0.2 mm stay so.
    few, red = told(340)
    assert not red
    assert (
        "9 places too thin to be cut, 432 mm2 in all and about 0.2 mm wide"
        in few["separation.too-thin"]
    )
    assert "a sheet about 5 times as wide keeps them" in few["separation.too-thin"]
    gone = "All that is drawn in the red #e0242e is too thin to be cut: no sheet has that colour."
    assert few["separation.colour-gone"] == gone
    # And it does.
    more, red = told(5.1 * 340)
    assert red
    assert "separation.colour-gone" not in more


def test_how_many_layers_keep_the_colours_is_told_and_holds(tmp_path):
    told = _told(tmp_path, "far-can", badge="#f7d021", layers=1)
    assert told[0].message.endswith(" 2 layers keep it.")
    assert not _told(tmp_path, "far-can", badge="#f7d021", layers=2)
