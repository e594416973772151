"""Painting: what is on the wall, in which order to spray, and how far sheets may drift, of a build.

Worked out once, and shown by the report, the proof and the plan for painting day.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from ..build import Build
from ..finding import Finding
from ..geos_fault import geos_told
from ..progress import Progress
from .drift import Drift, drift_findings, drift_of
from .spray_order import OrderAdvice, compare_orders
from .wall import Wall, wall_of


@dataclass(frozen=True)
class Painting:
    """What the paint of a built job does.

    Parameters
    ----------
    wall : Wall
    orders : OrderAdvice
    drift : Drift
    """

    wall: Wall
    orders: OrderAdvice
    drift: Drift

    @cached_property
    def register(self) -> tuple[Finding, ...]:
        """Where the drift that the job reckons with would show, the worst first."""
        return drift_findings(self.drift)


def painting_of(build: Build, progress: Progress | None = None) -> Painting:
    """Work out the paint of a built job.

    Parameters
    ----------
    build : Build
    progress : Progress, optional

    Returns
    -------
    Painting

    Raises
    ------
    GeometryError
        The areas of paint cannot be worked out.
    Cancelled
    """
    progress = progress or Progress()
    with geos_told(f"Painting '{build.job.title}'"):
        wall = wall_of(build, progress.part(0.0, 0.3))
        progress(0.3, "comparing spray orders")
        orders = compare_orders(wall)
        return Painting(wall, orders, drift_of(build, wall, progress.part(0.4, 1.0)))
