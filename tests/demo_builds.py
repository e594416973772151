"""The two demos, built once a test run: many tests look at them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from sheetstack.geometry.build import Build, build
from sheetstack.geometry.job.load import load_job
from sheetstack.geometry.paint.drift import Drift, drift_of
from sheetstack.geometry.paint.wall import Wall, wall_of

SCENES = Path(__file__).parents[1] / "demo_scenes"
DEMOS = ("portrait", "sign")


@cache
def demo(name: str) -> Build:
    """Return a demo, built."""
    return build(load_job(SCENES / name / f"{name}.toml"))


@cache
def demo_wall(name: str) -> Wall:
    """Return the wall of a demo, cut into cells."""
    return wall_of(demo(name))


@cache
def demo_drift(name: str) -> Drift:
    """Return how far the sheets of a demo may drift."""
    return drift_of(demo(name), demo_wall(name))
