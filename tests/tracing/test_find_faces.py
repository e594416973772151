"""What is believed of the face library's answers, and, where it is installed, the answers."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage import data

from sheetstack.geometry.tracing.find_faces import (
    faces_can_be_found,
    find_marks,
    find_subject,
    is_on_a_person,
    shows_people,
)
from tests import shaded_face
from tests.drawn_face import SIZE, marks

installed = pytest.mark.skipif(not faces_can_be_found(), reason="needs the extra 'faces'")


def disc(radius, soft):
    """A mask of a disc that goes from 1 to 0 within so many pixels."""
    y, x = np.mgrid[:100, :100]
    off = radius - np.hypot(x - 50, y - 50)
    return np.clip(0.5 + off / max(soft, 1e-6), 0, 1).astype(np.float32)


@pytest.mark.parametrize(
    ("mask", "face", "believed"),
    [
        (disc(30, 1), False, True),  # sure of all: someone seen from behind
        (disc(30, 25), False, False),  # in doubt about most of it: a cup
        (disc(30, 25), True, True),  # a face makes up for doubt
        (disc(90, 1), False, False),  # nearly everything: tells nothing apart
        (disc(90, 1), True, True),
        (disc(4, 1), True, False),  # a crumb
        (np.zeros((100, 100), np.float32), True, False),
    ],
)
def test_a_mask_of_people_is_believed_where_it_is_sure(mask, face, believed):
    assert shows_people(mask, face) == believed


def test_a_face_where_nobody_is_seen_is_a_pattern():
    seen = np.zeros(SIZE[::-1], np.float32)
    assert not is_on_a_person(marks(), seen)
    seen[:] = 1
    assert is_on_a_person(marks(), seen)


@installed
@pytest.mark.parametrize("thing", ["coffee", "coins", "cell", "chelsea", "colorwheel", "rocket"])
def test_the_library_makes_no_person_of_a_thing(thing, tmp_path):
    """scikit-image's own test pictures."""
    Image.fromarray(getattr(data, thing)()).save(tmp_path / "thing.png")
    assert not find_subject(tmp_path / "thing.png").known


@installed
def test_the_library_finds_the_person_of_a_public_photo(tmp_path):
    """scikit-image's own test picture (NASA, public domain)."""
    Image.fromarray(data.astronaut()).save(tmp_path / "photo.png")
    found = find_subject(tmp_path / "photo.png")
    assert len(found.faces) == 1
    assert found.outline


@installed
def test_the_library_finds_a_face_in_a_public_photo():
    """scikit-image's own test picture (NASA, public domain), its face where skimage puts it."""
    found = find_marks(data.astronaut())
    assert len(found) == 1
    # Cascade detector of scikit-image's own documentation: face near (155..285, 60..190).
    middle = found[0]["nose_line"][5]
    assert 155 < middle[0] < 285
    assert 60 < middle[1] < 190
    assert 35 < found[0].eye_distance < 55


@installed
def test_the_demo_s_person_is_found_on_the_photo_and_on_the_painted_wall():
    """The independent judge of likeness: a library that knows faces, and nothing of stencils."""
    folder = Path(__file__).parents[2] / "demo_scenes" / "person"
    photo = find_marks(np.asarray(Image.open(folder / "photo" / "photo.jpg").convert("RGB")))
    assert len(photo) == 1
    # The head was modelled on these marks.
    off = np.hypot(*(photo[0].all_points() - shaded_face.marks().all_points()).T)
    assert off.mean() < 0.08 * photo[0].eye_distance
    wall = Image.open(folder / "wall.jpg").convert("RGB")
    painted = find_marks(np.asarray(wall))
    assert len(painted) == 1
    # The wall shows the picture and a margin of 20 mm round it, on a sheet 351 mm wide.
    mm = 351.0 / wall.width
    scale = 311.0 / 900
    there = painted[0].all_points() * mm - 20.0
    off = np.hypot(*(there - photo[0].all_points() * scale).T)
    assert off.mean() < 0.05 * photo[0].eye_distance * scale


@installed
def test_the_library_finds_near_and_far_faces_of_one_picture():
    """scikit-image's own test picture, its face once near and once far off."""
    one = Image.fromarray(data.astronaut())
    group = np.full((512, 700, 3), 128, np.uint8)
    group[:480, :560] = one.crop((100, 0, 380, 240)).resize((560, 480))
    group[:130, 565:695] = one.crop((120, 0, 320, 200)).resize((130, 130))
    near, far = find_marks(group)
    assert near["nose_line"][5][0] < 560 < far["nose_line"][5][0]
    assert near.eye_distance > 2 * far.eye_distance
