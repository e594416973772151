"""The subject's own colour at a soft edge; Porter and Duff's "over" makes the mixtures."""

import numpy as np
import pytest

from sheetstack.geometry.colour import ciede2000, lab_from_srgb
from sheetstack.geometry.tracing.edge_colour import own_colours

HAIR, WALL, WHITE = ((40, 25, 20), (70, 130, 235), (250, 250, 250))
SIZE, RADIUS = 160, 55


def head(front, back, soft):
    """A disc over a wall, mixed over so many pixels: CIELAB, the mask, and how far inside."""
    y, x = np.mgrid[:SIZE, :SIZE]
    inside = RADIUS - np.hypot(x - SIZE / 2, y - SIZE / 2)
    share = np.clip(0.5 + inside / soft, 0, 1)[..., None]
    mixed = share * np.array(front, float) + (1 - share) * np.array(back, float)
    return lab_from_srgb(mixed / 255).astype(np.float32), inside > -soft / 4, inside


@pytest.mark.parametrize("soft", [4, 8])
def test_the_backdrops_share_is_taken_out_of_a_soft_edge(soft):
    lab, subject, inside = head(HAIR, WALL, soft)
    rim = subject & (inside < soft / 2)
    own = lab_from_srgb(np.array(HAIR) / 255)
    before = ciede2000(lab[rim], own)
    after = ciede2000(own_colours(lab, subject, 8.0)[rim], own)
    # In CIELAB a mixture lies a little beside the straight line: not all is taken out.
    assert np.median(before) > 12
    assert np.median(after) < 0.4 * np.median(before)
    assert after.max() < 0.7 * before.max()


def test_what_lies_deeper_stays():
    lab, subject, inside = head(HAIR, WALL, 4)
    deep = inside > 12
    assert np.array_equal(own_colours(lab, subject, 8.0)[deep], lab[deep])


def test_a_light_hem_is_no_mixture():
    """It is lighter than what it lies between."""
    lab, subject, inside = head(HAIR, WALL, 2)
    hem = (inside > 1) & (inside < 5)
    lab[hem] = lab_from_srgb(np.array(WHITE) / 255)
    kept = own_colours(lab, subject, 8.0)[hem]
    assert np.median(ciede2000(kept, lab[hem])) < 1


def test_dark_before_dark_is_left_as_it_is():
    lab, subject, inside = head((22, 20, 24), (26, 22, 22), 4)
    rim = subject & (inside < 2)
    assert ciede2000(own_colours(lab, subject, 8.0)[rim], lab[rim]).max() < 1.5


def test_without_a_sure_inside_nothing_changes():
    lab = np.zeros((20, 20, 3), np.float32)
    subject = np.zeros((20, 20), bool)
    subject[10, 10] = True
    assert np.array_equal(own_colours(lab, subject, 8.0), lab)
