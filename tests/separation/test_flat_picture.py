"""Pictures with few flat colours: clean regions, curved edges, corners of pixel art."""

from __future__ import annotations

import io

import numpy as np
import pytest
import resvg_py
import shapely
from PIL import Image, ImageDraw, ImageFilter

from sheetstack.geometry.cli.main import main
from sheetstack.geometry.colour import ciede2000, lab_from_srgb, srgb_from_hex
from sheetstack.geometry.separation.flat_picture import looks_flat, read_flat, read_flat_colours
from sheetstack.geometry.separation.separate import read_and_separate
from sheetstack.geometry.separation.settings import SeparationSettings

#: A white disc with a grey moon on black: every soft edge between black and white passes grey.
MOON = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 80">
<rect width="100" height="80" fill="#101010"/><circle cx="40" cy="40" r="30" fill="#ffffff"/>
<circle cx="84" cy="20" r="9" fill="#808080"/></svg>"""
WIDTH = 300


@pytest.fixture
def moon(tmp_path):
    png = bytes(resvg_py.svg_to_bytes(svg_string=MOON, width=WIDTH))
    path = tmp_path / "moon.png"
    Image.open(io.BytesIO(png)).convert("RGB").save(path)
    return path


def _scale(size):
    return 300 / max(size)


@pytest.mark.parametrize("ending", ["png", "jpg"])
def test_soft_edges_make_no_third_colour_and_lie_where_the_shapes_do(moon, ending):
    path = moon.with_suffix(f".{ending}")
    Image.open(moon).save(path, **({"quality": 88} if ending == "jpg" else {}))
    drawing = read_flat_colours(path, _scale)
    black, *shapes = drawing.shapes
    assert black.shape.area == pytest.approx(300 * 240)  # the backdrop
    by_colour = {round(s.rgb[0] * 255): s.shape for s in shapes}
    assert sorted(by_colour) == pytest.approx([128, 255], abs=3)
    white, grey = (by_colour[k] for k in sorted(by_colour, reverse=True))
    # A grey fringe round the white disc would be another part.
    assert len(grey.geoms) == len(white.geoms) == 1
    for shape, centre, radius in ((white, (120, 120), 90), (grey, (252, 180), 27)):
        away = shapely.distance(
            shapely.points(shapely.get_coordinates(shape)), shapely.Point(centre)
        )
        # A pixel is 1 mm here: edges lie within a third of one.
        assert np.abs(away - radius).max() < 0.34
        assert shape.area == pytest.approx(np.pi * radius**2, rel=0.01)


def test_edges_become_few_curves(moon):
    separation = read_and_separate(moon, SeparationSettings(sheet_width_mm=340))
    assert separation.ground == "#101010"
    disc = next(layer for layer in separation.layers if layer.colour == "#ffffff")
    assert disc.curves.nodes <= 40


def test_pixel_art_keeps_its_corners_and_single_pixels(tmp_path):
    pixels = np.full((12, 10, 4), 0, np.uint8)
    pixels[2:10, 1:9] = (200, 30, 40, 255)
    pixels[4, 3] = pixels[4, 6] = (0, 0, 0, 255)
    pixels[7, 2:8] = (255, 220, 0, 255)
    path = tmp_path / "art.png"
    Image.fromarray(pixels).save(path)
    drawing = read_flat_colours(path, lambda size: 10.0)
    areas = {tuple(round(255 * c) for c in s.rgb): s.shape for s in drawing.shapes}
    assert drawing.page == (100.0, 120.0)
    assert areas[(0, 0, 0)].equals(
        shapely.MultiPolygon([shapely.box(30, 70, 40, 80), shapely.box(60, 70, 70, 80)])
    )
    assert areas[(255, 220, 0)].equals(shapely.box(20, 40, 80, 50))
    assert areas[(200, 30, 40)].area == pytest.approx((64 - 2 - 6) * 100)
    assert looks_flat(path)


def test_a_picture_of_shades_does_not_look_flat_and_is_told(tmp_path, moon):
    rows = np.linspace(0, 255, 200, dtype=np.uint8)
    path = tmp_path / "shades.png"
    Image.fromarray(np.stack([np.tile(rows, (150, 1))] * 3, axis=2)).save(path)
    assert not looks_flat(path)
    assert looks_flat(moon)


def test_what_a_file_holds_where_it_is_transparent_is_no_colour_of_the_picture(tmp_path):
    # Programs keep the colours of what was rubbed out: here shades of green round a red disc.
    pixels = np.zeros((300, 300, 4), np.uint8)
    pixels[..., 1] = np.linspace(0, 255, 300).astype(np.uint8)[:, None]
    image = Image.fromarray(pixels)
    ImageDraw.Draw(image).ellipse((100, 100, 200, 200), fill=(200, 30, 40, 255))
    image.save(tmp_path / "disc.png")
    drawing = read_flat_colours(tmp_path / "disc.png", lambda size: 1.0)
    assert [tuple(round(255 * c) for c in s.rgb) for s in drawing.shapes] == [(200, 30, 40)]
    assert drawing.shapes[0].shape.area == pytest.approx(np.pi * 50.5**2, rel=0.01)
    assert not drawing.findings


def test_the_command_takes_a_flat_picture_when_told(moon, capsys):
    assert main(["layers", str(moon), "--flat", "--sheet-width-mm", "340"]) == 0
    told = capsys.readouterr().out
    assert "White" in told
    assert "2 sheets in this order" in told
    assert main(["check", str(moon.parent / "moon-layers" / "job.toml"), "--quiet"]) == 0
    assert main(["layers", str(moon), "--gradient-steps", "2"]) == 2
    assert "--gradient-steps: does not apply to a photograph" in capsys.readouterr().err


def test_one_colour_in_uneven_light_is_one(tmp_path):
    # A photograph of a poster: lit from the right, a little blurred, with the noise of a sensor.
    poster = Image.new("RGB", (480, 360), "#f2f2f2")
    pen = ImageDraw.Draw(poster)
    pen.ellipse((60, 60, 260, 260), fill="#d2691e")
    pen.rectangle((300, 120, 420, 300), fill="#1f4e79")
    rows = np.asarray(poster.filter(ImageFilter.GaussianBlur(1.0))).astype(float)
    lit = rows * np.linspace(0.8, 1.0, 480)[None, :, None]
    noisy = lit + np.random.default_rng(3).normal(0, 3, lit.shape)
    path = tmp_path / "poster.jpg"
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(path, quality=80)
    flat = read_flat(path)
    share = np.bincount(flat.label.ravel(), minlength=len(flat.colours) + 1)[1:] / flat.label.size
    disc, block = np.pi * 100**2 / (480 * 360), 121 * 181 / (480 * 360)
    assert np.sort(share)[::-1][:3] == pytest.approx([1 - disc - block, disc, block], abs=0.012)


def test_two_near_colours_that_meet_at_an_edge_stay_two(tmp_path):
    poster = Image.new("RGB", (300, 200), "#ffffff")
    pen = ImageDraw.Draw(poster)
    pen.rectangle((40, 40, 149, 160), fill="#7a9a3a")
    pen.rectangle((150, 40, 260, 160), fill="#96b656")
    poster.save(tmp_path / "poster.png")
    assert len(read_flat(tmp_path / "poster.png").colours) == 3


#: A bus with outlines too thin to be calm anywhere, near blacks, and a grey that is seen seldom.
BUS = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 240 240">
<rect width="240" height="240" fill="#ebe5d5"/>
<g stroke="#101010" stroke-width="2.5"><path d="M40 30 200 24 208 190 32 196Z" fill="#fcbc26"/>
<path d="M52 60 190 56 194 128 48 132Z" fill="#47476c"/></g>
<path d="M50 196 76 195 76 226 50 228Z" fill="#5d6164"/>
<path d="M166 192 190 191 188 224 166 224Z" fill="#5d6164"/>
<path d="M48 140 194 136 197 150 47 156Z" fill="#232337"/></svg>"""


