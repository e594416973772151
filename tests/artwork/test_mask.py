import io
import math
import zlib

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin
from shapely import LineString, MultiPolygon, box

from sheetstack.geometry.artwork.mask import read_mask
from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.errors import ArtworkError
from sheetstack.geometry.finding import Severity

WHITE, BLACK = 255, 0


def blank(height=40, width=60):
    return np.full((height, width), WHITE, np.uint8)


@pytest.fixture
def read(tmp_path):
    """Save an array or image and read it as a mask with pixels of 1 mm, points all kept."""

    def read_back(picture, *, name="mask.png", save=None, **settings):
        image = picture if isinstance(picture, Image.Image) else Image.fromarray(picture)
        image.save(tmp_path / name, **(save or {}))
        settings = {"pixel_mm": 1.0, "simplify_mm": 0.0, **settings}
        return read_mask(ArtworkSource(tmp_path / name, **settings))

    return read_back


def one(artwork):
    assert artwork.shape.is_valid
    (polygon,) = artwork.shape.geoms
    return polygon


# Place and size


def test_a_box_lies_at_its_pixels_edges_but_for_the_corners(read):
    picture = blank()
    picture[5:15, 20:50] = BLACK  # rows from the top
    artwork = read(picture)
    polygon = one(artwork)
    assert artwork.page == (60, 40)
    assert polygon.bounds == (20, 25, 50, 35)
    assert polygon.area == pytest.approx(30 * 10 - 0.5)  # four corners of 1/8 pixel
    assert box(20, 25, 50, 35).difference(polygon).area == pytest.approx(0.5)
    assert artwork.findings == ()


def test_pixel_mm_scales_everything(read):
    picture = blank()
    picture[5:15, 20:50] = BLACK
    artwork = read(picture, pixel_mm=0.25)
    assert artwork.page == (15, 10)
    assert one(artwork).bounds == (5, 6.25, 12.5, 8.75)


@pytest.mark.parametrize("radius", [20, 33.3])
def test_hard_edged_discs_have_the_area_of_the_circle(read, radius):
    # How many pixel centres a circle holds varies with its place (Gauss' circle problem), so the
    # mean over places is compared with pi r^2, and each area with its own pixel count.
    places = np.random.default_rng(3).uniform(59, 61, (20, 2))
    areas = []
    for centre in places:
        row, column = np.indices((120, 120)) + 0.5
        inside = (row - centre[0]) ** 2 + (column - centre[1]) ** 2 <= radius**2
        polygon = one(read(np.where(inside, BLACK, WHITE).astype(np.uint8)))
        assert polygon.area == pytest.approx(inside.sum() - 0.5)
        assert polygon.centroid.coords[0] == pytest.approx((centre[1], 120 - centre[0]), abs=0.2)
        areas.append(polygon.area)
    assert np.mean(areas) == pytest.approx(math.pi * radius**2, rel=0.005)


def test_a_soft_edged_disc_is_found_to_a_twentieth_of_a_pixel(read):
    # Coverage of each pixel from 16 x 16 samples: what a painting program's soft edge means.
    fine = (np.indices((80 * 16, 80 * 16)) + 0.5) / 16
    inside = (fine[0] - 40.3) ** 2 + (fine[1] - 39.6) ** 2 <= 20**2
    cover = inside.reshape(80, 16, 80, 16).mean(axis=(1, 3))
    polygon = one(read(np.round(255 * (1 - cover)).astype(np.uint8)))
    assert polygon.area == pytest.approx(math.pi * 20**2, rel=0.002)
    x, y = polygon.exterior.xy
    radii = np.hypot(np.array(x) - 39.6, np.array(y) - (80 - 40.3))
    # The level between two pixels is not quite linear in coverage: up to a tenth of a pixel.
    assert np.abs(radii - 20).max() < 0.1
    assert np.abs(radii - 20).mean() < 0.05


def test_holes_and_shapes_within_holes(read):
    picture = blank(100, 100)
    for i in range(5):  # rings in rings: painted, hole, painted, hole, painted
        picture[10 * i + 2 : 98 - 10 * i, 10 * i + 2 : 98 - 10 * i] = BLACK if i % 2 == 0 else WHITE
    artwork = read(picture)
    assert artwork.shape.is_valid
    assert sorted(len(p.interiors) for p in artwork.shape.geoms) == [0, 1, 1]
    # An outer contour is half a pixel too small, a hole's too, whatever their size.
    assert artwork.shape.area == pytest.approx((picture == BLACK).sum() - 3 * 0.5 + 2 * 0.5)


