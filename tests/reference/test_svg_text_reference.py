"""Text in SVG drawings against resvg, an SVG renderer of its own with a shaper of its own.

Both are given the same font files and no others. Pixels on edges may differ, which resvg samples;
nowhere may a spot differ that is three pixels across, and no more than a thin edge in all.
"""

from __future__ import annotations

import io
from pathlib import Path

import matplotlib
import numpy as np
import pytest
import shapely
from PIL import Image
from scipy import ndimage

from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import ArtworkSource

pytest.importorskip("uharfbuzz")
resvg = pytest.importorskip("resvg_py")

CARRIED = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
DEBIAN = Path("/usr/share/fonts")
WIDE, HIGH, ZOOM = 400, 200, 4
#: Pixels that differ, as a share of those painted.
MOST_OFF = 0.03

FONTS = {
    "DejaVu Sans": CARRIED / "DejaVuSans.ttf",
    "DejaVu Serif": CARRIED / "DejaVuSerif.ttf",
    "STIXGeneral": CARRIED / "STIXGeneral.ttf",
    "Lobster Two": DEBIAN / "opentype/lobster/lobster.otf",  # fonts-lobster
    "Roboto Slab": DEBIAN / "opentype/roboto/slab/RobotoSlab-Bold.otf",  # fonts-roboto-slab
}
CASES = {
    "plain": '<text x="20" y="90" font-size="48">AVA fill Ty 08</text>',
    "anchors": '<text x="200" y="60" font-size="40" text-anchor="middle">Middle</text>'
    '<text x="390" y="120" font-size="40" text-anchor="end">to the end</text>',
    "tspans": '<text x="20" y="60" font-size="36">One <tspan dy="20" font-size="50">two</tspan>'
    '<tspan dx="12" dy="-20"> three</tspan></text>',
    "lines": '<text x="30" y="50" font-size="32"><tspan x="30">First line</tspan>'
    '<tspan x="30" dy="45">and one</tspan><tspan x="30" dy="45">more</tspan></text>',
    "places": '<text x="20 60 90 130" y="80 90 70" font-size="44">abcdef</text>',
    "turned letters": '<text x="30 80 130 180 230" y="100" font-size="50" rotate="10 -20 35">'
    "ABRgq</text>",
    "slanting line": '<text transform="translate(40 150) rotate(-22) skewX(8)" font-size="42">'
    "Not level</text>",
    "scaled": '<g transform="scale(1.4 .8)"><text x="20" y="120" font-size="44">Broad</text></g>',
    "spaced": '<text x="20" y="90" font-size="34" letter-spacing="5" word-spacing="14">'
    "spaced out</text>"
    '<text x="380" y="150" font-size="30" letter-spacing="6" text-anchor="end">apart</text>',
    "blanks": '<text x="20" y="90" font-size="38">  two \n   words  <tspan> and  </tspan> more '
    "</text>",
    "kept blanks": '<text x="20" y="90" font-size="34" xml:space="preserve">a   b  <tspan> c'
    "</tspan></text>",
    "stroked": '<text x="20" y="110" font-size="70" fill="none" stroke="#000" stroke-width="3">Ring'
    "</text>",
    "style sheet": "<style>text { font-size: 40px } .b { letter-spacing: 3px }</style>"
    '<text class="b" x="20" y="90">Styled</text>',
    "hidden parts": '<text x="20" y="90" font-size="40">a<tspan visibility="hidden">bc</tspan>d'
    '<tspan display="none">ef</tspan>g</text>',
    "used twice": '<defs><text id="t" font-size="40">Again</text></defs>'
    '<use href="#t" xlink:href="#t" x="20" y="60"/><use href="#t" xlink:href="#t" x="60" y="140"/>',
}
HELLO, WORLD = "\u05e9\u05dc\u05d5\u05dd", "\u05e2\u05d5\u05dc\u05dd"
JOINED = "\u0633\u0644\u0627\u0645 \u0628\u0647"
RIGHT_TO_LEFT = {
    "to the left": f'<text x="20" y="90" font-size="46">{HELLO} {WORLD}</text>',
    "mixed": f'<text x="20" y="90" font-size="36">no. 12 {HELLO} 34 end</text>',
    "joined": f'<text x="20" y="90" font-size="46">{JOINED}</text>',
    "to the left, middle": '<text x="200" y="90" font-size="40" text-anchor="middle">'
    f"{HELLO} {WORLD}</text>",
}


