"""The estimate in words and as data: two figures, every assumption with its key and source."""

import json
import re
from pathlib import Path

import pytest

from sheetstack.geometry.build import build
from sheetstack.geometry.fabricate.estimate import estimate
from sheetstack.geometry.job.load import load_job
from sheetstack.geometry.report.data import report_data
from sheetstack.geometry.report.estimate_text import estimate_data, estimate_rows, estimate_text

DEMO = Path(__file__).parents[2] / "demo_scenes/sign/sign.toml"


@pytest.fixture(scope="module")
def built():
    return build(load_job(DEMO))


@pytest.fixture(scope="module")
def found(built):
    return estimate(built)


def test_no_cell_claims_more_than_two_figures(found):
    rows = estimate_rows(found)
    assert [row[0] for row in rows[1:]] == [*(e.name for e in found.layers), "Total"]
    for row in rows[1:]:
        for cell in (row[1], row[7], row[8], row[10]):
            for number in re.findall(r"[\d.]+", cell):
                assert len(number.replace(".", "").strip("0")) <= 2, cell


def test_the_text_has_every_assumption_with_key_and_source(found):
    text = estimate_text(found)
    assert len(found.assumptions) >= 10
    for a in found.assumptions:
        assert f"{a.key} = {a.value}: {a.about} ({a.source})" in text


def test_the_data_survive_json_and_add_up(found):
    data = json.loads(json.dumps(estimate_data(found), allow_nan=False))
    assert len(data["layers"]) == len(found.layers)
    for key in ("mass_g", "cut_mm", "pierces"):
        total = sum(layer[key] for layer in data["layers"])
        assert data["total"][key] == pytest.approx(total, abs=1e-3)
    assert data["total"]["paint_ml"][0] < data["total"]["paint_ml"][1]


def test_the_report_carries_estimate_process_and_care(built, found):
    data = report_data(built)
    assert data["estimate"] == estimate_data(found)
    assert data["making"]["process"] == built.job.made_by.kind
    assert data["making"]["care"] == built.job.material.care