def test_an_annulus_has_one_hole(read):
    row, column = np.indices((100, 100)) + 0.5
    distance = np.hypot(row - 50, column - 50)
    polygon = one(read(np.where((distance < 45) & (distance > 25), BLACK, WHITE).astype(np.uint8)))
    assert len(polygon.interiors) == 1
    assert polygon.area == pytest.approx(math.pi * (45**2 - 25**2), rel=0.005)


# The image's edge


@pytest.mark.parametrize("tolerance", [0, 2.5])
def test_paint_ends_straight_at_the_images_edge(read, tolerance):
    picture = blank()
    picture[:10, :] = BLACK
    picture[:, :5] = BLACK
    polygon = one(read(picture, simplify_mm=tolerance))
    assert polygon.bounds == (0, 0, 60, 40)
    left_and_top = LineString([(0, 0), (0, 40), (60, 40)])
    assert polygon.boundary.intersection(left_and_top).length == pytest.approx(100)
    # The cut ends: 10 down the right side, 5 along the bottom.
    right_and_bottom = LineString([(0, 0), (60, 0), (60, 40)])
    cut = polygon.boundary.intersection(right_and_bottom).length
    assert cut == pytest.approx(15, abs=1e-9 + tolerance)


def test_an_image_all_painted_is_the_whole_page_and_told(read):
    artwork = read(np.zeros((7, 9), np.uint8))
    assert one(artwork).equals(box(0, 0, 9, 7))
    assert [f.code for f in artwork.findings] == ["artwork.all-painted"]


def test_an_image_without_paint_is_empty_and_told(read):
    artwork = read(np.full((7, 9), 200, np.uint8))
    assert artwork.shape.is_empty
    assert artwork.page == (9, 7)
    (finding,) = artwork.findings
    assert finding.code == "artwork.empty"
    assert finding.severity == Severity.WARNING
    assert "from 0.78 to 0.78" in finding.message


# Levels


def test_dark_or_light_is_painted(read):
    picture = blank()
    picture[10:20, 10:20] = BLACK
    dark, light = read(picture), read(picture, painted="light")
    assert dark.shape.area + light.shape.area == pytest.approx(60 * 40)
    assert len(one(light).interiors) == 1


@pytest.mark.parametrize(("threshold", "steps"), [(0.1, 1), (0.35, 2), (0.6, 3), (0.9, 4)])
def test_the_threshold_is_a_grey_level(read, threshold, steps):
    # Upright strips of grey 0, 0.25, 0.5, 0.75, 1; dark up to the threshold is painted.
    strips = np.repeat(np.array([[0, 64, 128, 191, 255]], np.uint8), 30, axis=0).repeat(10, axis=1)
    artwork = read(strips, threshold=threshold)
    assert one(artwork).bounds[2] == pytest.approx(10 * steps, abs=0.5)


@pytest.mark.parametrize("threshold", [0.01, 0.3, 0.99])
def test_pure_black_and_white_is_the_same_at_every_threshold(read, threshold):
    picture = blank()
    picture[5:15, 20:50] = BLACK
    assert one(read(picture, threshold=threshold)).bounds == (20, 25, 50, 35)


def grey_picture():
    picture = blank()
    picture[5:15, 20:50] = BLACK
    return picture


MODES = {
    "bilevel": lambda p: Image.fromarray(p).convert("1"),
    "grey with alpha": lambda p: Image.fromarray(p).convert("LA"),
    "palette": lambda p: Image.fromarray(p).convert("RGB").quantize(4),
    "colour": lambda p: Image.fromarray(p).convert("RGB"),
    "colour with alpha": lambda p: Image.fromarray(p).convert("RGBA"),
    "16 bits": lambda p: Image.fromarray(p.astype(np.uint16) * 257),
}


@pytest.mark.parametrize("mode", MODES)
def test_every_kind_of_png_gives_the_same_shape(read, mode):
    picture = grey_picture()
    assert one(read(MODES[mode](picture))).equals(one(read(picture)))


