"""Paint on a photo: what it takes of the wall's light, and what it leaves alone."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from shapely import box

from sheetstack.geometry.cli.main import main
from sheetstack.geometry.colour import linear_from_srgb
from sheetstack.geometry.errors import GeometryError, JobError
from sheetstack.geometry.photo.focal_length import exif_focal, focal_from_35
from sheetstack.geometry.photo.painted_photo import PlacedPicture, painted_photo
from sheetstack.geometry.photo.wall_file import load_wall
from sheetstack.geometry.photo.wall_light import wall_light
from sheetstack.geometry.photo.wall_view import view_from_rectangle
from sheetstack.geometry.planar.raster import srgb_bytes

from ..small_builds import built

COLOUR = "#c02020"


@pytest.fixture(scope="module")
def square():
    return built({"Square": box(20, 20, 80, 80)}, colours=(COLOUR,), hole=0)


@pytest.fixture(scope="module")
def view():
    corners = np.array([(100, 100), (300, 100), (300, 300), (100, 300)], float)
    return view_from_rectangle(corners, (100, 100), (400, 400), 500.0)


def bricks(seed=1):
    """A wall that is half in shade, with light joints, dark pores and grain; and its light."""
    rng = np.random.default_rng(seed)
    wall = np.full((400, 400, 3), (0.30, 0.16, 0.11))
    for y in range(0, 400, 40):
        wall[y : y + 4] = 0.42
    light = np.where(np.arange(400) < 180, 0.25, 1.0)[None, :, None] * np.ones((400, 1, 1))
    grain = np.exp(rng.normal(0, 0.03, (400, 400, 1)))
    return wall, light, srgb_bytes((wall * light * grain).astype(np.float32))


def test_where_no_paint_falls_the_photo_is_the_photo_to_the_byte(square, view):
    photo = bricks()[2]
    out = painted_photo(photo, view, [PlacedPicture(square, (0, 0), ground=False)])
    outside = np.ones((400, 400), bool)
    outside[138:262, 138:262] = False
    assert (out[outside] == photo[outside]).all()
    assert (out[~outside] != photo[~outside]).any()


def test_paint_takes_the_light_and_leaves_the_bricks_colours_behind(square, view):
    photo = bricks()[2]
    out = painted_photo(photo, view, [PlacedPicture(square, (0, 0), ground=False)])
    paint = linear_from_srgb(out[150:250, 150:250] / 255.0)
    dark, lit = paint[:, :20].mean(axis=(0, 1)), paint[:, 45:].mean(axis=(0, 1))
    # The shade's edge lies at x = 180; a brick's length is wider than this whole photo of 20 cm.
    assert dark[0] / lit[0] == pytest.approx(0.25, abs=0.12)
    hue = lit / lit[0]
    wanted = linear_from_srgb(np.frombuffer(bytes.fromhex(COLOUR[1:]), np.uint8) / 255.0)
    assert hue == pytest.approx(wanted / wanted[0], abs=0.02)
    # Joints stood out by half as much again as the bricks; painted over they hardly do.
    rows = paint[:, 45:, 0].mean(axis=1)
    joint = np.isin(np.arange(150, 250) % 40, range(4))
    assert abs(rows[joint].mean() / rows[~joint].mean() - 1) < 0.2


def test_grain_stays_in_the_paint(square, view):
    photo = bricks()[2]
    out = painted_photo(photo, view, [PlacedPicture(square, (0, 0), ground=False)])
    paint = np.log(linear_from_srgb(out[150:250, 200:250, 0] / 255.0))
    # The grain was drawn with a deviation of 0.03; three quarters of relief are kept.
    assert 0.015 < (paint - paint.mean(axis=1, keepdims=True)).std() < 0.05


def test_a_pore_is_not_filled_with_paint():
    wall = np.full((200, 200, 3), 0.4, np.float32)
    wall[100:103, 100:103] = 0.04
    found = wall_light(wall, 1.0, np.ones((200, 200), np.float32))
    assert found.reached[101, 101] < 0.4
    assert found.reached[50, 50] > 0.99


def test_light_times_reflectance_is_the_photo_again_and_white_is_what_was_told():
    wall = np.full((120, 120, 3), 0.2, np.float32)
    on = np.ones((120, 120), np.float32)
    assumed = wall_light(wall, 1.0, on, reflectance=0.4)
    assert assumed.light[60, 60] == pytest.approx([0.5] * 3, rel=1e-3)
    told = wall_light(wall, 1.0, on, white=np.array([0.45, 0.36, 0.27]))
    assert told.light[60, 60, 0] / told.light[60, 60, 2] == pytest.approx(0.45 / 0.27, rel=1e-3)


def test_old_paint_on_the_wall_does_not_shine_through_when_it_is_told(square, view):
    photo = bricks()[2]
    photo[:] = 170  # no shade, no joints
    photo[170:200, 150:250] = 20  # a dark stroke
    kept = [
        painted_photo(photo, view, [PlacedPicture(square, (0, 0), ground=False)], shadows=s)
        for s in (True, False)
    ]
    stroke = [abs(float(o[185, 230, 0]) - float(o[240, 230, 0])) for o in kept]
    assert stroke[1] < 8 < stroke[0]
    # Its edge, too, leaves no rim.
    assert np.ptp(kept[1][150:250, 230].astype(float), axis=0).max() < 12


def brick_wall(contrast, pixels_per_mm=1.0, side=400, seed=3):
    """A brick wall of known reflectance, its light with a slanting shadow's edge, and grain."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:side, 0:side]
    high, wide, joint = (round(k * pixels_per_mm) for k in (75, 225, 10))
    row = y // high
    along = x + row % 2 * (wide // 2)
    mortar = (y % high < joint) | (along % wide < joint)
    brick = row * 100 + along // wide
    tone = np.exp(rng.normal(0, 0.12, brick.max() + 1))[brick]
    bare = np.array((0.32, 0.17, 0.12)) * tone[..., None]
    own = np.where(mortar[..., None], (0.50, 0.48, 0.44), bare)
    light = np.where(x + 0.4 * y < 0.55 * side, contrast, 1.0) * (0.8 + 0.4 * x / side)
    grain = np.exp(rng.normal(0, 0.03, light.shape))
    return (own * (light * grain)[..., None]).astype(np.float32), light, mortar


@pytest.mark.parametrize("pixels_per_mm", [0.5, 1.6])
@pytest.mark.parametrize("contrast", [0.2, 0.5, 1.0])
def test_light_found_on_a_wall_whose_light_is_known(contrast, pixels_per_mm):
    photo, true, mortar = brick_wall(contrast, pixels_per_mm)
    found = wall_light(photo, pixels_per_mm, np.ones(true.shape, np.float32))
    off = np.log(found.light[..., 1]) - np.log(true)
    off -= np.median(off)
    # Bricks' own tones differ by 12 %, and none can tell them from light.
    assert np.median(np.abs(off)) < 0.12
    # Mortar is 2.8 times as light as the bricks: 1.04 in log light.
    assert abs(np.median(off[mortar]) - np.median(off[~mortar])) < 0.13
    if contrast < 1:
        y, x = np.mgrid[0:400, 0:400]
        dark = x + 0.4 * y < 220
        share = np.median(found.light[dark]) / np.median(found.light[~dark])
        assert share == pytest.approx(np.median(true[dark]) / np.median(true[~dark]), rel=0.25)


def test_a_strip_of_sun_between_shadows_stays_light():
    wall = np.full((300, 300, 3), 0.35, np.float32)
    wall[:140] *= 0.2
    wall[152:220] *= 0.2  # between them 12 mm of sun, as wide as a joint; more sun below
    found = wall_light(wall, 1.0, np.ones((300, 300), np.float32))
    assert found.light[146, 150, 1] > 3 * found.light[120, 150, 1]


def test_what_stands_before_the_wall_tells_nothing_of_its_light():
    photo, _, _ = brick_wall(1.0)
    on = np.ones(photo.shape[:2], np.float32)
    before = np.zeros(on.shape, np.float32)
    before[100:300, 200:] = 1
    alone = wall_light(photo, 1.0, on, before=before).light
    photo[100:300, 200:] = (0.9, 0.4, 0.4)
    beside = wall_light(photo, 1.0, on, before=before).light
    assert np.abs(np.log(beside / alone))[before == 0].max() < 1e-5
    # Without the mask the red thing's own colour would be taken for the wall's.
    assert np.abs(np.log(wall_light(photo, 1.0, on).light / alone))[100:300, 180:200].max() > 0.05


def test_the_lightest_place_of_a_wall_is_no_whiter_than_lime():
    photo, _, mortar = brick_wall(1.0)
    found = wall_light(photo * 0.5, 1.0, np.ones(mortar.shape, np.float32))
    white = photo * 0.5 / found.light
    assert np.quantile(white[..., 1], 0.99) < 0.75


def test_what_stands_before_the_wall_stays_before_it(square, view):
    photo = bricks()[2]
    before = np.zeros((400, 400), np.float32)
    before[:, 200:] = 1
    out = painted_photo(photo, view, [PlacedPicture(square, (0, 0))], before=before)
    assert (out[:, 200:] == photo[:, 200:]).all()
    assert (out[150:250, 150:199] != photo[150:250, 150:199]).any()


def test_several_pictures_go_on_one_wall(square, view):
    photo = bricks()[2]
    pictures = [PlacedPicture(square, at, ground=False) for at in ((-40, 0), (40, 0))]
    out = painted_photo(photo, view, pictures)
    changed = (out != photo).any(axis=2)
    assert changed[200, 80:170].all()
    assert changed[200, 240:330].all()
    assert not changed[200, 190:210].any()


def test_a_picture_beside_another_looks_as_it_does_alone(square, view):
    photo = brick_wall(1.0)[0]
    photo = srgb_bytes(photo)
    places = [PlacedPicture(square, at, ground=False) for at in ((-33, 0), (33, 0))]
    both = painted_photo(photo, view, places)
    for one in places:
        alone = painted_photo(photo, view, [one])
        changed = (alone != photo).any(axis=2)
        assert changed.sum() > 3000
        assert (both[changed] == alone[changed]).all()


def test_a_picture_outside_the_photo_is_one_sentence(square, view):
    with pytest.raises(GeometryError, match="outside the photo"):
        painted_photo(bricks()[2], view, [PlacedPicture(square, (5000, 0))])


def test_exif_tells_the_focal_length_by_35_mm_and_by_the_sensor(tmp_path):
    image = Image.new("RGB", (400, 300))
    exif = Image.Exif()
    exif[0x8769] = {0xA405: 28}
    image.save(tmp_path / "a.jpg", exif=exif)
    # 28 mm on a diagonal of 43.27 mm; this photo's is 500 px.
    assert exif_focal(tmp_path / "a.jpg") == pytest.approx(28 / 43.2666 * 500, rel=1e-5)
    assert focal_from_35(28, 400, 300) == pytest.approx(28 / 43.2666 * 500, rel=1e-5)
    exif = Image.Exif()
    exif[0x8769] = {0x920A: 5.0, 0xA20E: 6000.0, 0xA210: 3, 0xA002: 800}
    image.save(tmp_path / "b.jpg", exif=exif)
    # 5 mm at 6000 px a cm are 3000 px of the camera's 800, so 1500 of these 400.
    assert exif_focal(tmp_path / "b.jpg") == pytest.approx(1500)
    Image.new("RGB", (40, 30)).save(tmp_path / "c.png")
    assert exif_focal(tmp_path / "c.png") is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("corners_px = [[0,0],[9,0],[9,9],[0,9]]", "'photo' is missing"),
        ('photo = "a.jpg"', "found neither"),
        ('photo = "a.jpg"\ncorners_px = [[0,0],[9,0],[9,9]]', "expected four corners, found 3"),
        ('photo = "a.jpg"\nlevel_px = [[[0,0],[9,0]]]', "level_px: expected 2 or more"),
        ('photo = "a.jpg"\nwidth = 3', "unknown key 'width'"),
        ("photo = ", "not valid TOML"),
    ],
)
def test_a_bad_wall_file_is_one_sentence(text, said, tmp_path):
    (tmp_path / "wall.toml").write_text(text)
    with pytest.raises(JobError, match=r"wall\.toml") as caught:
        load_wall(tmp_path / "wall.toml")
    assert said in str(caught.value)


SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" '
    'viewBox="0 0 100 100"><path d="M20 20h60v60h-60z"/></svg>'
)
JOB = """
title = "Square"
ground = "#f0f0f0"
[sheet]
width_mm = 100
height_mm = 100
[[layers]]
name = "Red"
colour = "#c02020"
artwork = "square.svg"
"""


def test_the_command_paints_several_walls_and_needs_no_blender(tmp_path, capsys):
    (tmp_path / "square.svg").write_text(SVG)
    (tmp_path / "job.toml").write_text(JOB)
    Image.fromarray(bricks()[2]).save(tmp_path / "yard.png")
    (tmp_path / "shop.toml").write_text(
        'photo = "yard.png"\ncorners_px = [[50,50],[350,50],[350,350],[50,350]]\n'
        'rectangle_mm = [300, 300]\n[[picture]]\njob = "job.toml"\nmiddle_px = [300, 300]\n'
    )
    walls = ["--photo", str(tmp_path / "shop.toml"), "--photo", str(tmp_path / "shop.toml")]
    code = main(["render", str(tmp_path / "job.toml"), *walls, "--out", str(tmp_path / "out")])
    assert code == 0
    names = {p.name for p in (tmp_path / "out").iterdir()} - {".sheetstack-files.json"}
    assert names == {"on-yard.png", "on-yard-2.png", "wall.txt", "client.html"}
    said = capsys.readouterr().out
    assert "homography from four corners of 300 x 300 mm" in said
    out = np.asarray(Image.open(tmp_path / "out" / "on-yard.png"))
    changed = (out != bricks()[2]).any(axis=2)
    # The first in the rectangle's middle, (200, 200) px, the second about (300, 300): 1 px a mm.
    assert changed[155, 155]
    assert changed[345, 345]
    assert not changed[140, 140]


