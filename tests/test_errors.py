"""Sentences of errors and findings: one printable line of at most 300 characters."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheetstack.geometry.errors import PROGRAM, JobError, one_line
from sheetstack.geometry.finding import Finding, Severity


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