@pytest.mark.parametrize("mode", ["L", "RGB", "CMYK"])
def test_every_kind_of_jpeg_gives_the_same_shape(read, mode):
    image = Image.fromarray(grey_picture()).convert("RGB").convert(mode)
    polygon = one(read(image, name="mask.JPG", save={"format": "JPEG", "quality": 95}))
    assert polygon.area == pytest.approx(300, abs=3)
    assert polygon.bounds == pytest.approx((20, 25, 50, 35), abs=0.2)


def test_16_bits_are_not_rounded_to_8(read):
    # 32640 / 65535 = 0.49805 is dark, 32896 / 65535 = 0.50196 is light; both round to 128 / 255.
    picture = np.full((20, 20), 32896, np.uint16)
    picture[5:15, 5:15] = 32640
    assert one(read(Image.fromarray(picture))).area == pytest.approx(100, abs=1)


@pytest.mark.parametrize("painted", ["dark", "light"])
def test_transparent_is_unpainted_whatever_its_colour(read, painted):
    colour = BLACK if painted == "dark" else WHITE
    picture = np.full((40, 60, 4), colour, np.uint8)
    picture[..., 3] = 0
    picture[5:15, 20:50, 3] = 255
    assert one(read(picture, painted=painted)).bounds == (20, 25, 50, 35)


def test_a_transparent_palette_entry_and_a_transparent_grey_are_unpainted(read):
    palette = Image.fromarray(grey_picture()).convert("RGB").quantize(2)
    ink = palette.getpixel((25, 10))
    assert read(palette, save={"transparency": ink}).shape.is_empty
    assert read(grey_picture(), save={"transparency": BLACK}).shape.is_empty
    deep = Image.fromarray(grey_picture().astype(np.uint16) * 257)
    assert read(deep, save={"transparency": BLACK}).shape.is_empty


def test_half_transparent_edges_place_the_contour(read):
    picture = np.zeros((20, 20, 4), np.uint8)
    picture[5:15, 5:15, 3] = 255
    picture[5:15, 15, 3] = 64  # a quarter of that pixel is covered
    polygon = one(read(picture))
    # Between 255 at x = 14.5 and 64 at 15.5, half (127.5) is at 14.5 + 127.5 / 191.
    assert polygon.bounds[2] == pytest.approx(14.5 + 127.5 / 191)


# Orientation and resolution


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("name", ["mask.png", "mask.jpg"])
def test_an_exif_turn_is_obeyed(read, orientation, name):
    # What each value means: EXIF 2.32, 4.6.4 A, 'Orientation': the 0th row and 0th column of the
    # stored picture are shown at these sides.
    shown = {
        1: ("top", "left"),
        2: ("top", "right"),
        3: ("bottom", "right"),
        4: ("bottom", "left"),
        5: ("left", "top"),
        6: ("right", "top"),
        7: ("right", "bottom"),
        8: ("left", "bottom"),
    }
    stored = blank(40, 64)
    stored[0:8, 0:16] = BLACK  # at the 0th row and the 0th column
    exif = Image.Exif()
    exif[0x0112] = orientation
    artwork = read(stored, name=name, save={"exif": exif, "quality": 95}, simplify_mm=0.3)
    row, column = shown[orientation]
    upright = row in ("top", "bottom")
    assert artwork.page == ((64, 40) if upright else (40, 64))
    left, bottom, right, top = one(artwork).bounds
    found = {
        "left": left == 0,
        "right": right == artwork.page[0],
        "top": top == artwork.page[1],
        "bottom": bottom == 0,
    }
    assert {side for side, touches in found.items() if touches} == {row, column}
    assert (right - left, top - bottom) == pytest.approx((16, 8) if upright else (8, 16), abs=0.5)


def test_without_pixel_mm_the_files_resolution_counts(read):
    picture = blank(100, 200)
    artwork = read(picture, pixel_mm=None, save={"dpi": (254, 254)})
    assert artwork.page == pytest.approx((20, 10), rel=1e-4)
    artwork = read(picture, name="a.jpg", pixel_mm=None, save={"dpi": (254, 127)})
    assert artwork.page == pytest.approx((20, 20), rel=1e-4)


