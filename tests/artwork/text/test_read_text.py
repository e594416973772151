"""Text as artwork, against what fontTools reads in the same font files.

Fonts: DejaVu Sans and DejaVu Serif Display, which matplotlib's package carries.
"""

from __future__ import annotations

from pathlib import Path

import matplotlib
import numpy as np
import pytest
import shapely
from fontTools.pens.areaPen import AreaPen
from fontTools.ttLib import TTFont

from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import ArtworkSource, Text
from sheetstack.geometry.build import build
from sheetstack.geometry.errors import ArtworkError, JobError
from sheetstack.geometry.finding import Severity
from sheetstack.geometry.job.load import job_text, parse_job

pytest.importorskip("uharfbuzz")

FONT = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
TABLES = TTFont(FONT)
EM = TABLES["head"].unitsPerEm
NAMES = TABLES.getBestCmap()
ADVANCE = {name: width for name, (width, _) in TABLES["hmtx"].metrics.items()}


def area_of(line: str, **settings):
    settings = {"size_mm": 100.0, "size_is": "em", **settings}
    return read_artwork(ArtworkSource(FONT, text=Text(tuple(line.splitlines()), **settings))).shape


def parts_of(line: str, **settings):
    """Return the areas from left to right."""
    return sorted(area_of(line, **settings).geoms, key=lambda part: part.bounds[0])


@pytest.mark.parametrize("letter", "BQg8&@")
def test_letters_have_the_area_that_fonttools_measures(letter):
    pen = AreaPen()
    TABLES.getGlyphSet()[NAMES[ord(letter)]].draw(pen)
    assert area_of(letter).area == pytest.approx(abs(pen.value) * (100 / EM) ** 2, rel=2e-3)


def test_letters_stand_by_their_advance_widths_and_kerning():
    one, other = parts_of("oo")
    assert other.bounds[0] - one.bounds[0] == pytest.approx(ADVANCE["o"] * 100 / EM, abs=0.01)
    kern = TABLES["kern"].kernTables[0][("A", "V")]
    assert kern < 0
    first, second = parts_of("AV", tracking_mm=20.0)  # apart, so that they are two areas
    lone_a, lone_v = area_of("A"), area_of("V")
    start = first.bounds[0] - lone_a.bounds[0]
    moved = second.bounds[0] - lone_v.bounds[0] - start
    assert moved == pytest.approx((ADVANCE["A"] + kern) * 100 / EM + 20, abs=0.02)


def test_ligatures_are_used_unless_letters_are_spaced():
    assert len(parts_of("ffi")) < len(parts_of("ffi", tracking_mm=5.0)) == 4


def test_capitals_are_as_high_as_asked_for():
    low, high = area_of("H", size_is="cap height", size_mm=60.0).bounds[1::2]
    assert low == pytest.approx(0, abs=0.01)
    assert high == pytest.approx(60, abs=0.01)


def test_lines_are_aligned_and_stand_by_their_leading():
    lines = "HHHH\nHH"
    for align, side in (("left", 0.0), ("right", 1.0), ("centre", 0.5)):
        shape = area_of(lines, align=align, leading_mm=150.0, at_mm=(10.0, 20.0))
        boxes = shapely.bounds(shapely.get_parts(shape))
        upper, lower = boxes[boxes[:, 1] > 0], boxes[boxes[:, 1] < 0]
        assert upper[:, 1].min() - lower[:, 1].min() == pytest.approx(150, abs=0.01)
        for row in (upper, lower):
            x0, x1 = row[:, 0].min(), row[:, 2].max()
            bearing = 100 / EM * TABLES["hmtx"].metrics["H"][1]
            assert x0 - bearing + side * (x1 - x0 + 2 * bearing) == pytest.approx(10, abs=0.1)


def test_equal_letters_are_equal_to_the_last_bit():
    parts = [part.normalize() for part in parts_of("oooooooooooooooooooo", size_mm=17.3)]
    first = shapely.get_coordinates(parts[0])
    for part in parts[1:]:
        moved = shapely.get_coordinates(part)
        assert np.ptp(moved - first, axis=0).tolist() == [0.0, 0.0]


def test_hebrew_runs_to_the_left_and_its_numbers_to_the_right():
    text = "\u05dc\u05d5 12"
    right = [area_of(c, tracking_mm=1.0) for c in ("1", "2", "\u05d5", "\u05dc")]
    found = parts_of(text)
    assert [round(a.area, 3) for a in right] == [round(part.area, 3) for part in found]


def test_a_missing_glyph_is_told_with_its_code():
    source = ArtworkSource(FONT, text=Text(("a\u6f22b",), 30.0))
    (told,) = read_artwork(source).findings
    assert told.code == "text.missing-glyph"
    assert told.severity is Severity.SPOILS
    assert "U+6F22" in told.message
    with pytest.raises(ArtworkError, match=r"nothing of the text .* can be set.*U\+6F22"):
        read_artwork(ArtworkSource(FONT, text=Text(("\u6f22",), 30.0)))


@pytest.mark.parametrize("content", [b"", b"no font", b"\x00\x01\x00\x00" + b"\xff" * 400])
def test_what_is_no_font_is_refused(tmp_path, content):
    path = tmp_path / "bad.ttf"
    path.write_bytes(content)
    with pytest.raises(ArtworkError, match=r"bad\.ttf: is no font"):
        read_artwork(ArtworkSource(path, text=Text(("a",))))
    with pytest.raises(ArtworkError, match="expected a font file"):
        read_artwork(ArtworkSource(tmp_path, text=Text(("a",))))


@pytest.mark.parametrize("cut", [5000, 100_000, 300_000])
def test_a_font_that_is_cut_short_ends_in_an_area_or_a_sentence(tmp_path, cut):
    path = tmp_path / "short.ttf"
    path.write_bytes(FONT.read_bytes()[:cut])
    said = ""
    shape = shapely.MultiPolygon()
    try:
        shape = read_artwork(ArtworkSource(path, text=Text(("Bread",), size_is="em"))).shape
    except ArtworkError as error:
        said = str(error)
    assert shape.is_valid
    assert shape.is_empty == ("short.ttf" in said)


JOB = """
title = "Shop"
[sheet]
width_mm = 400
height_mm = 120
material = "polyester"
thickness_mm = 0.35
[bridges]
direction = "vertical"
[[layers]]
name = "Ink"
colour = "#102040"
{keys}
"""


def test_a_layer_of_text_is_built():
    keys = f"text = 'Bread & Butter'\nfont = {str(FONT)!r}\ntext_size_mm = 35"
    job = parse_job(JOB.format(keys=keys))
    assert parse_job(job_text(job)) == job
    (layer,) = build(job).layers
    # B r e a d & B u t t e r: counters as everybody can count them
    assert len(layer.islands) == 2 + 0 + 1 + 1 + 1 + 1 + 2 + 0 + 0 + 0 + 1 + 0
    assert layer.islands_left == ()


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ("", "'artwork' is missing"),
        ("text = 'a'", "'font' is missing"),
        ("text = ' '\nfont = 'a.ttf'", "text is blank"),
        ("text = 'a'\nfont = 'a.ttf'\nartwork = 'a.svg'", "found both"),
    ],
)
def test_a_layer_has_either_a_drawing_or_text(keys, said):
    with pytest.raises(JobError, match="number 1") as told:
        parse_job(JOB.format(keys=keys))
    assert said in str(told.value)
