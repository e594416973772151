"""How long each part of a proof takes on big artwork, as multiples of writing the areas as WKB.

Run on demand: ``python tests/bench/bench_proof.py [--openings 4900] [--vertices 50]``. Two layers
of round openings, the second a little smaller and inside the first, as a shadow in its mid-tone:
4,900 openings of 50 vertices are 490,000 vertices in all. Times are of the processor, in one run.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from shapely import MultiPolygon

from sheetstack.geometry.paint.drift import drift_between
from sheetstack.geometry.paint.drift_samples import lost_details
from sheetstack.geometry.paint.register_margins import Allowance, register_margins
from sheetstack.geometry.paint.spray_order import compare_orders
from sheetstack.geometry.paint.wall import Can, Wall
from sheetstack.geometry.planar.arrangement import partition

CANS = (Can("#c8691e"), Can("#0c1622"))


def rounds(count: int, vertices: int, radius: float, pitch: float = 10.0) -> MultiPolygon:
    """Round-ish openings in rows, each with its own random edge."""
    rng = np.random.default_rng(7)
    side = int(np.ceil(count**0.5))
    turn = np.linspace(0, 2 * np.pi, vertices, endpoint=False)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    at = pitch * (np.stack(np.divmod(np.arange(count), side), axis=1) + 0.5)
    wobble = 1 + 0.01 * rng.standard_normal((count, vertices, 1))
    rings = at[:, None, :] + radius * wobble * circle
    return MultiPolygon(list(shapely.polygons(np.concatenate([rings, rings[:, :1]], axis=1))))


def timed(work: Callable[[], Any]) -> tuple[Any, float]:
    """Return what a work gives and the processor's time for it."""
    start = time.process_time()
    found = work()
    return found, time.process_time() - start


def main() -> None:
    """Measure, and print one line a part."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--openings", type=int, default=4900)
    parser.add_argument("--vertices", type=int, default=50)
    chosen = parser.parse_args()
    shapes = [rounds(chosen.openings, chosen.vertices, r) for r in (4.0, 3.0)]
    total = sum(int(shapely.get_num_coordinates(s)) for s in shapes)
    _, peer = timed(lambda: [shapely.from_wkb(shapely.to_wkb(s)) for s in shapes])
    frame = shapely.box(*shapely.total_bounds(shapes)).buffer(5)
    cells, cut = timed(lambda: partition([*shapes, *shapes], frame))
    wall = Wall(cells, CANS, "#808080", ("A", "B"))
    _, orders = timed(lambda: compare_orders(wall))
    centre = (frame.centroid.x, frame.centroid.y)
    allowance = Allowance(1.0, 0.1, centre)
    clock = time.perf_counter()
    drift_between(shapes, CANS, "#808080", ("A", "B"), allowance, (cells, wall.wanted))
    beside = time.perf_counter() - clock
    _, margins = timed(
        lambda: register_margins(shapes, CANS, "#808080", cells, wall.wanted, allowance)
    )
    _, details = timed(lambda: lost_details(shapes, CANS, centre, 1.0, 0.1))
    print(f"{total} vertices; WKB there and back {peer:.2f} s of the processor")
    parts = {"cells": cut, "orders": orders, "margins": margins, "lost details": details}
    for name, seconds in {**parts, "together": sum(parts.values())}.items():
        print(f"{name:<14} {seconds:8.1f} s  {seconds / max(peer, 1e-9):8.0f} x")
    print(f"margins and lost details side by side: {beside:.1f} s on the clock")


if __name__ == "__main__":
    main()