@pytest.mark.parametrize("quality", [None, 75, 45])
def test_outlines_keep_their_colour_in_small_and_packed_pictures(tmp_path, quality):
    png = bytes(resvg_py.svg_to_bytes(svg_string=BUS, width=240))
    image = Image.open(io.BytesIO(png)).convert("RGB")
    path = tmp_path / ("bus.png" if quality is None else "bus.jpg")
    image.save(path, **({} if quality is None else {"quality": quality}))
    flat = read_flat(path)
    true = {"#ebe5d5", "#101010", "#fcbc26", "#47476c", "#5d6164", "#232337"}
    wanted = lab_from_srgb(np.array([srgb_from_hex(c) for c in sorted(true)]))
    apart = ciede2000(wanted[:, None], lab_from_srgb(flat.colours)[None])
    # Each colour of the drawing is there once, and no halo beside them.
    assert len(flat.colours) == len(true)
    # Of a line two pixels wide the darkest is a mixture, too.
    assert (apart.min(axis=1)[1:] < 3).all()
    assert apart.min(axis=1)[0] < 12
    # What resvg draws is what the labels say, but for the edges.
    pixels = np.asarray(image) / 255.0
    rows = np.arange(240) * flat.label.shape[0] // 240
    shown = flat.colours[flat.label[rows][:, rows] - 1]
    off = ciede2000(lab_from_srgb(shown), lab_from_srgb(pixels)) > 10
    # Packed so much, the colour of the outlines themselves, a twentieth of the picture, is off.
    assert off.mean() < (0.09 if quality == 45 else 0.05)
    assert flat.shaded < 0.05  # from there on it is told


