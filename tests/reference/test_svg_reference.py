"""SVG reading against the specification's own examples and an independent rasteriser.

Geometry of the examples: SVG 1.1 (Second Edition), chapters 7 to 9 and 11, numbers as published.
Rasteriser: resvg (PyPI resvg-py), and CairoSVG for a second opinion on the fill rule.
"""

import io

import cairosvg
import numpy as np
import pytest
import resvg_py
import shapely
from PIL import Image

from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.artwork.svg.read import read_svg
from sheetstack.geometry.tolerance import Tolerances

FINE = Tolerances(chord=0.005)
PX = 25.4 / 96
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '


def read(tmp_path, text):
    path = tmp_path / "drawing.svg"
    path.write_text(text, encoding="utf-8")
    return read_svg(ArtworkSource(path), FINE)


def coverage(text: str, zoom: float) -> np.ndarray:
    """Painted share of each pixel, by resvg."""
    png = bytes(resvg_py.svg_to_bytes(svg_string=text, zoom=zoom, dpi=96, skip_system_fonts=True))
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGBA"))[..., 3] / 255.0


def drawn_again(artwork) -> str:
    """The area that was read, as the plainest possible SVG."""
    width, height = artwork.page
    data = "".join(
        f"M{'L'.join(f'{x:.6f} {height - y:.6f}' for x, y in shapely.get_coordinates(ring))}Z"
        for ring in shapely.get_rings(shapely.get_parts(artwork.shape))
    )
    return (
        f'{HEAD}width="{width / PX:.3f}" height="{height / PX:.3f}" '
        f'viewBox="0 0 {width} {height}">'
        f'<path fill-rule="evenodd" d="{data}"/></svg>'
    )


