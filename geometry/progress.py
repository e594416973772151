"""Progress of long work, and its cancelling, in the terminal and in Blender alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

#: Called with the share done (0 to 1) and what is being done. It may raise ``Cancelled``.
Report = Callable[[float, str], None]


def silent(share: float, what: str) -> None:
    """Report nothing: the default."""


@dataclass(frozen=True)
class Progress:
    """A stretch of the whole work, so that a part need not know where it stands in it.

    >>> seen = []
    >>> half = Progress(lambda share, what: seen.append((share, what))).part(0.5, 1.0)
    >>> half(0.5, "cutting")
    >>> seen
    [(0.75, 'cutting')]
    """

    report: Report = field(default=silent)
    start: float = 0.0
    end: float = 1.0

    def __call__(self, share: float, what: str) -> None:
        """Report ``share`` (0 to 1) of this stretch; raises what the report raises."""
        self.report(self.start + (self.end - self.start) * share, what)

    def part(self, start: float, end: float) -> Progress:
        """Return the stretch from ``start`` to ``end`` (0 to 1) of this one."""
        span = self.end - self.start
        return Progress(self.report, self.start + span * start, self.start + span * end)
