"""Sentences of errors and findings: one printable line of at most 300 characters."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheetstack.geometry.errors import PROGRAM, GeometryError, JobError, TooIntricate, one_line
from sheetstack.geometry.finding import Finding, Severity
from sheetstack.geometry.geos_fault import geos_told


@given(st.text(), st.integers(20, 400))
def test_a_line_prints_and_is_not_too_long(text, most):
    line = one_line(text, most)
    assert line.isprintable()
    assert len(line) <= most


def test_short_printable_text_stays_as_it_is():
    assert one_line("Größe.toml: expected 3 ✂.") == "Größe.toml: expected 3 ✂."


@pytest.mark.parametrize("text", ["a\r\nb", "a\u2028b", "a\u202eb", "a\x1b[0mb", "a\x00b"])
def test_what_breaks_or_turns_a_line_is_escaped(text):
    for told in (str(JobError(text)), Finding("x.y", Severity.NOTE, text, text).sentence()):
        assert told.isprintable()
        assert "\\" in told


def test_a_long_sentence_keeps_its_beginning_and_its_end():
    told = str(JobError(f"job.toml: {'x' * 5000}: expected a number."))
    assert told.startswith("job.toml: xxx")
    assert told.endswith("xxx: expected a number.")
    assert len(PROGRAM + told) == 300  # as the command line prints it


def test_what_is_too_intricate_is_told_with_whose_it_is_once():
    with pytest.raises(GeometryError) as told, geos_told("The job"), geos_told("Hair (a.svg)"):
        raise TooIntricate("900 shapes cross")
    assert str(told.value) == "Hair (a.svg): 900 shapes cross"
