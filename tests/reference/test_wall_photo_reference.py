"""The wall measured on a photo of real bricks, against them and against its true perspective.

The photo is ``brick.png`` of scikit-image (CC0, from CC0Textures): a wall's photo to which a
perspective was given that skimage/data/_fetchers.py states in the docstring of ``brick``. The
pixels below were read by eye from the photo at 2.13 times its size, once, before any view was
found; the bricks that are measured are others than the one whose length is told.
"""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from shapely import Point

from sheetstack.geometry.colour import linear_from_srgb
from sheetstack.geometry.photo.homography import mapped
from sheetstack.geometry.photo.wall_file import load_wall
from sheetstack.geometry.photo.wall_light import wall_light
from sheetstack.geometry.photo.wall_mockup import wall_mockup
from sheetstack.geometry.photo.wall_view import click_error, view_from_lines

from ..small_builds import built

data = pytest.importorskip("skimage.data")

SCALE = 512 / 1092
LEVEL = [[(73, 328), (790, 327)], [(45, 557), (815, 554)], [(80, 914), (600, 908)]]
LEVEL += [[(45, 82), (700, 85)]]
UPRIGHT = [[(149, 0), (21, 1092)], [(468, 0), (468, 1092)], [(660, 0), (734, 1092)]]
UPRIGHT += [[(847, 0), (984, 1092)]]
BRICK = [(435, 501), (430, 761)]
#: Joint to joint along the bricks of eight columns.
COLUMNS = [
    [(505, 126), (505, 328), (505, 559), (508, 829)],
    [(235, 129), (220, 327), (200, 556)],
    [(640, 134), (650, 331), (665, 562), (683, 834)],
    [(585, 392), (590, 630), (600, 908)],
    [(150, 179), (140, 387), (115, 629), (85, 914)],
    [(290, 386), (275, 625), (255, 908)],
    [(725, 279), (735, 501), (760, 766)],
    [(875, 190), (870, 399), (895, 640), (935, 926)],
]
#: A brick of 215 mm and a joint of 10 mm (BS EN 771-1's usual work size in Britain; from memory).
LENGTH = 225.0


#: Perspective of the photo, before it was halved and turned clockwise by 90 degrees.
GIVEN = np.array([[0.54764, -0.00219, 0], [-0.12822, 0.54688, 0], [-0.00022, 0, 1]])


def flat_places(seen):
    """Where pixels of the photo lie in the picture that the perspective was given to."""
    x, y = np.asarray(seen, float).T
    return mapped(np.linalg.inv(GIVEN), 2 * np.column_stack([y, 511 - x]))


def pixels(points):
    return np.array(points, float) * SCALE


@pytest.fixture(scope="module")
def size():
    rows, columns = data.brick().shape
    return columns, rows


def test_every_brick_of_a_real_wall_is_as_long_as_the_one_that_was_told(size):
    view = view_from_lines(pixels(LEVEL), pixels(UPRIGHT), pixels(BRICK), LENGTH, size)
    found = np.concatenate([np.hypot(*np.diff(view.wall_at(pixels(c)), axis=0).T) for c in COLUMNS])
    assert len(found) == 20
    # Seen bricks shrink by half from the bottom of the photo to its top.
    assert np.abs(found / LENGTH - 1).max() < 0.04
    assert found.mean() == pytest.approx(LENGTH, rel=0.01)
    assert view.camera_error_px < 1.5
    assert "own convergence" in view.method


#: Three columns of bricks across.
ACROSS = [(468, 355), (684, 355)]


def test_the_wall_is_as_flat_as_before_its_perspective_was_given(size):
    rng = np.random.default_rng(8)
    ends = rng.uniform(30, 480, (200, 2, 2))

    def worst(view):
        true, found = (
            np.hypot(*(np.diff(at(ends.reshape(-1, 2)).reshape(200, 2, 2), axis=1)[:, 0]).T)
            for at in (flat_places, view.wall_at)
        )
        return np.abs(found / true / np.median(found / true) - 1).max()

    marks = pixels(LEVEL), pixels(UPRIGHT), pixels(BRICK), LENGTH, size
    one = view_from_lines(*marks)
    # As a tape on the wall would tell it.
    long, wide = (np.hypot(*np.diff(flat_places(pixels(p)), axis=0)[0]) for p in (BRICK, ACROSS))
    both = view_from_lines(*marks, second=(pixels(ACROSS), LENGTH * wide / long))
    # No camera made this perspective: a lens guessed from it misleads, and that is told.
    assert worst(one) > 0.1
    assert "second length" in one.notes[-1]
    assert worst(both) < 0.03
    assert not any("second" in note for note in both.notes)


def test_the_error_told_of_lines_covers_the_bricks(size):
    marked = np.concatenate([pixels(p).reshape(-1, 2) for p in (LEVEL, UPRIGHT, BRICK)])

    def find(clicked):
        lines = clicked[:-2].reshape(-1, 2, 2)
        return view_from_lines(lines[:4], lines[4:], clicked[-2:], LENGTH, size)

    view = find(marked)
    middles = np.array([view.wall_at(pixels(c)).mean(axis=0) for c in COLUMNS])
    told = click_error(find, marked, middles)
    # Of places about 500 mm from the photo's middle: a few per cent, as of the bricks.
    assert 3 < told < 40


def test_the_lens_of_a_phone_s_photo_is_used(tmp_path):
    exif = Image.Exif()
    exif[0x8769] = {0xA405: 48}  # FocalLengthIn35mmFilm, Exif 2.32
    Image.fromarray(data.brick()).save(tmp_path / "bricks.jpg", exif=exif)
    told = {
        "level_px": tuple(map(tuple, pixels(LEVEL).tolist())),
        "upright_px": tuple(map(tuple, pixels(UPRIGHT).tolist())),
        "length_px": tuple(map(tuple, pixels(BRICK).tolist())),
        "length_mm": LENGTH,
    }
    small = built({"Disc": Point(100, 100).buffer(50)})
    view = wall_mockup(load_wall(tmp_path / "bricks.jpg", **told), small).view
    assert view.focal_px == pytest.approx(48 / 43.2666 * np.hypot(512, 512), rel=1e-4)
    assert "as the photo's data or the job tell" in view.method


@pytest.mark.parametrize(("left", "wide"), [(100, 30), (280, 40), (330, 60)])
def test_a_post_before_real_bricks_leaves_the_light_beside_it_as_it_is(left, wide):
    """Joints at its edge do not shine: a post hides the wall and changes none of its light."""
    photo = linear_from_srgb(data.brick() / 255).astype(np.float32)[..., None] * np.ones(
        3, np.float32
    )
    on = np.ones(photo.shape[:2], np.float32)
    before = np.zeros_like(on)
    before[:, left : left + wide] = 1
    open_, behind = (
        wall_light(photo, SCALE, on, before=mask).light[..., 1] for mask in (None, before)
    )
    off = np.log(behind / open_)[before == 0]
    assert np.abs(off - np.median(off)).max() < 0.1
