"""How long the portrait demo's exports take in all formats, step by step.

Run on demand: ``python tests/bench/bench_export.py [--repeats 3]``. Aim: under 10 s for each way
of making, build not counted.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

from sheetstack.geometry.build import build
from sheetstack.geometry.export import FORMATS, export_build
from sheetstack.geometry.job.load import load_job

DEMO = Path(__file__).parents[2] / "demo_scenes/portrait"


def main() -> None:
    """Build and export each job of the portrait demo, and print wall and processor seconds."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=3)
    repeats = parser.parse_args().repeats
    print(f"{'job':<24}{'build s':>9}{'export s':>10}{'cpu s':>8}{'files':>7}{'MB':>7}")
    for path in sorted(DEMO.glob("*.toml")):
        started = time.perf_counter()
        built = build(load_job(path))
        building = time.perf_counter() - started
        best, cpu = float("inf"), float("inf")
        for _ in range(repeats):
            with tempfile.TemporaryDirectory() as folder:
                started, used = time.perf_counter(), time.process_time()
                found = export_build(built, FORMATS, folder, nested=True)
                best = min(best, time.perf_counter() - started)
                cpu = min(cpu, time.process_time() - used)
                size = sum(p.stat().st_size for p in found.files) / 1e6
        row = f"{path.stem:<24}{building:>9.2f}{best:>10.2f}{cpu:>8.2f}"
        print(f"{row}{len(found.files):>7}{size:>7.1f}")


if __name__ == "__main__":
    main()
