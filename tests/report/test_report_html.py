import dataclasses
import re
from html.parser import HTMLParser
from xml.etree import ElementTree

import numpy as np
import pytest
from shapely import MultiPolygon, box

from sheetstack.geometry.files.png import png_bytes
from sheetstack.geometry.finding import Finding, Severity
from sheetstack.geometry.paint.painting import painting_of
from sheetstack.geometry.report.care_picture import care_picture, has_care
from sheetstack.geometry.report.data import report_data
from sheetstack.geometry.report.drift_picture import drift_picture
from sheetstack.geometry.report.preview import preview
from sheetstack.geometry.report.report_html import report_html
from sheetstack.geometry.report.stack_picture import stack_picture

from ..small_builds import DISC, NESTED, RING, built

#: HTML's elements without an end tag (HTML Living Standard, 13.1.2, void elements).
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "wbr"}
HOSTILE = "<script>alert('x')</script> & \" ' ]]> \x07 ü"


class Reader(HTMLParser):
    """Collects elements and text, and checks that tags are nested."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open, self.elements, self.words = [], [], []

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


def report_of(build):
    images = {
        "preview.png": png_bytes(preview(build, 60)),
        "stack.png": png_bytes(stack_picture(build, 200)),
    }
    return report_html(build, report_data(build), images)


def read(html):
    reader = Reader()
    reader.feed(html)
    reader.close()
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def html():
    return report_of(built({"Mid-tone": RING, "Shadow": NESTED}))


def test_document_is_well_formed_as_html_and_as_xml(html):
    reader = read(html)
    assert html.startswith("<!DOCTYPE html>")
    assert [tag for tag, _ in reader.elements].count("title") >= 1
    ElementTree.fromstring(html)


def test_nothing_is_fetched_from_afar(html):
    for tag, attributes in read(html).elements:
        assert tag not in {"script", "link", "iframe", "object", "embed", "base"}
        for name, value in attributes.items():
            if name in {"src", "href", "xlink:href", "srcset", "action", "data"}:
                assert value.startswith("data:image/png;base64,") or re.fullmatch(
                    r"[\w.-]+", value
                ), value
    style = html[html.index("<style>") : html.index("</style>")]
    assert "url(" not in style
    assert "@import" not in style
    assert "://" not in re.sub(r"base64,[^\"]*", "", html)


def test_hostile_names_are_shown_not_run():
    title, name = "A <script>alert(1)</script> & co", "<img src=x onerror=alert(2)>"
    found = (Finding("x.y", Severity.WARNING, HOSTILE, place=(3, 4)),)
    build = built(
        {name: RING},
        title=title,
        roles=("</td><svg onload=alert(3)>",),
        findings=found,
    )
    html = report_of(build)
    reader = read(html)
    ElementTree.fromstring(html)
    assert not any(tag == "script" for tag, _ in reader.elements)
    assert not any(key.startswith("on") for _, a in reader.elements for key in a)
    words = "".join(reader.words)
    for shown in (title, name, "</td><svg onload=alert(3)>", HOSTILE.replace("\x07", "")):
        assert shown in words


def test_verdict_is_told_in_words(html):
    assert "Ready to cut" in html
    spoils = (Finding("x.y", Severity.SPOILS, "Lost."),) * 2
    spoilt = report_of(built({"Disc": DISC}, findings=spoils))
    assert "Ready to cut" not in spoilt
    assert "2 findings spoil a stencil" in spoilt


def test_every_island_bridge_and_finding_is_in_a_table():
    found = tuple(Finding("x.y", Severity.NOTE, f"Number {k}.", place=(k, 5)) for k in range(3))
    build = built({"Nested": NESTED}, findings=found)
    root = ElementTree.fromstring(report_of(build))
    cells = ["".join(cell.itertext()) for cell in root.iter("td")]
    for wanted in ("I1", "I2", "B1", "B2", "Number 0.", "Number 1.", "Number 2.", "2.0, 5.0"):
        assert wanted in cells


def test_long_tables_say_how_many_more():
    found = tuple(Finding("x.y", Severity.NOTE, f"Number {k}.", place=(9, 9)) for k in range(250))
    html = report_of(built({"Disc": DISC}, findings=found))
    assert "Number 99." in html
    assert "and 150 more, in report.json" in html


def test_findings_that_spoil_come_first():
    found = (
        Finding("a.a", Severity.NOTE, "A note."),
        Finding("b.b", Severity.SPOILS, "A spoiler."),
        Finding("c.c", Severity.WARNING, "A warning."),
    )
    words = "".join(read(report_of(built({"Disc": DISC}, findings=found))).words)
    assert words.index("A spoiler.") < words.index("A warning.") < words.index("A note.")


def test_cautions_stand_in_the_report(html):
    words = "".join(read(html).words)
    # What work with stencils can hurt by: common practice, no source.
    for danger in ("Blades", "fire", "PVC", "respirator", "scaffold", "permission", "Local codes"):
        assert danger in words


def test_order_light_over_dark_and_drift_are_told_as_the_proof_tells_them():
    """The lighter disc lies over the darker ring; its edge is the ring's own, so any slip shows."""
    build = built({"Dark": RING, "Light": NESTED}, colours=("#202020", "#f0e0c0"))
    painting = painting_of(build)
    data = report_data(build, painting)
    images = {
        "preview.png": png_bytes(preview(build, 60)),
        "stack.png": png_bytes(stack_picture(build, 200)),
        "drift.png": png_bytes(drift_picture(painting.wall, painting.drift, 400)),
    }
    html = report_html(build, data, images)
    words = " ".join(read(html).words)
    for reason in painting.orders.reasons:
        assert " ".join(reason.split()) in " ".join(words.split())
    assert len(data["painting"]["lighter_over_darker"]) == len(painting.orders.given.coverings)
    for finding in painting.register:
        assert finding.message in words
    assert painting.drift.allowance.sentence() in words
    assert "Not looked at" in " ".join(read(report_html(build, report_data(build), images)).words)


