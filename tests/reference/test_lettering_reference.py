"""Lettering in six Debian fonts, bridged upright, against counters that FreeType's pixels show.

Counters are counted without our outlines and fill: each letter is drawn by Pillow (FreeType), and
what is not ink and not joined to the picture's edge is a counter (SciPy's labels). Where a font is
not on the machine its case is skipped; packages are named beside them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw, ImageFont
from scipy import ndimage

from sheetstack.geometry.build import build
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.planar.congruence import mirrors

pytest.importorskip("uharfbuzz")

FOLDER = Path("/usr/share/fonts")
#: Middle lines of bridges are symmetric to so many mm, though the fonts' outlines are rounded.
SYMMETRIC = 1e-6
#: A face of each kind, with Debian's package.
FONTS = {
    "sans": "truetype/dejavu/DejaVuSans.ttf",  # fonts-dejavu-core
    "serif": "truetype/crosextra/Caladea-Regular.ttf",  # fonts-crosextra-caladea
    "slab": "opentype/roboto/slab/RobotoSlab-Bold.otf",  # fonts-roboto-slab
    "condensed": "truetype/dejavu/DejaVuSansCondensed-Bold.ttf",  # fonts-dejavu-extra
    "script": "opentype/lobster/lobster.otf",  # fonts-lobster
    "black": "truetype/lato/Lato-Black.ttf",  # fonts-lato
}
#: Those with counters, and some twice in another company.
LETTERS = ("ABDOPQR890o&@%46", "abdegpqOA8BgR6")
#: Every letter, digit and mark: see ``tests/bench/bench_lettering.py``.
EVERY = (
    "ABCDEFGHIJKLMNOPQRSTUVWXYZ",
    "abcdefghijklmnopqrstuvwxyz",
    "0123456789&@%#$?!.,:;()",
    "ABDOPQRabdegopq04689@&",
)
JOB = """
title = "Alphabet"
[sheet]
width_mm = {width}
height_mm = {height}
material = "polyester"
thickness_mm = 0.35
margin_mm = 5
[bridges]
direction = "{direction}"
let_go = false
[[layers]]
name = "Ink"
colour = "#102040"
text = '''
{text}'''
font = {font!r}
text_size_mm = 60
tracking_mm = 8
leading_mm = 120
"""


def font_of(kind: str) -> Path:
    path = FOLDER / FONTS[kind]
    if not path.is_file():
        pytest.skip(f"{path.name} is not on this machine")
    return path


def counters_in_pixels(font: Path, letter: str) -> int:
    """Return how many areas a letter's ink encloses, drawn 400 pixels high by FreeType."""
    image = Image.new("L", (1000, 1000), 0)
    ImageDraw.Draw(image).text((250, 250), letter, 255, ImageFont.truetype(str(font), 400))
    labels, count = ndimage.label(np.asarray(image) < 128)  # by edges, not by corners
    sizes = np.bincount(labels.ravel())[1:]
    edge = set(np.unique(labels[[0, -1]])) | set(np.unique(labels[:, [0, -1]]))
    return sum(size > 12 and k + 1 not in edge for k, size in enumerate(sizes[:count]))


def lettering(font: Path, lines: tuple[str, ...], direction: str):
    job = parse_job(
        JOB.format(
            width=60 * max(map(len, lines)) + 200,
            height=120 * len(lines) + 60,
            direction=direction,
            text="\n".join(lines),
            font=str(font),
        )
    )
    (layer,) = build(job).layers
    return layer


def ways_in(layer, opening):
    """Return the middle lines across one opening, lower end first, in order."""
    ways = [
        b.path[1:3]
        for b in layer.bridges
        if b.kind == "bridge" and opening.covers(shapely.Point(b.path[1:3].mean(axis=0)))
    ]
    ways = [w if tuple(w[0]) <= tuple(w[1]) else w[::-1] for w in ways]
    array = np.array(ways).reshape(-1, 2, 2)
    return array[np.lexsort(np.round(array.reshape(-1, 4).T, 6))] if len(array) else array


def judge(font: Path, lines: tuple[str, ...], direction: str) -> dict[str, object]:
    """Return what is found out about lettering; fails where a counter is not held."""
    layer = lettering(font, lines, direction)
    counted = sum(counters_in_pixels(font, letter) for line in lines for letter in line)
    told = [f.place for f in layer.findings if f.code == "support.bridge-leans"]
    off = []
    for bridge in layer.bridges:
        if bridge.kind == "bridge":
            x, y = bridge.path[2] - bridge.path[1]
            off.append(np.degrees(np.arctan2(abs(x), abs(y))))
    same, symmetric, lopsided = 0.0, 0, 0
    seen: list[tuple] = []
    for opening in layer.plain_sheet.openings.geoms:
        ways = ways_in(layer, opening)
        if not len(ways):
            continue
        corner = np.array(opening.bounds[:2])
        shape = shapely.normalize(shapely.transform(opening, lambda xy, c=corner: xy - c))
        for other, before in seen:
            if shapely.equals_exact(shape, other, 1e-9):
                apart = np.abs(ways - corner - before).max() if len(ways) == len(before) else np.inf
                same = max(same, float(apart))
                break
        else:
            seen.append((shape, ways - corner))
        for mirror in mirrors(opening)[:1]:
            if mirror.matrix[0, 0] < 0:
                image = np.array(
                    [w if tuple(w[0]) <= tuple(w[1]) else w[::-1] for w in mirror(ways)]
                )
                image = image[np.lexsort(np.round(image.reshape(-1, 4).T, 6))]
                good = np.abs(image - ways).max() < SYMMETRIC
                symmetric, lopsided = symmetric + good, lopsided + (not good)
    return {
        "islands": len(layer.islands),
        "counted": counted,
        "left": len(layer.islands_left),
        "bridges": len(off),
        "off": sum(o > 0.1 for o in off),
        "told": len(told),
        "same_to": same,
        "symmetric": symmetric,
        "lopsided": lopsided,
        "damage": layer.damage,
        "weak": sum(not island.enough for island in layer.held_islands),
    }


@pytest.mark.parametrize("kind", FONTS)
def test_letters_of_a_font_are_held_upright_alike_and_symmetric(kind):
    found = judge(font_of(kind), LETTERS, "vertical")
    assert found["islands"] == found["counted"]
    assert found["left"] == 0
    assert found["off"] <= found["told"]
    assert found["same_to"] < 1e-6
    assert found["lopsided"] == 0