def test_a_turned_picture_turns_its_resolution_too(read):
    exif = Image.Exif()
    exif[0x0112] = 6
    save = {"dpi": (254, 127), "exif": exif}
    assert read(blank(100, 200), pixel_mm=None, save=save).page == pytest.approx((20, 20), rel=1e-4)


def test_pixel_mm_goes_before_the_files_resolution(read):
    assert read(blank(), pixel_mm=0.5, save={"dpi": (300, 300)}).page == (30, 20)


@pytest.mark.parametrize("name", ["mask.png", "mask.jpg"])
def test_without_any_resolution_the_job_must_state_it(read, name):
    with pytest.raises(ArtworkError, match="set pixel_mm in the job"):
        read(blank(), name=name, pixel_mm=None)


def test_a_jpeg_whose_exif_says_nothing_about_size_has_no_resolution(read):
    exif = Image.Exif()
    exif[0x0112] = 1
    with pytest.raises(ArtworkError, match="set pixel_mm in the job"):
        read(blank(), name="mask.jpg", pixel_mm=None, save={"exif": exif})


def test_a_png_that_states_an_aspect_without_unit_has_no_resolution(tmp_path):
    # PNG, 11.3.4.3 pHYs: unit 0 is unknown and gives the pixel's aspect only.
    buffer = io.BytesIO()
    Image.fromarray(blank()).save(buffer, "PNG", dpi=(254, 254))
    content = buffer.getvalue()
    at = content.index(b"pHYs")
    chunk = content[at : at + 12] + b"\0"
    content = content[:at] + chunk + zlib.crc32(chunk).to_bytes(4, "big") + content[at + 17 :]
    (tmp_path / "a.png").write_bytes(content)
    with pytest.raises(ArtworkError, match="set pixel_mm in the job"):
        read_mask(ArtworkSource(tmp_path / "a.png"))


# Specks, smoothing, simplification


def test_specks_and_pinholes_are_left_out_and_told_once(read):
    picture = blank()
    picture[5:35, 20:50] = BLACK
    picture[10, 30] = picture[20, 40] = WHITE
    picture[3, 3] = BLACK
    artwork = read(picture)
    assert len(one(artwork).interiors) == 0
    (finding,) = artwork.findings
    assert finding.code == "artwork.speck"
    assert finding.severity == Severity.NOTE
    assert "3 contours" in finding.message
    assert finding.place == pytest.approx((3.5, 36.5))


def test_specks_that_are_much_of_the_picture_are_told_with_a_warning(read):
    picture = blank()
    picture[5:35, 20:50] = BLACK
    picture[10:30:2, 25:45:2] = WHITE  # a screen of dots of one pixel
    artwork = read(picture)
    (finding,) = artwork.findings
    assert (finding.code, finding.severity) == ("artwork.speck", Severity.WARNING)
    assert "100 contours" in finding.message
    assert "mm2 of the picture in all" in finding.message


def test_a_speck_at_the_edge_is_measured_within_the_image(read):
    picture = blank()
    picture[5:35, 20:50] = BLACK
    picture[20, 0] = BLACK
    artwork = read(picture)
    assert len(artwork.shape.geoms) == 1
    assert len(artwork.findings) == 1


def test_smoothing_rounds_steps_and_keeps_area(read):
    row, column = np.indices((120, 120)) + 0.5
    picture = np.where(np.hypot(row - 60, column - 60) <= 40, BLACK, WHITE).astype(np.uint8)
    rough, smooth = one(read(picture)), one(read(picture, smooth_mm=1.5))
    assert smooth.area == pytest.approx(math.pi * 40**2, rel=0.005)

    def off_circle(polygon):
        x, y = polygon.exterior.xy
        return np.abs(np.hypot(np.array(x) - 60, np.array(y) - 60) - 40).max()

    assert off_circle(smooth) < 0.5 * off_circle(rough)


def test_smoothing_does_not_pull_paint_off_the_images_edge(read):
    picture = blank()
    picture[:, :20] = BLACK
    strip = one(read(picture, smooth_mm=3))
    assert strip.symmetric_difference(box(0, 0, 20, 40)).area < 0.01


