import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image
from skimage import data

from sheetstack.geometry.errors import ArtworkError
from sheetstack.geometry.tracing.picture import read_marks, read_picture


def full_size(size):
    return size


def corner_marked(height=40, width=60):
    """A picture whose top left quarter is red, else white."""
    pixels = np.full((height, width, 3), 255, np.uint8)
    pixels[: height // 2, : width // 2] = (255, 0, 0)
    return Image.fromarray(pixels)


def test_pixels_come_as_they_are(tmp_path):
    coffee = data.coffee()
    Image.fromarray(coffee).save(tmp_path / "a.png")
    picture = read_picture(tmp_path / "a.png", full_size)
    assert np.array_equal(np.rint(picture.srgb * 255), coffee)
    assert picture.opacity.min() == 1
    assert picture.full == (600, 400)


def test_a_picture_is_scaled_while_it_is_read(tmp_path):
    Image.fromarray(data.coffee()).save(tmp_path / "a.jpg", quality=95)
    picture = read_picture(tmp_path / "a.jpg", lambda full: (full[0] // 4, full[1] // 4))
    assert picture.shape == (100, 150)
    wanted = data.coffee().reshape(100, 4, 150, 4, 3).mean(axis=(1, 3)) / 255
    assert np.abs(picture.srgb - wanted).mean() < 0.02


# EXIF 2.32, 4.6.4 A: 6 means that row 0 of the file is the right-hand side, 3 that it is turned by
# half, 8 that row 0 is the left-hand side. So the marked corner goes to:
@pytest.mark.parametrize(
    ("turn", "corner"), [(1, (0, 0)), (3, (-1, -1)), (6, (0, -1)), (8, (-1, 0))]
)
@pytest.mark.parametrize("ending", ["jpg", "png", "tif"])
def test_the_turn_in_exif_data_is_obeyed(tmp_path, turn, corner, ending):
    exif = Image.Exif()
    exif[0x0112] = turn
    corner_marked().save(tmp_path / f"a.{ending}", exif=exif)
    picture = read_picture(tmp_path / f"a.{ending}", lambda full: (full[0] // 2, full[1] // 2))
    assert picture.full == ((60, 40) if turn < 5 else (40, 60))
    assert picture.shape == ((20, 30) if turn < 5 else (30, 20))
    inside = [3 if k == 0 else -4 for k in corner]
    assert picture.srgb[inside[0], inside[1], 1] < 0.2
    assert (picture.srgb[..., 1] < 0.5).mean() == pytest.approx(0.25, abs=0.05)


def test_sixteen_bits_of_grey_are_kept(tmp_path):
    ramp = np.linspace(0, 65535, 64 * 32).astype(np.uint16).reshape(32, 64)
    for name in ("a.png", "a.tif"):
        Image.fromarray(ramp).save(tmp_path / name)
        picture = read_picture(tmp_path / name, full_size)
        # Much nearer than the 1/255 that eight bits would leave.
        assert np.abs(picture.srgb[..., 1] - ramp / 65535).max() < 1e-4


@pytest.mark.parametrize("photometric", ["minisblack", "miniswhite"])
@pytest.mark.parametrize("kind", [bool, np.uint8, np.uint16])
def test_a_tiff_says_whether_0_is_white(tmp_path, kind, photometric):
    """TIFF 6.0, section 3: PhotometricInterpretation. Written by tifffile."""
    tifffile = pytest.importorskip("tifffile")
    most = 1 if kind is bool else np.iinfo(kind).max
    stored = (np.linspace(0, 1, 48).round(0 if kind is bool else 9) * most).astype(kind)
    stored = np.tile(stored, (32, 1))
    tifffile.imwrite(tmp_path / "a.tif", stored, photometric=photometric)
    wanted = stored / most if photometric == "minisblack" else 1 - stored / most
    found = read_picture(tmp_path / "a.tif", full_size).srgb[..., 1]
    assert np.abs(found - wanted).max() < 1 / 200


@pytest.mark.parametrize("most", [1.0, 250.0, 3.4e38])
def test_fractions_are_read_from_least_to_most_however_far_that_is(tmp_path, most):
    rows = np.linspace(-most, most, 40, dtype=np.float32)
    Image.fromarray(np.repeat(rows[:, None], 30, axis=1)).save(tmp_path / "a.tif")
    grey = read_picture(tmp_path / "a.tif", full_size).srgb[..., 1]
    assert np.abs(grey - np.linspace(0, 1, 40)[:, None]).max() < 1e-6


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_twelve_bits_that_call_themselves_sixteen_are_refused(tmp_path, name):
    Image.fromarray(np.full((32, 64), 4095, np.uint16)).save(tmp_path / name)
    with pytest.raises(ArtworkError, match="up to 4095 of 65535 only"):
        read_picture(tmp_path / name, full_size)


def test_sixteen_bits_of_colour_are_read(tmp_path):
    tifffile = pytest.importorskip("tifffile")
    pixels = (data.coffee().astype(np.uint16) * 257)[::4, ::4]
    tifffile.imwrite(tmp_path / "a.tif", pixels, photometric="rgb")
    picture = read_picture(tmp_path / "a.tif", full_size)
    assert np.abs(picture.srgb - pixels / 65535).max() < 1 / 200


def test_transparency_is_told_and_shows_white(tmp_path):
    image = corner_marked().convert("RGBA")
    alpha = np.full((40, 60), 255, np.uint8)
    alpha[:, 30:] = 0
    image.putalpha(Image.fromarray(alpha))
    image.save(tmp_path / "a.png")
    picture = read_picture(tmp_path / "a.png", full_size)
    assert np.array_equal(picture.opacity, alpha / 255)
    assert picture.srgb[:, 30:].min() == 1


@pytest.mark.parametrize("mode", ["1", "L", "P", "CMYK", "LA"])
def test_other_kinds_of_pixels_are_read(tmp_path, mode):
    name = tmp_path / ("a.tif" if mode == "CMYK" else "a.png")
    corner_marked().convert("L").convert(mode).save(name)
    picture = read_picture(name, full_size)
    assert picture.srgb[5, 5].mean() < 0.5 < picture.srgb[-5, -5].mean()


def test_a_colour_profile_is_honoured(tmp_path):
    from PIL import ImageCms

    # In the profile of plain linear XYZ-like Lab there is none to write; sRGB must change nothing.
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(data.coffee()).save(tmp_path / "a.png", icc_profile=profile)
    picture = read_picture(tmp_path / "a.png", full_size)
    assert np.abs(picture.srgb * 255 - data.coffee()).max() <= 2


def test_a_damaged_colour_profile_does_no_harm(tmp_path):
    Image.fromarray(data.coffee()).save(tmp_path / "a.png", icc_profile=b"no profile at all")
    picture = read_picture(tmp_path / "a.png", full_size)
    assert np.array_equal(np.rint(picture.srgb * 255), data.coffee())


def test_a_mask_marks_what_is_white(tmp_path):
    corner_marked().convert("L").save(tmp_path / "a.png")
    marks = read_marks(tmp_path / "a.png", (30, 20))
    assert marks.shape == (20, 30)
    assert marks.mean() == pytest.approx(0.75, abs=0.05)


def png_bytes():
    buffer = io.BytesIO()
    Image.fromarray(data.coffee()).save(buffer, "PNG")
    return buffer.getvalue()


def png_header(width, height):
    """A PNG (ISO/IEC 15948) that claims a size and holds hardly any data."""

    def chunk(kind, body):
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return (
        b"\x89PNG\r\n\x1a\n"
        + head
        + chunk(b"IDAT", zlib.compress(b"\0" * 64))
        + chunk(b"IEND", b"")
    )


def jpeg_bytes():
    buffer = io.BytesIO()
    Image.fromarray(data.coffee()).save(buffer, "JPEG")
    return buffer.getvalue()


BAD = {
    "empty.png": b"",
    "text.png": b"this is a letter, not a picture",
    "cut.png": png_bytes()[:5000],
    "cut.jpg": jpeg_bytes()[:3000],
    "headless.jpg": jpeg_bytes()[:12],
    "bomb.png": png_header(100_000, 100_000),
    "big.png": png_header(12_000, 12_000),
    "nothing.png": png_header(0, 0),
    "flat.png": png_header(500, 1),
    "hollow.png": png_header(500, 500),
    "picture.gif": b"GIF89a" + b"\0" * 40,
    "drawing.svg": b"<svg xmlns='http://www.w3.org/2000/svg'/>",
    "cut.tif": b"II*\0\x08\0\0\0\x01\0\0\x01",
}


@pytest.mark.parametrize("name", sorted(BAD))
def test_a_bad_picture_gets_one_sentence_that_names_it(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(BAD[name])
    with pytest.raises(ArtworkError) as caught:
        read_picture(path, lambda full: (100, 100))
    sentence = str(caught.value)
    assert sentence.startswith(f"{path}: ")
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert len(sentence) < len(str(path)) + 160


def test_a_missing_picture_and_a_folder_get_a_sentence(tmp_path):
    for path in (tmp_path / "none.png", tmp_path):
        with pytest.raises(ArtworkError, match=r": .*\.$"):
            read_picture(path, full_size)
