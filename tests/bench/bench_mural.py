"""A mural of 3 m x 2 m, or any other: tiles, estimate against files, stock against shelf packing.

Run on demand: ``python tests/bench/bench_mural.py [--width 3000 --height 2000] [--scale 1]``. Tells
processor seconds of each step, the longest that progress is silent and the peak of memory; for the
wall of 10 m x 4 m give ``--wall --width 10000 --height 4000 --fineness 12 --bed 297x210``.
The union of all tiles is compared with the sheet.
"""

from __future__ import annotations

import argparse
import re
import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import shapely
from mural_drawing import mural_job, mural_svg

from sheetstack.geometry.build import build
from sheetstack.geometry.export import export_build
from sheetstack.geometry.fabricate.making import making_of_build
from sheetstack.geometry.fabricate.near_sizes import near_sizes, near_sizes_text
from sheetstack.geometry.fabricate.stock import lay_on_stock, parts_of
from sheetstack.geometry.fabricate.wall_pins import LOCATED
from sheetstack.geometry.job.load import load_job
from sheetstack.geometry.progress import Progress

MACHINE = """[process]
kind = "laser"
kerf_mm = 0.17
bed_width_mm = 600
bed_height_mm = 400
lead_in_mm = 2
[[stock]]
width_mm = 1220
height_mm = 610
price = 22
"""


def main() -> None:
    """Build, tile both ways, nest, export; print what each took and gave."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--width", type=float, default=3000)
    parser.add_argument("--height", type=float, default=2000)
    parser.add_argument("--scale", type=float, default=1.0)
    parser.add_argument("--fineness", type=int, default=16)
    parser.add_argument("--layers", default="tide,reeds,birds")
    parser.add_argument("--bed", default="600x400")
    parser.add_argument("--wall", action="store_true", help="build and export only, gaps told")
    chosen = parser.parse_args()
    layers = chosen.layers.split(",")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        drawing = mural_svg(
            chosen.width - 80, chosen.height - 80, scale=chosen.scale, fineness=chosen.fineness
        )
        (folder / "mural.svg").write_text(drawing)
        wide, high = chosen.bed.split("x")
        machine = MACHINE.replace("600", wide).replace("400", high)
        text = mural_job(chosen.width, chosen.height, more=machine, layers=layers)
        (folder / "mural.toml").write_text(text)
        print(f"{drawing.count(',')} corners drawn")
        gaps = Gaps()
        if chosen.wall:
            measure_wall(folder, Progress(gaps))
        else:
            measure(folder, Progress(gaps))
        for seconds, what in sorted(gaps.found, reverse=True)[:5]:
            print(f"longest without a call of progress: {seconds:.2f} s after {what!r}")


class Gaps:
    """Progress that keeps how long, in seconds of the processor, nothing was told."""

    def __init__(self) -> None:
        self.found: list[tuple[float, str]] = []
        self._last = time.process_time(), "the start"

    def __call__(self, share: float, what: str) -> None:
        """Take note of one call."""
        now = time.process_time()
        self.found.append((now - self._last[0], self._last[1]))
        self._last = now, what
        if sys.stderr.isatty():
            sys.stderr.write(f"\r\x1b[K{share:4.0%} {what[:70]}")


def measure_wall(folder: Path, progress: Progress) -> None:
    """Build and export ``mural.toml``: what a user waits for."""
    started, clock = time.process_time(), time.perf_counter()
    built = build(load_job(folder / "mural.toml"), progress)
    corners = sum(int(shapely.get_num_coordinates(b.sheet.shape)) for b in built.layers)
    print(f"build {time.process_time() - started:.1f} s, {corners} corners of sheets", flush=True)
    started = time.process_time()
    export = export_build(built, ["svg"], folder / "out", progress=progress)
    pieces = export.estimate.total.pieces if export.estimate else 0
    print(f"export {time.process_time() - started:.1f} s, {pieces} tiles")
    print(f"{time.perf_counter() - clock:.1f} s by the clock")
    print(f"peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


def measure(folder: Path, progress: Progress) -> None:
    """Run all steps on ``mural.toml`` in a folder."""
    started = time.process_time()
    built = build(load_job(folder / "mural.toml"), progress)
    print(f"build {time.process_time() - started:.1f} s")
    for sizes in ("even", "full", "stock"):
        job = replace(built.job, tiles=replace(built.job.tiles, sizes=sizes))
        started = time.process_time()
        making = making_of_build(replace(built, job=job), progress)
        tiles = [tile for sheet in making.sheets for tile in sheet.tiling.tiles]
        necks = sum(f.code == "tiles.seam-through-neck" for s in making.sheets for f in s.findings)
        twice = sum(tile.keys + tile.pins >= LOCATED for tile in tiles)
        off = max(
            shapely.union_all([t.exact[0] for t in sheet.tiling.tiles])
            .symmetric_difference(sheet.sheet.shape)
            .area
            / sheet.sheet.shape.area
            for sheet in making.sheets
        )
        seam = sum(line.length for sheet in making.sheets for line in sheet.tiling.seams)
        crossings = sum(sheet.tiling.crossings for sheet in making.sheets)
        print(
            f"{sizes} tiles: {len(tiles)}, {twice} located twice, {len(making.pins)} pins, {necks} "
            f"seams through necks, {seam / 1000:.1f} m of seams, {crossings} crossings of "
            f"openings, union off by {off:.1e}; {time.process_time() - started:.1f} s"
        )
        started = time.process_time()
        layout = lay_on_stock(job, parts_of(making), progress)
        print(
            f"  stock {layout.count}, shelf packing {layout.shelf_count}, any nesting at least "
            f"{layout.least_count}; {layout.used_share:.0%} used; "
            f"{time.process_time() - started:.1f} s"
        )
    started = time.process_time()
    export = export_build(built, ["svg"], folder / "out", progress=progress)
    cut = sum(_length(path) for path in export.files if path.name.endswith("-cut.svg"))
    told = export.estimate.total.cut_mm if export.estimate else 0.0
    print(f"export {time.process_time() - started:.1f} s, {len(export.files)} files")
    print(f"cuts: estimate {told / 1000:.4f} m, files {cut / 1000:.4f} m, ratio {cut / told:.9f}")
    print(near_sizes_text("Tide", near_sizes(built, 0.06), "EUR").split("\n\n")[1])
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"peak {peak:.2f} GB")


def _length(path: Path) -> float:
    """Return the length of an SVG's cuts, read by fontTools."""
    from fontTools.pens.perimeterPen import PerimeterPen
    from fontTools.svgLib.path import parse_path

    text = path.read_text()
    total = 0.0
    for group in ("cut-openings", "cut-outline"):
        (body,) = re.findall(rf'<g id="{group}".*?</g>', text, re.S)
        for drawn in re.findall(r' d="([^"]*)"', body):
            pen = PerimeterPen()
            parse_path(drawn, pen)
            total += pen.value
    return total


if __name__ == "__main__":
    main()
