"""Sizes, places and variables in styles, against what a browser shows.

Judge: Chromium (Debian's ``chromium``, or the path in ``SHEETSTACK_BROWSER``), which draws all
drawings as pictures of one page; the dark area of each is compared.
"""

import os
import shutil
import subprocess

import numpy as np
import pytest
import shapely
from PIL import Image

from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.artwork.svg.read import read_svg

BROWSER = os.environ.get("SHEETSTACK_BROWSER") or shutil.which("chromium")
pytestmark = pytest.mark.skipif(not BROWSER, reason="needs the browser Chromium")

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="100" height="100">'
PX_PER_MM = 96 / 25.4
COLUMNS = 6
CELL = 100

DRAWINGS = (
    '<circle cx="50" cy="50" r="10" style="r:30px"/>',
    '<circle cx="50" cy="50" r="10" style="r:30"/>',
    '<circle cx="50" cy="50" style="r:30%"/>',
    '<circle cx="50" cy="50" style="r:5mm"/>',
    '<circle cx="50" cy="50" style="r:30px;r:bogus"/>',
    '<circle cx="50" cy="50" r="30" style="r:-5px"/>',
    '<circle cx="50" cy="50" r="30" style="r:unset"/>',
    '<style>circle{r:30px !important}</style><circle cx="50" cy="50" style="r:10px"/>',
    '<circle r="20" style="cx:60px;cy:30px"/>',
    '<rect style="x:10px;y:20px;width:60px;height:40px"/>',
    '<rect x="10" y="20" width="60" height="40" style="rx:20px"/>',
    '<rect x="10" y="20" width="60" height="40" rx="20" style="rx:auto"/>',
    '<rect x="10" y="20" width="60" height="40" style="width:auto"/>',
    '<ellipse cx="50" cy="50" style="rx:40px"/>',
    '<path d="M0 0H10V10H0Z" style="d:path(\'M10 10H90V50H10Z\')"/>',
    '<path d="M0 0H10V10H0Z" style="d:none"/>',
    '<defs><rect id="a" width="30" height="30"/></defs><use href="#a" style="x:80px;y:80px"/>',
    '<defs><symbol id="a" viewBox="0 0 10 10"><rect width="10" height="10"/></symbol></defs>'
    '<use href="#a" width="20" height="20" style="width:60px;height:60px"/>',
    '<svg width="20" height="20" viewBox="0 0 10 10" style="width:60px;height:60px">'
    '<rect width="10" height="10"/></svg>',
    '<line y1="50" x2="50" y2="50" style="x2:90px;stroke:#000;stroke-width:10px"/>',
    '<style>svg{--ink:none}</style><rect width="50" height="50" fill="var(--ink)"/>',
    '<rect width="50" height="50" style="fill:var(--a, var(--b, none))"/>',
    '<g style="--ink:black"><rect width="50" height="50" fill="var(--ink, none)"/></g>',
    '<g style="--r:30px"><circle cx="50" cy="50" r="var(--r)"/></g>',
    '<g style="--r:30"><circle cx="50" cy="50" r="10" style="r:var(--r)"/></g>',
    '<circle cx="50" cy="50" r="10" style="r:var(--r)"/>',
    '<g style="--a:var(--b);--b:var(--a)"><rect width="40" height="40" style="fill:var(--a)"/></g>',
    '<g style="--a:var(--b);--b:30px"><g style="--b:10px"><circle cx="50" cy="50" '
    'style="r:var(--a)"/></g></g>',
    '<defs><circle id="c" cx="50" cy="50" r="10" style="r:var(--r,5px)"/></defs>'
    '<use href="#c" style="--r:30px"/>',
    '<g style="--e: ;"><rect width="50" height="50" style="fill:var(--e) none"/></g>',
    '<g style="--Ink:none;--ink:black"><rect width="50" height="50" style="fill:VAR(--Ink)"/></g>',
    '<g style="--i:none"><rect width="50" height="50" '
    'style="--i:initial;fill:var(--i,black)"/></g>',
    '<style>g{--r:30px!important}</style><g style="--r:10px">'
    '<circle cx="50" cy="50" style="r:var(--r)"/></g>',
    '<g style="--x:20px"><rect width="40" height="40" '
    'style="transform:translate(var(--x),var(--x)) scale(2)"/></g>',
    '<rect width="40" height="40" style="display:NONE"/>',
)


def shown(folder) -> list[float]:
    """Return the dark area of each drawing in a browser, in pixels."""
    rows = -(-len(DRAWINGS) // COLUMNS)
    page = '<body style="margin:0;background:#fff">'
    for k in range(len(DRAWINGS)):
        left, top = CELL * (k % COLUMNS), CELL * (k // COLUMNS)
        page += f'<img src="{k}.svg" style="position:absolute;left:{left}px;top:{top}px">'
    (folder / "page.html").write_text(page)
    command = [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
    command += [f"--user-data-dir={folder / 'profile'}", "--hide-scrollbars"]
    command += [f"--window-size={CELL * COLUMNS},{CELL * rows}"]
    command += [f"--screenshot={folder / 'shot.png'}", (folder / "page.html").as_uri()]
    subprocess.run(command, capture_output=True, check=True, timeout=120)
    with Image.open(folder / "shot.png") as shot:
        dark = 1 - np.asarray(shot.convert("L")) / 255
    cells = dark[: CELL * rows].reshape(rows, CELL, COLUMNS, CELL).sum(axis=(1, 3))
    return cells.ravel()[: len(DRAWINGS)].tolist()


def test_styles_are_read_as_a_browser_does(tmp_path):
    read = []
    for k, body in enumerate(DRAWINGS):
        path = tmp_path / f"{k}.svg"
        path.write_text(f"{HEAD}{body}</svg>", encoding="utf-8")
        artwork = read_svg(ArtworkSource(path))
        page = shapely.box(0, 0, *artwork.page)
        read.append(artwork.shape.intersection(page).area * PX_PER_MM**2)
    # The browser smooths edges in shares of a pixel, which it rounds.
    close = [abs(a - b) <= max(5, 0.01 * b) for a, b in zip(read, shown(tmp_path), strict=True)]
    assert [body for body, good in zip(DRAWINGS, close, strict=True) if not good] == []
