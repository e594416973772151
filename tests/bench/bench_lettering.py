"""Lettering in six Debian fonts under each direction: figures and pictures, on demand.

    python tests/bench/bench_lettering.py OUT [FONT ...]

FONT is one of sans, serif, slab, condensed, script, black, or rings; all by default. Every letter,
digit and mark at 60 mm cap height is built in each direction and judged as
``tests/reference/test_lettering_reference.py`` does; OUT gets a picture for each. Then rings, 2,000
islands, are built in each style; processor time is told against that of ``any``.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import shapely
from PIL import Image, ImageDraw

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "reference"))

from small_builds import built_from
from test_lettering_reference import EVERY, FOLDER, FONTS, judge, lettering

from sheetstack.geometry.artwork.read import Artwork
from sheetstack.geometry.job.load import parse_job

DIRECTIONS = ("any", "vertical", "horizontal")
STYLES = ("any", "drawing", "vertical", "horizontal", "angle", "curved", "tapered")
JOB = """
title = "Rings"
[sheet]
width_mm = 1100
height_mm = 900
material = "polyester"
thickness_mm = 0.35
margin_mm = 5
placement = "corner"
[bridges]
width_mm = 1.5
direction = "{}"
angle_deg = 60
[[layers]]
name = "Ink"
colour = "#102040"
artwork = "ink.svg"
"""


def picture(layer, path: Path, scale: float = 1.0) -> None:
    """Draw what is cut, ink on white."""
    width, height = (layer.sheet.outline.bounds[k] for k in (2, 3))
    image = Image.new("L", (round(width * scale), round(height * scale)), 255)
    pen = ImageDraw.Draw(image)
    for opening in layer.sheet.openings.geoms:
        for ring, level in [(opening.exterior, 40), *((r, 255) for r in opening.interiors)]:
            points = np.asarray(ring.coords) * scale
            points[:, 1] = image.height - points[:, 1]
            pen.polygon([tuple(p) for p in points], fill=level)
    image.save(path)


def rings(count: int):
    """Return many rings on a lattice, some beside a wall that makes them differ."""
    ring = shapely.Point(0, 0).buffer(8).difference(shapely.Point(0, 0).buffer(4.5))
    across = 50
    return [
        shapely.affinity.translate(ring, 20 + 21 * (k % across), 20 + 21 * (k // across))
        for k in range(count)
    ]


def ring_job(style: str):
    """Return the job of the rings in a style: a direction, or a way to draw them."""
    if style in ("curved", "tapered"):
        drawn = f'style = "{style}"\n[[layers]]'
        return parse_job(JOB.format("any").replace("[[layers]]", drawn, 1))
    return parse_job(JOB.format(style))


def main(out: Path, asked: list[str]) -> None:
    """Print the figures and write the pictures."""
    out.mkdir(parents=True, exist_ok=True)
    for kind, name in FONTS.items():
        if asked and kind not in asked:
            continue
        font = FOLDER / name
        if not font.is_file():
            print(f"{kind}: {font.name} is not here")
            continue
        for direction in DIRECTIONS:
            print(kind, direction, judge(font, EVERY, direction), flush=True)
            layer = lettering(font, EVERY, direction)
            picture(layer, out / f"{kind}-{direction}.png")
    base = None
    for style in STYLES if not asked or "rings" in asked else ():
        job = ring_job(style)
        shape = shapely.MultiPolygon(rings(2000))
        begun = time.process_time()
        (layer,) = built_from(job, [Artwork(shape, (1100.0, 900.0))]).layers
        spent = time.process_time() - begun
        base = base or spent
        print(
            f"2000 rings, {style}: {spent:.1f} s, {spent / base:.2f} of 'any'; "
            f"{len(layer.bridges)} bridges, {len(layer.islands_left)} left",
            flush=True,
        )


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
