"""Runs of a line of text: which parts run to the left, and in which order they stand.

The implicit rules of the Unicode Bidirectional Algorithm (Unicode Standard Annex #9: P2-P3, W1-W7,
N1-N2, I1-I2, L1-L2) without its explicit marks, which are left out, and without paired brackets.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

_STRONG = {"L": 0, "R": 1, "AL": 1}
#: Marks for explicit embedding, and others that take no room.
_LEFT_OUT = frozenset(("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI", "BN"))
_NEUTRAL = frozenset(("B", "S", "WS", "ON"))


@dataclass(frozen=True)
class Run:
    """A stretch of a line in one direction and one script.

    Parameters
    ----------
    text : str
        In the order in which it is read.
    to_left : bool
        Whether it runs from right to left.
    first : int
        How many characters of the line that are not left out stand before it.
    """

    text: str
    to_left: bool
    first: int = 0


def runs_of(line: str) -> tuple[Run, ...]:
    """Return the runs of a line from left to right as they stand on the wall.

    >>> [run.text for run in runs_of("wall")]
    ['wall']
    >>> [(run.text, run.to_left) for run in runs_of("\\u05d0\\u05d1 12")]
    [('12', False), ('\\u05d0\\u05d1 ', True)]
    """
    kept = [c for c in line if not is_left_out(c)]
    if not kept:
        return ()
    base = next(
        (_STRONG[k] for k in map(unicodedata.bidirectional, kept) if k in _STRONG),
        0,
    )
    levels = _levels(kept, base)
    # Where a run ends: the level changes, or the script does.
    scripts = _scripts(kept)
    runs: list[tuple[int, str, int]] = []
    for at, character in enumerate(kept):
        same = at and levels[at] == levels[at - 1] and scripts[at] == scripts[at - 1]
        if same:
            level, text, first = runs[-1]
            runs[-1] = (level, text + character, first)
        else:
            runs.append((levels[at], character, at))
    # L2: from the highest level down, turn every row of runs at that level or above.
    for level in range(max(levels), 0, -1):
        start = 0
        while start < len(runs):
            stop = start
            while stop < len(runs) and runs[stop][0] >= level:
                stop += 1
            runs[start:stop] = runs[start:stop][::-1]
            start = max(stop, start) + 1
    return tuple(Run(text, bool(level % 2), first) for level, text, first in runs)


def is_left_out(character: str) -> bool:
    """Return whether a character is a mark that takes no room and is not set."""
    return unicodedata.bidirectional(character) in _LEFT_OUT


def _levels(kept: list[str], base: int) -> list[int]:
    edge = "R" if base else "L"
    kinds = [unicodedata.bidirectional(c) or "L" for c in kept]
    original = list(kinds)
    before = edge
    for at, kind in enumerate(kinds):  # W1
        if kind == "NSM":
            kinds[at] = before
        before = kinds[at]
    strong = edge
    for at, kind in enumerate(kinds):  # W2, W3
        if kind in _STRONG:
            strong = kind
            if kind == "AL":
                kinds[at] = "R"
        elif kind == "EN" and strong == "AL":
            kinds[at] = "AN"
    for at in range(1, len(kinds) - 1):  # W4
        one, kind, other = kinds[at - 1 : at + 2]
        if one == other and one in ("EN", "AN") and (kind == "CS" or (kind, one) == ("ES", "EN")):
            kinds[at] = one
    for at, kind in enumerate(kinds):  # W5
        if kind == "ET":
            stop = at
            while stop < len(kinds) and kinds[stop] == "ET":
                stop += 1
            if "EN" in (kinds[at - 1] if at else "", kinds[stop] if stop < len(kinds) else ""):
                kinds[at:stop] = ["EN"] * (stop - at)
    kinds = ["ON" if kind in ("ES", "ET", "CS") else kind for kind in kinds]  # W6
    strong = edge
    for at, kind in enumerate(kinds):  # W7
        if kind in ("L", "R"):
            strong = kind
        elif kind == "EN" and strong == "L":
            kinds[at] = "L"
    at = 0
    while at < len(kinds):  # N1, N2
        stop = at
        while stop < len(kinds) and kinds[stop] in _NEUTRAL:
            stop += 1
        if stop > at:
            left = _side(kinds[at - 1]) if at else edge
            right = _side(kinds[stop]) if stop < len(kinds) else edge
            kinds[at:stop] = [left if left == right else edge] * (stop - at)
        at = max(stop, at + 1)
    levels = []
    for kind in kinds:  # I1, I2
        if base:
            levels.append(1 if kind == "R" else 2)
        else:
            levels.append({"L": 0, "R": 1}.get(kind, 2))
    for at in range(len(kinds) - 1, -1, -1):  # L1
        if original[at] not in ("WS", "B", "S"):
            break
        levels[at] = base
    return levels


def _side(kind: str) -> str:
    return "R" if kind in ("R", "EN", "AN") else "L"


def _scripts(kept: list[str]) -> list[str]:
    """Return the script of each character: that of its letter's name; others take a neighbour's."""
    found = [
        unicodedata.name(c, "").partition(" ")[0] if unicodedata.category(c)[0] == "L" else ""
        for c in kept
    ]
    last = next((s for s in found if s), "")
    for at, script in enumerate(found):
        last = script or last
        found[at] = last
    return found
