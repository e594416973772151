"""Broken images and drawings: each one sentence that names the file, and nothing printed."""

import io
import struct
import zlib

import ezdxf
import numpy as np
import pytest
from PIL import Image

from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.errors import ArtworkError


def assert_one_sentence(path, message, capfd, **settings):
    with pytest.raises(ArtworkError, match=message) as caught:
        read_artwork(ArtworkSource(path, **settings))
    text = str(caught.value)
    assert text.startswith(f"{path}: ")
    assert text.endswith(".")
    assert "\n" not in text
    assert len(text) < len(str(path)) + 300
    assert text.isprintable()
    assert capfd.readouterr() == ("", "")


# Images


def saved(kind):
    buffer = io.BytesIO()
    ramp = np.tile(np.arange(200, dtype=np.uint8), (150, 1))
    Image.fromarray(ramp ^ ramp[:, ::-1]).save(buffer, kind)
    return buffer.getvalue()


PNG, JPEG = saved("PNG"), saved("JPEG")


def chunk(name, data):
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(width, height, data, *, depth=8, colour=0, extra=b""):
    """A PNG file put together by hand (PNG specification, chapter 11)."""
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + header + extra + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def jpeg_of_size(width, height):
    # The frame header SOF0: length, precision, height, width (ITU-T T.81, B.2.2).
    at = JPEG.index(b"\xff\xc0")
    return JPEG[: at + 5] + struct.pack(">HH", height, width) + JPEG[at + 9 :]


