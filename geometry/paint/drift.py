"""Drift: how well a job stands sheets that lie a little off their place when they are sprayed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Bools
from ..build import Build
from ..finding import Finding, Severity
from ..planar.arrangement import Partition, partition
from ..progress import Progress
from ..sheet.registration import turning_centre
from ..threads import side_by_side, watched
from .drift_samples import SAMPLES, Detail, lost_details
from .drift_words import PairStatement, pair_statements
from .register_margins import Allowance, Margin, Trouble, register_margins
from .wall import Can, Wall, cans_of

#: Details that are lost in a smaller share of the samples are not told.
OFTEN = 0.1


@dataclass(frozen=True)
class Drift:
    """How well a job stands drifting sheets.

    Parameters
    ----------
    names : tuple of str
    margins : tuple of Margin
        Those that lack most first.
    details : tuple of Detail
        Those that were lost in any sample, the most often lost first.
    allowance : Allowance
        The drift and turn that the job reckons with.
    """

    names: tuple[str, ...]
    margins: tuple[Margin, ...]
    details: tuple[Detail, ...]
    allowance: Allowance

    def pair(self, one: int, other: int) -> tuple[Margin, ...]:
        """Return the margins of one pair, those that lack most first."""
        return tuple(m for m in self.margins if {m.lower, m.upper} == {one, other})

    def layer_mm(self, layer: int) -> float | None:
        """Return how far one sheet alone may drift, None where nothing within reach limits it."""
        return min((m.width_mm for m in self.margins if layer in (m.lower, m.upper)), default=None)

    def layer_deg(self, layer: int) -> float | None:
        """Return how far one sheet alone may turn about its centre, None where unlimited."""
        return min((m.turn_deg for m in self.margins if layer in (m.lower, m.upper)), default=None)


def drift_of(build: Build, wall: Wall, progress: Progress | None = None) -> Drift:
    """Measure how far the sheets of a built job may drift.

    Parameters
    ----------
    build : Build
    wall : Wall
        Of the same job.
    progress : Progress, optional

    Returns
    -------
    Drift
    """
    registration, sheet = build.job.registration, build.job.sheet
    return drift_between(
        [layer.artwork.shape for layer in build.layers],
        cans_of(layer.settings for layer in build.layers),
        build.job.ground,
        tuple(layer.settings.name for layer in build.layers),
        Allowance(
            registration.drift_mm,
            registration.turn_deg,
            turning_centre(registration, sheet),
            registration.drifts_add,
        ),
        (wall.cells, wall.wanted),
        progress,
    )


def drift_between(
    shapes: Sequence[MultiPolygon],
    cans: Sequence[Can],
    ground: str,
    names: tuple[str, ...],
    allowance: Allowance,
    cells: tuple[Partition, Bools] | None = None,
    progress: Progress | None = None,
) -> Drift:
    """Measure how far layers may drift against each other.

    Parameters
    ----------
    shapes : sequence of MultiPolygon
        What each layer paints, in spray order, in mm.
    cans : sequence of Can
    ground : str
    names : tuple of str
    allowance : Allowance
    cells : Partition and bool array (n, layers), optional
        Cells of all shapes and which of them each cell lies in, where they are known.
    progress : Progress, optional

    Returns
    -------
    Drift

    Examples
    --------
    >>> from shapely import box
    >>> squares = [MultiPolygon([box(0, 0, 20, 20)]), MultiPolygon([box(4, 4, 16, 16)])]
    >>> cans = [Can("#ffffff"), Can("#000000")]
    >>> drift = drift_between(squares, cans, "#808080", ("A", "B"), Allowance(1, 0, (10, 10)))
    >>> drift.margins[0].width_mm, drift.margins[0].trouble.value
    (4.0, 'colour outside its place')
    """
    progress = progress or Progress()
    if cells is None:
        whole = shapely.box(*shapely.total_bounds(np.array(shapes, object)))
        found = partition(shapes, shapely.buffer(whole, 1.0, join_style="mitre"))
        cells = found, found.inside
    drift = (allowance.centre, allowance.drift_mm, allowance.turn_deg)
    # Side by side, for they take long on big artwork and neither needs the other.
    works: tuple[Callable[[Progress], Any], ...] = (
        partial(register_margins, shapes, cans, ground, *cells, allowance),
        partial(lost_details, shapes, cans, *drift),
    )
    both = partial(side_by_side, lambda work, told: work(told), works)
    margins, details = watched(progress, both)
    progress(1.0, "drift measured")
    return Drift(names, margins, details, allowance)


def drift_findings(drift: Drift) -> tuple[Finding, ...]:
    """Tell where the drift that the job reckons with would show, the worst first.

    One finding a pair of layers, at its worst place, and one for the details of each layer.
    """
    names = drift.names
    found = [_pair_finding(pair, names) for pair in pair_statements(drift.margins)]
    for layer in sorted({d.layer for d in drift.details}):
        mine = [d for d in drift.details if d.layer == layer and d.lost_share >= OFTEN]
        if mine:
            what = names[layer] if layer >= 0 else "the bare wall"
            found.append(
                Finding(
                    "registration.detail-lost",
                    Severity.WARNING,
                    f"{len(mine)} small patches of {what} may be lost when sheets drift by up to "
                    f"{drift.allowance.drift_mm:g} mm; this one was in "
                    f"{100 * mine[0].lost_share:.0f} % of {SAMPLES} sampled drifts.",
                    names[layer] if layer >= 0 else "",
                    mine[0].place,
                )
            )
    return tuple(found)


def _pair_finding(pair: PairStatement, names: Sequence[str]) -> Finding:
    """Tell of one pair of sheets, at its worst place."""
    worst = pair.worst
    gap = any(kind is Trouble.GAP for kind, _, _ in pair.shows)
    return Finding(
        f"registration.{worst.trouble.name.lower()}",
        Severity.WARNING if gap else Severity.NOTE,
        pair.message(names),
        names[pair.upper],
        worst.place,
        worst.width_mm,
    )


def drifted_corner(
    centre: tuple[float, float], shift: tuple[float, float], turn_deg: float
) -> tuple[float, float]:
    """Return where the lower left corner of a sheet comes to lie when the sheet drifts.

    Parameters
    ----------
    centre : tuple of float
        That the sheet turns about, in mm.
    shift : tuple of float
        In mm.
    turn_deg : float
        Counter-clockwise.

    Examples
    --------
    >>> x, y = drifted_corner((10, 5), (1, 0), 90)
    >>> round(x, 9), round(y, 9)
    (16.0, -5.0)
    """
    middle = np.array(centre)
    angle = np.radians(turn_deg)
    turned = np.array(
        [
            [np.cos(angle), -np.sin(angle)],
            [np.sin(angle), np.cos(angle)],
        ]
    )
    x, y = (middle + shift - turned @ middle).tolist()
    return x, y
