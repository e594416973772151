"""Fixture shapes: the awkward cases every step of the geometry has to survive."""

from __future__ import annotations

import signal

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Polygon, box

from sheetstack.geometry.planar.polygons import as_multipolygon

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A shell starts background jobs deaf to Ctrl-C, and programs that tests start would inherit it.
    signal.signal(signal.SIGINT, signal.default_int_handler)


def round_plate(count: int, vertices: int = 100, pitch: float = 10.0) -> Polygon:
    """A square plate with ``count`` (a square number) round-ish openings in rows."""
    rng = np.random.default_rng(7)
    side = round(count**0.5)
    turn = np.linspace(0, 2 * np.pi, vertices, endpoint=False)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    holes = [
        (pitch * (i + 0.5), pitch * (j + 0.5))
        + circle * 0.35 * pitch * (1 + 0.03 * rng.standard_normal((vertices, 1)))
        for i in range(side)
        for j in range(side)
    ]
    return Polygon(box(0, 0, side * pitch, side * pitch).exterior.coords, holes)


def random_sheet(seed: int) -> MultiPolygon:
    """A plate with openings, islands and nested islands; grid-aligned for even seeds."""
    rng = np.random.default_rng(seed)
    picture = Polygon()
    for _ in range(25):
        x, y, w, h = rng.integers(0, 95, 4) if seed % 2 == 0 else rng.uniform(0, 95, 4)
        part = box(x, y, x + w / 4 + 1, y + h / 4 + 1)
        if seed % 3 == 0:
            part = shapely.Point(x, y).buffer(w / 8 + 1)
        picture = picture.symmetric_difference(part)
    return as_multipolygon(box(-20, -20, 140, 140).difference(picture))


def _grid_plate() -> Polygon:
    plate = box(0, 0, 210, 297)
    for x, y in [(20, 30), (80, 30), (140, 30), (20, 110)]:
        plate = plate.difference(box(x, y, x + 10, y + 20))
    return plate


def _collinear() -> Polygon:
    edge = np.linspace(0, 10, 41)
    ring = [(x, 0) for x in edge] + [(10, y) for y in edge[1:]] + [(x, 10) for x in edge[::-1][1:]]
    return Polygon(ring, [[(2, 2), (4, 2), (6, 2), (8, 2), (8, 8), (5, 8), (2, 8)]])


SHAPES: dict[str, Polygon | MultiPolygon] = {
    "plain plate": box(0, 0, 30, 20),
    "one opening": box(0, 0, 30, 20).difference(box(10, 5, 20, 15)),
    "grid-aligned openings": _grid_plate(),
    "points on straight edges": _collinear(),
    "nested islands": box(0, 0, 90, 90)
    .difference(box(10, 10, 80, 80))
    .union(box(20, 20, 70, 70))
    .difference(box(30, 30, 60, 60))
    .union(box(40, 40, 50, 50)),
    "openings touching at a point": box(0, 0, 30, 30)
    .difference(box(5, 5, 15, 15))
    .difference(box(15, 15, 25, 25)),
    "pieces touching at a point": box(0, 0, 10, 10).union(box(10, 10, 20, 20)),
    "sliver": Polygon([(0, 0), (100, 0), (100, 1e-4), (50, 2e-4), (0, 1e-4)]),
    "comb": shapely.union_all([box(0, 0, 40, 2), *(box(x, 2, x + 1, 30) for x in range(0, 40, 2))]),
    "far from the origin": box(99000, 99000, 99030, 99020).difference(
        box(99010, 99005, 99020, 99015)
    ),
    "round openings": round_plate(49),
    "several plates": MultiPolygon([box(0, 0, 5, 5), box(10, 0, 15, 5), box(0, 10, 5, 15)]),
}


@pytest.fixture(params=SHAPES, ids=[name.replace(" ", "-") for name in SHAPES])
def shape(request: pytest.FixtureRequest) -> Polygon | MultiPolygon:
    """Each of the named shapes in turn."""
    return SHAPES[request.param]


@pytest.fixture
def sheet_of_seed():
    """The maker of random sheets, for tests that run over many seeds."""
    return random_sheet


@pytest.fixture
def plate_of_rounds():
    """The maker of plates with round-ish openings."""
    return round_plate
