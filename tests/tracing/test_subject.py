import numpy as np
import pytest
from scipy.ndimage import label
from skimage import data
from skimage.transform import resize

from sheetstack.geometry.errors import JobError
from sheetstack.geometry.tracing.picture import Picture
from sheetstack.geometry.tracing.subject import (
    backdrop_of,
    box_marks,
    flooded_from_border,
    joined_to_border,
)


def picture_of(srgb, full=None):
    rows, columns = srgb.shape[:2]
    opacity = np.ones((rows, columns), np.float32)
    return Picture(srgb.astype(np.float32), opacity, full or (columns, rows), "a.png")


# Reference: scipy.ndimage.label, pixels joined side by side.
@pytest.mark.parametrize("share", [0.3, 0.55, 0.7])
def test_what_joins_the_border_is_found(share):
    marked = np.random.default_rng(3).random((60, 90)) < share
    labels, _ = label(marked)
    edge = np.unique(np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]]))
    wanted = np.isin(labels, edge[edge > 0])
    assert np.array_equal(joined_to_border(marked), wanted)


def test_a_flood_follows_a_soft_background_and_stops_at_the_subject():
    y, x = np.mgrid[:80, :120]
    srgb = np.repeat((0.4 + 0.4 * x / 120)[..., None], 3, axis=2)
    disc = np.hypot(x - 60, y - 40) < 25
    srgb[disc] = (0.7, 0.1, 0.1)
    hole = np.hypot(x - 60, y - 40) < 6
    srgb[hole] = (0.6, 0.6, 0.6)
    background = flooded_from_border(picture_of(srgb), 6.0)
    assert not background[disc].any()  # nor what looks like it and is enclosed
    assert background[~disc].mean() > 0.99


def test_rectangles_are_in_pixels_of_the_whole_picture():
    picture = picture_of(np.zeros((50, 100, 3)), full=(1000, 500))
    marks = box_marks([(100, 200, 300, 100)], picture)
    rows, columns = np.nonzero(marks)
    assert (rows.min(), rows.max(), columns.min(), columns.max()) == (20, 29, 10, 39)


@pytest.mark.parametrize("box", [(0, 0, 0, 5), (200, 0, 5, 5), (-9, -9, 5, 5)])
def test_a_rectangle_off_the_picture_gets_a_sentence(box):
    with pytest.raises(JobError, match="rectangle on the picture's 100 x 50 pixels"):
        box_marks([box], picture_of(np.zeros((50, 100, 3))))


def on_backdrop(rim):
    """A dark disc in a rim of some grey, before a lighter backdrop."""
    y, x = np.mgrid[:120, :160]
    grey = np.full((120, 160), 0.85)
    far = np.hypot(x - 80, y - 60)
    grey[far < 55] = rim
    grey[far < 20] = 0.1
    return picture_of(np.repeat(grey[..., None], 3, axis=2))


def test_a_plain_backdrop_is_known_and_one_with_a_faint_rim_is_doubted():
    sure = backdrop_of(on_backdrop(0.4), 12.0)
    assert sure.plain
    assert sure.share == pytest.approx(1 - np.pi * 55**2 / (120 * 160), abs=0.02)
    # The rim is off by a CIEDE2000 difference between 0.6 x 12 and 12.
    doubted = backdrop_of(on_backdrop(0.73), 12.0)
    assert not doubted.steady
    assert doubted.stricter == pytest.approx(sure.share, abs=0.01)


def test_a_picture_of_nothing_but_backdrop_has_no_subject():
    assert not backdrop_of(picture_of(np.full((60, 80, 3), 0.5)), 12.0).plain


def test_a_bust_that_the_border_cuts_off_is_no_plain_backdrop():
    picture = on_backdrop(0.4)
    whole = backdrop_of(picture, 12.0)
    assert whole.even
    picture.srgb[90:, 50:110] = 0.1  # a dark coat down to the lower edge
    bust = backdrop_of(picture, 12.0)
    assert flooded_from_border(picture, 12.0)[100:, 60:100].mean() > 0.9  # what is at stake
    assert not bust.even
    assert not bust.plain


@pytest.mark.parametrize("source", ["astronaut", "camera"])
def test_removal_is_not_advised_for_public_photos_of_people(source):
    """scikit-image's test pictures: the border cuts a suit and a coat off."""
    srgb = resize(as_rgb(getattr(data, source)()), (240, 240), anti_aliasing=True)
    assert not backdrop_of(picture_of(srgb), 12.0).plain


def as_rgb(pixels):
    return pixels if pixels.ndim == 3 else np.repeat(pixels[..., None], 3, axis=2)
