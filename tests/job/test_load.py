from __future__ import annotations

import os

import pytest

from sheetstack.geometry.artwork.source import source_of
from sheetstack.geometry.errors import JobError
from sheetstack.geometry.job.load import job_text, load_job, parse_job
from sheetstack.geometry.job.names import file_stem
from sheetstack.geometry.job.sections import SECTIONS
from sheetstack.geometry.sheet.registration import holes, pin_centres

GOOD = """
title = "Leaf"
ground = "#EFE6D2"
[sheet]
width_mm = 200
height_mm = 150.5
margin_mm = 12
material = "card"
thickness_mm = 0.4
[bridges]
width_mm = 2.5
[registration]
hole_diameter_mm = 5
[[layers]]
name = "Mid-tone"
role = "mid-tone"
colour = "#4f7f3a"
artwork = "leaf.svg"
group = "mid-tone"
[[layers]]
name = "Shadow"
colour = "#203010"
artwork = "leaf.png"
pixel_mm = 0.2
painted = "light"
[materials.felt]
title = "Felt board"
thicknesses_mm = [2.0]
density_g_cm3 = 0.3
modulus_mpa = 50
strength_mpa = 2
least_bridge_mm = 5
least_opening_mm = 3
colour = "#888888"
source = "own test"
"""


def test_a_whole_job_is_read():
    job = parse_job(GOOD)
    assert (job.title, job.ground) == ("Leaf", "#efe6d2")
    assert (job.sheet.width_mm, job.sheet.height_mm) == (200, 150.5)
    assert [layer.name for layer in job.layers] == ["Mid-tone", "Shadow"]
    assert job.bridge_width == 2.5
    assert job.materials["felt"].least_bridge_mm == 5
    assert source_of(job, job.layers[1]).painted == "light"
    assert source_of(job, job.layers[0]).group == "mid-tone"


def test_a_job_written_and_read_again_is_the_same():
    job = parse_job(GOOD)
    assert parse_job(job_text(job)) == job
    assert job_text(parse_job(job_text(job))) == job_text(job)


def test_artwork_paths_are_relative_to_the_job_file(tmp_path):
    path = tmp_path / "deep" / "leaf.toml"
    path.parent.mkdir()
    path.write_text(GOOD, encoding="utf-8")
    job = load_job(path)
    assert source_of(job, job.layers[0]).path == tmp_path / "deep" / "leaf.svg"


def test_file_stems_are_plain():
    assert [file_stem(n) for n in ("Mid-tone (1)", "../etc", "  ", "Ombre é")] == [
        "mid-tone-1",
        "etc",
        "layer",
        "ombre-é",
    ]


