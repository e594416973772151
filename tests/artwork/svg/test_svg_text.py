"""Text in SVG drawings: what is told, and what stands in for what. Places: tests/reference."""

from __future__ import annotations

from pathlib import Path

import matplotlib
import pytest

from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.build import build
from sheetstack.geometry.errors import ArtworkError
from sheetstack.geometry.finding import Severity
from sheetstack.geometry.job.load import parse_job

pytest.importorskip("uharfbuzz")

FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
SANS = FONTS / "DejaVuSans.ttf"


def drawing(tmp_path, content, more=""):
    path = tmp_path / "a.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="100mm" '
        f'viewBox="0 0 200 100" font-family="DejaVu Sans" font-size="30" {more}>{content}</svg>',
        encoding="utf-8",
    )
    return path


def read(tmp_path, content, fonts=SANS, more=""):
    return read_artwork(ArtworkSource(drawing(tmp_path, content, more), fonts=fonts))


def test_without_a_font_text_is_left_out_and_told_as_ever(tmp_path):
    artwork = read(tmp_path, '<text x="9" y="50">Aa</text><rect width="9" height="9"/>', None)
    (told,) = [f for f in artwork.findings if f.code == "artwork.text"]
    assert told.severity is Severity.SPOILS
    assert "font" in told.message
    assert artwork.shape.area == pytest.approx(81)


def test_a_family_that_is_not_given_is_told_and_left_out(tmp_path):
    text = '<text x="9" y="50">A<tspan font-family="Brush, Quill">B</tspan></text>'
    artwork = read(tmp_path, text)
    (told,) = [f for f in artwork.findings if f.code == "artwork.text"]
    assert told.severity is Severity.SPOILS
    for word in ("'Brush'", "'Quill'", "DejaVu Sans"):
        assert word in told.message
    alone = read(tmp_path, '<text x="9" y="50">A</text>')
    assert artwork.shape.equals(alone.shape)


def test_a_weight_or_kind_that_another_file_stands_in_for_is_told(tmp_path):
    for more in ('font-weight="bold"', 'font-style="italic"', 'font-family="serif"'):
        artwork = read(tmp_path, f'<text x="9" y="50" {more}>A</text>')
        (told,) = [f for f in artwork.findings if f.code == "artwork.text"]
        assert told.severity is Severity.WARNING
        assert "DejaVuSans.ttf" in told.message
        assert not artwork.shape.is_empty
    files = FONTS  # the whole folder has a bold one
    artwork = read(tmp_path, '<text x="9" y="50" font-weight="bold">A</text>', files)
    assert not artwork.findings


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ('<text x="9" y="50" textLength="90">Aa</text>', "textLength"),
        ('<text x="9" y="50" text-decoration="underline">Aa</text>', "text-decoration"),
        ('<text x="9" y="50">A<tspan baseline-shift="super">a</tspan></text>', "baseline-shift"),
        ('<text x="9" y="50">A<textPath href="#p">way</textPath></text>', "extPath"),
        ('<text x="9" y="50" style="font: bold 20px DejaVu Sans">Aa</text>', "'font'"),
    ],
)
def test_what_is_not_read_of_text_is_told(tmp_path, content, said):
    artwork = read(tmp_path, content)
    assert any(said in f.message for f in artwork.findings if f.code == "artwork.text")


def test_a_glyph_that_the_font_lacks_is_told(tmp_path):
    artwork = read(tmp_path, '<text x="9" y="50">A\u4e2d</text>')
    (told,) = [f for f in artwork.findings if f.code == "text.missing-glyph"]
    assert told.severity is Severity.SPOILS
    assert "U+4E2D" in told.message


def test_a_file_that_is_no_font_is_told(tmp_path):
    bad = tmp_path / "bad.ttf"
    bad.write_bytes(b"no font at all")
    with pytest.raises(ArtworkError, match=r"bad\.ttf"):
        read(tmp_path, '<text x="9" y="50">A</text>', bad)
    (tmp_path / "none").mkdir()
    artwork = read(tmp_path, '<text x="9" y="50">A</text>', tmp_path / "none")
    assert any(f.code == "artwork.text" for f in artwork.findings)


def test_a_job_reads_the_text_of_its_drawing_in_its_font_and_holds_the_counters(tmp_path):
    drawing(tmp_path, '<text x="20" y="60">Bad 8</text>')
    job = parse_job(
        f"""
title = "Text"
[sheet]
width_mm = 240
height_mm = 140
material = "polyester"
thickness_mm = 0.35
[bridges]
let_go = false
[[layers]]
name = "Ink"
colour = "#102040"
artwork = "a.svg"
font = '{SANS}'
""",
        folder=tmp_path,
    )
    (layer,) = build(job).layers
    assert len(layer.islands) == 6  # B 2, a 1, d 1, 8 2
    assert layer.islands_left == ()
