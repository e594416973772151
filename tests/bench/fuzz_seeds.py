"""Sound small inputs, from which the fuzzer's cases are made."""

from __future__ import annotations

import io
import random
from functools import cache

import ezdxf
import numpy as np
from PIL import Image, ImageDraw
from PIL.PngImagePlugin import PngInfo

SVG_HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
SVG_SEEDS = {
    "shapes": """width="100" height="80" viewBox="0 0 100 80"><rect x="5" y="5" width="30"
height="20" rx="4"/><circle cx="60" cy="30" r="15" fill="#c33"/><ellipse cx="25" cy="60" rx="20"
ry="9"/><polygon points="60,50 90,55 75,75" fill="rgb(10,20,30)"/>""",
    "ring": """width="40mm" height="40mm" viewBox="0 0 40 40"><path fill-rule="evenodd"
d="M2 2H38V38H2Z M10 10V30H30V10Z M15 15H25V25H15Z"/>""",
    "curves": """viewBox="0 0 120 90"><path d="M10 80C40 10 65 10 95 80S150 150 110 40Q80 20 60 30
T30 20A20 12 30 1 0 10 80Z"/><path d="m60 60 10 5-4 12z" fill="blue"/>""",
    "strokes": """viewBox="0 0 100 100"><g fill="none" stroke="#000" stroke-width="3"><path
d="M10 10L90 20 30 60Z" stroke-linejoin="round"/><polyline points="10,90 40,70 70,95"
stroke-linecap="square"/><line x1="80" y1="60" x2="95" y2="90" stroke-dasharray="4 2"/></g>""",
    "style": """viewBox="0 0 100 60"><style>.a{fill:#123}.b,g>rect{stroke:#000;stroke-width:2}
#c{display:none}</style><g transform="translate(5 5) rotate(10) scale(1.2)"><rect class="a"
width="30" height="20"/><rect id="c" width="90" height="50"/></g><path class="b"
d="M50 10h30v30z"/>""",
    "use": """viewBox="0 0 100 100"><defs><g id="a"><circle r="5"/><rect x="6" width="4"
height="9"/></g><symbol id="s" viewBox="0 0 10 10"><path d="M0 0h10L5 9z"/></symbol><clipPath
id="k"><circle cx="50" cy="50" r="30"/></clipPath></defs><use href="#a" x="20" y="20"/><use
xlink:href="#s" x="40" y="50" width="30" height="30"/><g clip-path="url(#k)"><rect y="40"
width="100" height="9"/></g>""",
    "layers": """viewBox="0 0 60 60"><g id="mid" opacity=".5"><path d="M5 5h40v40h-40z"/></g><g
id="dark"><path d="M15 15h20v20h-20z M20 20v10h10v-10z" fill-rule="evenodd"/></g><text x="5"
y="55">a</text>""",
    "island chain": """viewBox="0 0 100 60"><path fill-rule="evenodd" d="M5 5H95V55H5Z
M12 20h12v20h-12z M30 20h12v20h-12z M48 20h12v20h-12z M66 20h12v20h-12z"/>""",
}


def svg_seed(name: str) -> str:
    """Return a sound drawing."""
    return f"{SVG_HEAD}{SVG_SEEDS[name]}</svg>"


@cache
def dxf_seed(version: str) -> bytes:
    """Return a sound drawing with one of each entity that makes areas."""
    ezdxf.options.write_fixed_meta_data_for_testing = True
    document = ezdxf.new(version, units=4)
    space = document.modelspace()
    space.add_circle((20, 20), 12)
    space.add_line((50, 10), (80, 10))
    space.add_line((80, 10), (80, 40))
    space.add_arc((65, 40), 15, 0, 180)
    space.add_line((50, 40), (50, 10))
    block = document.blocks.new("LEAF")
    block.add_circle((0, 0), 4)
    space.add_blockref("LEAF", (20, 60), dxfattribs={"xscale": 1.5, "rotation": 20})
    space.add_text("words", height=4)
    space.add_polyline2d([(60, 60), (90, 60), (75, 85)], close=True)
    if version != "R12":
        space.add_lwpolyline([(5, 90), (30, 90), (30, 110, 0, 0, 0.5), (5, 110)], close=True)
        space.add_spline([(50, 90), (70, 100), (90, 90), (70, 115), (50, 90)])
        space.add_ellipse((110, 30), (15, 5), 0.5)
        hatch = space.add_hatch()
        hatch.paths.add_polyline_path([(100, 60), (125, 60), (125, 90)], is_closed=True)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def drawn_image(rng: random.Random, side: int) -> Image.Image:
    """Return a grey picture of discs and boxes, dark on light."""
    image = Image.new("L", (side, int(side * rng.uniform(0.5, 1.5))), 255)
    pen = ImageDraw.Draw(image)
    for _ in range(rng.randint(1, 9)):
        x, y = rng.uniform(0, side), rng.uniform(0, side)
        reach = rng.uniform(2, side / 2)
        shape = rng.choice([pen.ellipse, pen.rectangle])
        shape((x - reach, y - reach, x + reach, y + reach), fill=rng.choice([0, 0, 255, 30]))
    return image