BAD = {
    "title as number": ('title = "Leaf"', "title = 3", "title = 3: expected a text in quotes"),
    "no title": ('title = "Leaf"', "", "the key 'title' is missing"),
    "empty title": ('title = "Leaf"', 'title = " "', "title is empty"),
    "unknown key": (
        "margin_mm = 12",
        "margin = 12",
        "[sheet]: unknown key 'margin'; expected one of fit, fit_mm, height_mm, margin_mm, ",
    ),
    "unknown key of many": (
        'group = "mid-tone"',
        'grp = "mid-tone"',
        "[[layers]] number 1: unknown key 'grp'; perhaps group is meant; 'sheetstack keys' lists",
    ),
    "unknown table": ("[bridges]", "[bridging]", "unknown key 'bridging'"),
    "text for number": (
        "margin_mm = 12",
        'margin_mm = "12"',
        "margin_mm = '12': expected a number",
    ),
    "true for number": (
        "margin_mm = 12",
        "margin_mm = true",
        "margin_mm = True: expected a number",
    ),
    "negative": ("width_mm = 200", "width_mm = -200", "width_mm = -200: expected a number from 5"),
    "absurd": ("width_mm = 200", "width_mm = 1e9", "expected a number from 5 to 20000"),
    "hundreds of digits": ("width_mm = 200", f"width_mm = 2{'0' * 400}", "expected a number"),
    "nan": ("width_mm = 200", "width_mm = nan", "width_mm = nan: expected a number"),
    "infinite": ("width_mm = 200", "width_mm = inf", "width_mm = inf: expected a number"),
    "zero thickness": ("thickness_mm = 0.4", "thickness_mm = 0", "from 0.01 to 100"),
    "colour": ("#4f7f3a", "green", "colour = 'green': expected a colour like '#a0522d'"),
    "choice": ('painted = "light"', 'painted = "pale"', "expected one of dark, light"),
    "material": (
        'material = "card"',
        'material = "cheese"',
        "material = 'cheese': expected one of",
    ),
    "margin": ("margin_mm = 12", "margin_mm = 80", "expected less than half"),
    "thin bridge": ("width_mm = 2.5", "width_mm = 1.0", "expected at least 2, the least width"),
    "same names": ('name = "Shadow"', 'name = "mid tone"', "two [[layers]] tables are named"),
    "hole off": ("hole_diameter_mm = 5", "hole_diameter_mm = 5\nholes_mm = [[1, 1]]", "whole hole"),
    "hole shape": (
        "hole_diameter_mm = 5",
        "hole_diameter_mm = 5\nholes_mm = [[1]]",
        "expected [x, y]",
    ),
    "layer key": ('group = "mid-tone"', 'id = "mid-tone"', "[[layers]] number 1: unknown key 'id'"),
    "layer missing": ('artwork = "leaf.svg"', "", "number 1: the key 'artwork' is missing"),
    "section as number": (
        "[sheet]",
        "sheet = 3\n[bogus]",
        "not valid TOML|unknown key|expected a table",
    ),
    "syntax": ("[sheet]", "[sheet", "is not valid TOML"),
    "material row": ("density_g_cm3 = 0.3", "density_g_cm3 = -1", "[felt]: density_g_cm3 = -1"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_job_is_refused_in_one_sentence(case):
    old, new, sentence = BAD[case]
    assert old in GOOD
    with pytest.raises(JobError) as caught:
        parse_job(GOOD.replace(old, new), "leaf.toml")
    text = str(caught.value)
    assert text.startswith("leaf.toml: ")
    assert any(part in text for part in sentence.split("|"))
    assert "\n" not in text


def test_no_layers_is_refused():
    with pytest.raises(JobError, match="at least one"):
        parse_job('title = "x"\n[sheet]\nwidth_mm = 100\nheight_mm = 100\nmargin_mm = 5')


@pytest.mark.parametrize("deep", [50, 5000])
def test_deep_nesting_is_refused(deep):
    with pytest.raises(JobError):
        parse_job("title = " + "[" * deep + "]" * deep)


@pytest.mark.parametrize(
    "key", ['artwork = "leaf.svg"', 'group = "mid-tone"', 'title = "Leaf"', 'name = "Shadow"']
)
def test_a_text_with_a_character_that_no_file_can_hold_is_refused(key):
    assert key in GOOD
    with pytest.raises(JobError, match=r"expected a text without the character U\+0000"):
        parse_job(GOOD.replace(key, key[:-1] + '\\u0000"'))


def test_files_that_are_no_job_are_refused(tmp_path):
    with pytest.raises(JobError, match="nothing of that name"):
        load_job(tmp_path / "none.toml")
    with pytest.raises(JobError, match="a folder"):
        load_job(tmp_path)
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(JobError, match="not UTF-8"):
        load_job(binary)
    big = tmp_path / "big.toml"
    with big.open("wb") as file:
        os.truncate(file.fileno(), 5_000_000)
    with pytest.raises(JobError, match="too many"):
        load_job(big)


def test_usual_registration_holes_do_not_fit_a_turned_or_flipped_sheet():
    job = parse_job(GOOD)
    w, h = job.sheet.width_mm, job.sheet.height_mm
    centres = set(pin_centres(job.registration, job.sheet))
    assert len(centres) == 3
    for moved in (
        {(w - x, h - y) for x, y in centres},
        {(w - x, y) for x, y in centres},
        {(x, h - y) for x, y in centres},
        {(y, x) for x, y in centres},
    ):
        assert moved != centres


def test_registration_holes_are_round_and_of_the_diameter():
    job = parse_job(GOOD)
    for hole in holes(job.registration, job.sheet).geoms:
        assert hole.area == pytest.approx(3.14159265 * 2.5**2, rel=2e-3)


def test_every_section_says_what_each_key_means():
    for section in SECTIONS.values():
        for field in section.__dataclass_fields__.values():
            assert field.metadata["about"]


@pytest.mark.parametrize("name", ["x" * 300, "Größe" * 60, "字" * 200, "a-" * 150])
def test_a_long_name_is_cut_to_what_a_file_name_holds(name):
    stem = file_stem(name)
    assert 90 <= len(stem.encode()) <= 100
    assert not stem.endswith("-")
    assert file_stem(name[:20]) == stem[: len(file_stem(name[:20]))]
