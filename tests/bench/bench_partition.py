"""Partition of a big job: three layers of round-ish openings, 490,000 vertices in all.

Run: python tests/bench/bench_partition.py [vertices]
"""

from __future__ import annotations

import sys
import time

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon, box

from sheetstack.geometry.planar.arrangement import partition


def field(count: int, vertices: int, seed: int, shift: float, pitch: float = 10.0) -> MultiPolygon:
    """A square field of wobbly discs."""
    rng = np.random.default_rng(seed)
    side = round(count**0.5)
    turn = np.linspace(0, 2 * np.pi, vertices, endpoint=False)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    return MultiPolygon(
        [
            Polygon(
                (pitch * (i + 0.5) + shift, pitch * (j + 0.5) + shift)
                + circle * 0.35 * pitch * (1 + 0.03 * rng.standard_normal((vertices, 1)))
            )
            for i in range(side)
            for j in range(side)
        ]
    )


def main() -> None:
    """Print the time of each size."""
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 490_000
    side = round((wanted / 3 / 102) ** 0.5)
    layers = [field(side * side, 102, seed, 2.2 * seed) for seed in range(3)]
    frame = box(0, 0, 10 * side + 20, 10 * side + 20)
    vertices = sum(int(shapely.get_num_coordinates(layer)) for layer in layers)
    for name, regions in (("three layers", layers), ("each twice", layers + layers)):
        start = time.perf_counter()
        parts = partition(regions, frame)
        taken = time.perf_counter() - start
        error = parts.areas.sum() / frame.area - 1
        print(
            f"{name}: {vertices} vertices, {len(parts.cells)} cells, {taken:.1f} s, "
            f"areas sum to the whole within {abs(error):.1e}"
        )


if __name__ == "__main__":
    main()
