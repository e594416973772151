import numpy as np
import pytest
from scipy.ndimage import label

from sheetstack.geometry.errors import JobError
from sheetstack.geometry.tracing.focus import box_marks, flooded_from_border, joined_to_border
from sheetstack.geometry.tracing.image import Picture


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