def test_care_is_drawn_where_the_job_has_it_and_nowhere_else():
    build = built({"Ring": RING})
    assert not has_care(build)
    assert "Care." not in " ".join(read(report_of(build)).words)
    layer = build.layers[0]
    x, y = 0.25 * build.job.sheet.width_mm, 0.75 * build.job.sheet.height_mm
    areas = (
        (MultiPolygon([box(x - 10, y - 10, x, y + 10)]), 8.0),
        (MultiPolygon([box(x, y - 10, x + 10, y + 10)]), 2.0),
    )
    bare = dataclasses.replace(layer, bridges=())
    careful = dataclasses.replace(build, layers=(dataclasses.replace(bare, care=areas),))
    plain = np.asarray(preview(dataclasses.replace(build, layers=(bare,)), 400), float)
    drawn = np.asarray(care_picture(careful, 400), float)
    assert drawn.shape == plain.shape
    scale = 400 / max(build.job.sheet.width_mm, build.job.sheet.height_mm)
    faint = plain + 0.55 * (255 - plain)
    rows = drawn.shape[0]

    def shade(mm):
        row, column = rows - 1 - int(y * scale), int(mm * scale)
        wall, seen = faint[row, column], drawn[row, column]
        return np.linalg.norm(seen - wall) / np.linalg.norm(np.array([213, 94, 0]) - wall)

    assert shade(x - 5) == pytest.approx(0.85, abs=0.02)
    assert shade(x + 5) == pytest.approx(0.85 / 7, abs=0.02)
    assert shade(x + 20) == pytest.approx(0, abs=0.01)
    page = {
        "preview.png": png_bytes(preview(build, 60)),
        "stack.png": png_bytes(preview(build, 60)),
    }
    page["care-shown.png"] = png_bytes(care_picture(careful, 60))
    assert "Care" in read(report_html(careful, report_data(build), page)).words
