"""A sweep: the same picture drawn with less and more detail, to choose by eye and by the clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ..progress import Progress
from .settings import TracingSettings
from .trace import Tracing, read_and_trace

DETAILS = (0.0, 0.25, 0.5, 0.75, 1.0)
# The longer side in pixels: enough to judge by.
_PIXELS = 960


@dataclass(frozen=True, eq=False)
class Trial:
    """One setting of the slider and what came of it."""

    detail: float
    tracing: Tracing


def sweep(
    path: Path,
    settings: TracingSettings,
    progress: Progress | None = None,
    details: Sequence[float] = DETAILS,
) -> tuple[Trial, ...]:
    """Trace a picture with each detail, all else as in the settings.

    Parameters
    ----------
    path : Path
        The picture's file.
    settings : TracingSettings
    progress : Progress, optional
    details : sequence of float
        0 to 1, in the order of the result.

    Raises
    ------
    ArtworkError, JobError, Cancelled
        See :func:`read_and_trace`.
    """
    progress = progress or Progress()
    trials = []
    for number, detail in enumerate(details):
        part = progress.part(number / len(details), (number + 1) / len(details))
        tracing = read_and_trace(path, replace(settings, detail=detail), part, _PIXELS)
        trials.append(Trial(detail, tracing))
    return tuple(trials)