def drawn_by_resvg(svg, files):
    png = resvg.svg_to_bytes(
        svg_string=svg, skip_system_fonts=True, font_files=[str(f) for f in files], zoom=ZOOM
    )
    return np.asarray(Image.open(io.BytesIO(bytes(png))).getchannel("A")) > 127


def drawn_by_us(shape):
    """Return which pixels' middles the shape covers; the page is 400 x 200 mm."""
    x, y = np.meshgrid(np.arange(WIDE * ZOOM) + 0.5, np.arange(HIGH * ZOOM) + 0.5)
    shapely.prepare(shape)
    return shapely.contains_xy(shape, x / ZOOM, HIGH - y / ZOOM)


def off(tmp_path, family, content, files, folder):
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'width="{WIDE}mm" height="{HIGH}mm" viewBox="0 0 {WIDE} {HIGH}" font-family="{family}">'
        f"{content}</svg>"
    )
    (tmp_path / "a.svg").write_text(svg, encoding="utf-8")
    artwork = read_artwork(ArtworkSource(tmp_path / "a.svg", fonts=folder))
    assert not artwork.shape.is_empty, [f.message for f in artwork.findings]
    ours = drawn_by_us(artwork.shape)
    sized = svg.replace(f'width="{WIDE}mm" height="{HIGH}mm"', f'width="{WIDE}" height="{HIGH}"')
    theirs = drawn_by_resvg(sized, files)
    assert theirs.any()
    assert not ndimage.binary_erosion(ours != theirs, np.ones((3, 3))).any()
    return float((ours != theirs).sum() / theirs.sum())


@pytest.mark.parametrize("content", CASES.values(), ids=CASES.keys())
def test_text_is_drawn_as_resvg_draws_it(tmp_path, content):
    font = FONTS["DejaVu Sans"]
    assert off(tmp_path, "DejaVu Sans", content, [font], font) < MOST_OFF


@pytest.mark.parametrize("content", RIGHT_TO_LEFT.values(), ids=RIGHT_TO_LEFT.keys())
def test_text_to_the_left_is_drawn_as_resvg_draws_it(tmp_path, content):
    font = FONTS["DejaVu Sans"]
    assert off(tmp_path, "DejaVu Sans", content, [font], font) < MOST_OFF


@pytest.mark.parametrize("family", list(FONTS)[1:])
@pytest.mark.parametrize("name", ["plain", "tspans", "slanting line"])
def test_other_fonts_are_drawn_as_resvg_draws_them(tmp_path, family, name):
    font = FONTS[family]
    if not font.is_file():
        pytest.skip(f"{font.name} is not on this machine")
    weight = "bold" if "Bold" in font.name else "normal"
    content = CASES[name].replace("<text", f'<text font-weight="{weight}"')
    assert off(tmp_path, family, content, [font], font) < MOST_OFF


def test_of_a_folder_the_face_is_taken_that_resvg_takes(tmp_path):
    content = (
        '<text x="20" y="60" font-size="40">Plain <tspan font-weight="bold">bold</tspan> '
        '<tspan font-style="italic">slanted</tspan></text>'
        '<text x="20" y="140" font-size="40" font-family="DejaVu Serif">Serif</text>'
    )
    files = sorted(CARRIED.glob("DejaVuS*.ttf"))
    assert off(tmp_path, "DejaVu Sans", content, files, CARRIED) < MOST_OFF


def test_text_that_runs_to_the_left_begins_at_the_right_where_it_says_so(tmp_path):
    # SVG 1.1, section 10.9.1: start is the right end of such text. resvg reads no direction.
    font = FONTS["DejaVu Sans"]
    bounds = []
    for more in ("", ' direction="rtl"', ' direction="rtl" text-anchor="end"'):
        svg = (
            '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="200mm" '
            f'viewBox="0 0 400 200"><text x="200" y="90" font-size="40" '
            f'font-family="DejaVu Sans"{more}>{HELLO}</text></svg>'
        )
        (tmp_path / "a.svg").write_text(svg, encoding="utf-8")
        shape = read_artwork(ArtworkSource(tmp_path / "a.svg", fonts=font)).shape
        bounds.append((shape.bounds[0], shape.bounds[2]))
    assert bounds[0][0] >= 199
    assert bounds[1][1] <= 201
    assert bounds[2] == pytest.approx(bounds[0])
