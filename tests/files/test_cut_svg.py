import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from shapely import LinearRing, LineString, MultiPolygon, Point, Polygon, box

from sheetstack.geometry.errors import GeometryError, WriteError
from sheetstack.geometry.files.cut_svg import cut_svg, inner_first, write_cut_svg

SVG = "{http://www.w3.org/2000/svg}"
SHEET = box(0, 0, 400, 500)


def paths(text, group):
    root = ET.fromstring(text.encode())
    found = root.find(f"{SVG}g[@id='{group}']")
    return [path.get("d") for path in found]


def points(d):
    return np.array(re.findall(r"(-?[\d.]+),(-?[\d.]+)", d), dtype=float)


def test_the_sheet_has_its_true_size():
    root = ET.fromstring(cut_svg([], SHEET, size_mm=(400, 500.5)).encode())
    assert root.get("width") == "400mm"
    assert root.get("height") == "500.5mm"
    assert root.get("viewBox") == "0 0 400 500.5"


def test_y_runs_downwards_in_the_file():
    (d,) = paths(cut_svg(box(10, 400, 30, 480), SHEET, size_mm=(400, 500)), "cut-openings")
    assert points(d).min(axis=0).tolist() == [10, 20]
    assert points(d).max(axis=0).tolist() == [30, 100]
    assert d.endswith("Z")


def test_each_loop_is_a_path_and_inner_ones_come_first():
    ring = Point(100, 100).buffer(50).difference(Point(100, 100).buffer(30))
    dot = Point(100, 100).buffer(10)
    text = cut_svg(MultiPolygon([ring, dot]), SHEET, size_mm=(400, 500))
    widths = [np.ptp(points(d)[:, 0]) for d in paths(text, "cut-openings")]
    assert widths == [20, 60, 100]


def test_groups_come_in_cutting_order():
    text = cut_svg(box(1, 1, 2, 2), SHEET, [LineString([(0, 5), (5, 5)])], size_mm=(400, 500))
    assert re.findall(r'<g id="([\w-]+)" class="([\w-]+)"', text) == [
        (name, name) for name in ("cut-marks", "cut-openings", "cut-outline")
    ]


def test_marks_may_be_open_lines_or_rings():
    marks = [LineString([(0, 500), (5, 500)]), LinearRing([(0, 0), (1, 0), (0, 1)])]
    first, second = paths(cut_svg([], SHEET, marks, size_mm=(400, 500)), "cut-marks")
    assert first == "M0.0000,0.0000 5.0000,0.0000"
    assert second.endswith("Z")


def test_arrays_rings_and_polygons_give_the_same_path():
    square = box(10, 10, 20, 30)
    texts = {
        cut_svg(given, SHEET, size_mm=(400, 500))
        for given in (
            square,
            [square],
            MultiPolygon([square]),
            [LinearRing(square.exterior)],
            [np.array(square.exterior.coords)],
            [np.array(square.exterior.coords)[:-1]],
            np.array(square.exterior.coords),
        )
    }
    assert len(texts) == 1


def test_title_and_names_are_escaped():
    text = cut_svg([], SHEET, size_mm=(4, 5), title="Fox & <hen>\x00", layer='"Mid"', note="t<1")
    root = ET.fromstring(text.encode())
    assert root.find(f"{SVG}title").text == 'Fox & <hen> - "Mid"'
    assert "t<1" in root.find(f"{SVG}desc").text


def test_there_is_no_fill_and_the_stroke_is_a_hairline():
    root = ET.fromstring(cut_svg(box(1, 1, 2, 2), SHEET, size_mm=(400, 500)).encode())
    assert root.get("fill") == "none"
    assert float(root.get("stroke-width")) == 0.1
    colours = [group.get("stroke") for group in root.findall(f"{SVG}g")]
    assert len(set(colours)) == 3


def test_points_equal_after_rounding_are_written_once_and_no_zero_is_negative():
    ring = np.array([[-1e-9, 500], [5, 500], [5.00001, 500], [5, 490]])
    (d,) = paths(cut_svg([ring], SHEET, size_mm=(400, 500)), "cut-openings")
    assert d == "M0.0000,0.0000 5.0000,0.0000 5.0000,10.0000Z"


def test_nesting_is_found_where_loops_touch_and_in_any_order():
    # Squares of side 1 to 6, all sharing the corner at the origin.
    squares = [np.array([[0, 0], [n, 0], [n, n], [0, n]], float) for n in (3, 1, 6, 2, 5, 4)]
    assert [loop.max() for loop in inner_first(squares)] == [1, 2, 3, 4, 5, 6]


def test_every_loop_precedes_those_around_it_on_random_nests():
    random = np.random.default_rng(7)
    loops = []
    for x in range(0, 60, 20):
        radii = np.sort(random.uniform(1, 9, 6))
        loops += [np.array(Point(x, 0).buffer(r).exterior.coords)[:-1] for r in radii]
    given = [loops[i] for i in random.permutation(len(loops))]
    ordered = [Polygon(loop) for loop in inner_first(given)]
    for i, earlier in enumerate(ordered):
        assert not any(earlier.contains(later) for later in ordered[i + 1 :])


@pytest.mark.parametrize("size", [(0, 5), (5, -1), (np.nan, 5), (np.inf, 5)])
def test_an_absurd_size_is_refused(size):
    with pytest.raises(GeometryError, match="positive size"):
        cut_svg([], SHEET, size_mm=size, layer="Shadow")


@pytest.mark.parametrize("loop", [[[0, 0], [1, 1]], [[0, 0], [1, 0], [np.nan, 1]]])
def test_a_broken_loop_is_refused(loop):
    with pytest.raises(GeometryError, match=r"'Shadow'.*at least 3 points"):
        cut_svg([np.array(loop, float)], SHEET, size_mm=(4, 5), layer="Shadow")


def test_writing_is_atomic_and_the_text_is_the_same(tmp_path):
    write_cut_svg(tmp_path / "a.svg", [], SHEET, size_mm=(400, 500), title="Füchse")
    expected = cut_svg([], SHEET, size_mm=(400, 500), title="Füchse")
    assert (tmp_path / "a.svg").read_bytes() == expected.encode()
    with pytest.raises(WriteError):
        write_cut_svg(tmp_path / "none" / "a.svg", [], SHEET, size_mm=(400, 500))
