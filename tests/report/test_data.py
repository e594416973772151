import json

import pytest
import shapely
from shapely import Point

from sheetstack.geometry.artwork.read import Artwork
from sheetstack.geometry.finding import Finding, Severity
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.report.data import report_data

from ..small_builds import DISC, HEAD, LAYER, NESTED, RING, built, built_from


def test_report_is_plain_json_that_survives_a_round_trip():
    data = report_data(built({"Ring": RING, "Disc": DISC}))
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    assert data["schema"] == 1


def test_areas_add_up_to_the_sheet():
    build = built({"Ring": RING, "Nested": NESTED})
    for layer, built_layer in zip(report_data(build)["layers"], build.layers, strict=True):
        holes = built_layer.sheet.holes.area
        assert layer["sheet_mm2"] + layer["painted_mm2"] + holes == pytest.approx(100 * 100)
        assert layer["painted_mm2"] + layer["bridges_mm2"] == pytest.approx(
            layer["artwork_mm2"], rel=1e-6
        )
        # Reference: Shapely's areas of the shapes themselves.
        assert layer["painted_mm2"] == pytest.approx(shapely.area(built_layer.sheet.openings))
        assert layer["volume_mm3"] == pytest.approx(layer["sheet_mm2"] * 0.35, rel=1e-6)
        # Polyester's density in the table is 1.39 g/cm3.
        assert layer["mass_g"] == pytest.approx(layer["volume_mm3"] * 1.39e-3)


def test_strips_that_lie_over_each_other_count_once():
    """Two bridges drawn 1 mm apart, wider than that; by Shapely's union of the strips."""
    text = HEAD.format(title="Twice", width=100, height=100, hole=0)
    text += LAYER.format(name="Ring", role="shadow", colour="#101820", number=0)
    text += "bridges_mm = [[[40, 80], [40, 90]], [[41, 80], [41, 90]]]\n"
    area = as_multipolygon(RING.difference(Point(16, 60).buffer(0.1)))
    build = built_from(parse_job(text), [Artwork(area, (100.0, 100.0), ())])
    (layer,) = report_data(build)["layers"]
    (sheets,) = build.layers
    strips = shapely.union_all([b.shape for b in sheets.bridges])
    twice = sum(b["covers_mm2"] for b in layer["bridges"])
    once = strips.intersection(sheets.plain_sheet.openings).area
    assert once < twice - 0.5
    assert layer["bridges_mm2"] == pytest.approx(once, abs=0.05)
    let_go = sum(island["area_mm2"] for island in layer["islands_let_go"])
    drawn = layer["artwork_mm2"] + let_go
    assert layer["painted_mm2"] + layer["bridges_mm2"] == pytest.approx(drawn, abs=0.05)


def test_islands_of_a_ring_and_of_nested_squares():
    # By hand: a ring leaves its disc; two square rings leave a square frame and a square in it.
    ring, nested = report_data(built({"Ring": RING, "Nested": NESTED}))["layers"]
    (island,) = ring["islands_found"]
    assert island["area_mm2"] == pytest.approx(shapely.Point(0, 0).buffer(12).area, abs=1e-3)
    assert shapely.Point(40, 60).buffer(12).contains(shapely.Point(island["place"]))
    frame, middle = nested["islands_found"]
    assert frame["area_mm2"] == pytest.approx(36**2 - 16**2)
    assert middle["area_mm2"] == pytest.approx(6**2)
    assert ring["islands_left"] == nested["islands_left"] == []
    assert len(ring["bridges"]) == 1


def test_bridge_is_told_with_place_width_gap_and_path():
    (layer,) = report_data(built({"Ring": RING}))["layers"]
    (bridge,) = layer["bridges"]
    assert bridge["kind"] == "bridge"
    # A ring from radius 12 to 25: the shortest gap is 13, a little less for the polygon's chords.
    assert bridge["gap_mm"] == pytest.approx(13, abs=0.1)
    # Polyester's least bridge in the table is 1.5 mm.
    assert bridge["width_mm"] == 1.5
    assert bridge["covers_mm2"] == pytest.approx(13 * 1.5, rel=0.03)
    path = shapely.LineString(bridge["path"])
    assert path.length > bridge["gap_mm"]
    assert path.distance(shapely.Point(bridge["place"])) < 1e-3


def test_openings_and_euler_number_agree():
    # A plate with h openings has the Euler characteristic 2 - 2h.
    for layer in report_data(built({"Ring": RING, "Disc": DISC}))["layers"]:
        through = layer["openings"] + layer["registration_holes"]
        assert layer["euler"] == 2 - 2 * through
        assert layer["watertight"]
        assert layer["oriented"]


def test_totals_are_sums_of_the_layers():
    data = report_data(built({"Ring": RING, "Nested": NESTED, "Disc": DISC}))
    for key in ("sheet_mm2", "painted_mm2", "bridges_mm2", "openings", "volume_mm3", "mass_g"):
        total = sum(layer[key] for layer in data["layers"])
        assert data["totals"][key] == pytest.approx(total, abs=1e-4)
    for key in ("islands_found", "islands_left", "bridges"):
        assert data["totals"][key] == sum(len(layer[key]) for layer in data["layers"])


def test_findings_carry_severity_and_place_and_decide_the_verdict():
    found = (
        Finding("artwork.open-path", Severity.NOTE, "Closed.", place=(3, 4), size_mm=0.5),
        Finding("artwork.text", Severity.WARNING, "Text left out."),
    )
    data = report_data(built({"Disc": DISC}, findings=found))
    first, second = data["layers"][0]["findings"][:2]
    assert first == {
        "code": "artwork.open-path",
        "severity": "note",
        "message": "Closed.",
        "place": [3, 4],
        "size_mm": 0.5,
    }
    assert second["place"] is None
    assert data["verdict"] == "clean"
    assert data["totals"]["findings"]["warning"] >= 1
    spoilt = (Finding("artwork.lost", Severity.SPOILS, "Lost."),)
    data = report_data(built({"Disc": DISC}, findings=spoilt))
    assert data["verdict"] == "spoilt"
    assert data["totals"]["findings"]["spoils"] == 1


def test_files_are_named_by_spray_order_and_layer():
    data = report_data(built({"Mid-tone (base)": DISC, "Shadow": RING}))
    assert [layer["files"]["stl"] for layer in data["layers"]] == [
        "01-mid-tone-base.stl",
        "02-shadow.stl",
    ]
    assert data["layers"][1]["files"]["cut"] == "02-shadow-as-drawn.svg"