# Each drawing is some 400 px wide, so that 0.5 % of its area is far more than a chord's error.
DRAWINGS = {
    # 8.3.2, triangle01
    "triangle": 'viewBox="0 0 400 400"><path d="M 100 100 L 300 100 L 200 300 z"/>',
    # 8.3.6, cubic01, and the figures of smooth joins in cubic02
    "cubic": """viewBox="0 0 500 400"><path d="M100,200 C100,100 250,100 250,200
        S400,300 400,200" fill="none" stroke="red" stroke-width="5"/>
        <path d="M300 200C100 100 25 400 25 300S400 300 400 200"/>""",
    # 8.3.7, quad01
    "quadratic": """viewBox="0 0 1200 600"><path d="M200,300 Q400,50 600,300 T1000,300"
        fill="none" stroke="red" stroke-width="25"/>""",
    # 8.3.8, arcs01: two slices and a line of ever taller arcs
    "arcs": """viewBox="0 0 1200 400"><path d="M300,200 h-150 a150,150 0 1,0 150,-150 z"
        fill="red" stroke="blue" stroke-width="5"/><path d="M275,175 v-150 a150,150 0 0,0
        -150,150 z" fill="yellow" stroke="blue" stroke-width="5"/><path d="M600,350 l 50,-25
        a25,25 -30 0,1 50,-25 l 50,-25 a25,50 -30 0,1 50,-25 l 50,-25 a25,75 -30 0,1 50,-25
        l 50,-25 a25,100 -30 0,1 50,-25 l 50,-25" fill="none" stroke="red" stroke-width="5"/>""",
    # 8.3.8, arcs02: the four arcs through two points, flags written without gaps
    "arc flags": """viewBox="0 0 400 350"><g fill="none" stroke-width="6" stroke="red">
        <path d="M125,75 a100,50 0 0,0 100,50"/><path d="M225,175 a100,50 0 0110 50"/>
        <path d="M125 75a100 50 30 1 0100 50"/><path d="M100 250A90,50,0,1 1 250,300"/></g>""",
    # 11.3, fillrule-nonzero and -evenodd: the stars and rings side by side
    "fill rules": """viewBox="0 0 1200 400"><g transform="scale(1 1)">
        <path fill-rule="evenodd" d="M 250,75 L 323,301 131,161 369,161 177,301 z"/>
        <path fill-rule="nonzero" d="M 650,75 L 723,301 531,161 769,161 577,301 z"/>
        <path d="M 1000,81 A 107,107 0 0,1 1000,295 A 107,107 0 0,1 1000,81 z
        M 1000,139 A 49,49 0 0,0 1000,237 A 49,49 0 0,0 1000,139 z"/></g>""",
    # 7.4 and 7.5: RotateScale, Skew and Nested
    "transforms": """viewBox="0 0 400 250"><g transform="translate(50,30)"><g
        transform="rotate(30)"><rect width="60" height="20"/></g></g><g
        transform="translate(200,40)"><g transform="scale(1.5)"><circle r="20" cx="10"
        cy="10"/></g></g><g transform="translate(30,120) skewX(30)"><rect width="80"
        height="50"/></g><g transform="translate(200,120)skewY(30)"><rect width="80" height="50"/>
        </g><g transform="matrix(.5 .3 -.4 .8 320 130) rotate(20, 30, 30)"><rect width="60"
        height="60" rx="15"/></g>""",
    # 9.2 to 9.7: the basic shapes
    "basic shapes": """viewBox="0 0 1200 700"><rect x="100" y="60" width="300" height="150"
        rx="50"/><g transform="translate(700 210) rotate(-30)"><rect width="400" height="200"
        rx="50" ry="30" fill="none" stroke="purple" stroke-width="30"/></g><ellipse cx="200"
        cy="400" rx="150" ry="60" transform="rotate(-10 200 400)"/><circle cx="480" cy="400"
        r="80" fill="none" stroke="red" stroke-width="10"/><g stroke="green"><line x1="100"
        y1="650" x2="300" y2="500" stroke-width="15"/></g><polyline fill="none" stroke="blue"
        stroke-width="10" points="350,675 450,675 450,625 550,625 550,675 650,675 650,550 750,550"/>
        <polygon fill="lime" points="850,475 958,537.5 958,662.5 850,700 742,662.6 742,537.5"/>""",
    # 11.4, linecap and linejoin, and miter limits on either side of the limit
    "caps and joins": """viewBox="0 0 1200 400"><g fill="none" stroke="black"
        stroke-width="50"><path d="M100 60h200" stroke-linecap="butt"/><path d="M500 60h200"
        stroke-linecap="round"/><path d="M900 60h200" stroke-linecap="square"/><path
        d="M100 330l100-120 100 120" stroke-linejoin="miter"/><path d="M450 330l100-120 100 120"
        stroke-linejoin="round"/><path d="M800 330l100-120 100 120" stroke-linejoin="bevel"/><path
        d="M1050 380l30-150 30 150" stroke-width="20" stroke-miterlimit="2"/></g>""",
    "dashes": """viewBox="0 0 400 300"><g fill="none" stroke="black" stroke-width="10"><path
        d="M20 30h360" stroke-dasharray="30 10 5"/><circle cx="120" cy="160" r="80"
        stroke-dasharray="5%,10" stroke-dashoffset="-7" stroke-linecap="round"/><path
        d="M240 80h120v150h-120z" stroke-dasharray="40,20" stroke-dashoffset="13"
        stroke-linejoin="round"/></g>""",
    "uneven stroke": """viewBox="0 0 400 300"><g transform="scale(4 1)" fill="none"
        stroke="black" stroke-width="9"><path d="M15 40c40 0-10 200 40 200L85 60"/></g>
        <path transform="skewX(40)" d="M20 250h100v-60" fill="none" stroke="red"
        stroke-width="20" stroke-linejoin="round" stroke-linecap="round"/>""",
    "clip paths": """viewBox="0 0 400 300"><clipPath id="star"><path clip-rule="evenodd"
        d="M100,10 L158,190 11,79 189,79 42,190z"/></clipPath><clipPath id="half"
        clipPathUnits="objectBoundingBox" transform="translate(.1 0)"><circle cx=".5" cy=".5"
        r=".5"/></clipPath><clipPath id="both" clip-path="url(#right)"><rect x="20" y="210"
        width="200" height="60"/><circle cx="240" cy="240" r="40"/></clipPath><clipPath
        id="right"><rect x="100" y="0" width="300" height="260"/></clipPath><rect width="200"
        height="200" clip-path="url(#star)"/><g transform="rotate(15 300 100)"><rect x="220"
        y="40" width="150" height="100" clip-path="url(#half)"/></g><g
        clip-path="url(#both)"><rect y="200" width="400" height="100"/></g>""",
    "use and symbol": """viewBox="0 0 400 300"><defs><g id="leaf"><path
        d="M0 0c30-20 60-20 80 0c-20 20-50 20-80 0"/><circle cx="90" r="8"/></g><symbol id="box"
        viewBox="0 0 10 10" preserveAspectRatio="xMinYMax meet"><rect x="1" y="1" width="12"
        height="8"/></symbol></defs><use xlink:href="#leaf" x="20" y="40"/><use href="#leaf"
        transform="translate(250 60) rotate(60) scale(1.4)"/><use href="#box" x="20" y="120"
        width="120" height="60"/><svg x="200" y="150" width="150" height="120" viewBox="0 0 50 50"
        preserveAspectRatio="xMaxYMid slice"><circle cx="25" cy="25" r="25"/></svg>""",
    "style sheet": """viewBox="0 0 400 300"><style><![CDATA[ .st0{fill:none;stroke:#000;
        stroke-width:8} .st0.thick, g > #odd {stroke-width:20px} rect{fill:red} g rect:first-child
        {fill:none !important} @media print{rect{display:none}} .off{display:none}
        path{stroke-linecap:round}]]></style><g><rect width="100" height="80" x="10" y="10"
        style="fill:blue"/><rect x="120" y="20" width="80" height="60"/></g><path class="st0"
        d="M20 150h150"/><path class="st0 thick" d="M20 200h150"/><g><path id="odd" class="st0"
        d="M220 150c60-100 60 100 150 0"/></g><rect class="off" x="250" y="10" width="90"
        height="90"/><rect x="230" y="220" width="90" height="60" stroke="red"
        style="stroke-width:12"/>""",
    "hidden": """viewBox="0 0 400 300"><g visibility="hidden"><rect width="90" height="90"/>
        <rect x="100" width="90" height="90" visibility="visible"/></g><g opacity="0"><rect
        x="200" width="90" height="90"/></g><g display="none"><rect x="300" width="90"
        height="90"/></g><rect y="150" width="90" height="90" fill="none"/><rect x="100" y="150"
        width="90" height="90" fill="transparent"/><rect x="200" y="150" width="90" height="90"
        fill-opacity="0" stroke="red" stroke-width="10"/><g color="#0000" fill="currentColor"><rect
        x="300" y="150" width="90" height="90"/></g>""",
    "units": """viewBox="0 0 400 300" font-size="10"><rect x="1em" y="2ex" width="1in"
        height="2cm"/><rect x="40%" y="5%" width="25%" height="25%"/><circle cx="80mm" cy="40pt"
        r="2pc"/><line x1="10" y1="60%" x2="90%" y2="60%" stroke="red" stroke-width="5%"/><rect
        x="20" y="220" width="30mm" height="1cm"/>""",
    "gradients": """viewBox="0 0 400 300"><linearGradient id="a"><stop stop-color="red"/><stop
        offset="1" stop-color="blue"/></linearGradient><rect x="20" y="20" width="200"
        height="150" fill="url(#a)"/><circle cx="300" cy="200" r="70" fill="none"
        stroke="url(#a)" stroke-width="20"/>""",
    "switch and a": """viewBox="0 0 400 300"><switch><foreignObject requiredExtensions="x:y"
        width="1" height="1"/><g><rect x="20" y="20" width="100" height="100"/></g><g><rect x="200"
        y="20" width="100" height="100"/></g></switch><a><circle cx="100" cy="200" r="60"/></a>""",
    "self-crossing": """viewBox="0 0 400 300"><path d="M20 20C380 300 20 300 380 20L300 280C60 100
        340 100 100 280z" fill-rule="evenodd"/><path d="M200 150c80-60 160 100 40 100s-180-160 20
        -180" fill="none" stroke="red" stroke-width="12"/>""",
}
_ALIGNS = [f"x{x}Y{y}" for x in ("Min", "Mid", "Max") for y in ("Min", "Mid", "Max")]


