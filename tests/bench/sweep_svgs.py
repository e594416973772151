"""Sweep a folder of foreign SVG drawings: build a sheet of each, judge the files by other means.

Run on demand: ``python tests/bench/sweep_svgs.py FOLDER --out rows.jsonl``. Each drawing becomes a
job of one layer, card or polyester, scaled to the sheet, in a process with limits on time and
memory. What lies on disk is judged in a second process: the solid by trimesh and admesh, the cut
file by Shapely, the reading by resvg, the strength by a grillage of the whole sheet. One line of
JSON a drawing; a sweep that was stopped goes on where it was. Exit code 1 where a fault was found.

Faults, each counted in the closing table:

| fault | meaning |
|---|---|
| crash | an exception, or the interpreter was killed by a signal |
| hang | over the limit of processor time or of time by the clock |
| memory | over the limit of memory |
| refused | refused although resvg paints shapes |
| island left | the cut file or the solid falls into pieces |
| islands miscounted | the report counts other islands than Shapely does in the plain sheet |
| unsound | the STL as written, or welded, is not closed, or has another volume or Euler number |
| narrow | eroded by just under half the least width the sheet falls into pieces, untold |
| over the limit | an island gives way further, or a bridge bears more, than allowed, untold |
| misread | the openings differ from resvg's picture (IoU below 0.99), untold |
| judge failed | a judge came to no verdict: not a pass |
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import random
import re
import shutil
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import product
import shapely
from judge_hold import Plate, beams_of, solve
from judge_picture import Page, judge_reading, page_of, paints_shapes
from judge_plate import pieces_after_erosion, pieces_of, read_cut_file
from judge_solid import judge_solid
from limits import Limits, Outcome, run_limited
from shapely import LineString, MultiPolygon, affinity

LEAST_IOU = 0.99
#: How far the grillage may exceed a limit before it counts: models differ by roots and lengths.
OVER = 1.05
MATERIALS = {"card": 0.4, "polyester": 0.25}
MARGIN = 20.0
FAULTS = (
    *("crash", "hang", "memory", "refused", "island left", "islands miscounted", "unsound"),
    *("narrow", "over the limit", "misread", "judge failed"),
)
_ENDS = {"raised": "crash", "crash": "crash", "time": "hang", "memory": "memory"}


def material_of(path: Path) -> str:
    """Card or polyester, by the file's name, the same in every sweep."""
    return list(MATERIALS)[sum(path.name.encode()) % 2]


def page_or_square(path: Path) -> tuple[Page, bool]:
    """Return a drawing's page, and whether it could be told."""
    try:
        page = page_of(path.read_bytes())
    except (ValueError, KeyError, ElementTree.ParseError, OSError):
        return Page(100.0, 100.0), False
    return page, page.width > 0 and page.height > 0


def swept_file(folder: Path, name: str, **how: Any) -> dict[str, Any]:
    """Build and judge one drawing of a folder; return its row with its name."""
    return {"file": name, **swept(folder / name, **how)}


def swept(path: Path, side: float, by_command: bool, limits: Limits) -> dict[str, Any]:
    """Build and judge one drawing; return its row."""
    page, paged = page_or_square(path)
    if not paged:
        page = Page(100.0, 100.0)
    scale = (side - 2 * MARGIN) / max(page.width, page.height)
    sheet = (page.width * scale + 2 * MARGIN, page.height * scale + 2 * MARGIN)
    material = material_of(path)
    row: dict[str, Any] = {"material": material, "scale": scale, "faults": [], "why": {}}
    with tempfile.TemporaryDirectory(prefix="swept-") as name:
        folder = Path(name)
        shutil.copy(path, folder / "drawing.svg")
        job = product.write_job(
            folder / "job.toml", "drawing.svg", sheet, material, MATERIALS[material], scale
        )
        built = run_limited(_build, job, folder / "out", by_command, limits=limits)
        row |= {"seconds": round(built.seconds, 2), "peak_mib": built.peak_mib}
        row["processor_s"] = built.processor_s
        if built.end != "done":
            _fault(row, _ENDS[built.end], built.why())
            return row
        row["exit"] = built.value["exit"]
        if built.value["exit"] == product.UNUSABLE:
            row["sentence"] = built.value["said"]
            judged = run_limited(_paints, path, limits=limits)
            if judged.end != "done":
                _fault(row, "judge failed", judged.said[-500:])
            elif judged.value:
                _fault(row, "refused", row["sentence"])
            return row
        judged = run_limited(_judged, job, folder / "out", page, scale, limits=limits)
        _take(row, judged)
    return row


