"""Editing a job's text: what a person wrote stays, what changed is changed, nothing else."""

from dataclasses import replace
from pathlib import Path

import pytest

from sheetstack.geometry.artwork.source import source_of
from sheetstack.geometry.job.edit import edited_job_text, rebased
from sheetstack.geometry.job.load import load_job, parse_job

DEMOS = sorted(Path(__file__).parents[2].glob("demo_scenes/*/*.toml"))
TEXT = """# A job of mine
title = "Cat"  # hers

[sheet]
height_mm = 50     # tall
width_mm = 40.0
margin_mm = 5

[bridges]
width_mm = 2.5

[[layers]]
name = "Base"      # first
colour = "#000000"
artwork = "cat.svg"

[[layers]]
name = "Light"     # second
colour = "#FFFFFF"
artwork = "cat.svg"
scale = 1
"""
JOB = parse_job(TEXT)


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_an_unchanged_job_keeps_its_text_to_the_letter(path):
    text = path.read_text(encoding="utf-8")
    assert edited_job_text(text, load_job(path)) == text


def test_keys_written_at_their_default_stay():
    assert "scale = 1\n" in edited_job_text(TEXT, JOB)


def test_a_changed_value_changes_its_line_only():
    job = replace(JOB, sheet=replace(JOB.sheet, height_mm=60.0))
    before, after = TEXT.splitlines(), edited_job_text(TEXT, job).splitlines()
    assert [b for a, b in zip(before, after, strict=True) if a != b] == [
        "height_mm = 60.0     # tall"
    ]


def test_an_absent_value_takes_its_key_away():
    job = replace(JOB, bridges=replace(JOB.bridges, width_mm=None))
    text = edited_job_text(TEXT, job)
    assert "width_mm = 2.5" not in text
    assert parse_job(text) == job


def test_moved_layers_take_their_comments_along():
    job = replace(JOB, layers=JOB.layers[::-1])
    text = edited_job_text(TEXT, job)
    assert text.index("# second") < text.index("# first")
    assert parse_job(text) == job


def test_added_removed_and_renamed_layers_come_back_equal():
    base, light = JOB.layers
    for layers in (
        (base,),
        (base, replace(base, name="Third"), light),
        (replace(base, name="New name"), light),
    ):
        job = replace(JOB, layers=layers)
        assert parse_job(edited_job_text(TEXT, job)) == job


@pytest.mark.parametrize("text", ["", "not [ toml", "title = 3"])
def test_a_text_that_is_no_job_is_written_anew(text):
    assert parse_job(edited_job_text(text, JOB)) == JOB


def test_artwork_paths_follow_the_job_to_another_folder(tmp_path):
    job = replace(JOB, folder=tmp_path / "a")
    moved = rebased(job, tmp_path / "b" / "c")
    assert moved.layers[0].artwork == "../../a/cat.svg"
    assert (
        source_of(moved, moved.layers[0]).path.resolve() == (tmp_path / "a" / "cat.svg").resolve()
    )
    assert rebased(moved, job.folder) == job