def encoded(rng: random.Random, image: Image.Image) -> tuple[bytes, str, str]:
    """Return an image in one of many forms: data, ending of its name, and what form."""
    stream = io.BytesIO()
    form = rng.choice(
        ["1", "L", "P", "RGB", "RGBA", "LA", "16", "12 of 16", "F", "CMYK", "0 is white"]
    )
    suffix = rng.choice(["png", "png", "png", "png", "tif", "jpg", "jpg"])
    if form in ("1", "0 is white"):
        image = image.convert("1")
    elif form in ("P", "RGB", "RGBA", "LA", "CMYK", "F"):
        image = image.convert("RGB").convert(form) if form != "LA" else image.convert("LA")
    elif form in ("16", "12 of 16"):
        top = 65535 if form == "16" else 4095
        grey = np.asarray(image.convert("L"), float)
        image = Image.fromarray((grey / 255 * top).astype(np.uint16))
    if form in ("F", "CMYK", "0 is white"):
        suffix = "jpg" if form == "CMYK" and rng.random() < 0.5 else "tif"
    if suffix == "jpg" and form not in ("L", "RGB", "CMYK", "1"):
        suffix = "png"
    more: dict[str, object] = {}
    if suffix == "tif":
        more["compression"] = rng.choice(["raw", "tiff_lzw", "tiff_adobe_deflate", "packbits"])
        if form == "0 is white":
            more["tiffinfo"] = {262: 0}
    if suffix == "png" and rng.random() < 0.2:
        info = PngInfo()
        info.add_text("Title", "a\nb\u202e")
        more["pnginfo"] = info
    kinds = {"png": "PNG", "tif": "TIFF", "jpg": "JPEG"}
    image.save(stream, kinds[suffix], dpi=rng.choice([(72, 72), (300, 300), (1, 1)]), **more)
    return stream.getvalue(), suffix, form


JOB_SEED = """\
title = "Leaf"
ground = "#efe6d2"
[sheet]
width_mm = 140
height_mm = 120
margin_mm = 10
material = "card"
thickness_mm = 0.4
placement = "centre"
[bridges]
width_mm = 2.0
choice = "least-visible"
style = "straight"
most_per_island = 6
keep_free_mm = [[10, 10, 5, 5]]
[registration]
hole_diameter_mm = 5
inset_mm = 8
drift_mm = 1.0
trap_mm = 0.5
[process]
kind = "laser"
kerf_mm = 0.2
bed_width_mm = 100
bed_height_mm = 90
[tiles]
joint = "puzzle"
[paper]
size = "A5"
[[layers]]
name = "Mid-tone"
colour = "#4f7f3a"
artwork = "drawing.svg"
group = "mid"
role = "mid-tone"
scale = 5.0
[[layers]]
name = "Shadow"
colour = "#203010"
artwork = "drawing.svg"
group = "dark"
scale = 5.0
opacity = 0.8
split = false
bridges_mm = [[[40, 60], [60, 60]]]
[[bridge]]
layer = "Shadow"
line_mm = [[60, 40], [60, 60]]
state = "locked"
"""
#: Settings that a sound job may have, to be tried together.
EXTRAS = (
    *("[printing]\nrim_height_mm = 2\nlabel = true\npegs = true\n", "[spray]\nangle_deg = 40\n"),
    *(
        "[printing]\nchamfer_mm = 1\ngrip_tab = true\nrib_height_mm = 1\n",
        "[estimate]\nwalls = 3\n",
    ),
    *('[mockup]\nsurface = "plaster"\n', ""),
)
