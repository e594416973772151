import io
import struct

import numpy as np
from PIL import Image

from sheetstack.geometry.files.png import png_bytes
from sheetstack.geometry.paint.compositing import painted_picture
from sheetstack.geometry.report.preview import preview, write_preview

from ..small_builds import DISC, RING, built


def chunks(content):
    """Names and data of a PNG file's chunks (ISO/IEC 15948, 5.3)."""
    at, found = 8, {}
    while at < len(content):
        (length,) = struct.unpack(">I", content[at : at + 4])
        found[content[at + 4 : at + 8]] = content[at + 8 : at + 8 + length]
        at += length + 12
    return found


def test_file_holds_the_painted_picture(tmp_path):
    build = built({"Ring": RING, "Disc": DISC})
    write_preview(tmp_path / "a.png", build, 300)
    with Image.open(tmp_path / "a.png") as image:
        assert (np.asarray(image) == painted_picture(build, 300)).all()
    assert preview(build, 300).size == (300, 300)


def test_file_is_marked_as_srgb_and_prints_at_true_size(tmp_path):
    write_preview(tmp_path / "a.png", built({"Disc": DISC}), 400)
    found = chunks((tmp_path / "a.png").read_bytes())
    # ISO/IEC 15948, 11.3.3.5: sRGB with rendering intent 0; gAMA 45455 beside it.
    assert found[b"sRGB"] == b"\0"
    assert struct.unpack(">I", found[b"gAMA"]) == (45455,)
    # 11.3.5.3: pixels per metre: 400 pixels for 100 mm.
    assert struct.unpack(">IIB", found[b"pHYs"]) == (4000, 4000, 1)


def test_colour_chunks_stand_before_the_pixels():
    # ISO/IEC 15948, 5.6: gAMA and sRGB stand before PLTE and IDAT.
    content = png_bytes(Image.new("RGB", (4, 4)))
    assert content.index(b"sRGB") < content.index(b"IDAT")
    assert content.index(b"gAMA") < content.index(b"IDAT")
    assert Image.open(io.BytesIO(content)).info["srgb"] == 0
