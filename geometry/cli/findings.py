"""Findings on the terminal: one line each, what spoils a stencil first."""

from __future__ import annotations

from collections.abc import Iterable

from ..finding import Finding, Severity
from .command import CLEAN, SPOILT

_MARKS = {Severity.NOTE: "note", Severity.WARNING: "look", Severity.SPOILS: "SPOILS"}
#: Findings printed of one job; the report has them all.
MOST_SHOWN = 40


def print_findings(findings: Iterable[Finding]) -> None:
    """Print findings in the order of their weight, and how many more there are."""
    ordered = sorted(findings, key=lambda f: -f.severity)
    for finding in ordered[:MOST_SHOWN]:
        print(f"{_MARKS[finding.severity]:>6}  {finding.sentence()}")
    if len(ordered) > MOST_SHOWN:
        print(f"        and {len(ordered) - MOST_SHOWN} more findings")
    if ordered:
        print()


def print_each_kind(findings: Iterable[Finding]) -> None:
    """Print the first finding of each kind, and how many more like it there are."""
    kinds: dict[str, list[Finding]] = {}
    for finding in sorted(findings, key=lambda f: -f.severity):
        kinds.setdefault(finding.code, []).append(finding)
    for like in kinds.values():
        more = f" ({len(like) - 1} more like it)" * (len(like) > 1)
        print(f"{_MARKS[like[0].severity]:>6}  {like[0].sentence()}{more}")
    if kinds:
        print()


def verdict(findings: Iterable[Finding]) -> int:
    """Return the exit code that findings give: 1 where one spoils a stencil."""
    return SPOILT if any(f.severity is Severity.SPOILS for f in findings) else CLEAN
