"""Fuzz the readers and the builder: hostile and odd input, made from seeds, judged by other means.

Run on demand: ``python tests/bench/fuzz_inputs.py --seed 1 --cases 1000 --out rows.jsonl``. Each
case is a folder with a job and its artwork (see ``fuzz_cases.py``); the same seed and number give
the same case again (``--seed 1 --only 17 --keep FOLDER``). It is built in a process with limits on
time and memory: most by the library, some by the command line's own entry with all that it writes.
One line of JSON a case; a run that was stopped goes on where it was. Exit code 1 where a fault was
found. To be refused in one sentence is no fault.

| fault | meaning |
|---|---|
| traceback | an exception that is no refusal, or an exit code that is no verdict |
| crash | the interpreter was killed by a signal |
| hang | over the limit of processor time or of time by the clock |
| memory | over the limit of memory |
| leaks | an STL as written is not closed, or has another volume or Euler number than the cut file |
| pieces | a cut file falls into pieces |
| area | what is painted differs from two independent readers that agree, and nothing tells it |
| sentence | does not print, has several lines, or more than 300 characters |
| judge failed | a judge came to no verdict: not a pass |
"""

from __future__ import annotations

import argparse
import base64
import io
import json
import multiprocessing
import random
import re
import signal
import sys
import tempfile
import time
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import cairosvg
import numpy as np
import product
import resvg_py
import shapely
import tifffile
from cairocffi import CairoError
from fuzz_cases import Case, make_case
from judge_picture import (
    FINER as SECOND_LOOK,
)
from judge_picture import (
    PIXELS,
    PX,
    Page,
    coverage,
    opaque,
    openings_picture,
    page_of,
    strips_picture,
)
from judge_plate import pieces_of, read_cut_file
from judge_solid import judge_solid
from limits import Limits, Outcome, run_limited
from PIL import Image
from scipy.ndimage import map_coordinates
from shapely import LineString, MultiPolygon, affinity

LONGEST_SENTENCE = 300
#: Share of area by which a painted area may differ from the readers', and they from each other.
AREA_SHARE, READERS_SHARE = 0.02, 0.01
#: Smallest share of the page that is compared: below, the pictures' own errors count.
LEAST_PAINTED = 1e-3
#: Processor time for CairoSVG, which goes round for ever in some paths; then it gives up.
RENDERED_S = 20.0
#: Points of a mask's pixel along a side, as the judge looks at it.
FINER = 12
#: Drawings nested deeper end resvg, which recurses, and take CairoSVG time without end.
MOST_NESTED = 16
FAULTS = (
    *("traceback", "crash", "hang", "memory", "leaks", "pieces", "area", "sentence"),
    "judge failed",
)
_ENDS = {"raised": "traceback", "crash": "crash", "time": "hang", "memory": "memory"}


def sentence_faults(text: str) -> str:
    """Return what is wrong with a sentence that a user sees; empty where nothing is.

    >>> sentence_faults("leaf.svg: no drawing.")
    ''
    >>> sentence_faults("leaf\\nsvg: no drawing.")
    'holds U+000A'
    """
    if not text.strip():
        return "is empty"
    for letter in text:
        # Controls, overrides of direction and the like, lone surrogates, ends of lines: none print.
        if unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp", "Co", "Cn"):
            return f"holds U+{ord(letter):04X}"
    if len(text) > LONGEST_SENTENCE:
        return f"has {len(text)} characters"
    return ""


def fuzzed(
    seed: int, number: int, limits: Limits, keep: Path | None = None, later: str = ""
) -> dict[str, Any] | None:
    """Make, build and judge one case; return its row, or None for one that is left for later."""
    with tempfile.TemporaryDirectory(prefix="fuzzed-") as name:
        folder = keep if keep is not None else Path(name)
        rng = random.Random(f"{seed}/{number}")
        case = make_case(rng, folder)
        if later and re.search(later, " ".join(case.mutations)):
            return None
        row: dict[str, Any] = {"seed": seed, "number": number, "kind": case.kind}
        row |= {"mutations": case.mutations, "faults": [], "why": {}}
        built = run_limited(_build, case, folder / "out", limits=limits)
        row |= {"seconds": round(built.seconds, 2), "peak_mib": built.peak_mib}
        if built.end != "done":
            _fault(row, _ENDS[built.end], built.why())
            return row
        row |= {"exit": built.value["exit"], "sentences": built.value["sentences"][:4]}
        for sentence in built.value["sentences"]:
            wrong = sentence_faults(sentence)
            if wrong:
                _fault(row, "sentence", f"{wrong}: {sentence[:400]!r}")
                break
        if built.value["exit"] in (product.CLEAN, product.SPOILT) and case.builds:
            _take(row, run_limited(_judged, case, folder / "out", limits=limits))
    return row