def noise(seed, spread=2):
    from scipy.ndimage import gaussian_filter

    field = gaussian_filter(np.random.default_rng(seed).standard_normal((50, 70)), spread)
    return np.clip(127.5 + 127.5 * field / np.abs(field).max() * 3, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("tolerance", [0.1, 0.5, 1.5, 5])
def test_simplifying_keeps_shapes_apart_and_within_the_tolerance(read, seed, tolerance):
    full = read(noise(seed)).shape
    simple = read(noise(seed), simplify_mm=tolerance).shape
    assert simple.is_valid
    assert len(shapely.get_coordinates(simple)) < len(shapely.get_coordinates(full))
    assert (
        shapely.hausdorff_distance(full.boundary, simple.boundary, densify=0.05) < tolerance + 0.05
    )


def test_checkerboards_are_valid_and_every_square_its_own(read):
    picture = np.where(np.indices((12, 12)).sum(axis=0) % 2 == 0, BLACK, WHITE).astype(np.uint8)
    picture = picture.repeat(4, axis=0).repeat(4, axis=1)
    artwork = read(picture)
    assert artwork.shape.is_valid
    assert len(artwork.shape.geoms) == 72


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.lists(st.booleans(), min_size=12, max_size=12), min_size=10, max_size=10),
    st.sampled_from([0.0, 0.3, 0.6]),
)
def test_any_pattern_of_pixels_gives_valid_shapes(tmp_path_factory, rows, tolerance):
    path = tmp_path_factory.mktemp("mask") / "a.png"
    Image.fromarray(np.where(rows, BLACK, WHITE).astype(np.uint8)).save(path)
    artwork = read_mask(ArtworkSource(path, pixel_mm=1, simplify_mm=tolerance))
    assert isinstance(artwork.shape, MultiPolygon)
    assert artwork.shape.is_valid
    assert artwork.shape.is_empty or box(0, 0, 12, 10).covers(artwork.shape)
    assert all(polygon.exterior.is_ccw for polygon in artwork.shape.geoms)


# Settings and kinds of file


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"painted": "grey"}, "painted = 'grey': expected 'dark' or 'light'"),
        ({"threshold": 0}, "threshold = 0"),
        ({"threshold": 1.5}, r"threshold = 1\.5"),
        ({"threshold": math.nan}, "threshold = nan"),
        ({"pixel_mm": 0}, "pixel_mm = 0"),
        ({"pixel_mm": math.inf}, "pixel_mm = inf"),
        ({"smooth_mm": -1}, "smooth_mm = -1"),
        ({"smooth_mm": 500}, r"smooth_mm = 500: expected at most 200 mm \(200 pixels"),
        ({"simplify_mm": -1}, "simplify_mm = -1"),
        ({"simplify_mm": 5}, "simplify_mm = 5: expected at most a tenth"),
        ({"group": "Shadow"}, "group = 'Shadow': expected none"),
    ],
)
def test_absurd_settings_are_one_sentence(read, settings, message):
    with pytest.raises(ArtworkError, match=message) as caught:
        read(blank(), **settings)
    assert "mask.png" in str(caught.value)


def test_an_animation_is_read_at_its_first_picture_and_told(read):
    second = Image.fromarray(blank())
    artwork = read(grey_picture(), save={"save_all": True, "append_images": [second]})
    assert one(artwork).bounds == (20, 25, 50, 35)
    assert [f.code for f in artwork.findings] == ["artwork.animation"]


def test_the_door_leads_here_and_scales(tmp_path):
    info = PngImagePlugin.PngInfo()
    info.add_text("Title", "unused")
    Image.fromarray(grey_picture()).save(tmp_path / "MASK.PNG", pnginfo=info)
    artwork = read_artwork(ArtworkSource(tmp_path / "MASK.PNG", pixel_mm=1, scale=2))
    assert artwork.page == (120, 80)
    assert artwork.shape.bounds == (40, 50, 100, 70)


def test_twelve_bits_that_call_themselves_sixteen_are_refused(tmp_path):
    """All of it would be read as black, and painted."""
    Image.fromarray(np.full((9, 9), 4095, np.uint16)).save(tmp_path / "a.png")
    with pytest.raises(ArtworkError, match="up to 4095 of 65535 only"):
        read_mask(ArtworkSource(tmp_path / "a.png", pixel_mm=1))
