"""Masks of SVG drawings that are areas, against resvg (PyPI resvg-py).

SVG 1.1, section 14.4, and CSS Masking Module Level 1 (``mask-type``).
"""

from __future__ import annotations

import io

import numpy as np
import pytest
import resvg_py
import shapely
from PIL import Image

from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.artwork.svg.read import read_svg
from sheetstack.geometry.errors import ArtworkError
from sheetstack.geometry.finding import Severity
from sheetstack.geometry.tolerance import Tolerances

FINE = Tolerances(chord=0.005)
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="200" height="200" viewBox="0 0 200 200">'
ALL = 'maskUnits="userSpaceOnUse" x="0" y="0" width="200" height="200"'
PICTURE = '<rect x="20" y="20" width="160" height="140" mask="url(#m)"/>'
FLAT = {
    "white disc": f'<mask id="m" {ALL}><circle cx="100" cy="90" r="60" fill="#fff"/></mask>',
    "knocked out": f'<mask id="m" {ALL}><path fill="white" d="M0 0h200v200H0z"/>'
    '<circle cx="100" cy="90" r="40"/></mask>',
    "white on black on white": f'<mask id="m" {ALL}><path fill="#fff" d="M0 0h200v200H0z"/>'
    '<circle cx="100" cy="90" r="60" fill="rgb(0,0,0)"/>'
    '<circle cx="100" cy="90" r="30" style="fill:hsl(0 0% 100%)"/></mask>',
    "alpha, grey": f'<mask id="m" style="mask-type:alpha" {ALL}>'
    '<circle cx="100" cy="90" r="60" fill="#D9D9D9"/></mask>',
    "stroke": f'<mask id="m" {ALL}><path stroke="#fff" stroke-width="30" d="M30 40L170 150"/>'
    "</mask>",
    "default region": '<mask id="m"><path fill="#fff" d="M-99 50h400v60h-400z"/></mask>',
    "content by the box": '<mask id="m" maskContentUnits="objectBoundingBox">'
    '<circle cx=".5" cy=".5" r=".3" fill="#fff"/></mask>',
    "region by the box": '<mask id="m" x=".2" y=".1" width=".5" height=".6">'
    '<path fill="#fff" d="M0 0h200v200H0z"/></mask>',
    "use within": f'<defs><circle id="c" cx="100" cy="90" r="50" fill="#fff"/></defs>'
    f'<mask id="m" {ALL}><use href="#c"/></mask>',
    "black only": f'<mask id="m" {ALL}><circle cx="100" cy="90" r="60"/></mask>',
    "turned": f'<mask id="m" {ALL}><path transform="rotate(20 100 100)" fill="#fff" '
    'd="M60 30h80v120h-80z"/></mask>',
}


def read(tmp_path, body):
    path = tmp_path / "drawing.svg"
    path.write_text(f"{HEAD}{body}</svg>", encoding="utf-8")
    return read_svg(ArtworkSource(path), FINE)


def coverage(body: str) -> np.ndarray:
    png = bytes(resvg_py.svg_to_bytes(svg_string=f"{HEAD}{body}</svg>", zoom=3, dpi=96))
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGBA"))[..., 3] / 255.0


def again(shape) -> str:
    data = "".join(
        "M" + "L".join(f"{x:.6f} {y:.6f}" for x, y in shapely.get_coordinates(ring)) + "Z"
        for ring in shapely.get_rings(shapely.get_parts(shape))
    )
    side = 200 * 25.4 / 96
    turn = f"scale({200 / side} {-200 / side}) translate(0 {-side})"
    return f'<path fill-rule="evenodd" transform="{turn}" d="{data}"/>' if data else ""


@pytest.mark.parametrize("wrap", ["element", "group", "moved"])
@pytest.mark.parametrize("name", FLAT)
def test_a_flat_mask_is_the_area_that_resvg_shows(name, wrap, tmp_path):
    picture = {
        "element": PICTURE,
        "group": f'<g mask="url(#m)">{PICTURE.replace(" mask=", " data-m=")}</g>',
        "moved": f'<g transform="translate(10 20) scale(.8)">{PICTURE}</g>',
    }[wrap]
    # Something beside it, so that a mask that hides all leaves a drawing.
    body = f'{FLAT[name]}{picture}<rect x="0" y="190" width="9" height="9"/>'
    artwork = read(tmp_path, body)
    assert not [f for f in artwork.findings if f.code == "artwork.mask"]
    seen, ours = coverage(body), coverage(again(artwork.shape))
    union = np.maximum(seen, ours).sum()
    assert np.minimum(seen, ours).sum() / union > 0.995


@pytest.mark.parametrize(
    "content",
    [
        '<circle cx="100" cy="90" r="60" fill="#888"/>',
        '<circle cx="100" cy="90" r="60" fill="#fff" opacity=".5"/>',
        '<g fill-opacity="50%"><circle cx="100" cy="90" r="60" fill="#fff"/></g>',
        '<circle cx="100" cy="90" r="60" fill="rgba(255,255,255,.5)"/>',
        '<linearGradient id="g"><stop stop-color="#fff"/></linearGradient>'
        '<circle cx="100" cy="90" r="60" fill="url(#g)"/>',
    ],
)
def test_a_mask_in_shades_is_told_and_spoils(content, tmp_path):
    artwork = read(tmp_path, f'<mask id="m" {ALL}>{content}</mask>{PICTURE}')
    (told,) = [f for f in artwork.findings if f.code == "artwork.mask"]
    assert told.severity is Severity.SPOILS


def test_a_mask_that_masks_itself_is_refused(tmp_path):
    body = f'<mask id="m" {ALL}><rect width="9" height="9" fill="#fff" mask="url(#m)"/></mask>'
    with pytest.raises(ArtworkError, match="masked by itself"):
        read(tmp_path, body + PICTURE)
