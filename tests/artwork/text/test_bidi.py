"""Order of runs, against examples of Unicode Standard Annex #9 (its tables, from memory).

As there, small letters stand for letters that run to the right, capitals for such that run to the
left; here they are turned into Latin and Hebrew letters.
"""

from __future__ import annotations

import pytest

from sheetstack.geometry.artwork.text.bidi import runs_of

TO_HEBREW = {chr(ord("A") + k): chr(0x05D0 + k) for k in range(26)}
TO_CAPITALS = {value: key for key, value in TO_HEBREW.items()}


def shown(line: str) -> str:
    runs = runs_of("".join(TO_HEBREW.get(c, c) for c in line))
    seen = "".join(run.text[::-1] if run.to_left else run.text for run in runs)
    return "".join(TO_CAPITALS.get(c, c) for c in seen)


@pytest.mark.parametrize(
    ("read", "seen"),
    [
        ("car means CAR.", "car means RAC."),
        ("CAR", "RAC"),
        ("THE car IS", "SI car EHT"),
        ("he said CAR 123", "he said 123 RAC"),
        ("A 1.5 B", "B 1.5 A"),
        ("", ""),
    ],
)
def test_lines_are_shown_as_the_annex_shows_them(read, seen):
    assert shown(read) == seen


def test_scripts_are_runs_of_their_own():
    assert [run.text for run in runs_of("ab \u03b1\u03b2")] == ["ab ", "\u03b1\u03b2"]
