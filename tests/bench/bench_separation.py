"""Layers of colour drawings that others have drawn: what is painted, what it costs, how long.

    python tests/bench/bench_separation.py FOLDER ... --count 300 --out ROWS [--builds]

Each drawing becomes layers, with --builds a built job, too. Told are the share of pixels that look
different from resvg's picture of the drawing (of the layers, and of the sheets with their bridges),
findings that spoil, islands, and what bridges leave bare; and the same for layers in the drawing's
own order that show what is seen and run one trap under the next. Rows are added to the file as they
come, so that a run goes on where it was stopped. FOLDER holds SVG files, as npm packages unpack
them.
"""

from __future__ import annotations

import argparse
import io
import json
import random
import re
import time
from dataclasses import replace
from itertools import zip_longest
from pathlib import Path

import numpy as np
import resvg_py
from PIL import Image
from shapely.affinity import translate

from sheetstack.geometry import build_job
from sheetstack.geometry.colour import ciede2000, lab_from_srgb, srgb_from_hex
from sheetstack.geometry.errors import SheetstackError
from sheetstack.geometry.job.load import load_job
from sheetstack.geometry.planar.raster import coverage
from sheetstack.geometry.separation.order import Plan, planned
from sheetstack.geometry.separation.separate import lay_out, read_and_separate
from sheetstack.geometry.separation.settings import SeparationSettings
from sheetstack.geometry.separation.write import write_separation

PIXELS = 500
#: Both pictures are drawn so many times finer and then reduced: where two shapes share a pixel, a
#: renderer mixes each with what is below, which shows the ground between them (three stripes that
#: are the same in both, laid down in another order, differed in 0.4 % of the pixels by that).
FINER = 4
#: CIEDE2000 from which on a pixel is off.
OFF = 5.0


def rendered(path, ground):
    """What resvg shows of a drawing on its wall."""
    text = path.read_text(encoding="utf-8")
    # Without dpi a length in pt or mm is 0 to this renderer; CSS has 96 px an inch.
    data = bytes(resvg_py.svg_to_bytes(svg_string=text, width=PIXELS * FINER, dpi=96))
    rgba = np.asarray(Image.open(io.BytesIO(data)).convert("RGBA")) / np.float32(255.0)
    wall = srgb_from_hex(ground).astype(np.float32)
    return reduced(rgba[..., :3] * rgba[..., 3:] + wall * (1 - rgba[..., 3:]))


