"""The artist's own cans: read from files, and nearest by eye, against scikit-image."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sheetstack.geometry.colour import hex_from_srgb, lab_from_srgb
from sheetstack.geometry.errors import JobError
from sheetstack.geometry.fabricate.paint_needs import (
    LayerPaint,
    cans_needed,
    coats_to_hide,
)
from sheetstack.geometry.paint.can_table import OwnCan, load_cans, nearest_can

CSV = """name,code,colour,opacity,price,ml,have
Rust,R-12,#c8691e,0.95,4.50,400,1
Night,N-1,#0c1622,,4.50,600,0
"""


def test_a_csv_and_a_toml_table_tell_the_same_cans(tmp_path):
    (tmp_path / "cans.csv").write_text(CSV)
    (tmp_path / "cans.toml").write_text(
        '[[cans]]\nname = "Rust"\ncode = "R-12"\ncolour = "#c8691e"\nopacity = 0.95\n'
        "price = 4.5\nml = 400\nhave = 1\n"
        '[[cans]]\nname = "Night"\ncode = "N-1"\ncolour = "#0c1622"\nprice = 4.5\nml = 600\n'
    )
    assert load_cans(tmp_path / "cans.csv") == load_cans(tmp_path / "cans.toml")
    (tmp_path / "comma.csv").write_text("name;colour;price\nRust;#c8691e;4,50\n")
    assert load_cans(tmp_path / "comma.csv")[0].price == 4.5


def test_a_can_may_cost_nothing_but_not_less(tmp_path):
    table = tmp_path / "cans.csv"
    table.write_text("name,colour,price\nLeft over,#c8691e,0\n")
    assert load_cans(table)[0].price == 0
    table.write_text("name,colour,price\nLeft over,#c8691e,-0.01\n")
    with pytest.raises(JobError, match=r"price.*from 0 to"):
        load_cans(table)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name,shade\nRust,#c8691e\n", "unknown column 'shade'"),
        ("name,colour\nRust,brown\n", "expected a colour"),
        ("name,colour\nRust,#c8691e,3\n", "more cells"),
        ("name,colour,ml\nRust,#c8691e,much\n", "expected a number"),
        ("name,code\nRust,1\n", "'colour' is missing"),
    ],
)
def test_a_bad_table_is_one_sentence(text, said, tmp_path):
    (tmp_path / "cans.csv").write_text(text)
    with pytest.raises(JobError, match=r"cans\.csv") as caught:
        load_cans(tmp_path / "cans.csv")
    assert said in str(caught.value)


def test_the_nearest_can_is_the_one_that_scikit_image_finds():
    colour = pytest.importorskip("skimage.color")
    rng = np.random.default_rng(4)
    cans = [OwnCan(str(k), hex_from_srgb(c)) for k, c in enumerate(rng.random((60, 3)))]
    own = lab_from_srgb([[int(c.colour[i : i + 2], 16) / 255 for i in (1, 3, 5)] for c in cans])
    for wanted in rng.random((40, 3)):
        asked = hex_from_srgb(wanted)
        rgb = np.array([int(asked[i : i + 2], 16) / 255 for i in (1, 3, 5)])
        away = colour.deltaE_ciede2000(own, np.broadcast_to(lab_from_srgb(rgb), own.shape))
        match = nearest_can(asked, cans)
        assert match.can is cans[int(away.argmin())]
        assert match.difference == pytest.approx(away.min(), abs=1e-6)


def test_what_is_another_colour_is_missing_and_an_empty_table_says_so():
    assert nearest_can("#ff0000", [OwnCan("Sky", "#87ceeb")]).missing
    assert not nearest_can("#87ceec", [OwnCan("Sky", "#87ceeb")]).missing
    assert nearest_can("#ff0000", []).missing


def test_coats_are_as_many_as_leave_a_twentieth_to_be_seen():
    for opacity in (0.3, 0.5, 0.7, 0.9):
        coats = coats_to_hide(opacity)
        assert (1 - opacity) ** coats <= 0.05 + 1e-9 < (1 - opacity) ** (coats - 1) + 1e-9


def test_cans_are_whole_and_those_in_the_store_are_not_bought():
    rust = OwnCan("Rust", "#c8691e", price=4.5, ml=400, have=1)
    match = nearest_can("#c8691e", [rust])
    paints = [LayerPaint(n, match, 1, 1.0, ml, ()) for n, ml in (("A", 500.0), ("B", 300.0))]
    (row,) = cans_needed(paints)
    assert row.cans == math.ceil(800 / (0.9 * 400))
    assert row.to_buy == row.cans - 1
    assert row.price == 4.5 * row.to_buy