def test_a_sheet_of_hard_pixels_keeps_each_colour_and_a_soft_one_of_few_colours_does_not(tmp_path):
    rng = np.random.default_rng(3)
    colours = rng.integers(0, 255, (20, 3))
    # Sprites of a few pixels each: hardly any pixel is like all its neighbours.
    pixels = colours[rng.integers(0, 20, (60, 320))].astype(np.uint8)
    Image.fromarray(pixels).save(tmp_path / "sprites.png")
    flat = read_flat(tmp_path / "sprites.png")
    assert flat.hard
    assert len(flat.colours) == len(np.unique(pixels.reshape(-1, 3), axis=0))
    # The moon in eight greys: its soft edges are mixtures.
    png = bytes(resvg_py.svg_to_bytes(svg_string=MOON, width=WIDTH))
    grey = Image.open(io.BytesIO(png)).convert("RGB").quantize(8).convert("RGB")
    grey.save(tmp_path / "soft.png")
    soft = read_flat(tmp_path / "soft.png")
    assert not soft.hard
    assert len(soft.colours) == 3


def test_a_shaded_sprite_keeps_what_is_seen_of_its_colours(tmp_path):
    # Balls of a few pixels, each shaded from dark to light.
    y, x = np.mgrid[0:64, 0:96]
    picture = np.full((64, 96, 3), 255.0)
    balls = {(16, 20): (200, 30, 40), (44, 20): (30, 140, 60), (16, 70): (230, 190, 40)}
    for (cy, cx), colour in balls.items():
        away = np.hypot(y - cy, x - cx)
        light = np.clip(1.15 - np.hypot(y - cy + 4, x - cx + 4) / 22, 0.35, 1.1)
        inside = away < 12
        picture[inside] = np.clip(light[inside, None] * np.array(colour), 0, 255)
    path = tmp_path / "balls.png"
    Image.fromarray(picture.astype(np.uint8)).save(path)
    flat = read_flat(path)
    lab = lab_from_srgb(flat.colours)
    for colour in balls.values():
        own = lab_from_srgb(np.array(colour) / 255.0)
        hue = np.abs(
            np.angle(np.exp(1j * (np.arctan2(*lab[:, :0:-1].T) - np.arctan2(*own[:0:-1]))))
        )
        chroma = np.hypot(*lab[:, 1:].T)
        assert ((hue < 0.5) & (chroma > 20)).any(), colour
