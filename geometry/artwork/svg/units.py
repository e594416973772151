"""SVG numbers and lengths: text to pixels of 1/96 inch."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

PX_PER_INCH = 96
MM_PER_PX = 25.4 / PX_PER_INCH

#: Texts of a drawing are cut to so many characters in messages.
_LONGEST_TEXT = 40

#: CSS 2.1, section 4.3.2, and CSS Values 3, section 6.2: 96 px to the inch.
PX_PER_UNIT = {
    "": 1.0,
    "px": 1.0,
    "in": 96.0,
    "cm": 96 / 2.54,
    "mm": 96 / 25.4,
    "q": 96 / 101.6,
    "pt": 96 / 72,
    "pc": 16.0,
}

# Patterns here have one way only to match a text, so that a hostile one costs linear time.
NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
BLANKS = " ,\t\n\r\f"
_LENGTH = re.compile(rf"({NUMBER})\s*(%|[A-Za-z]*)")
_NUMBER = re.compile(NUMBER)
_BAD_COMMA = re.compile(r",\s*,")
# Where a number has ended, so that blanks and commas between two stay together.
_AFTER_NUMBER = re.compile(r"(?<=[0-9.])[\s,A-DF-Za-df-z]")

#: Characters that are looked through in one go: a call into C is not left before its end, and
#: somebody may want to stop.
_AT_ONCE = 100_000

#: What 1 em is in pixels where no font size is stated: CSS leaves ``medium`` to the reader, and
#: browsers take 16 (common practice, no source).
FONT_SIZE_PX = 16.0


def length_px(text: str, whole: float, font_size: float) -> float:
    """Return a length in pixels.

    Parameters
    ----------
    text : str
        A number with or without unit, or a percentage.
    whole : float
        What 100 % is, in pixels.
    font_size : float
        What 1 em is, in pixels; 1 ex is taken as half of it (CSS 2.1, 4.3.2).

    Raises
    ------
    ValueError
        Not a length; the text says what was expected.

    Examples
    --------
    >>> length_px("1in", 0, 16), length_px("50%", 300, 16), length_px("2em", 0, 16)
    (96.0, 150.0, 32.0)
    """
    found = _LENGTH.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"'{_short(text)}', expected a length such as 10, 10mm or 50%")
    number, unit = float(found[1]), found[2].lower()
    if not math.isfinite(number):
        raise ValueError(f"'{_short(text)}', expected a finite length")
    if unit == "%":
        return number * whole / 100
    if unit == "em":
        return number * font_size
    if unit == "ex":
        return number * font_size / 2
    if unit not in PX_PER_UNIT:
        units = ", ".join(u for u in PX_PER_UNIT if u)
        raise ValueError(f"'{_short(text)}' with the unknown unit '{unit}', expected {units} or %")
    return number * PX_PER_UNIT[unit]


def number_list(text: str) -> list[float]:
    """Return the numbers of a list that blanks or commas part.

    Raises
    ------
    ValueError
        Something else than finite numbers is in the list.
    """
    bare = text.strip()
    good = bare[:1] != "," and bare[-1:] != ","
    numbers: list[float] = []
    for start, end in pieces(text):
        piece = text[start:end]
        tokens = _NUMBER.findall(piece)
        found = list(map(float, tokens))
        good = good and holds_only(piece, tokens) and not _BAD_COMMA.search(piece)
        if not good or not all(map(math.isfinite, found)):
            raise ValueError(f"'{_short(text)}', expected a list of numbers")
        numbers += found
    return numbers


def pieces(text: str) -> Iterator[tuple[int, int]]:
    """Return where the pieces of a long text of numbers begin and end, each right after a number.

    >>> list(pieces("1 2, 3"))
    [(0, 6)]
    """
    start = 0
    while start < len(text):
        after = _AFTER_NUMBER.search(text, start + _AT_ONCE)
        end = after.start() if after else len(text)
        yield start, end
        start = end


def holds_only(text: str, tokens: list[str]) -> bool:
    """Return whether a text holds nothing but the tokens found in it, blanks and commas."""
    return sum(map(len, tokens)) == len(text) - sum(map(text.count, BLANKS))


def _short(text: str) -> str:
    text = " ".join(text[: 9 * _LONGEST_TEXT].split())
    return text if len(text) <= _LONGEST_TEXT else f"{text[: _LONGEST_TEXT - 3]}..."