def _take(row: dict[str, Any], judged: Outcome) -> None:
    if judged.end != "done":
        _fault(row, "judge failed", f"{judged.end}: {judged.said[-1500:]}")
        return
    row["numbers"] = judged.value["numbers"]
    row["codes"] = judged.value["codes"]
    for fault, why in judged.value["faults"]:
        _fault(row, fault, why)


def _fault(row: dict[str, Any], fault: str, why: str) -> None:
    row["faults"].append(fault)
    row["why"][fault] = why


def _build(job: Path, out: Path, by_command: bool) -> dict[str, Any]:
    """Build in this process; return exit code and what was said."""
    if by_command:
        done = product.build_by_command(job, out)
        if done.returncode not in (product.CLEAN, product.SPOILT, product.UNUSABLE):
            raise RuntimeError(f"exit {done.returncode}: {done.stderr[-3000:]}")
        if "Traceback" in done.stderr:
            raise RuntimeError(done.stderr[-3000:])
        return {"exit": done.returncode, "said": done.stderr.strip()}
    built = product.build_and_tell(job, out)
    return {"exit": built["exit"], "said": " ".join(built["sentences"])}


def _paints(path: Path) -> bool:
    return paints_shapes(path.read_text(encoding="utf-8", errors="replace"))


def _judged(job: Path, out: Path, page: Page, scale: float) -> dict[str, Any]:
    """Judge the files of one build; return faults (each with why), numbers and codes."""
    demands = product.demands(job)
    solid, cut, report = product.results(out)
    if not (out / product.PLAIN).exists():
        product.lay_plain_sheet(job, out)
    plain = shapely.from_wkb((out / product.PLAIN).read_bytes())
    layer = report["layers"][0]
    findings = product.findings(report)
    faults: list[tuple[str, str]] = []
    numbers: dict[str, Any] = {}

    sheet, size = read_cut_file(cut)
    pieces = pieces_of(sheet)
    if len(pieces) > 1:
        areas = ", ".join(f"{piece.area:.3g}" for piece in pieces[1:6])
        faults.append(("island left", f"{len(pieces) - 1} pieces fall out: {areas} mm2"))
    numbers["pieces"] = len(pieces)
    plain_pieces = len(pieces_of(plain, dust=0.0))
    numbers["islands"] = [plain_pieces - 1, len(layer["islands_found"])]
    if plain_pieces - 1 != len(layer["islands_found"]):
        faults.append(("islands miscounted", f"Shapely, report: {numbers['islands']}"))

    openings = sum(len(piece.interiors) for piece in pieces)
    verdict = judge_solid(solid, sheet.area, demands.thickness, len(pieces), openings)
    numbers |= verdict.numbers
    if verdict.faults:
        faults.append(("unsound", "; ".join(verdict.faults)))

    left = pieces_after_erosion(sheet, demands.width)
    numbers["eroded"] = len(left)
    if len(left) > 1 and not any(map(product.tells_narrowness, findings)):
        areas = ", ".join(f"{area:.3g}" for area in left[1:6])
        faults.append(("narrow", f"eroded by half of {demands.width} mm apart: {areas} mm2"))

    strips = [(LineString(b["path"]), float(b["width_mm"])) for b in layer["bridges"]]
    _judge_hold(plain, sheet, size, strips, demands, layer, findings, faults, numbers)
    _judge_picture(job, sheet, size, page, scale, strips, findings, faults, numbers)
    codes = Counter(f"{f['severity']} {f['code']}" for f in findings)
    return {"faults": faults, "numbers": numbers, "codes": dict(codes)}


