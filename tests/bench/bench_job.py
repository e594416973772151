"""A whole big job, from SVG to STL: time and peak memory, beside reading and extruding elsewhere.

Run on demand: ``python tests/bench/bench_job.py``. The job has one layer of 490,000 vertices in
4,900 openings, 1,000 of them round an island. The peer of the ratio is trimesh's extrusion of the
same sheet, which is one step of the job only.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

SIDE = 70
RING = 83  # vertices a ring; 4,900 openings and 1,000 islands make 490,000


def write_job(folder: Path) -> Path:
    """Write the job and its artwork; return the job file."""
    rng = np.random.default_rng(11)
    turn = np.linspace(0, 2 * np.pi, RING, endpoint=False)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    # Round-ish as drawn curves are: a few slow waves on a circle, finely flattened.
    waves, phases = np.arange(2, 6)[:, None], np.arange(4)[:, None] * 1.3
    with_island = set(rng.permutation(SIDE * SIDE)[:1000].tolist())
    paths = []
    for number in range(SIDE * SIDE):
        centre = np.array([10 * (number % SIDE) + 5.0, 10 * (number // SIDE) + 5.0])
        rings = [3.8, 1.9] if number in with_island else [3.8]
        d = ""
        for radius in rings:
            swell = 0.02 * rng.standard_normal((4, 1)) * np.sin(waves * turn + phases)
            points = centre + circle * radius * (1 + swell.sum(axis=0))[:, None]
            d += "M" + "L".join(f"{x:.4f} {y:.4f}" for x, y in points) + "Z"
        paths.append(f'<path d="{d}"/>')
    size = SIDE * 10
    (folder / "big.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size}mm" height="{size}mm" '
        f'viewBox="0 0 {size} {size}"><g fill-rule="evenodd">{"".join(paths)}</g></svg>'
    )
    job = folder / "big.toml"
    job.write_text(
        f'title = "Big"\n[sheet]\nwidth_mm = {size + 60}\nheight_mm = {size + 60}\n'
        'material = "polyester"\nthickness_mm = 0.35\n[bridges]\nwidth_mm = 1.5\n'
        '[[layers]]\nname = "Dots"\ncolour = "#203040"\nartwork = "big.svg"\n'
    )
    return job


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--peer", action="store_true", help="time trimesh's extrusion too (minutes)"
    )
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        job = write_job(folder)
        start = time.perf_counter()
        command = [sys.executable, "-m", "sheetstack.geometry.cli", "build", str(job)]
        done = subprocess.run([*command, "--out", str(folder / "out")], check=False)
        taken = time.perf_counter() - start
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        print(
            f"whole job: {taken:.1f} s ({used.ru_utime + used.ru_stime:.1f} s of processor time), "
            f"peak {used.ru_maxrss / 1024**2:.2f} GiB, exit code {done.returncode}"
        )
        if chosen.peer:
            import trimesh

            from sheetstack.geometry.build import build
            from sheetstack.geometry.job.load import load_job

            sheet = build(load_job(job)).layers[0].sheet
            (plate,) = sheet.shape.geoms
            start = time.perf_counter()
            trimesh.creation.extrude_polygon(plate, sheet.thickness, engine="earcut")
            other = time.perf_counter() - start
            print(f"trimesh, extruding only: {other:.1f} s, ratio {other / taken:.1f}")


if __name__ == "__main__":
    main()
