"""The estimate against worked examples and paint makers' tables."""

import dataclasses

import pytest
import shapely
from shapely import Point

from sheetstack.geometry.build import build
from sheetstack.geometry.fabricate.estimate import Range, assumptions, coverage_m2_per_l, estimate
from sheetstack.geometry.fabricate.making import making_of_build
from sheetstack.geometry.fabricate.stock import lay_on_stock, parts_of
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.report.estimate_text import estimate_notes

ARTWORK = """<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm"
viewBox="0 0 100 100"><g id="a"><rect x="20" y="20" width="40" height="30"/></g>
<g id="b"><rect x="10" y="10" width="20" height="20"/><rect x="50" y="50" width="10" height="5"/>
</g></svg>"""
JOB = """
title = "Plates"
[sheet]
width_mm = 100
height_mm = 100
margin_mm = 5
material = "{material}"
thickness_mm = {thickness}
[[layers]]
name = "A"
colour = "#000000"
artwork = "plates.svg"
group = "a"
[[layers]]
name = "B"
colour = "#ff0000"
artwork = "plates.svg"
group = "b"
{more}
"""


@pytest.fixture
def plates(tmp_path):
    (tmp_path / "plates.svg").write_text(ARTWORK)

    def make(material="card", thickness=0.4, more=""):
        text = JOB.format(material=material, thickness=thickness, more=more)
        return build(parse_job(text, folder=tmp_path))

    return make


@pytest.mark.parametrize(
    ("solids", "film", "coverage"), [(50, 50, 10.0), (65, 125, 5.2), (60, 25, 24.0)]
)
def test_coverage_is_that_of_paint_makers_tables(solids, film, coverage):
    # Paint makers' coverage tables: m2/l = 10 x volume solids % / dry film in um; theoretical.
    assert coverage_m2_per_l(solids, film) == pytest.approx(coverage)


def test_mass_is_area_times_grammage(plates):
    # ISO 536: 320 g/m2 on (100 x 100 - 40 x 30) mm2.
    found = estimate(plates())
    assert found.layers[0].mass_g == pytest.approx(320 * (10000 - 1200) / 1e6)


def test_cuts_and_their_time_are_as_worked_out_by_hand(plates):
    more = (
        "[process]\nkind = 'laser'\nkerf_mm = 0\nspeed_mm_s = 10\ntravel_mm_s = 100\npierce_s = 2"
        "\nacceleration_mm_s2 = 0"
    )
    found = estimate(plates(more=more + "\npower_on_cost_h = 36\n[estimate]\nspread_percent = 10"))
    b = found.layers[1]
    assert b.pierces == 3
    assert b.cut_mm == pytest.approx(80 + 30 + 400)
    seconds = 510 / 10 + b.travel_mm / 100 + 3 * 2
    assert (b.making_s.low, b.making_s.high) == pytest.approx((0.9 * seconds, 1.1 * seconds))
    assert b.making_cost.high == pytest.approx(1.1 * seconds * 0.01)
    assert 0 < b.travel_mm < 3 * 142