def _judge_hold(
    plain: MultiPolygon,
    sheet: MultiPolygon,
    size: tuple[float, float],
    strips: list[tuple[LineString, float]],
    demands: product.Demands,
    layer: dict[str, Any],
    findings: list[dict[str, Any]],
    faults: list[tuple[str, str]],
    numbers: dict[str, Any],
) -> None:
    upright = affinity.affine_transform(sheet, [1, 0, 0, -1, 0, size[1]])
    plate = Plate(demands.thickness, demands.modulus, demands.density, demands.push)
    pieces, beams = beams_of(plain, upright, strips)
    held = solve(pieces, beams, plate)
    told = [island["deflection_mm"] for island in layer["islands_held"]]
    numbers["hold"] = {
        "deflection": held.deflection,
        "stress": held.stress,
        "islands": held.islands,
        "beams": held.beams,
        "loose": held.loose,
        "place": held.place,
        "told": max(told, default=0.0),
        "limits": [demands.deflection, demands.stress],
    }
    numbers["bridges_mm2"] = layer["bridges_mm2"]
    weak = any(map(product.tells_weakness, findings))
    over = []
    if held.loose:
        over.append(f"{held.loose} islands hang on nothing")
    if held.deflection > OVER * demands.deflection:
        over.append(f"gives way by {held.deflection:.3g} mm, limit {demands.deflection:g}")
    if held.stress > OVER * demands.stress:
        over.append(f"bears {held.stress:.3g} MPa, limit {demands.stress:g}")
    if over and not weak:
        faults.append(("over the limit", f"{'; '.join(over)}; told {max(told, default=0):.3g} mm"))


def _judge_picture(
    job: Path,
    sheet: MultiPolygon,
    size: tuple[float, float],
    page: Page,
    scale: float,
    strips: list[tuple[LineString, float]],
    findings: list[dict[str, Any]],
    faults: list[tuple[str, str]],
    numbers: dict[str, Any],
) -> None:
    # From the sheet to the page: both share their middle; the cut file has y down, places up.
    left, top = size[0] / 2 - page.width * scale / 2, size[1] / 2 - page.height * scale / 2
    openings = shapely.box(0, 0, *size).difference(sheet)
    on_page = affinity.affine_transform(
        openings, [1 / scale, 0, 0, 1 / scale, -left / scale, -top / scale]
    )
    lines = [
        (
            affinity.affine_transform(
                line, [1 / scale, 0, 0, -1 / scale, -left / scale, (size[1] - top) / scale]
            ),
            width / scale,
        )
        for line, width in strips
    ]
    text = (job.parent / "drawing.svg").read_text(encoding="utf-8", errors="replace")
    reading = judge_reading(text, page, _multi(on_page), lines)
    numbers["iou"] = round(reading.iou, 5)
    numbers["painted"] = [round(reading.drawn, 5), round(reading.cut, 5)]
    if reading.iou < LEAST_IOU and not any(map(product.tells_other_picture, findings)):
        faults.append(("misread", f"IoU {reading.iou:.4f}; painted {numbers['painted']}"))