def assert_same_picture(tmp_path, text, share=0.005):
    artwork = read(tmp_path, text)
    width, height = artwork.page
    zoom = 1000 * PX / max(width, height)
    theirs = coverage(text, zoom)
    painted = theirs.sum() * (PX / zoom) ** 2
    assert artwork.shape.is_valid
    assert artwork.shape.area == pytest.approx(painted, rel=share)
    # The place too: both pictures, pixel by pixel.
    ours = coverage(drawn_again(artwork), zoom)
    assert ours.shape == theirs.shape
    assert np.abs(ours - theirs).sum() < 2 * share * theirs.sum()


@pytest.mark.parametrize("name", DRAWINGS)
def test_area_and_place_are_those_that_resvg_paints(tmp_path, name):
    body = DRAWINGS[name]
    width, height = body.split('"')[1].split()[2:]
    assert_same_picture(tmp_path, f'{HEAD}width="{width}" height="{height}" {body}</svg>')


@pytest.mark.parametrize("manner", ["meet", "slice"])
@pytest.mark.parametrize("size", ["400 150", "150 400"])
@pytest.mark.parametrize("align", _ALIGNS)
def test_aspect_ratio_is_kept_as_resvg_keeps_it(tmp_path, align, size, manner):
    """SVG 1.1, 7.8: the nine alignments, meet and slice, in wide and tall viewports."""
    width, height = size.split()
    text = (
        f'{HEAD}width="{width}" height="{height}" viewBox="5 -10 100 90" '
        f'preserveAspectRatio="{align} {manner}">'
        '<path d="M5 -10h100v90h-100z M20 10v50h70v-50z" fill="red"/>'
        '<circle cx="30" cy="30" r="9"/>'
        "</svg>"
    )
    assert_same_picture(tmp_path, text)