def _fault(row: dict[str, Any], fault: str, why: str) -> None:
    if fault not in row["faults"]:
        row["faults"].append(fault)
        row["why"][fault] = why


def _take(row: dict[str, Any], judged: Outcome) -> None:
    if judged.end != "done":
        _fault(row, "judge failed", f"{judged.end}: {judged.said[-1500:]}")
        return
    row["numbers"] = judged.value["numbers"]
    for fault, why in judged.value["faults"]:
        _fault(row, fault, why)


def _build(case: Case, out: Path) -> dict[str, Any]:
    if case.words:
        return product.run_command_here([*case.words, "--out", str(out)])
    return product.build_and_tell(case.job, out)


def _judged(case: Case, out: Path) -> dict[str, Any]:
    """Judge all files of one build."""
    report = product.report_of(out)
    thickness = report["sheet"]["thickness_mm"]
    faults: list[tuple[str, str]] = []
    numbers: dict[str, Any] = {}
    for layer in report["layers"]:
        sheet, size = read_cut_file(out / layer["files"]["cut"])
        pieces = pieces_of(sheet)
        told = [f for f in layer["findings"] if f["severity"] != "note"]
        if len(pieces) > 1 and not any(map(product.tells_weakness, told)):
            faults.append(("pieces", f"{layer['name'][:40]}: {len(pieces)} pieces"))
        openings = sum(len(piece.interiors) for piece in pieces)
        solid = out / layer["files"]["stl"]
        verdict = judge_solid(solid, sheet.area, thickness, len(pieces), openings)
        if verdict.faults:
            faults.append(("leaks", "; ".join(verdict.faults)))
        if case.readable is not None:
            _judge_area(case, report, layer, sheet, size, faults, numbers)
    return {"faults": faults, "numbers": numbers}


def _judge_area(
    case: Case,
    report: dict[str, Any],
    layer: dict[str, Any],
    sheet: MultiPolygon,
    size: tuple[float, float],
    faults: list[tuple[str, str]],
    numbers: dict[str, Any],
) -> None:
    """Compare the painted area with two readers of the artwork; bridges are left out.

    Where they differ, a drawing is looked at again in finer pixels: along the edges of what is
    drawn many times, renderers lay half pixels over half pixels until they are whole.
    """
    told = any(map(product.tells_other_picture, product.findings(report)))
    for pixels in (PIXELS, SECOND_LOOK) if case.kind == "svg" else (PIXELS,):
        shares = _painted_shares(case, layer, sheet, size, pixels)
        if shares is None:
            return
        cut, one, two = shares
        numbers["painted"] = [round(share, 5) for share in shares]
        most = max(one, two, LEAST_PAINTED)
        off = min(abs(cut - one), abs(cut - two))
        agree = abs(one - two) <= READERS_SHARE * most
        if told or not agree or off <= max(AREA_SHARE * most, LEAST_PAINTED / 5):
            return
    faults.append(("area", f"cut {cut:.5f} of the page, readers {one:.5f} and {two:.5f}"))


def _painted_shares(
    case: Case,
    layer: dict[str, Any],
    sheet: MultiPolygon,
    size: tuple[float, float],
    pixels: int,
) -> tuple[float, float, float] | None:
    """Return what the cut file and two readers paint of the page; None where one gives up."""
    read = _readers(case, pixels)
    if read is None:
        return None
    first, second, wide, high = read
    # From the sheet to the page: both share their middle; the cut file has y down, places up.
    scale = case.scale
    left, top = size[0] / 2 - wide * scale / 2, size[1] / 2 - high * scale / 2
    openings = shapely.box(0, 0, *size).difference(sheet)
    step = 1 / scale
    on_page = affinity.affine_transform(openings, [step, 0, 0, step, -left * step, -top * step])
    parts = [p for p in shapely.get_parts(on_page) if p.geom_type == "Polygon"]
    page = Page(wide, high)
    ours = coverage(openings_picture(MultiPolygon(parts), page), page, pixels=pixels)
    strips = [
        (
            affinity.affine_transform(
                LineString(b["path"]),
                [step, 0, 0, -step, -left * step, (size[1] - top) * step],
            ),
            float(b["width_mm"]) * step,
        )
        for b in layer["bridges"]
    ]
    free = np.ones_like(ours)
    if strips:
        more = 1.5 * max(wide, high) / pixels
        free -= coverage(strips_picture(strips, page, more), page, pixels=pixels)
    pictures = [_like(picture, ours.shape) for picture in (first, second)]
    cut, one, two = (float((picture * free).mean()) for picture in (ours, *pictures))
    return cut, one, two


