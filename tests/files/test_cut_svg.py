import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from shapely import Point, box

from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.fabricate.cut_sheet import CutSheet
from sheetstack.geometry.fabricate.kerf import CutPath, CutPaths, cut_paths
from sheetstack.geometry.files.cut_svg import cut_svg
from sheetstack.geometry.planar.snapping import grid_of, snapped

SVG = "{http://www.w3.org/2000/svg}"
SHEET = box(0, 0, 400, 500)


def sheet(shape=SHEET, size=(400, 500), name="Base", **more):
    return CutSheet(name, size, cut_paths(shape, 0.0), **more)


def paths(text, group):
    root = ET.fromstring(text.encode())
    found = root.find(f"{SVG}g[@id='{group}']")
    return [path.get("d") for path in found]


def points(d):
    return np.array(re.findall(r"(-?[\d.]+),(-?[\d.]+)", d), dtype=float)


def test_the_sheet_has_its_true_size():
    root = ET.fromstring(cut_svg(sheet(size=(400, 500.5))).encode())
    assert root.get("width") == "400mm"
    assert root.get("height") == "500.5mm"
    assert root.get("viewBox") == "0 0 400 500.5"


def test_a_size_between_the_points_of_the_grid_grows_no_margin():
    """The plate is rounded to its grid: 253.33333 to 253.33337 mm."""
    size = (280.0, 253.333333)
    plate = snapped(box(0, 0, *size), grid_of(max(size)))
    assert plate.bounds[3] > size[1]
    one = CutSheet("Base", size, cut_paths(plate, 0.0))
    assert ET.fromstring(cut_svg(one).encode()).get("viewBox") == "0 0 280 253.3333"
    with_kerf = CutSheet("Base", size, cut_paths(plate, 0.2))
    assert ET.fromstring(cut_svg(with_kerf).encode()).get("viewBox") == "-1 -1 282 255.3333"


def test_y_runs_downwards_in_the_file():
    (d,) = paths(cut_svg(sheet(SHEET.difference(box(10, 400, 30, 480)))), "cut-openings")
    assert points(d).min(axis=0).tolist() == [10, 20]
    assert points(d).max(axis=0).tolist() == [30, 100]
    assert d.endswith("Z")


def test_each_loop_is_a_path_and_inner_ones_come_first():
    ring = Point(100, 100).buffer(50).difference(Point(100, 100).buffer(30))
    dot = Point(100, 100).buffer(10)
    text = cut_svg(sheet(SHEET.difference(ring).difference(dot)))
    widths = [np.ptp(points(d)[:, 0]) for d in paths(text, "cut-openings")]
    assert widths == [20, 60, 100]


def test_groups_come_in_cutting_order():
    text = cut_svg(sheet(marked=(np.array([[0.0, 5], [5, 5]]),)))
    assert re.findall(r'<g id="([\w-]+)" class="([\w-]+)"', text) == [
        (name, name) for name in ("engrave", "cut-marks", "cut-openings", "cut-outline")
    ]


def test_lines_to_draw_and_to_engrave_stay_open():
    line = np.array([[0.0, 500], [5, 500]])
    text = cut_svg(sheet(marked=(line,), engraved=(line,)))
    assert paths(text, "cut-marks") == ["M0.00000,0.00000 5.00000,0.00000"]
    assert paths(text, "engrave") == ["M0.00000,0.00000 5.00000,0.00000"]


def test_title_and_names_are_escaped():
    text = cut_svg(sheet(name='"Mid"'), title="Fox & <hen>\x00", note="t<1")
    root = ET.fromstring(text.encode())
    assert root.find(f"{SVG}title").text == 'Fox & <hen> - "Mid"'
    assert "t<1" in root.find(f"{SVG}desc").text


def test_there_is_no_fill_and_the_stroke_is_a_hairline():
    root = ET.fromstring(cut_svg(sheet()).encode())
    assert root.get("fill") == "none"
    assert float(root.get("stroke-width")) == 0.1
    colours = [group.get("stroke") for group in root.findall(f"{SVG}g")]
    assert len(set(colours)) == 4


def of_points(ring, size=(400, 500)):
    path = CutPath(np.array(ring, float), np.empty((0, 2)))
    return CutSheet("Shadow", size, CutPaths((path,), (), ()))


def test_points_equal_after_rounding_are_written_once_and_no_zero_is_negative():
    ring = [[-1e-9, 500], [5, 500], [5.000001, 500], [5, 490]]
    (d,) = paths(cut_svg(of_points(ring)), "cut-openings")
    assert d == "M0.00000,0.00000 5.00000,0.00000 5.00000,10.00000Z"


@pytest.mark.parametrize("size", [(0, 5), (5, -1), (np.nan, 5), (np.inf, 5)])
def test_an_absurd_size_is_refused(size):
    with pytest.raises(GeometryError, match=r"'Shadow'.*positive size"):
        cut_svg(of_points([[0, 0], [1, 0], [0, 1]], size))


def test_a_point_that_is_not_finite_is_refused():
    with pytest.raises(GeometryError, match=r"'Shadow'.*not finite"):
        cut_svg(of_points([[0, 0], [1, 0], [np.nan, 1]]))