def _multi(shape: shapely.Geometry) -> MultiPolygon:
    return MultiPolygon([p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"])


def table(rows: list[dict[str, Any]]) -> str:
    """Return the closing table: drawings by fault, then the most frequent reasons."""
    lines = [f"{len(rows)} drawings, {sum(not row['faults'] for row in rows)} without fault"]
    by_fault = Counter(fault for row in rows for fault in row["faults"])
    lines += [f"{fault:<20}{by_fault[fault]:>7}" for fault in FAULTS]
    refused = sum(row.get("exit") == product.UNUSABLE and not row["faults"] for row in rows)
    told = sum(
        "numbers" in row and row["numbers"]["iou"] < LEAST_IOU and "misread" not in row["faults"]
        for row in rows
    )
    over = [row["numbers"]["hold"] for row in rows if "numbers" in row]
    weak = sum(h["deflection"] > OVER * h["limits"][0] for h in over)
    several = sum(h["islands"] > 1 for h in over)
    lines.append(f"rightly refused {refused}; differing reading, told {told}")
    lines.append(f"sheets with several islands {several}; gives way too far, told or not {weak}")
    times = sorted(row["seconds"] for row in rows)
    if times:
        middle, late = times[len(times) // 2], times[int(0.99 * (len(times) - 1))]
        lines.append(f"seconds each: median {middle:.1f}, 99 % {late:.1f}, most {times[-1]:.1f}")
    for fault in FAULTS:
        reasons = Counter(_gist(row["why"][fault]) for row in rows if fault in row["faults"])
        lines += [f"  {fault}: {n} x {reason}" for reason, n in reasons.most_common(6)]
    return "\n".join(lines)


def _gist(why: str) -> str:
    """Return a reason's last line with its numbers taken out, so that like reasons are one."""
    last = why.strip().splitlines()[-1] if why.strip() else ""
    return re.sub(r"[-+]?\d[\d.e+-]*", "#", re.sub(r"/\S+/", "", last))[:150]


def main() -> int:
    """Sweep, or print the table of a sweep."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path, help="searched for *.svg, with the folders in it")
    parser.add_argument("--out", type=Path, required=True, help="JSON lines; appended to")
    parser.add_argument("--sample", type=int, help="only so many, drawn by --seed")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--side", type=float, default=280.0, help="longer side of sheets in mm")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument(
        "--again", metavar="FAULT", help="only drawings with that fault in --before"
    )
    parser.add_argument("--before", type=Path, help="rows of an earlier sweep, for --again")
    parser.add_argument("--processor-s", type=float, default=60.0, help="limit for each")
    parser.add_argument("--clock-s", type=float, default=300.0, help="limit for each")
    parser.add_argument("--memory-gib", type=float, default=4.0, help="limit for each")
    parser.add_argument(
        "--by-command",
        action="store_true",
        help="start the command line for each, pictures and all",
    )
    parser.add_argument("--table", action="store_true", help="only print the table of --out")
    chosen = parser.parse_args()
    rows = _rows(chosen.out)
    if not chosen.table:
        done = {row["file"] for row in rows}
        files = _files(chosen)
        limits = Limits(chosen.processor_s, chosen.clock_s, chosen.memory_gib)
        if not chosen.by_command:
            product.preload()
        started = time.monotonic()
        left = [name for name in files if name not in done]
        one = partial(
            swept_file, chosen.folder, side=chosen.side, by_command=chosen.by_command, limits=limits
        )
        forked = multiprocessing.get_context(
            "fork"
        )  # workers fork again, each from its main thread
        pool = ProcessPoolExecutor(chosen.workers, forked)
        with pool, chosen.out.open("a") as lines:
            for number, row in enumerate(pool.map(one, left), 1):
                rows.append(row)
                lines.write(json.dumps(row) + "\n")
                lines.flush()
                if row["faults"]:
                    print(f"{row['file']}: {', '.join(row['faults'])}", flush=True)
                if number % 50 == 0:
                    rate = (time.monotonic() - started) / number
                    print(f"{number} of {len(left)}, {rate:.1f} s each", flush=True)
        wanted = set(files)
        rows = [row for row in rows if row["file"] in wanted]
    print(table(rows))
    return int(any(row["faults"] for row in rows))


def _rows(path: Path) -> list[dict[str, Any]]:
    if not path.exists():
        return []
    return [json.loads(line) for line in path.read_text().splitlines() if line.endswith("}")]


def _files(chosen: argparse.Namespace) -> list[str]:
    found = (p.relative_to(chosen.folder).as_posix() for p in chosen.folder.rglob("*.svg"))
    files = sorted(found)
    if chosen.again:
        faulty = {row["file"] for row in _rows(chosen.before) if chosen.again in row["faults"]}
        files = [name for name in files if name in faulty]
    if chosen.sample is not None:
        files = sorted(random.Random(chosen.seed).sample(files, min(chosen.sample, len(files))))
    return files


if __name__ == "__main__":
    sys.exit(main())
