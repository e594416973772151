"""The offer and the spray plan: their sums, their words, and what they must not tell."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from PIL import Image

from sheetstack.geometry.cli.main import main
from sheetstack.geometry.errors import JobError
from sheetstack.geometry.fabricate.estimate import estimate
from sheetstack.geometry.report.offer import offer_of, own_text
from sheetstack.geometry.report.offer_pages import offer_html, offer_pdf
from sheetstack.geometry.report.plan_pdf import plan_pdf
from sheetstack.geometry.report.size_picture import size_picture
from sheetstack.geometry.report.spray_plan import mask_reach, spray_plan
from sheetstack.geometry.report.studio import load_studio

from ..demo_builds import SCENES, demo

pdfium = pytest.importorskip("pypdfium2")

STUDIO = """
[artist]
name = "Harbour Lane Stencils"
contact = "12 Harbour Lane"
[offer]
hours_design = 6
hours_per_m2 = 5
rate_h = 55
extra_cost = 83.21
markup_percent = 15
tax_percent = 20
client = "Tea & <Cake>"
[paint]
recoat_min = 25
touch_dry_min = 12
most_wind_ms = 4
[[cans]]
name = "Butter"
colour = "#f6e7c8"
opacity = 0.7
price = 4.5
"""


@pytest.fixture(scope="module")
def studio(tmp_path_factory):
    path = tmp_path_factory.mktemp("studio") / "studio.toml"
    path.write_text(STUDIO)
    return load_studio(path)


@pytest.fixture(scope="module")
def offer(studio):
    return offer_of([demo("sign"), demo("portrait")], studio, date(2031, 5, 17))


def words(pdf: bytes) -> str:
    document = pdfium.PdfDocument(pdf)
    return "\n".join(page.get_textpage().get_text_range() for page in document)


def picture() -> bytes:
    file = io.BytesIO()
    Image.fromarray(np.full((30, 40, 3), 90, np.uint8)).save(file, "PNG")
    return file.getvalue()


def test_totals_rest_on_the_estimate_and_add_up(offer):
    for option, name, area in zip(offer.options, ("sign", "portrait"), (0.18, 0.2), strict=True):
        price, asked = option.price, offer.studio.offer
        found = estimate(demo(name)).total.cost.high
        assert price.own_cost == pytest.approx(found + 83.21)
        assert price.material == pytest.approx((found + 83.21) * 1.15)
        assert price.hours == pytest.approx(6 + 5 * area)
        assert price.net == pytest.approx(price.hours * 55 + price.material, abs=asked.round_to / 2)
        assert round(price.labour_asked + price.material_asked, 2) == price.net
        assert price.tax == pytest.approx(0.2 * price.net, abs=0.005)
        assert price.total == pytest.approx(price.net + price.tax, abs=1e-9)


def test_page_and_paper_tell_the_same_prices_and_dates(offer):
    page, paper = (
        offer_html(offer, [picture()], picture()),
        words(offer_pdf(offer, [picture()]).pdf),
    )
    ET.fromstring(page.removeprefix("<!DOCTYPE html>\n"))
    for option in offer.options:
        shown = f"{option.price.total:,.2f}".replace(",", " ")
        assert shown in page
        assert shown in paper
    for text in (page, paper):
        assert "2031-06-16" in text
        assert "Harbour Lane Stencils" in text
        assert "owner of the wall" in text
        assert "Option 2" in text
    assert "Tea &amp; &lt;Cake&gt;" in page
    assert not re.search(r'(href|src)="(?!data:)', page)


def test_each_picture_offered_has_its_colours_and_name(offer, studio):
    page, paper = offer_html(offer), words(offer_pdf(offer).pdf)
    for name in ("sign", "portrait"):
        built = demo(name)
        for layer in built.layers:
            assert layer.settings.colour in page
            assert layer.settings.colour in paper
        assert built.job.title.split(",")[0] in page.split("<h2>Price", 1)[1]
    assert "Colours, option 1" in paper
    assert "Colours, option 2" in paper
    # Two sizes of one picture have the same.
    alike = offer_html(offer_of([demo("sign"), demo("sign")], studio, date(2031, 5, 17)))
    assert alike.count("<h2>Colours</h2>") == 1
    assert "Colours, option" not in alike


def test_sums_read_back_from_the_paper_are_the_estimate_s(offer):
    text = words(offer_pdf(offer, [picture()]).pdf)

    def amounts(row):
        lines = (line for line in text.splitlines() if line.startswith(row))
        line = next(line for line in lines if "EUR" in line)
        return [float(a.replace(" ", "")) for a in re.findall(r"(\d[\d ]*\.\d\d) EUR", line)]

    heads = ("Design, stencils and painting", "Material", "Net", "Tax 20 %", "Price")
    labour, material, net, tax, total = map(np.array, map(amounts, heads))
    assert len(total) == len(offer.options) == 2
    assert labour + material == pytest.approx(net)
    assert net + tax == pytest.approx(total)
    own = [estimate(demo(name)).total.cost.high + 83.21 for name in ("sign", "portrait")]
    assert material == pytest.approx(np.multiply(own, 1.15), abs=0.005)
    assert "Accepted: option" in text


def test_words_in_any_script_are_shown_in_the_font_given_or_told(offer):
    pytest.importorskip("uharfbuzz")
    font = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
    client = replace(offer.studio.offer, client="\u05d2\u05df \u05d9\u05dc\u05d3\u05d9\u05dd 7")
    artist = replace(offer.studio.artist, font=str(font))
    plain = replace(offer, studio=replace(offer.studio, offer=client))
    (told,) = offer_pdf(plain).not_shown
    assert client.client in told
    lettered = offer_pdf(replace(plain, studio=replace(plain.studio, artist=artist)))
    assert lettered.not_shown == ()
    # Read back in reading order: PDFium turns what was laid to the left round again.
    assert "\u05d9\u05dc\u05d3\u05d9\u05dd" in words(lettered.pdf)
    lacking = replace(plain.studio, artist=artist, offer=replace(client, client="\u7cd5 and tea"))
    assert len(offer_pdf(replace(plain, studio=lacking)).not_shown) == 1


def test_what_is_signed_does_not_stand_alone_on_a_page(offer):
    for lines in range(1, 24, 4):
        asked = replace(offer.studio.offer, done="\n".join(["a thing"] * lines))
        told = replace(offer, options=offer.options[:1], studio=replace(offer.studio, offer=asked))
        pages = pdfium.PdfDocument(offer_pdf(told).pdf)
        last = pages[len(pages) - 1].get_textpage().get_text_range()
        assert "Signature" in last
        assert "Mind" in last


def test_a_see_through_logo_lies_on_white(offer):
    file = io.BytesIO()
    Image.new("RGBA", (40, 20), (0, 0, 0, 0)).save(file, "PNG")
    page = pdfium.PdfDocument(offer_pdf(offer, (), file.getvalue()).pdf)[0].render().to_numpy()
    # At the right above stands nothing else: 15 mm in from the edges.
    assert (page[45:100, -170:-45] == 255).all()


def test_options_are_drawn_to_one_scale():
    small, large = demo("portrait"), demo("sign")
    room = (600.0, 500.0)
    assert len({size_picture(build, 600, room).size for build in (small, large)}) == 1


def test_own_cost_hours_and_rate_are_in_the_own_copy_only(offer):
    own = own_text(offer)
    client = [offer_html(offer), words(offer_pdf(offer).pdf)]
    for option in offer.options:
        price = option.price
        for value in (price.own_cost, price.net - price.own_cost, price.labour):
            shown = f"{value:,.2f}".replace(",", " ")
            assert all(shown not in text for text in client)
        assert f"{price.net - price.own_cost:,.2f}".replace(",", " ") in own
    for secret in ("55.00", "83.21", "15 %", "mark-up", "own cost"):
        assert all(secret not in text for text in client)
    assert "55.00" in own
    assert "NO LABOUR" not in own


def test_a_price_without_labour_is_told_to_the_artist(offer):
    unpaid = replace(offer.studio, offer=replace(offer.studio.offer, rate_h=0.0))
    told = own_text(offer_of([o.build for o in offer.options], unpaid, offer.day))
    assert told.count("NO LABOUR in this price") == len(offer.options)


def test_the_plan_s_cautions_stay_together(studio):
    plan = replace(spray_plan(demo("sign"), studio), steps=())
    for count in range(1, 40, 3):
        ready = (("Tools", tuple(["a tool whose name is too long for two columns"] * count)),)
        pages = pdfium.PdfDocument(plan_pdf(replace(plan, ready=ready)).pdf)
        told = [page.get_textpage().get_text_range() for page in pages]
        (first,) = (text for text in told if "Local rules come first" in text)
        assert "The wall's owner" in first.replace("\u2019", "'")


def test_the_plan_has_a_page_for_each_pass_with_coats_masking_and_drying(studio):
    build = demo("sign")
    plan = spray_plan(build, studio)
    text = words(plan_pdf(plan).pdf)
    for number, name in enumerate(("Cream", "Shade", "Gold"), 1):
        assert re.search(rf"{number} of 3\s+{name}", text)
    # 20 cm away a cone of 30 degrees reaches 200 tan 15 = 53.6 mm; the margin is 20.
    assert mask_reach(build, studio.paint) == pytest.approx(33.59, abs=0.01)
    assert text.count("Mask 34 mm") == 3
    # 70 % opaque: three coats let 0.3^3 = 2.7 % through, two 9 %.
    assert "3 thin coats" in text
    assert "Wait 25 min" in text
    assert "12 min" in text
    assert "wind to 4 m/s" in text
    assert "missing" in text


def test_circles_of_the_plan_stand_where_the_register_is_tightest(studio):
    plan = spray_plan(demo("sign"), studio)
    for step in plan.steps:
        if step.worst is not None:
            assert step.worst.upper == step.number - 1
    assert any(step.worst is not None for step in plan.steps)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[offer]\nrate = 5", "unknown key 'rate'"),
        ("[shop]\nname = 'x'", "unknown key 'shop'"),
        ('cans = "none.csv"', "expected a table of cans"),
        ("[offer]\ntax_percent = 500", "expected a number from 0 to 100"),
    ],
)
def test_a_bad_studio_file_is_one_sentence(text, said, tmp_path):
    (tmp_path / "studio.toml").write_text(text)
    with pytest.raises(JobError) as caught:
        load_studio(tmp_path / "studio.toml")
    assert said in str(caught.value)


def test_the_commands_write_their_files(tmp_path, capsys):
    job = str(SCENES / "sign" / "sign.toml")
    (tmp_path / "studio.toml").write_text(STUDIO)
    studio = ["--studio", str(tmp_path / "studio.toml")]
    sized = ["--option-width-mm", "900", "--date", "2031-05-17"]
    assert main(["offer", job, *studio, "--out", str(tmp_path / "o"), *sized]) == 0
    assert "90 x " in (tmp_path / "o" / "own.txt").read_text()
    names = {p.name for p in (tmp_path / "o").iterdir()} - {".sheetstack-files.json"}
    assert names == {"offer.html", "offer.pdf", "own.txt"}
    assert main(["plan", job, *studio, "--out", str(tmp_path / "p"), "-q"]) == 0
    assert (tmp_path / "p" / "plan.pdf").read_bytes().startswith(b"%PDF")
    assert main(["offer", job, "--date", "tomorrow"]) == 2
    assert main(["offer", job, "--mockup", str(tmp_path / "studio.toml")]) == 2
    assert "expected a PNG" in capsys.readouterr().err
