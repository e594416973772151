"""Register in a painter's words: for each pair of sheets one statement, both ways, and one cure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum

from .register_margins import Margin, Trouble

#: Shifts under this, in mm, show at once: nobody lays a sheet nearer.
ANY = 0.05


class Cure(Enum):
    """What may be done about a pair besides registering more closely."""

    RUN_UNDER = "let the lower run under the upper"
    UPPER_INSIDE = "keep the upper inside the lower"
    LOWER_INSIDE = "keep the lower inside the upper"
    APART = "keep their edges apart, either way round"
    RUN_UNDER_AND_APART = "run under where they adjoin, apart elsewhere"


@dataclass(frozen=True)
class PairStatement:
    """What a pair of sheets stands, for drift either way.

    Parameters
    ----------
    lower, upper : int
    worst : Margin
        Where most is lacking.
    shows : tuple of (Trouble, float, int)
        What shows, from how many mm on, at how many places; that which shows first comes first.
    cure : Cure
        One for both ways.
    under_mm, apart_mm : float
        How far to run under, and to keep edges apart; 0 where the cure has no such part.
    """

    lower: int
    upper: int
    worst: Margin
    shows: tuple[tuple[Trouble, float, int], ...]
    cure: Cure
    under_mm: float
    apart_mm: float

    def message(self, names: Sequence[str]) -> str:
        """Return the statement without its place."""
        lower, upper = names[self.lower], names[self.upper]
        first, near, count = self.shows[0]
        slip = "any slip shows" if near < ANY else f"a slip of {near:.1f} mm shows"
        places = "place" if count == 1 else "places"
        said = f"{upper} on {lower}, either way: {slip}, {_seen(first, lower, upper)} "
        said += f"({count} {places})"
        if len(self.shows) > 1:
            more = [f"{_seen(kind, lower, upper)} ({c})" for kind, _, c in self.shows[1:]]
            said += f"; then {', '.join(more)}"
        return f"{said}. Register closer, or {self._cure(lower, upper)}."

    def _cure(self, lower: str, upper: str) -> str:
        under = f"let {lower} run {self.under_mm:.1f} mm under {upper} (trap_mm)"
        return {
            Cure.RUN_UNDER: under,
            Cure.UPPER_INSIDE: f"keep {upper} {self.apart_mm:.1f} mm inside {lower}'s edge",
            Cure.LOWER_INSIDE: f"keep {lower} {self.apart_mm:.1f} mm inside {upper}'s edge",
            Cure.APART: f"keep their edges {self.apart_mm:.1f} mm apart",
            Cure.RUN_UNDER_AND_APART: f"{under}, edges elsewhere {self.apart_mm:.1f} mm apart",
        }[self.cure]


def pair_statements(margins: Iterable[Margin]) -> tuple[PairStatement, ...]:
    """Return one statement for each pair of sheets that lacks register, the worst pair first.

    Parameters
    ----------
    margins : iterable of Margin
        Those that lack most first, as ``register_margins`` gives them.
    """
    tight: dict[tuple[int, int], list[Margin]] = {}
    for margin in margins:
        if margin.lacking_mm > 0:
            tight.setdefault((margin.lower, margin.upper), []).append(margin)
    return tuple(_statement(those) for those in tight.values())


def _statement(tight: Sequence[Margin]) -> PairStatement:
    kinds: dict[Trouble, list[Margin]] = {}
    for margin in tight:
        kinds.setdefault(margin.trouble, []).append(margin)
    shows = tuple(
        sorted(
            ((kind, min(m.width_mm for m in those), len(those)) for kind, those in kinds.items()),
            key=lambda s: (s[1], -s[2], s[0].name),
        )
    )
    need = {kind: max(m.needed_mm for m in those) for kind, those in kinds.items()}
    apart = max((mm for kind, mm in need.items() if kind is not Trouble.GAP), default=0.0)
    return PairStatement(
        tight[0].lower,
        tight[0].upper,
        tight[0],
        shows,
        _cure_of(set(kinds)),
        need.get(Trouble.GAP, 0.0),
        apart,
    )


def _cure_of(kinds: set[Trouble]) -> Cure:
    """Return the one cure that serves all troubles of a pair."""
    if kinds == {Trouble.GAP}:
        return Cure.RUN_UNDER
    if Trouble.GAP in kinds:
        return Cure.RUN_UNDER_AND_APART
    if kinds == {Trouble.OUTSIDE}:
        return Cure.UPPER_INSIDE
    if kinds == {Trouble.PEEK}:
        return Cure.LOWER_INSIDE
    return Cure.APART


def _seen(trouble: Trouble, lower: str, upper: str) -> str:
    return {
        Trouble.GAP: "bare wall",
        Trouble.OUTSIDE: f"{upper} strays",
        Trouble.PEEK: f"{lower} peeks out",
        Trouble.TOUCH: "colours run together",
    }[trouble]
