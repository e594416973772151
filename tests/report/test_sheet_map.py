import re
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Polygon

from sheetstack.geometry.finding import Finding, Severity
from sheetstack.geometry.report.data import report_data
from sheetstack.geometry.report.sheet_map import round_length, sheet_map

from ..small_builds import DISC, NESTED, RING, built


def maps_of(build):
    return [
        ElementTree.fromstring(sheet_map(layer, data))
        for layer, data in zip(build.layers, report_data(build)["layers"], strict=True)
    ]


def area_of(path, height=100):
    """Even-odd area of a map's path by Shapely."""
    loops = [np.array(m.split(), float).reshape(-1, 2) for m in re.findall("M([^Z]+)Z", path)]
    total = Polygon()
    for loop in loops:
        total = total.symmetric_difference(Polygon(loop))
    return total.area


def paths(root, kind):
    return [e.get("d") for e in root.iter("path") if e.get("class") == kind]


def test_map_shows_the_areas_of_the_sheet_that_is_cut():
    build = built({"Ring": RING, "Nested": NESTED})
    for layer, root in zip(build.layers, maps_of(build), strict=True):
        (opening,), (sheet,), (hole,) = (paths(root, k) for k in ("opening", "sheet", "hole"))
        assert area_of(opening) == pytest.approx(layer.sheet.openings.area, rel=0.01)
        assert area_of(sheet) == 100 * 100
        assert area_of(hole) == pytest.approx(layer.sheet.holes.area, rel=0.05)


def test_islands_are_outlined_and_numbered_as_in_the_report():
    build = built({"Nested": NESTED})
    (root,) = maps_of(build)
    areas = [area_of(d) for d in paths(root, "island")]
    expected = [i["area_mm2"] for i in report_data(build)["layers"][0]["islands_found"]]
    assert areas == pytest.approx(expected, rel=0.01)
    labels = [e.text for e in root.iter("text")]
    assert {"I1", "I2"} <= set(labels)
    assert len(paths(root, "bridge")) == 2


def test_up_is_up():
    (root,) = maps_of(built({"Disc": DISC}))
    (opening,) = paths(root, "opening")
    y = np.array(re.findall(r"[\d.]+", opening), float)[1::2]
    # The disc's middle is 30 mm above the lower edge; SVG's y points down.
    assert y.mean() == pytest.approx(70, abs=1)


def test_severities_differ_in_shape():
    found = tuple(
        Finding("x.y", severity, severity.name, place=(20 * k + 10, 80))
        for k, severity in enumerate(Severity)
    )
    (root,) = maps_of(built({"Disc": DISC}, findings=found))
    pins = [g for g in root.iter("g") if g.get("class", "").startswith("pin")]
    shapes = {g.get("class"): g.findall("path")[1].get("d") for g in pins}
    assert len(shapes) == len(set(shapes.values())) == 3
    assert {g.find("title").text for g in pins} == {"NOTE", "WARNING", "SPOILS"}


def test_labels_never_lie_on_each_other():
    found = tuple(Finding("x.y", Severity.NOTE, "Here.", place=(50, 50)) for _ in range(20))
    (root,) = maps_of(built({"Nested": NESTED}, findings=found))
    places = [(e.get("x"), e.get("y")) for e in root.iter("text")]
    assert len(places) == len(set(places))


def test_huge_sheets_are_thinned(monkeypatch):
    monkeypatch.setattr("sheetstack.geometry.report.sheet_map._MOST_POINTS", 4000)
    turn = np.linspace(0, 2 * np.pi, 100, endpoint=False)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    centres = np.stack(np.meshgrid(np.arange(15), np.arange(15)), axis=-1).reshape(-1, 1, 2)
    discs = MultiPolygon(list(shapely.polygons(12 * centres + 20 + 5 * circle)))
    (root,) = maps_of(built({"Dots": discs}, size=(210, 210)))
    (opening,) = paths(root, "opening")
    loops = [np.array(m.split(), float).reshape(-1, 2) for m in re.findall("M([^Z]+)Z", opening)]
    assert len(loops) == 225
    assert sum(len(loop) for loop in loops) <= 4000
    assert sum(Polygon(loop).area for loop in loops) == pytest.approx(discs.area, rel=0.05)


@pytest.mark.parametrize(
    ("most", "expected"), [(0.03, 0.02), (7, 5), (19.9, 10), (20, 20), (999, 500)]
)
def test_scale_bar_has_a_round_length(most, expected):
    assert round_length(most) == pytest.approx(expected)