def test_a_photo_with_corners_and_a_wall_file_are_two_walls(tmp_path, capsys):
    (tmp_path / "square.svg").write_text(SVG)
    (tmp_path / "job.toml").write_text(JOB)
    Image.fromarray(bricks()[2]).save(tmp_path / "yard.png")
    (tmp_path / "shop.toml").write_text(
        'photo = "yard.png"\nlevel_px = [[[50,50],[350,50]],[[50,350],[350,350]]]\n'
        "upright_px = [[[50,50],[50,350]],[[350,50],[350,350]]]\n"
        "length_px = [[50,50],[350,50]]\nlength_mm = 300\nmiddle_px = [200, 200]\n"
    )
    corners = ["--corners", "100,100", "300,100", "300,300", "100,300"]
    walls = ["--photo", str(tmp_path / "shop.toml"), "--photo", str(tmp_path / "yard.png")]
    job, out = str(tmp_path / "job.toml"), ["--out", str(tmp_path / "out")]
    assert main(["render", job, *walls, *corners, *out]) == 0
    said = capsys.readouterr().out
    assert "two families of parallel lines" in said
    assert "four corners of 100 x 100 mm" in said
    assert (tmp_path / "out" / "client.html").read_text().count("<img") == 2
    assert main(["render", job, *walls, *walls[2:], *corners, *out]) == 2
    assert "expected one photo that they are of, found 2" in capsys.readouterr().err


def test_the_sheets_size_in_words_holds_on_a_photo_too(tmp_path, capsys):
    (tmp_path / "square.svg").write_text(SVG)
    (tmp_path / "job.toml").write_text(JOB)
    Image.fromarray(bricks()[2]).save(tmp_path / "yard.png")
    place = ["--photo", str(tmp_path / "yard.png"), "--corners", "50,50", "350,50", "350,350"]
    sized = [*place, "50,350", "--sheet-width-mm", "150", "--out", str(tmp_path / "out")]
    assert main(["render", str(tmp_path / "job.toml"), *sized]) == 0
    assert "four corners of 150 x 150 mm" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--corners", "1,1", "9,1", "9;9", "1,9"], "expected pixels like"),
        (["--corners", "1,1", "9,1", "9,9", "1,9", "--rectangle", "5"], "expected width x height"),
        ([], "found neither"),
    ],
)
def test_options_that_cannot_be_are_one_sentence(options, said, tmp_path, capsys):
    (tmp_path / "job.toml").write_text(JOB)
    photo = ["--photo", str(tmp_path / "none.jpg")]
    assert main(["render", str(tmp_path / "job.toml"), *photo, *options]) == 2
    assert said in capsys.readouterr().err
