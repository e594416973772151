"""An edit against a full build of the same job, in one run.

Run on demand: ``python tests/bench/bench_edit.py [JOB ...]``. For each job: the processor time of a
build from nothing, and as shares of it one bridge moved (with all checks, out of the cache) in each
layer, a threshold of strength, a title, and one frame of dragging a bridge: the strip fitted, what
falls out, and the painted picture's part. All of one process, one after the other. Where a build
from nothing of the edited job gives other sheets the run ends with an error.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from bench_job import write_job

from sheetstack.geometry.build import Build, build
from sheetstack.geometry.job.job import Job
from sheetstack.geometry.job.load import load_job
from sheetstack.geometry.job.sections import BridgeByHand
from sheetstack.geometry.paint.patch import painted_patch
from sheetstack.geometry.step_cache import StepCache
from sheetstack.geometry.support.constraints import DrawnBridge
from sheetstack.geometry.support.dragged import sheet_without

SCENES = Path(__file__).parents[2] / "demo_scenes"
#: Places of a dragged bridge that are measured.
FRAMES = 30


def timed(work: Callable[[], Any]) -> tuple[Any, float, float]:
    """Return a result, processor seconds of all threads, and seconds on the clock."""
    cpu, clock = time.process_time(), time.perf_counter()
    result = work()
    return result, time.process_time() - cpu, time.perf_counter() - clock


def moved(job: Job, made: Build, layer: int) -> tuple[Job, int]:
    """Return the job with one automatic bridge moved a millimetre, and how many others changed."""
    bridges = [b for b in made.layers[layer].bridges if b.kind == "bridge"]
    bridge = bridges[len(bridges) // 2]
    line = bridge.path[[0, -1]] + (0.8, 0.6)
    row = BridgeByHand(
        made.layers[layer].settings.name,
        tuple(map(tuple, line.tolist())),
        bridge.name,
        bridge.width,
    )
    return replace(job, bridges_by_hand=(row,)), len(bridges)


def same(one: Build, other: Build) -> bool:
    """Whether two builds have the same sheets, to the last bit."""
    return all(
        a.sheet.shape.wkb == b.sheet.shape.wkb and np.array_equal(a.mesh.vertices, b.mesh.vertices)
        for a, b in zip(one.layers, other.layers, strict=True)
    )


def measure(path: Path, check: bool) -> None:
    cache = StepCache()
    job = load_job(path)
    _, whole, clock = timed(lambda: build(job))
    made, first, _ = timed(lambda: build(job, cache=cache))
    job = made.settled_for(job)
    made, _, _ = timed(lambda: build(job, cache=cache))
    print(f"{path.name}: {whole:.2f} s of processor time ({clock:.2f} s on the clock); filling the")
    print(f"  cache {first / whole:.2f} of it, {cache.bytes / 1e6:.0f} MB")
    for number, layer in enumerate(made.layers):
        if not any(b.kind == "bridge" for b in layer.bridges):
            continue
        edited, _ = moved(job, made, number)
        result, edit, _ = timed(lambda edited=edited: build(edited, cache=cache))
        before = {b.name for one in made.layers for b in one.bridges}
        after = {b.name for one in result.layers for b in one.bridges}
        others = len(before ^ after)
        print(
            f"  a bridge moved in {layer.settings.name}: {edit / whole:.3f} of a full build; "
            f"other bridges that changed: {others}"
        )
        if check and not same(result, build(edited)):
            sys.exit(f"{path}: {layer.settings.name}: a build from nothing gives other sheets.")
        frame(made, number, whole)
    for what, other in (
        ("the title", replace(job, title="Other")),
        ("the limit of strength", replace(job, bridges=replace(job.bridges, deflection_mm=5.1))),
        ("the ground's colour", replace(job, ground="#123456")),
    ):
        _, edit, _ = timed(lambda other=other: build(other, cache=cache))
        print(f"  {what} changed: {edit / whole:.3f}")


def frame(made: Build, number: int, whole: float) -> None:
    """Measure the start of a drag, and its frames."""
    layer = made.layers[number]
    bridges = [b for b in layer.bridges if b.kind == "bridge"]
    bridge = bridges[len(bridges) // 2]
    width = made.job.bridge_width
    still, start, _ = timed(
        lambda: sheet_without(layer.sheet, layer.plain_sheet, bridge, width).prepared()
    )
    line = bridge.path[[0, -1]]

    def one(k: int) -> None:
        shown = still.at(DrawnBridge(line + (0.05 * k, 0.03 * k), bridge.width))
        box = bridge.shape.union(shown.strip).bounds
        openings = {layer.sheet.layer: still.left_open(shown.strip)}
        painted_patch(made, openings, box, 1600)

    _, frames, clock = timed(lambda: [one(k) for k in range(FRAMES)])
    print(
        f"    dragged: begun in {start / whole:.4f}, a frame {frames / FRAMES / whole:.5f} of a "
        f"full build: {FRAMES / frames:.0f} frames a second of processor time, "
        f"{FRAMES / clock:.0f} on the clock"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("jobs", nargs="*", type=Path)
    parser.add_argument("--big", action="store_true", help="the job of 490,000 vertices too")
    parser.add_argument("--check", action="store_true", help="build each edit from nothing too")
    args = parser.parse_args()
    for job in args.jobs or [SCENES / "portrait" / "portrait.toml"]:
        measure(job, args.check)
    if args.big:
        with tempfile.TemporaryDirectory() as folder:
            measure(write_job(Path(folder)), args.check)


if __name__ == "__main__":
    main()
