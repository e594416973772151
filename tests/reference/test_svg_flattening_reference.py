"""Markers, patterns, masks in shades and pictures within a drawing, against resvg (resvg-py).

SVG 1.1, sections 11.6 (markers), 13.3 (patterns), 14.4 (masks) and 5.7 (images); SVG 2, section
13.2 (context-fill). What is seen at points of a grid is held against resvg's pixels there.
"""

from __future__ import annotations

import base64
import io

import numpy as np
import pytest
import resvg_py
import shapely
from PIL import Image, ImageDraw

from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.artwork.svg.coloured import read_svg_colours
from sheetstack.geometry.artwork.svg.flattening import Flattening
from sheetstack.geometry.separation.flat_picture import embedded_picture
from sheetstack.geometry.separation.seen import seen_of

HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
    'width="200" height="200" viewBox="0 0 200 200">'
)
SIDE = 400
ARROW = (
    '<marker id="a" viewBox="0 0 10 10" refX="5" refY="5" markerWidth="4" markerHeight="4" '
    '{more}><path d="M0 0L10 5L0 10z" fill="#c03"/></marker>'
)
LINE = 'fill="none" stroke="#046" stroke-width="6"'
ALL = 'maskUnits="userSpaceOnUse" x="0" y="0" width="200" height="200"'
PAIR = (
    '<rect x="20" y="20" width="100" height="120" fill="#c30"/>'
    '<circle cx="120" cy="110" r="60" fill="#06c"/>'
)


def picture(kind="PNG", **more):
    """A flag-like picture with a soft-edged disc, as a data reference."""
    large = Image.new("RGBA", (480, 320), "#f4d35e")
    pen = ImageDraw.Draw(large)
    pen.rectangle((0, 0, 160, 320), fill="#0d3b66")
    pen.ellipse((220, 60, 400, 240), fill="#ee5533" if kind == "PNG" else "#28965a")
    if more.pop("hole", False):
        pen.rectangle((20, 200, 120, 300), fill=(0, 0, 0, 0))
    small = large.resize((240, 160), Image.Resampling.LANCZOS)
    data = io.BytesIO()
    (small if kind == "PNG" else small.convert("RGB")).save(data, kind, **more)
    text = base64.b64encode(data.getvalue()).decode()
    return f"data:image/{kind.lower()};base64,{text}"