def test_aspect_ratio_none_stretches(tmp_path):
    text = (
        f'{HEAD}width="400" height="100" viewBox="0 0 100 100" preserveAspectRatio="none">'
        '<circle cx="50" cy="50" r="40" fill="none" stroke="red" stroke-width="10"/></svg>'
    )
    assert_same_picture(tmp_path, text)


@pytest.mark.parametrize(
    ("inner", "rule", "area"),
    [
        ("M15 15 45 15 45 45 15 45Z", "nonzero", 3600),
        ("M15 15 45 15 45 45 15 45Z", "evenodd", 2700),
        ("M15 15 15 45 45 45 45 15Z", "nonzero", 2700),
        ("M15 15 15 45 45 45 45 15Z", "evenodd", 2700),
    ],
)
def test_fill_rule_of_nested_squares_is_exact(tmp_path, inner, rule, area):
    """Worked out by hand; CairoSVG and resvg paint the same."""
    text = (
        f'{HEAD}width="60mm" height="60mm" viewBox="0 0 60 60">'
        f'<path fill-rule="{rule}" d="M0 0 60 0 60 60 0 60Z {inner}"/></svg>'
    )
    artwork = read(tmp_path, text)
    assert artwork.shape.area == pytest.approx(area, rel=1e-12)
    assert artwork.page == (60, 60)
    cairo = cairosvg.svg2png(bytestring=text.encode(), output_width=600, output_height=600)
    painted = np.asarray(Image.open(io.BytesIO(cairo)).convert("RGBA"))[..., 3].mean() / 255 * 3600
    assert painted == pytest.approx(area, rel=1e-3)
    assert coverage(text, 3).mean() * 3600 == pytest.approx(area, rel=5e-3)


@pytest.mark.parametrize(("rule", "area"), [("nonzero", 2792.298), ("evenodd", 1929.597)])
def test_fill_rule_of_the_star_is_exact(tmp_path, rule, area):
    text = (
        f'{HEAD}width="100mm" height="100mm" viewBox="0 0 100 100">'
        f'<polygon fill-rule="{rule}" points="50,0 21,90 98,35 2,35 79,90"/></svg>'
    )
    assert read(tmp_path, text).shape.area == pytest.approx(area, abs=1e-3)


def test_published_matrix_of_nested_transforms(tmp_path):
    """SVG 1.1, 7.5: translate(50,90), rotate(-45), translate(130,160), one within the other.

    Printed beside it is the matrix [.707 -.707 .707 .707 255.03 111.21], to three digits of its
    factors, hence the 0.03 in e.
    """
    text = (
        f'{HEAD}width="400" height="300"><g transform="translate(50,90)"><g '
        'transform="rotate(-45)"><g transform="translate(130,160)"><rect width="10" height="10"/>'
        "</g></g></g></svg>"
    )
    x, y = shapely.get_coordinates(read(tmp_path, text).shape).T / PX
    corners = sorted(zip(x.round(2), (300 - y).round(2), strict=True))
    a, e, f = 0.707, 255.03, 111.21
    wanted = sorted(
        (round(e + a * u + a * v, 2), round(f - a * u + a * v, 2))
        for u, v in [(0, 0), (10, 0), (10, 10), (0, 10)]
    )
    assert np.array(sorted(set(corners))) == pytest.approx(np.array(wanted), abs=0.05)


def test_initial_viewport_units_come_out_in_millimetres(tmp_path):
    """SVG 1.1, 7.10, with CSS's 96 px to the inch."""
    for size, width in {
        "96": 25.4,
        "96px": 25.4,
        "1in": 25.4,
        "72pt": 25.4,
        "6pc": 25.4,
        "2.54cm": 25.4,
        "25.4mm": 25.4,
        "101.6Q": 25.4,
    }.items():
        text = f'{HEAD}width="{size}" height="{size}"><rect width="100%" height="100%"/></svg>'
        artwork = read(tmp_path, text)
        assert artwork.page == pytest.approx((width, width))
        assert artwork.shape.bounds == pytest.approx((0, 0, width, width))
