"""The job's log: a plain file that only grows, and what it tells of each sheet."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sheetstack.geometry.cli.main import main
from sheetstack.geometry.job.spray_log import log_beside, read_log, records
from sheetstack.geometry.report.spray_plan import spray_plan
from sheetstack.geometry.report.studio import Studio

from ..demo_builds import demo

JOB = """
title = "Leaf"
[sheet]
width_mm = 100
height_mm = 100
[[layers]]
name = "Base"
colour = "#4f7f3a"
artwork = "leaf.svg"
[[layers]]
name = "Vein"
colour = "#203010"
artwork = "leaf.svg"
split = true
"""


@pytest.fixture
def job(tmp_path):
    path = tmp_path / "leaf.toml"
    path.write_text(JOB)
    return path


def log(job, *options):
    return main(["log", str(job), *options])


def test_events_are_added_and_told_of_each_sheet(job, capsys):
    for day in range(1, 6):
        options = ("--event", "sprayed", "--sheet", "all", "--where", "yard")
        assert log(job, *options, "--date", f"2031-05-0{day}", "-q") == 0
    assert log(job, "--event", "cleaned", "--sheet", "Base", "-q") == 0
    assert log(job, "--event", "repaired", "--sheet", "Vein A", "--where", "3", "-q") == 0
    assert log(job, "--event", "worn out", "--sheet", "Vein B", "-q") == 0
    assert log(job) == 0
    base, vein_a, vein_b = capsys.readouterr().out.splitlines()
    assert "sprayed 5 times" in base
    assert "Ready to be used again" in base
    assert "patch 3" in vein_a
    assert "clean it" in vein_a
    assert "WORN OUT" in vein_b
    assert log(job, "--event", "made", "--sheet", "Vein B") == 0
    assert "Vein B: sprayed 0 times" in capsys.readouterr().out


def test_a_season_s_log_stands_in_the_next_plan(job):
    days = iter(range(1, 20))

    def event(what, *options):
        assert log(job, "--event", what, *options, "--date", f"2031-05-{next(days):02}", "-q") == 0

    event("made", "--sheet", "all")
    for wall in range(1, 6):
        event("sprayed", "--sheet", "all", "--where", f"wall {wall}")
        if wall == 3:
            event("repaired", "--sheet", "Vein A", "--where", "2.3", "--note", "bridge torn")
            event("cleaned", "--sheet", "Vein A")
    event("worn out", "--sheet", "Vein B")
    event("made", "--sheet", "Vein B")
    event("sprayed", "--sheet", "Vein B", "--where", "wall 6")
    told = records(read_log(log_beside(job)), ["Base", "Vein A", "Vein B"])
    assert [record.remark() for record in told] == [
        "sprayed 5 times; clean it first",
        "sprayed 5 times, patch 2.3",
        "sprayed once",
    ]
    plan = spray_plan(demo("sign"), Studio(), log=[replace(told[0], sheet="Shade")])
    (sheets,) = (lines for head, lines in plan.ready if head == "Sheets")
    assert "sprayed" not in sheets[0]
    assert sheets[1].endswith("g; sprayed 5 times; clean it first")


def test_what_stands_in_the_file_stays_as_it_is(job):
    path = job.with_name("leaf.log.txt")
    mine = "day\tsheet\tevent\n2031-05-01\tBase\tsprayed"
    path.write_text("2031-05-01\tBase\tsprayed\tyard\tmy own  words")
    assert log(job, "--event", "cleaned", "--sheet", "Base", "--note", "a\tb\nc", "-q") == 0
    first, second = path.read_text().splitlines()
    assert first.endswith("my own  words")
    assert second.endswith("cleaned\t\ta b c")
    path.write_text(mine)
    assert log(job) == 2
    assert path.read_text() == mine


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--event", "sprayed"), "expected 'all' or one of Base, Vein A, Vein B"),
        (("--event", "sprayed", "--sheet", "Leaf"), "--sheet Leaf"),
        (("--sheet", "Base"), "--event: expected one of made"),
        (("--event", "made", "--sheet", "Base", "--date", "today"), "expected a day"),
    ],
)
def test_options_that_cannot_be_are_one_sentence(options, said, job, capsys):
    assert log(job, *options) == 2
    assert said in capsys.readouterr().err
    assert not job.with_name("leaf.log.txt").exists()
