"""Cases for the fuzzer: folders with a job and its artwork, odd in some way.

Everything comes from the ``random.Random`` that is handed in: the same state, the same case.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
from fuzz_seeds import EXTRAS, JOB_SEED, SVG_SEEDS, drawn_image, dxf_seed, encoded, svg_seed
from judge_picture import page_of
from mutations import NUMBERS, WORDS, by_bytes, by_elements, by_keys, by_words
from odd_drawings import STRUCTURES, stars
from PIL import Image

#: How often each kind of input comes.
KINDS = {"svg": 45, "job": 22, "dxf": 13, "mask": 15, "picture": 5}
#: Share of cases that go through the command line's entry and write all that it writes.
BY_COMMAND = 0.08
MARGIN = 10.0
LONGER_SIDE = 140.0


@dataclass
class Case:
    """One case.

    Parameters
    ----------
    kind : str
        svg, dxf, mask, picture or job.
    job : Path
        The job file.
    words : list of str
        Words for the command line's entry; empty where the library is called.
    mutations : list of str
        What was done to it.
    readable : Path, optional
        Artwork that other readers can be asked about.
    scale, pixel_mm : float
        The job's.
    builds : bool
        Whether solids, cut files and a report are to be expected.
    """

    kind: str
    job: Path
    words: list[str] = field(default_factory=list)
    mutations: list[str] = field(default_factory=list)
    readable: Path | None = None
    scale: float = 1.0
    pixel_mm: float = 1.0
    builds: bool = True


#: How bridges may be drawn.
STYLES = ("straight", "filleted", "curved", "tapered")


def make_case(rng: random.Random, folder: Path) -> Case:
    """Write one case into a folder.

    Parameters
    ----------
    rng : random.Random
    folder : Path
        Exists and is empty.

    Returns
    -------
    Case
    """
    kind = rng.choices(list(KINDS), list(KINDS.values()))[0]
    makers: dict[str, Callable[[random.Random, Path], Case]] = {
        "svg": _svg_case,
        "dxf": _dxf_case,
        "mask": _mask_case,
        "picture": _picture_case,
        "job": _job_case,
    }
    case = makers[kind](rng, folder)
    if not case.words and rng.random() < BY_COMMAND:
        case.words = [rng.choice(["build", "build", "export", "proof"]), str(case.job)]
        if case.words[0] == "export":
            formats = rng.sample(["svg", "dxf", "pdf", "stl", "3mf"], rng.randint(1, 5))
            case.words += ["--format", ",".join(formats)]
            case.words += rng.choice([[], ["--nest"], ["--patch", "all"]])
        case.builds = case.words[0] == "build"
    return case


def _svg_case(rng: random.Random, folder: Path) -> Case:
    if rng.random() < 0.4:
        maker = rng.choice(STRUCTURES)
        text, done = maker(rng), [f"structure: {maker.__name__.strip('_')}"]
    else:
        name = rng.choice(list(SVG_SEEDS))
        text, done = svg_seed(name), [f"seed: {name}"]
    data = text.encode()
    if not done[0].startswith("structure") or rng.random() < 0.15:
        for _ in range(rng.choice([1, 1, 2, 4])):
            how = rng.random()
            if how < 0.12:
                data, what = by_bytes(rng, data)
            elif how < 0.65:
                text, what = by_words(rng, data.decode("utf-8", "surrogateescape"), r'="[^"]*"')
                data = text.encode("utf-8", "surrogateescape")
            else:
                text, what = by_elements(rng, data.decode("utf-8", "surrogateescape"))
                data = text.encode("utf-8", "surrogateescape")
            done.append(what)
    artwork = folder / "drawing.svg"
    artwork.write_bytes(data)
    case = Case("svg", folder / "job.toml", mutations=done, readable=artwork)
    wide, high = _page(data)
    case.scale = LONGER_SIDE / max(wide, high)
    sheet = (wide * case.scale + 2 * MARGIN, high * case.scale + 2 * MARGIN)
    write_fuzz_job(rng, case, sheet, [{"artwork": "drawing.svg", "scale": case.scale}])
    return case


def _page(data: bytes) -> tuple[float, float]:
    try:
        page = page_of(data)
    except (ValueError, KeyError, ElementTree.ParseError):
        return 100.0, 100.0
    if not (
        1e-3 < page.width < 1e6
        and 1e-3 < page.height < 1e6
        and 1e-3 < LONGER_SIDE / max(page.width, page.height) < 1e3
    ):
        return 100.0, 100.0
    return page.width, page.height


def write_fuzz_job(
    rng: random.Random, case: Case, sheet: tuple[float, float], layers: list[dict[str, object]]
) -> None:
    """Write a plain job for artwork that is odd in itself."""
    material, thick = rng.choice([("card", 0.4), ("polyester", 0.25), ("birch-ply", 3.0)])
    lines = ['title = "fuzzed"', "[sheet]", f"width_mm = {min(max(sheet[0], 5), 20000):.6f}"]
    lines += [f"height_mm = {min(max(sheet[1], 5), 20000):.6f}", f"margin_mm = {MARGIN}"]
    lines += [f'material = "{material}"', f"thickness_mm = {thick}"]
    for number, layer in enumerate(layers):
        row = {"name": f"Layer {number}", "colour": "#304050", **layer}
        lines += ["[[layers]]", *(f"{k} = {json.dumps(v)}" for k, v in row.items())]
    case.job.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _dxf_case(rng: random.Random, folder: Path) -> Case:
    data = dxf_seed(rng.choice(["R12", "R2000", "R2010"]))
    done = []
    for _ in range(rng.choice([1, 1, 2, 5])):
        how = rng.random()
        # The entities are near the end; the head is long and dull.
        start = data.rfind(b"ENTITIES") if rng.random() < 0.8 else 0
        start = max(start, 0)
        head, body = data[:start], data[start:]
        if how < 0.2:
            body, what = by_bytes(rng, body)
        elif how < 0.8:
            # Codes and values take turns; the codes are left alone.
            lines = body.split(b"\n")
            at = rng.randrange(len(lines) // 2) * 2 + (start == 0)
            old, lines[at] = lines[at], rng.choice([*NUMBERS, *WORDS]).encode()
            body, what = b"\n".join(lines), f"value {old[:20]!r} -> {lines[at][:20]!r}"
        else:
            lines = body.split(b"\n")
            at = 2 * rng.randrange(max(1, len(lines) // 2))
            pairs = lines[at : at + 2 * rng.randint(1, 20)]
            lines[at:at] = pairs * rng.choice([1, 2, 200])
            body, what = b"\n".join(lines), f"pairs: repeat at {at}"
        data = head + body
        done.append(what)
    (folder / "drawing.dxf").write_bytes(data)
    case = Case("dxf", folder / "job.toml", mutations=done)
    write_fuzz_job(rng, case, (200, 200), [{"artwork": "drawing.dxf"}])
    return case


def _mask_case(rng: random.Random, folder: Path) -> Case:
    side = rng.choice([1, 2, 16, 60, 120])
    image = drawn_image(rng, max(side, 2)) if side > 1 else Image.new("L", (1, 1), 0)
    data, suffix, form = encoded(rng, image)
    done = [f"{suffix}, {form}, {image.size}"]
    if rng.random() < 0.65:
        for _ in range(rng.choice([1, 2])):
            data, what = by_bytes(rng, data)
            done.append(what)
    if rng.random() < 0.1:
        suffix = rng.choice(["png", "tif", "jpg", "gif", "svg", "PNG"])
        done.append(f"called .{suffix}")
    artwork = folder / f"mask.{suffix}"
    artwork.write_bytes(data)
    # What 12 bits within 16 mean is no matter of the format: no reader can judge it.
    readable = None if form == "12 of 16" else artwork
    case = Case("mask", folder / "job.toml", mutations=done, readable=readable)
    case.pixel_mm = LONGER_SIDE / max(image.size)
    sheet = tuple(n * case.pixel_mm + 2 * MARGIN for n in image.size)
    layer: dict[str, object] = {"artwork": artwork.name, "pixel_mm": case.pixel_mm}
    if rng.random() < 0.2:
        layer["simplify_mm"] = 0.0
        layer["threshold"] = rng.choice([0.0, 0.5, 1.0])
        case.readable = None
    write_fuzz_job(rng, case, (sheet[0], sheet[1]), [layer])
    return case


def _picture_case(rng: random.Random, folder: Path) -> Case:
    side = rng.choice([1, 8, 40, 64])
    noise = np.random.default_rng(rng.randrange(2**32))
    if side == 1 or rng.random() < 0.15:
        image = Image.new("RGB", (side, side), tuple(rng.choices(range(256), k=3)))
    else:
        grey = np.asarray(drawn_image(rng, side), float)[..., None]
        colours = noise.uniform(0, 255, 3)
        image = Image.fromarray(
            np.clip(
                grey * 0.6
                + colours * 0.4
                + noise.normal(0, rng.choice([0, 3, 40]), (*grey.shape[:2], 3)),
                0,
                255,
            ).astype(np.uint8)
        )
    data, suffix, form = encoded(rng, image.convert("L") if rng.random() < 0.3 else image)
    done = [f"{suffix}, {form}, {image.size}"]
    if rng.random() < 0.5:
        data, what = by_bytes(rng, data)
        done.append(what)
    picture = folder / f"picture.{suffix}"
    picture.write_bytes(data)
    words = ["layers", str(picture)]
    options = {
        "--layers": ("1", "4", "0", "99"), "--detail": ("0", "1", "nan", "-1"),
        "--least-mm": ("0.05", "3", "1e9"), "--thresholds": ("50", "20,60", "60,20", "x"),
        "--ground": ("#fff", "white", "\u202e"), "--cans": ("#123456", "none"),
        "--sheet-width-mm": ("200", "1e9", "0"), "--margin-mm": ("0", "500"),
        "--background": ("flood", "mask"), "--focus": ("0.2,0.2,0.5,0.5", "9,9,9,9"),
        "--title": ("a\nb", "\u202eabc", "x" * 500),
    }  # fmt: skip
    for name in rng.sample(list(options), rng.choice([0, 1, 2])):
        words.append(f"{name}={rng.choice(options[name])}")
    return Case("picture", folder / "none.toml", [*words], [*done, *words[2:]], builds=False)


def _job_case(rng: random.Random, folder: Path) -> Case:
    artwork = stars(rng) if rng.random() < 0.3 else svg_seed("layers")
    text, done = JOB_SEED, ["seed: job"]
    if "mid" not in artwork:
        text = text.replace('group = "mid"\n', "").replace('group = "dark"\n', "")
        text = text.replace("scale = 5.0", "scale = 4.0")
        done.append("structure: stars")
    (folder / "drawing.svg").write_text(artwork)
    if rng.random() < 0.45:
        # A sound job of many settings: nothing may be wrong with it.
        change = {
            'kind = "laser"': f'kind = "{rng.choice(["knife", "laser", "printer"])}"',
            "split = false": f"split = {rng.choice(['true', 'false'])}",
            "hole_diameter_mm = 5": f"hole_diameter_mm = {rng.choice([0, 3, 8, 30, 60, 200])}",
            "inset_mm = 8": f"inset_mm = {rng.choice([0, 4, 8, 30, 2000])}",
            'joint = "puzzle"': f'joint = "{rng.choice(["puzzle", "lap", "butt"])}"',
            'material = "card"': f'material = "{rng.choice(["card", "polyester", "birch-ply"])}"',
            'style = "straight"': f'style = "{rng.choice(STYLES)}"',
            "width_mm = 2.0": f"width_mm = {rng.choice([3.0, 3.5, 8.0])}",
        }
        for old, new in change.items():
            text = text.replace(old, new)
        at = text.index("[[layers]]")
        text = text[:at] + rng.choice(EXTRAS) + text[at:]
        if "birch" in text:
            text = text.replace("thickness_mm = 0.4", "thickness_mm = 3.0")
        done.append("settings: " + ", ".join(change.values()))
    else:
        for _ in range(rng.choice([1, 1, 2, 4])):
            how = rng.random()
            if how < 0.65:
                text, what = by_keys(rng, text)
            elif how < 0.85:
                text, what = by_words(rng, text, r"= .*")
            else:
                data, what = by_bytes(rng, text.encode("utf-8", "surrogateescape"))
                text = data.decode("utf-8", "surrogateescape")
            done.append(what)
    case = Case("job", folder / "job.toml", mutations=done)
    case.job.write_bytes(text.encode("utf-8", "surrogateescape"))
    return case
