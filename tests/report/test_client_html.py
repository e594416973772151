"""The client sheet: well-formed, whole in itself, with the numbers of the build."""

from __future__ import annotations

import html
import io
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from PIL import Image

from sheetstack.geometry.build import build
from sheetstack.geometry.cautions import cautions_for
from sheetstack.geometry.fabricate.estimate import estimate
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.report.client_html import client_html

JOB = """
title = "Tea & <Cake>"
ground = "#204060"
[sheet]
width_mm = 200
height_mm = 100
material = "card"
[[layers]]
name = "Cup"
colour = "#f0e0d0"
artwork = "cup.svg"
[[layers]]
name = "Steam"
colour = "#c04030"
artwork = "steam.svg"
"""


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    folder = tmp_path_factory.mktemp("client")
    head = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="160mm" height="60mm" viewBox="0 0 160 60">'
    )
    (folder / "cup.svg").write_text(f'{head}<path d="M0 0h100v50h-100z"/></svg>')
    (folder / "steam.svg").write_text(f'{head}<path d="M50 0h70v20h-70z"/></svg>')
    return build(parse_job(JOB, folder=folder))


def picture() -> bytes:
    file = io.BytesIO()
    Image.fromarray(np.full((30, 40, 3), 90, np.uint8)).save(file, "PNG")
    return file.getvalue()


def test_it_is_well_formed_and_fetches_nothing(built):
    page = client_html(built, [picture()] * 2, picture())
    root = ET.fromstring(page.removeprefix("<!DOCTYPE html>\n"))
    sources = [element.get("src") for element in root.iter("img")]
    assert len(sources) == 3  # two walls and the sheets
    assert all(source.startswith("data:image/jpeg;base64,") for source in sources)
    assert not re.search(r'(href|src)="(?!data:)', page)
    assert root.find(".//h1").text == "Tea & <Cake>"


def test_areas_of_colours_are_those_of_the_picture(built):
    page = client_html(built)
    rows = dict(re.findall(r"</span>(\w+) <span.*?(\d+) cm&#178;", page))
    # 100 x 50 less the overlap of 50 x 20; 70 x 20; the rest of 200 x 100.
    assert rows == {"Ground": str(200 - 40 - 14), "Cup": "40", "Steam": "14"}


def test_it_names_size_sheets_and_cautions(built):
    page = client_html(built)
    assert "20 x 10 cm (7.9 x 3.9 in)" in page
    assert "2 colours on a painted ground, 2 stencils of" in page
    for caution in cautions_for("paint", "wall"):
        assert html.escape(caution.title) in page
    assert "<img" not in page


def test_what_it_costs_the_artist_is_not_on_it(built):
    assert estimate(built).total.cost.high > 0
    page = client_html(built)
    for currency in ("EUR", "GBP", "USD"):
        assert currency not in page
    assert "the price stands there" in page