IMAGES = {
    "empty": (b"", "the file is empty"),
    "text": (b"hello world", "is neither a PNG nor a JPEG"),
    "another kind of image": (b"GIF89a" + bytes(50), "is neither a PNG nor a JPEG"),
    "drawing": (b'<svg xmlns="http://www.w3.org/2000/svg"/>', "is neither a PNG nor a JPEG"),
    "png signature alone": (PNG[:8], "starts like a PNG image, but"),
    "png header alone": (PNG[:33], "starts like a PNG image, but"),
    "half a png": (PNG[: len(PNG) // 2], "truncated"),
    "png with a flipped bit": (PNG[:60] + bytes([PNG[60] ^ 255]) + PNG[61:], "broken data"),
    "png of no width": (png(0, 10, zlib.compress(b"")), "no pixels at all"),
    "png of no height": (png(10, 0, zlib.compress(b"")), "no pixels at all"),
    "png of 7 bits": (png(9, 9, zlib.compress(bytes(90)), depth=7), "starts like a PNG image, but"),
    "png with too few rows": (png(10, 10, zlib.compress(bytes(20))), "truncated"),
    "png that is not compressed": (png(10, 10, b"garbage"), "broken data"),
    "png of 3,600 megapixels": (png(60_000, 60_000, zlib.compress(bytes(999))), "too large"),
    "png of 144 megapixels": (
        png(12_000, 12_000, zlib.compress(bytes(999))),
        "at most 100 megapixels, found 12000 x 12000",
    ),
    "png of the largest size": (png(2**31 - 1, 2**31 - 1, zlib.compress(b"")), "too large"),
    "png with a text that explodes": (
        png(
            9,
            9,
            zlib.compress(bytes(90)),
            extra=chunk(b"zTXt", b"k\0\0" + zlib.compress(bytes(9**8))),
        ),
        "too large for",
    ),
    "jpeg start alone": (b"\xff\xd8\xff", "starts like a JPEG image, but"),
    "half a jpeg": (JPEG[: len(JPEG) // 2], "truncated"),
    "jpeg of noise": (b"\xff\xd8\xff\xe0" + bytes(range(256)) * 4, "starts like a JPEG image, but"),
    "jpeg of no size": (jpeg_of_size(0, 0), "starts like a JPEG image, but"),
    "jpeg of 4,295 megapixels": (jpeg_of_size(65_535, 65_535), "too large"),
}


@pytest.mark.parametrize("ending", ["png", "jpg"])
@pytest.mark.parametrize("case", IMAGES)
def test_a_broken_image_is_one_sentence(case, ending, tmp_path, capfd):
    content, message = IMAGES[case]
    path = tmp_path / f"mask.{ending}"
    path.write_bytes(content)
    assert_one_sentence(path, message, capfd, pixel_mm=0.1)


@pytest.mark.parametrize("dpi", [(0, 0), (1e-3, 1e-3), (1e6, 1e6)])
def test_an_absurd_resolution_is_one_sentence(dpi, tmp_path, capfd):
    Image.fromarray(np.zeros((20, 20), np.uint8)).save(tmp_path / "mask.png", dpi=dpi)
    assert_one_sentence(tmp_path / "mask.png", "absurd resolution", capfd)


def test_damaged_exif_data_are_told_and_the_picture_is_read(tmp_path, capfd):
    path = tmp_path / "mask.png"
    path.write_bytes(png(10, 10, zlib.compress(bytes(110)), extra=chunk(b"eXIf", b"garbage")))
    artwork = read_artwork(ArtworkSource(path, pixel_mm=1))
    assert artwork.shape.area == 100
    assert "artwork.damaged-exif" in [finding.code for finding in artwork.findings]
    path = tmp_path / "mask.jpg"
    path.write_bytes(JPEG[:2] + b"\xff\xe1\x00\x10Exif\0\0MM\0\x2a\xff\xff\xff\xff" + JPEG[2:])
    artwork = read_artwork(ArtworkSource(path, pixel_mm=1))
    assert "artwork.damaged-exif" in [finding.code for finding in artwork.findings]
    assert capfd.readouterr() == ("", "")


# Drawings


def drawing(draw=None, **header):
    document = ezdxf.new("R2010", units=4)
    for key, value in header.items():
        document.header[f"${key}"] = value
    (draw or (lambda space: space.add_circle((123.25, 0), 5.5)))(document.modelspace())
    buffer = io.StringIO()
    document.write(buffer)
    return buffer.getvalue()


def binary_drawing():
    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_circle((0, 0), 5)
    buffer = io.BytesIO()
    document.write(buffer, fmt="bin")
    return buffer.getvalue()


def block_in_itself(space):
    a, b = space.doc.blocks.new("A"), space.doc.blocks.new("B")
    a.add_blockref("B", (0, 0))
    b.add_blockref("A", (0, 0))
    space.add_blockref("A", (0, 0))


def block_bomb(space):
    space.doc.blocks.new("B0").add_circle((0, 0), 5)
    for level in range(1, 12):
        block = space.doc.blocks.new(f"B{level}")
        for column in range(10):
            block.add_blockref(f"B{level - 1}", (20 * column, 0))
    space.add_blockref("B11", (0, 0))


def deep_blocks(depth):
    def draw(space):
        space.doc.blocks.new("B0").add_circle((0, 0), 5)
        for level in range(1, depth):
            space.doc.blocks.new(f"B{level}").add_blockref(f"B{level - 1}", (0, 0))
        space.add_blockref(f"B{depth - 1}", (0, 0))

    return draw


def many_rows(space):
    space.doc.blocks.new("DOT").add_circle((0, 0), 5)
    rows = {"row_count": 30_000, "column_count": 30_000, "row_spacing": 1, "column_spacing": 1}
    space.add_blockref("DOT", (0, 0), dxfattribs=rows)


def wrong_bulge(space):
    space.add_lwpolyline([(0, 0, float("nan")), (10, 0, 0)], format="xyb", close=True)


def wrong_knots(space):
    space.add_open_spline([(0, 0, 0), (1, 1, 0), (2, 0, 0), (3, 0, 0)]).knots = [float("nan")] * 8


WHOLE = drawing()

DRAWINGS = {
    "empty": (b"", "the file is empty"),
    "text": (b"hello world", "begin with a SECTION"),
    "image": (PNG, "begin with a SECTION"),
    "another kind of drawing": (b"AC1027" + bytes(2000), "begin with a SECTION"),
    "zeros": (bytes(5000), "begin with a SECTION"),
    "half a drawing": (WHOLE[: len(WHOLE) // 2], "cut short"),
    "all but the end": (WHOLE[:-6], "cut short"),
    "sixteen bits a letter": (WHOLE.encode("utf-16"), "begin with a SECTION"),
    "half a binary drawing": (binary_drawing()[:3000], "too damaged"),
    "binary signature alone": (b"AutoCAD Binary DXF\r\n\x1a\0", "too damaged"),
    "a line lost": (WHOLE.replace("\nCIRCLE\n", "\n", 1), "too damaged"),
    "no number": (WHOLE.replace("123.25", "nan"), "CIRCLE #.* not finite"),
    "infinite": (WHOLE.replace("123.25", "inf"), "CIRCLE #.* not finite"),
    "huge": (WHOLE.replace("123.25", "1e300"), "CIRCLE #.* beyond 1 km"),
    "huge radius": (WHOLE.replace("\n5.5\n", "\n1e12\n"), "CIRCLE #.* beyond 1 km"),
    "metres for mm": (drawing(lambda s: s.add_circle((0, 0), 3e5), INSUNITS=6), "beyond 1 km"),
    "unknown unit": (drawing(INSUNITS=77), "INSUNITS = 77"),
    "no number for a bulge": (drawing(wrong_bulge), "LWPOLYLINE #.* not finite"),
    "no number for a knot": (drawing(wrong_knots), "SPLINE #.* not finite"),
    "block in itself": (drawing(block_in_itself), "block '[AB]' contains itself"),
    "blocks of blocks": (drawing(block_bomb), "holds 211111111111 entities"),
    "rows of blocks": (drawing(many_rows), "holds 900000001 entities"),
    "deep blocks": (drawing(deep_blocks(60)), "deeper than 50 blocks"),
    "very deep blocks": (drawing(deep_blocks(1200)), "too damaged"),
}


@pytest.mark.parametrize("case", DRAWINGS)
def test_a_broken_drawing_is_one_sentence(case, tmp_path, capfd):
    content, message = DRAWINGS[case]
    path = tmp_path / "drawing.dxf"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    assert_one_sentence(path, message, capfd)


def test_the_whole_drawing_reads_well(tmp_path):
    # Else the cases above would show nothing.
    (tmp_path / "drawing.dxf").write_text(WHOLE)
    assert read_artwork(ArtworkSource(tmp_path / "drawing.dxf")).findings == ()


@pytest.mark.parametrize("seed", range(60))
def test_random_damage_never_ends_in_a_traceback(seed, tmp_path, capfd):
    def draw(space):
        space.add_lwpolyline([(0, 0, 0.3), (10, 0, 0), (10, 10, 0)], format="xyb", close=True)
        space.add_ellipse((60, 0), (5, 0), 0.4)
        space.add_open_spline([(0, 50, 0), (10, 55, 0), (20, 50, 0), (0, 50, 0)])
        space.add_hatch().paths.add_edge_path().add_arc((0, 0), 2)
        space.add_polyline2d([(0, 0), (1, 1), (2, 0)], close=True)
        space.doc.blocks.new("B").add_line((0, 0), (1, 1))
        space.add_blockref("B", (0, 0))

    lines = drawing(draw).split("\n")
    random = np.random.default_rng(seed)
    entities = lines.index("ENTITIES")
    for _ in range(4):
        value = random.choice(["nan", "1e308", "-1", "x", "", "0", "9" * 30, "LINE", lines[-9]])
        lines[entities + 1 + 2 * int(random.integers(0, (len(lines) - entities) // 2 - 9))] = value
    path = tmp_path / "drawing.dxf"
    path.write_text("\n".join(lines))
    try:
        outcome = str(path) + ": " + str(read_artwork(ArtworkSource(path)).shape)
    except ArtworkError as error:
        outcome = str(error)
    assert outcome.startswith(f"{path}: ")
    assert capfd.readouterr() == ("", "")


# Either


@pytest.mark.parametrize("name", ["a.png", "a.jpg", "a.dxf"])
def test_a_missing_file_and_a_folder_are_one_sentence(name, tmp_path, capfd):
    assert_one_sentence(tmp_path / name, "does not exist", capfd)
    (tmp_path / name).mkdir()
    assert_one_sentence(tmp_path / name, "expected a file", capfd)