def test_a_hand_takes_a_range_and_blades(plates):
    # 510 mm at 3.5 and at 1.5 mm/s, three cuts begun, ways at 60 mm/s: the table's knife.
    found = estimate(plates(more="[process]\nkind = 'knife'\nblade_life_m = 0.5"))
    b = found.layers[1]
    more = b.travel_mm / 60 + 3 * 1.5
    assert (b.making_s.low, b.making_s.high) == pytest.approx((510 / 3.5 + more, 510 / 1.5 + more))
    a = found.layers[0]
    assert found.blades == -(-(a.cut_mm + b.cut_mm) // 500) == 3
    assert b.making_cost.high == pytest.approx(510 / 500 * 0.3)
    own = estimate(plates(more="[process]\nkind = 'knife'\nspeed_mm_s = 100"))
    assert own.layers[1].making_s.high == pytest.approx(1.25 * (5.1 + more))


def test_a_machine_that_slows_down_takes_longer(plates):
    quick = "[process]\nkind = 'laser'\nspeed_mm_s = 200\nacceleration_mm_s2 = "
    times = [estimate(plates(more=f"{quick}{a}")).total.making_s.low for a in (0, 5000, 200)]
    assert times == sorted(times)
    assert times[2] > 1.3 * times[0]


def test_paint_runs_from_no_loss_to_the_loss_assumed(plates):
    more = (
        "[estimate]\nsolids_percent = 50\nfilm_um = 50\npaint_loss_percent = 50\nwalls = 3\n"
        "paint_price_l = 20"
    )
    a = estimate(plates(more=more)).layers[0]
    assert a.paint_m2 == pytest.approx(3 * 1200e-6)
    assert a.paint_ml.low == pytest.approx(3 * 1200e-6 / 10 * 1000)
    assert a.paint_ml.high == pytest.approx(2 * a.paint_ml.low)
    assert a.paint_cost.high == pytest.approx(a.paint_ml.high / 1000 * 20)


def test_registration_holes_get_no_paint(plates):
    holes = "[registration]\nhole_diameter_mm = 4\n"
    plain, held = estimate(plates()), estimate(plates(more=holes))
    assert held.layers[0].paint_m2 == pytest.approx(plain.layers[0].paint_m2)
    disc = Point(0, 0).buffer(2, quad_segs=32).area
    lost = plain.layers[0].mass_g - held.layers[0].mass_g
    # Holes lie on the sheet's grid.
    assert lost == pytest.approx(3 * disc * 320e-6, rel=1e-5)
    assert held.layers[0].pierces == plain.layers[0].pierces + 3


def test_printing_counts_volume_and_flow_instead_of_cuts(plates):
    built = plates("pla", 1.0)
    a = estimate(built).layers[0]
    volume = 10000 - 1200
    assert (a.cut_mm, a.pierces) == (0, 0)
    assert a.print_cm3 == pytest.approx(volume / 1000)
    # Flow of the table's printer: 0.4 x 0.2 x 50 = 4 mm3/s.
    assert (a.making_s.low + a.making_s.high) / 2 == pytest.approx(volume / 4)
    middle = (a.sheet_cost.low + a.sheet_cost.high) / 2
    assert middle == pytest.approx(volume * 1.24e-3 / 1000 * 20)


def test_totals_are_sums_over_layers(plates):
    found = estimate(plates())
    for field in dataclasses.fields(found.total):
        values = [getattr(layer, field.name) for layer in found.layers]
        if isinstance(values[0], Range):
            total = getattr(found.total, field.name)
            assert total.low == pytest.approx(sum(v.low for v in values))
            assert total.high == pytest.approx(sum(v.high for v in values))
        elif field.name != "name":
            assert getattr(found.total, field.name) == pytest.approx(sum(values))


@pytest.mark.parametrize("material", ["card", "pla"])
def test_every_assumption_is_a_key_that_changes_the_estimate(plates, material):
    found = assumptions(plates(material, 1.0).job)
    assert len({a.key for a in found}) == len(found)
    assert all(a.source and a.about and a.value for a in found)
    changed = plates(material, 1.0, "[estimate]\npaint_loss_percent = 20").job
    (loss,) = (a for a in assumptions(changed) if a.key.endswith("paint_loss_percent"))
    assert (loss.value, loss.source) == ("20 %", "the job")


def test_the_jobs_own_price_replaces_the_range(plates):
    a = estimate(plates(more="[estimate]\nsheet_price_m2 = 10")).layers[0]
    assert (a.sheet_cost.low, a.sheet_cost.high) == pytest.approx((0.1, 0.1))
    ranged = estimate(plates()).layers[0]
    assert ranged.sheet_cost.low < ranged.sheet_cost.high
    assert shapely.box(0, 0, 100, 100).area / 1e6 == ranged.sheet_m2


def test_stock_with_a_price_is_paid_by_the_sheet(plates):
    # Two plates of 100 x 100 mm: one goes on a sheet of 150 x 120, two on one of 220 x 120.
    def found(width):
        return estimate(
            plates(
                more=f"[[stock]]\nwidth_mm = {width}\nheight_mm = 120\nprice = 7\n"
                "[process]\nkind = 'laser'\nbed_width_mm = 400\nbed_height_mm = 300"
            )
        )

    for width, sheets in ((150, 2), (220, 1)):
        told = found(width)
        assert told.stock == sheets
        assert told.total.sheet_cost.low == told.total.sheet_cost.high == pytest.approx(7 * sheets)
        assert told.layers[0].sheet_cost.low == pytest.approx(3.5 * sheets)
        assert not any(a.key.endswith("price_m2") for a in told.assumptions)
        assert "packed by boxes" in estimate_notes(told)[-1]
    assert estimate(plates()).stock == 0


def test_stock_as_nested_is_not_said_to_be_packed_by_boxes(plates):
    built = plates(
        more="[[stock]]\nwidth_mm = 220\nheight_mm = 120\nprice = 7\n"
        "[process]\nkind = 'laser'\nbed_width_mm = 400\nbed_height_mm = 300"
    )
    making = making_of_build(built)
    told = estimate(built, making, lay_on_stock(built.job, parts_of(making)))
    assert "In the cost: 1 stock sheet for 7 EUR, whole ones, as nested." in estimate_notes(told)
