import numpy as np
import pytest
from PIL import ImageChops

from sheetstack.geometry.errors import Cancelled
from sheetstack.geometry.files import picture_text
from sheetstack.geometry.files.picture_text import fitted, lettering
from sheetstack.geometry.progress import Progress
from sheetstack.geometry.report.projection import lying, standing
from sheetstack.geometry.report.stack_picture import stack_picture

from ..small_builds import DISC, NESTED, RING, built


@pytest.mark.parametrize("view", [standing(42, 9), lying(22, 36), standing(5, 60)])
def test_view_is_a_rotation_seen_along_one_axis(view):
    # An orthographic view: the picture's two axes and the way to the viewer are orthonormal in
    # the sheet's frame, and right-handed.
    right, up = np.stack([view.x, view.y, view.z], axis=1)
    frame = np.stack([right, up, view.towards_viewer])
    assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(frame) == pytest.approx(1)


def test_wall_shows_the_picture_and_sheets_their_colours():
    picture = stack_picture(built({"Disc": DISC}), 600)
    seen = {colour for _, colour in picture.getcolors(10**6)}
    assert (0x20, 0x40, 0x60) in seen
    assert (0xE0, 0xA0, 0x30) in seen
    # Polyester in the table is #d5e3ea; the sheet has 78 % of the layer's colour.
    tinted = tuple(
        round(b + 0.78 * (c - b))
        for b, c in zip((0xD5, 0xE3, 0xEA), (0xE0, 0xA0, 0x30), strict=True)
    )
    assert any(max(abs(a - b) for a, b in zip(s, tinted, strict=True)) <= 1 for s in seen)


def test_openings_are_open():
    # The same job with and without an opening differs where the opening is seen through.
    plain = stack_picture(built({"A": DISC.buffer(-14)}), 400)
    open_ = stack_picture(built({"A": DISC}), 400)
    changed = np.asarray(ImageChops.difference(plain, open_)).any(axis=2).mean()
    assert 0.005 < changed < 0.5


@pytest.mark.parametrize("size", [(100, 100), (90, 300), (400, 90)])
@pytest.mark.parametrize("count", [1, 3, 9])
def test_everything_stays_inside_the_picture(size, count):
    shapes = {f"Layer {k}": DISC for k in range(count)}
    picture = stack_picture(built(shapes, size=size), 500)
    pixels = np.asarray(picture)
    edge = np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]])
    assert (edge == edge[0]).all()
    assert picture.width == 500
    assert 150 < picture.height < 700


def test_drawing_can_be_cancelled():
    def report(share, what):
        raise Cancelled("Stopped.")

    with pytest.raises(Cancelled):
        stack_picture(built({"A": RING, "B": NESTED}), 200, Progress(report))


def test_long_names_are_cut_to_their_room():
    text, font = fitted("A name that is much too long for its place", 20, 150)
    assert text.endswith("...")
    assert font.getlength(text) <= 150
    assert fitted("Short", 20, 150)[0] == "Short"


def test_letters_that_pillows_font_lacks_are_drawn_or_spelt_out(monkeypatch):
    # Without any font of the machine: accents go, the rest is marked.
    monkeypatch.setattr("sheetstack.geometry.files.picture_text._WIDER_FONTS", ())
    picture_text._wider_font.cache_clear()
    assert lettering("Größe é 漢", 20)[0] == "Grosse e ?"
    picture_text._wider_font.cache_clear()