DRAWINGS = {
    # --- markers ---
    "ends": ARROW.format(more='orient="auto"')
    + f'<path {LINE} marker-start="url(#a)" marker-end="url(#a)" d="M40 160C40 60 90 20 160 60"/>',
    "every vertex": ARROW.format(more='orient="auto"')
    + f'<polyline {LINE} style="marker:url(#a)" points="30,150 60,60 110,140 170,50"/>',
    "closed": ARROW.format(more='orient="auto"')
    + f'<path {LINE} marker-mid="url(#a)" d="M50 50H150V150H50Z"/>',
    "turned start": ARROW.format(more='orient="auto-start-reverse"')
    + f'<line {LINE} marker-start="url(#a)" marker-end="url(#a)" x1="50" y1="150" x2="150" '
    'y2="60"/>',
    "fixed angle, own units": ARROW.format(more='orient="30" markerUnits="userSpaceOnUse"').replace(
        'markerWidth="4" markerHeight="4"', 'markerWidth="40" markerHeight="30"'
    )
    + f'<g transform="rotate(15 100 100)"><path {LINE} marker-end="url(#a)" d="M30 90h90"/></g>',
    "cut to its frame": '<marker id="a" refX="2" refY="2" markerWidth="4" markerHeight="4">'
    '<circle cx="2" cy="2" r="2.6" fill="#e80"/></marker>'
    f'<path {LINE} marker-end="url(#a)" d="M30 90h90"/>',
    "colours of the line": '<marker id="a" refX="2" refY="2" markerWidth="4" markerHeight="4" '
    'overflow="visible"><circle cx="2" cy="2" r="3" fill="context-stroke"/></marker>'
    f'<path {LINE} marker-end="url(#a)" d="M30 90h90"/>',
    # --- patterns ---
    "dots": '<pattern id="p" width="20" height="20" patternUnits="userSpaceOnUse">'
    '<rect width="20" height="20" fill="#fe8"/><circle cx="10" cy="10" r="6" fill="#a03"/>'
    '</pattern><rect x="23" y="31" width="140" height="120" fill="url(#p)"/>',
    "over the tile's edge": '<pattern id="p" x="3" width="24" height="24" '
    'patternUnits="userSpaceOnUse" patternTransform="rotate(30)"><circle r="9" fill="#a03"/>'
    '<circle cx="24" cy="24" r="9" fill="#06c"/></pattern>'
    '<circle cx="100" cy="100" r="80" fill="url(#p)"/>',
    "by the box": '<pattern id="p" width=".25" height=".2"><path d="M0 0h20v12H0z" fill="#273"/>'
    '</pattern><rect x="40" y="30" width="120" height="140" fill="url(#p)"/>',
    "view box": '<pattern id="p" width="30" height="40" patternUnits="userSpaceOnUse" '
    'viewBox="0 0 10 10"><path d="M5 0L10 5L5 10L0 5z" fill="#52a"/></pattern>'
    '<rect x="20" y="20" width="150" height="150" fill="url(#p)"/>',
    "inherited, half seen": '<pattern id="q" width="20" height="20" '
    'patternUnits="userSpaceOnUse"><rect width="10" height="20" fill="#000"/></pattern>'
    '<pattern id="p" xlink:href="#q" patternTransform="rotate(90) scale(1.5)"/>'
    '<rect x="20" y="20" width="150" height="90" fill="#fd0"/>'
    '<rect x="40" y="50" width="140" height="120" fill="url(#p)" fill-opacity=".5"/>',
    "on a stroke": '<pattern id="p" width="12" height="12" patternUnits="userSpaceOnUse">'
    '<rect width="6" height="12" fill="#c03"/><rect x="6" width="6" height="12" fill="#fc9"/>'
    '</pattern><path d="M30 40C90 10 110 190 170 150" fill="none" stroke="url(#p)" '
    'stroke-width="30"/>',
    # --- masks in shades ---
    "grey mask on a pair": f'<mask id="m" {ALL}><rect width="200" height="90" fill="#999"/>'
    f'<circle cx="100" cy="100" r="30" fill="#fff"/></mask><g mask="url(#m)">{PAIR}</g>',
    "half open mask": f'<mask id="m" {ALL}><rect width="110" height="200" fill="#fff" '
    f'opacity=".4"/></mask><g mask="url(#m)" opacity=".8">{PAIR}</g>',
    "alpha mask": f'<mask id="m" mask-type="alpha" {ALL}><rect width="110" height="200" '
    f'fill-opacity=".6"/></mask><g mask="url(#m)">{PAIR}</g>',
    "mask in a mask": f'<mask id="n" {ALL}><rect width="200" height="80" fill="#888"/>'
    f'<rect y="80" width="200" height="80" fill="#fff"/></mask><mask id="m" {ALL}><g '
    f'mask="url(#n)"><rect width="140" height="200" fill="#ddd"/></g></mask>'
    f'<g mask="url(#m)">{PAIR}</g>',
    "mask by the box": '<mask id="m" maskContentUnits="objectBoundingBox"><rect width="1" '
    f'height=".5" fill="#777"/><rect y=".5" width=".6" height=".5" fill="#fff"/></mask>'
    f'<g transform="rotate(8)"><g mask="url(#m)">{PAIR}</g></g>',
    # --- pictures ---
    "PNG": f'<image x="20" y="30" width="150" height="100" xlink:href="{picture()}"/>',
    "PNG, part of it clear": '<rect width="200" height="100" fill="#777"/>'
    f'<image x="20" y="30" width="150" height="100" href="{picture(hole=True)}"/>',
    "JPEG, fitted": '<g transform="rotate(10 100 100)"><image x="30" y="30" width="130" '
    f'height="140" href="{picture("JPEG", quality=90)}"/></g>',
    "sliced": '<image x="40" y="30" width="100" height="120" '
    f'preserveAspectRatio="xMinYMid slice" href="{picture()}"/>',
    "picture in a clip": '<clipPath id="c"><circle cx="100" cy="90" r="55"/></clipPath><g '
    f'clip-path="url(#c)"><image y="20" width="200" height="140" href="{picture()}"/></g>',
}


def share_off(body, tmp_path):
    """Share of points whose colour is another than resvg's pixel, borders left out."""
    path = tmp_path / "drawing.svg"
    path.write_text(f"{HEAD}{body}</svg>", encoding="utf-8")
    flattening = Flattening(3, embedded_picture)
    drawing = read_svg_colours(
        ArtworkSource(path), lambda page: 100 / max(page), flattening=flattening
    )
    assert not drawing.findings
    seen = seen_of(drawing)
    png = bytes(resvg_py.svg_to_bytes(svg_string=f"{HEAD}{body}</svg>", width=SIDE))
    rendered = np.asarray(Image.open(io.BytesIO(png)).convert("RGBA")) / 255.0
    assert (rendered[..., 3] > 0).mean() > 0.02
    rendered[..., :3] *= rendered[..., 3:]
    step = 5
    rows, columns = np.meshgrid(np.arange(2, SIDE, step), np.arange(2, SIDE, step), indexing="ij")
    x, y = (columns.ravel() + 0.5) * 100 / SIDE, 100 - (rows.ravel() + 0.5) * 100 / SIDE
    tree = shapely.STRtree(seen.cells.cells)
    point, cell = tree.query(shapely.points(x, y), predicate="intersects")
    own = np.zeros((len(x), 4))
    own[point] = seen.colours[cell]
    own[:, :3] *= own[:, 3:]
    # A pixel that differs from its neighbours lies on a border.
    flat = np.ones(rendered.shape[:2], bool)
    for axis in (0, 1):
        for way in (-1, 1):
            flat &= (np.abs(np.roll(rendered, way, axis) - rendered) < 0.02).all(axis=2)
    calm = flat[rows.ravel(), columns.ravel()]
    off = (np.abs(own - rendered[rows.ravel(), columns.ravel()]) > 0.035).any(axis=1)
    assert calm.mean() > 0.5
    return float(off[calm].mean())


@pytest.mark.parametrize("name", DRAWINGS)
def test_what_is_flattened_is_what_resvg_shows(name, tmp_path):
    assert share_off(DRAWINGS[name], tmp_path) < 0.002
