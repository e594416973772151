"""Repairs of one drawing, collected and told as findings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from ...arrays import Floats
from ...finding import Finding, Severity
from .contour import Compound

#: More repairs of one kind than this within one shape are told as one.
_TELL_EACH = 10


def place_of(point: Floats) -> tuple[float, float]:
    """Return a point as a finding's place."""
    return float(point[0]), float(point[1])


def called(name: str) -> str:
    """Return a name as the start of a sentence."""
    return f"{name[:1].upper()}{name[1:]}" if name else "An outline"


@dataclass
class Repairs:
    """Collects repairs and turns them into findings: each its own, or one for a crowd."""

    compounds: Sequence[Compound]
    repairs: dict[tuple[int, str], list[tuple[str, str, Floats, float | None]]] = field(
        default_factory=dict
    )

    def add(
        self,
        owner: int,
        code: str,
        sentence: str,
        place: Floats,
        *,
        name: str = "",
        size: float | None = None,
    ) -> None:
        """Note a repair of a contour.

        Parameters
        ----------
        owner : int
            Number of its compound.
        code : str
            Of the finding.
        sentence : str
            Goes on from the contour's name.
        place : float64 array (2,)
            In mm.
        name : str
            What messages call the contour, the compound's name when empty.
        size : float, optional
            In mm.
        """
        if not self.compounds[owner].quiet:
            entry = (name or self.compounds[owner].name, sentence, place, size)
            self.repairs.setdefault((owner, code), []).append(entry)

    def findings(self) -> tuple[Finding, ...]:
        """Return one finding per repair, or one for all of a kind where they are a crowd."""
        told = []
        for (_, code), entries in self.repairs.items():
            crowd = len(entries) > _TELL_EACH
            for name, sentence, place, size in entries[:1] if crowd else entries:
                message = f"{called(name)} {sentence}"
                if crowd:
                    message = f"{called(name)} and {len(entries) - 1} more: each {sentence}"
                told.append(Finding(code, Severity.NOTE, message, "", place_of(place), size))
        return tuple(told)