def _like(picture: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    if picture.shape == shape:
        return picture
    image = Image.fromarray((picture * 255).astype(np.uint8)).resize(shape[::-1], Image.BOX)
    return np.asarray(image) / 255.0


def _readers(case: Case, pixels: int) -> tuple[np.ndarray, np.ndarray, float, float] | None:
    """Return two readers' pictures of the artwork and the page in mm; None where one gives up."""
    return _svg_readers(case, pixels) if case.kind == "svg" else _mask_readers(case)


#: What the renderers raise where they cannot read a drawing: they are then no judges of it.
_GIVES_UP = (ValueError, TypeError, KeyError, IndexError, AttributeError, ZeroDivisionError)


def _svg_readers(case: Case, pixels: int) -> tuple[np.ndarray, np.ndarray, float, float] | None:
    text = case.readable.read_bytes()
    try:
        if _depth(text) > MOST_NESTED:
            return None
        page = page_of(text)
        drawing = opaque(text.decode("utf-8"))
        # Renderers take no page of less than a pixel.
        if not (1 < page.width < 1e5 and 1 < page.height < 1e5):
            return None
        zoom = pixels * PX / max(page.width, page.height)
        first = coverage(drawing, page, pixels=pixels)
        size = {"output_width": first.shape[1], "output_height": first.shape[0]}
        with _at_most(RENDERED_S):
            png = cairosvg.svg2png(bytestring=drawing.encode(), scale=zoom, **size)
    except (
        *_GIVES_UP,
        OverflowError,
        RecursionError,
        SyntaxError,  # of the compiler of selectors, where they are nested too deep
        ElementTree.ParseError,
        MemoryError,
        OSError,
        CairoError,
    ):
        return None
    second = np.asarray(Image.open(io.BytesIO(png)).convert("RGBA"))[..., 3] / 255.0
    return first, second, page.width, page.height


@contextmanager
def _at_most(seconds: float) -> Iterator[None]:
    """Raise TimeoutError where it takes more processor time."""

    def over(*_: object) -> None:
        raise TimeoutError

    before = signal.signal(signal.SIGVTALRM, over)
    signal.setitimer(signal.ITIMER_VIRTUAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)


def _depth(text: bytes) -> int:
    """Return how deep elements lie in each other."""
    deepest = depth = 0
    for event, _ in ElementTree.iterparse(io.BytesIO(text), ("start", "end")):
        depth += 1 if event == "start" else -1
        deepest = max(deepest, depth)
    return deepest


def _mask_readers(case: Case) -> tuple[np.ndarray, np.ndarray, float, float] | None:
    """By Pillow, and by resvg's own decoders or, for TIFF, by tifffile."""
    try:
        with Image.open(case.readable) as image:
            if "A" in image.getbands() or image.info.get("transparency") is not None:
                return None
            if image.mode.startswith(("I", "F")):
                first = np.asarray(image, float) / (257 if image.mode.startswith("I") else 1)
            else:
                first = np.asarray(image.convert("RGB").convert("L"), float)
        second = _other_reading(case.readable)
    except (*_GIVES_UP, OSError, SyntaxError, tifffile.TiffFileError):
        return None
    if first.shape != second.shape:
        return None
    high, wide = first.shape
    return _dark(first), _dark(second), wide * case.pixel_mm, high * case.pixel_mm


def _dark(levels: np.ndarray) -> np.ndarray:
    """Return the dark share of each pixel, where levels run evenly from middle to middle.

    Masks are read so, not as squares: of a few pixels the corners are much of the area.
    """
    fine = (np.arange(FINER * max(levels.shape)) + 0.5) / FINER - 0.5
    high, wide = levels.shape
    at = np.meshgrid(fine[: FINER * high], fine[: FINER * wide], indexing="ij")
    dark = map_coordinates(levels, at, order=1, mode="nearest") < 127.5
    shares: np.ndarray = dark.reshape(high, FINER, wide, FINER).mean(axis=(1, 3))
    return shares


def _other_reading(path: Path) -> np.ndarray:
    """Return a picture's grey levels, 0 to 255, as another library than Pillow reads them."""
    if path.suffix == ".tif":
        with tifffile.TiffFile(path) as file:
            page = file.pages[0]
            levels = page.asarray().astype(float)
            if levels.ndim != 2 or page.photometric.name not in ("MINISBLACK", "MINISWHITE"):
                raise ValueError("no grey picture")
            most = {1: 1.0, 8: 255.0, 16: 65535.0}[page.bitspersample]
            grey = levels / most * 255
            return 255 - grey if page.photometric.name == "MINISWHITE" else grey
    with Image.open(path) as image:
        wide, high = image.size
    kind = {".png": "png", ".jpg": "jpeg"}[path.suffix]
    data = base64.b64encode(path.read_bytes()).decode()
    size = f'width="{wide}" height="{high}"'
    drawing = (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size}><image {size} '
        f'image-rendering="optimizeSpeed" href="data:image/{kind};base64,{data}"/></svg>'
    )
    png = bytes(resvg_py.svg_to_bytes(svg_string=drawing, skip_system_fonts=True))
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB").convert("L"), float)