def reduced(picture):
    rows, columns = (n // FINER for n in picture.shape[:2])
    cut = picture[: rows * FINER, : columns * FINER]
    return cut.reshape(rows, FINER, columns, FINER, 3).mean(axis=(1, 3))


def off_share(shown, wanted):
    rows, columns = (min(a, b) for a, b in zip(shown.shape[:2], wanted.shape[:2], strict=True))
    lab = [lab_from_srgb(p[:rows, :columns]) for p in (shown, wanted)]
    return float((ciede2000(*lab) > OFF).mean())


def painted(shapes, ground, page):
    """Layers laid over each other; edges mix in sRGB, as resvg's do."""
    scale = PIXELS * FINER / page[0]
    picture = None
    for shape, colour in shapes:
        share = coverage(shape, page, scale).astype(np.float32)
        if picture is None:
            wall = srgb_from_hex(ground).astype(np.float32)
            picture = np.broadcast_to(wall, (*share.shape, 3)).copy()
        rows, columns = (np.flatnonzero(share.any(axis=k)) for k in (1, 0))
        if len(rows):
            there = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
            part = picture[there]
            part += (srgb_from_hex(colour).astype(np.float32) - part) * share[there][..., None]
    return reduced(picture)


def built(separation, folder, wanted):
    """Build a separation's job: findings, islands, what is bare, pixels off with bridges."""
    write_separation(separation, folder, "bench")
    build = build_job(load_job(folder / "job.toml"))
    dx, dy = ((a - b) / 2 for a, b in zip(separation.sheet, separation.page, strict=True))

    shapes = [
        (translate(layer.sheet.openings, -dx, -dy), layer.settings.colour) for layer in build.layers
    ]
    return {
        "spoils": [f.sentence() for f in build.findings if f.severity == 2],
        "islands": sum(len(layer.islands) for layer in build.layers),
        "bridges": sum(len(layer.bridges) for layer in build.layers),
        "damage": sum(b.damage or 0.0 for layer in build.layers for b in layer.bridges),
        "sheets": len(build.layers),
        "off": off_share(painted(shapes, separation.ground, separation.page), wanted),
    }


def with_plan(separation, plan):
    """Return a separation with its layers in another order, or with other extents."""
    layers = lay_out(
        separation.sheets,
        plan,
        (*separation.palette.cans, separation.ground),
        separation.can_of,
        separation.drawn_names,
        separation.settings,
    )
    return replace(separation, plan=plan, layers=layers)


def measured(path, scratch, builds):
    begin = time.process_time()
    separation = read_and_separate(path, SeparationSettings(sheet_width_mm=340))
    write_separation(separation, scratch / "own", "bench")
    took = time.process_time() - begin
    wanted = rendered(path, separation.ground)
    shapes = [(layer.curves.flattened(40), layer.colour) for layer in separation.layers]
    order = [k for k in separation.drawn_order if k in separation.sheets.layers]
    plain = Plan(tuple(order), tuple(separation.sheets.as_seen(k) for k in order))
    best_in_order = planned(separation.sheets, order)
    row = {
        "seconds": took,
        "flat": not separation.seen.drawing.gradients,
        "cells": len(separation.seen.cells.cells),
        "cans": len(separation.palette.cans),
        "gathered": bool((separation.palette.differences > OFF).any()),
        "off": off_share(painted(shapes, separation.ground, separation.page), wanted),
        "estimate": [separation.plan.islands, separation.plan.spoiled],
        "drawn_plain": [plain.islands, plain.spoiled],
        "drawn_best": [best_in_order.islands, best_in_order.spoiled],
    }
    if builds:
        row["chosen"] = built(separation, scratch / "own", wanted)
        row["drawn"] = built(with_plan(separation, plain), scratch / "drawn", wanted)
    return row


def coloured(path):
    """Whether a drawing names at least three colours."""

    text = path.read_text(encoding="utf-8", errors="replace").lower()
    return len(set(re.findall(r"#[0-9a-f]{3,6}\b", text))) >= 3


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--builds", action="store_true", help="build the jobs, too: slow")
    parser.add_argument("--out", type=Path, required=True)
    chosen = parser.parse_args()
    done = set()
    if chosen.out.exists():
        done = {json.loads(line)["file"] for line in chosen.out.read_text().splitlines()}
    each = -(-chosen.count // len(chosen.folders))
    sets = []
    for folder in chosen.folders:
        paths = [p for p in sorted(folder.rglob("*.svg")) if coloured(p)]
        random.Random(chosen.seed).shuffle(paths)
        sets.append(paths[:each])
    # One of each set after another, so that a run that was stopped is a fair sample, too.
    for path in (p for row in zip_longest(*sets) for p in row if p is not None):
        if str(path) in done:
            continue
        row = {"file": str(path)}
        scratch = chosen.out.parent / "scratch" / path.stem
        try:
            row |= measured(path, scratch, chosen.builds)
        except SheetstackError as error:
            row["error"] = str(error)
        with chosen.out.open("a") as out:
            out.write(json.dumps(row) + "\n")
    tell([json.loads(line) for line in chosen.out.read_text().splitlines()])


def tell(rows):
    good = [r for r in rows if "error" not in r]
    jobs = [r for r in good if "chosen" in r]
    for r in rows:
        if "error" in r:
            print("not read:", r["file"], r["error"])
    for r in jobs:
        if r["chosen"]["spoils"]:
            print("spoils:", r["file"], r["chosen"]["spoils"][0])
    flat = [r for r in good if r["flat"] and not r["gathered"]]

    def line(name, values):
        v = np.array(values, float)
        print(f"{name:<44} median {np.median(v):8.4f}  mean {v.mean():8.4f}  worst {v.max():8.4f}")

    print(f"{len(good)} drawings, {len(flat)} of them flat with a can for each colour")
    line("% of pixels off, layers, all", [100 * r["off"] for r in good])
    line("% of pixels off, layers, flat", [100 * r["off"] for r in flat])
    line("seconds of processor time", [r["seconds"] for r in good])
    for key, place in (("islands", 0), ("bare mm2", 1)):
        for name, what in (
            ("chosen", "estimate"),
            ("drawing's, best extents", "drawn_best"),
            ("drawing's, as seen", "drawn_plain"),
        ):
            line(f"{key}, estimated, order {name}", [r[what][place] for r in good])
    if not jobs:
        return
    flat = [r for r in jobs if r["flat"] and not r["gathered"]]
    print(f"{len(jobs)} jobs built")
    for name, some in (("all", jobs), ("flat", flat)):
        line(f"% of pixels off with bridges, {name}", [100 * r["chosen"]["off"] for r in some])
        line(f"% off, drawing's order, {name}", [100 * r["drawn"]["off"] for r in some])
    for key in ("islands", "bridges", "damage", "sheets"):
        line(f"{key}, order chosen", [r["chosen"][key] for r in jobs])
        line(f"{key}, drawing's order", [r["drawn"][key] for r in jobs])
    print(
        sum(not r["chosen"]["spoils"] for r in jobs),
        "jobs exit 0;",
        sum(not r["drawn"]["spoils"] for r in jobs),
        "in the drawing's order",
    )


if __name__ == "__main__":
    main()