def table(rows: list[dict[str, Any]]) -> str:
    """Return the closing table: cases by kind and fault, then the most frequent reasons."""
    kinds = sorted({row["kind"] for row in rows})
    lines = [f"{len(rows)} cases, {sum(not row['faults'] for row in rows)} without fault"]
    lines.append(f"{'':<16}" + "".join(f"{kind:>9}" for kind in kinds) + f"{'all':>9}")
    for name in ("cases", "refused", *FAULTS):
        counts = [
            sum(
                name == "cases"
                or name in row["faults"]
                or (name == "refused" and row.get("exit") == product.UNUSABLE)
                for row in rows
                if row["kind"] == kind
            )
            for kind in kinds
        ]
        lines.append(f"{name:<16}" + "".join(f"{c:>9}" for c in counts) + f"{sum(counts):>9}")
    for fault in FAULTS:
        reasons = Counter(_gist(row["why"][fault]) for row in rows if fault in row["faults"])
        lines += [f"  {fault}: {n} x {reason}" for reason, n in reasons.most_common(8)]
    return "\n".join(lines)


def _gist(why: str) -> str:
    last = why.strip().splitlines()[-1] if why.strip() else ""
    return re.sub(r"[-+]?\d[\d.e+-]*", "#", re.sub(r"/\S+/", "", last))[:150]


def main() -> int:
    """Fuzz, or print the table of a run."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, action="append", help="may be repeated; 1 when absent")
    parser.add_argument("--cases", type=int, default=300, help="of each seed")
    parser.add_argument("--only", type=int, help="only the case of this number")
    parser.add_argument("--keep", type=Path, help="with --only: leave its files in this new folder")
    parser.add_argument("--out", type=Path, help="JSON lines; appended to")
    parser.add_argument("--later", default="", help="leave out cases made by what this matches")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--processor-s", type=float, default=60.0, help="limit for each")
    parser.add_argument("--clock-s", type=float, default=300.0, help="limit for each")
    parser.add_argument("--memory-gib", type=float, default=4.0, help="limit for each")
    parser.add_argument("--most-s", type=float, default=1e9, help="begin no case after so long")
    parser.add_argument("--table", action="store_true", help="only print the table of --out")
    chosen = parser.parse_args()
    seeds = chosen.seed or [1]
    limits = Limits(chosen.processor_s, chosen.clock_s, chosen.memory_gib)
    if chosen.only is not None:
        product.preload()
        if chosen.keep is not None:
            chosen.keep.mkdir(parents=True)
        row = fuzzed(seeds[0], chosen.only, limits, chosen.keep)
        print(json.dumps(row, indent=1))
        return int(bool(row["faults"]))
    if chosen.out is None:
        parser.error("--out is needed")
    rows = _rows(chosen.out)
    if not chosen.table:
        product.preload()
        done = {(row["seed"], row["number"]) for row in rows}
        wanted = [(s, n) for n in range(chosen.cases) for s in seeds if (s, n) not in done]
        forked = multiprocessing.get_context("fork")  # workers fork again, from their main thread
        pool = ProcessPoolExecutor(chosen.workers, forked)
        one = partial(fuzzed, limits=limits, later=chosen.later)
        started = time.monotonic()
        with pool, chosen.out.open("a") as lines:
            for count, row in enumerate(_in_time(pool, one, wanted, chosen), 1):
                if row is None:
                    continue
                rows.append(row)
                lines.write(json.dumps(row) + "\n")
                lines.flush()
                if row["faults"]:
                    where = f"seed {row['seed']} number {row['number']}"
                    print(f"{where} ({row['kind']}): {', '.join(row['faults'])}", flush=True)
                if count % 100 == 0:
                    rate = (time.monotonic() - started) / count
                    print(f"{count} of {len(wanted)}, {rate:.1f} s each", flush=True)
    print(table(rows))
    return int(any(row["faults"] for row in rows))


def _in_time(
    pool: ProcessPoolExecutor,
    one: Callable[[int, int], dict[str, Any] | None],
    wanted: list[tuple[int, int]],
    chosen: argparse.Namespace,
) -> Iterator[dict[str, Any] | None]:
    """Yield the rows of cases, as many as there is time for: a pool works off all it was given."""
    started = time.monotonic()
    block = 8 * chosen.workers
    for first in range(0, len(wanted), block):
        if time.monotonic() - started > chosen.most_s:
            return
        yield from pool.map(one, *zip(*wanted[first : first + block], strict=True))


def _rows(path: Path) -> list[dict[str, Any]]:
    if not path.exists():
        return []
    return [json.loads(line) for line in path.read_text().splitlines() if line.endswith("}")]


if __name__ == "__main__":
    sys.exit(main())
