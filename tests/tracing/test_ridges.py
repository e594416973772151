import numpy as np
import pytest
from skimage import data
from skimage.feature import structure_tensor
from skimage.filters import sato

from sheetstack.geometry.colour import lab_from_srgb
from sheetstack.geometry.errors import Cancelled
from sheetstack.geometry.tracing.ridges import flow, line_evidence


def ruled(angle, width=4.0, light=80.0, dark=20.0, side=120):
    """A dark line through the middle of a light square."""
    y, x = np.mgrid[:side, :side] - (side - 1) / 2
    off = np.abs(-np.sin(angle) * x + np.cos(angle) * y)
    return np.float32(light + (dark - light) * np.clip(width / 2 + 0.5 - off, 0, 1)), off


@pytest.mark.parametrize("angle", np.linspace(0, np.pi, 7)[:-1])
def test_a_line_is_found_at_every_angle_and_nothing_beside_it(angle):
    tone, off = ruled(angle)
    evidence = line_evidence(tone, 4.0)
    inside = np.s_[20:-20, 20:-20]
    assert evidence[inside][off[inside] < 1].min() > 8
    assert np.abs(evidence[inside][off[inside] > 12]).max() < 0.5


def test_a_light_line_is_told_from_a_dark_one():
    tone, off = ruled(0.3, dark=100.0, light=40.0)
    assert line_evidence(tone, 4.0)[20:-20, 20:-20][off[20:-20, 20:-20] < 1].max() < -8


def test_the_edge_of_a_patch_is_no_line():
    y, x = np.mgrid[:120, :120]
    tone = np.where(x + 0.4 * y < 85, 20.0, 80.0).astype(np.float32)
    assert np.abs(line_evidence(tone, 5.0)[15:-15, 15:-15]).max() < 1


def test_dots_are_not_strung_together():
    y, x = np.mgrid[:80, :160]
    tone = np.full((80, 160), 80, np.float32)
    for centre in (40, 60, 80, 100, 120):
        tone[np.hypot(x - centre, y - 40) < 3.2] = 20
    evidence = line_evidence(tone, 5.0)
    assert evidence[40, 40:121:20].min() > 4
    assert evidence[40, 50:111:20].max() < 1


def test_lines_of_a_photograph_are_those_of_a_known_ridge_filter():
    # Reference: skimage.filters.sato (Sato et al. 1998), black ridges of the same width.
    tone = lab_from_srgb(data.chelsea() / 255)[..., 0].astype(np.float32)
    ours = np.maximum(line_evidence(tone, 5.0), 0)
    theirs = sato(tone.astype(float), sigmas=[2.0], black_ridges=True)
    inside = np.s_[10:-10, 10:-10]
    strongest = theirs[inside] > np.quantile(theirs[inside], 0.98)
    assert np.corrcoef(ours[inside].ravel(), theirs[inside].ravel())[0, 1] > 0.7
    assert (ours[inside][strongest] > 0).mean() > 0.75


def test_the_flow_agrees_with_the_structure_tensor_of_scikit_image():
    # Reference: skimage.feature.structure_tensor; where direction is sure.
    tone = lab_from_srgb(data.chelsea()[:200, :300] / 255)[..., 0].astype(np.float32)
    x, y = flow(tone, 4.0)
    rr, rc, cc = structure_tensor(tone.astype(float), sigma=4.0, mode="nearest", order="rc")
    steepest = 0.5 * np.arctan2(2 * rc, cc - rr)
    sure = np.hypot(cc - rr, 2 * rc) > 0.5 * (rr + cc)
    across = np.abs(x * np.cos(steepest) + y * np.sin(steepest))
    assert sure.sum() > 3000
    # Gradients and blurs differ (Sobel and Gauss there): 0.1 is 6 degrees, 0.25 is 14.
    assert np.median(across[sure]) < 0.1
    assert np.quantile(across[sure], 0.9) < 0.25


def test_it_can_be_stopped():
    def stop():
        raise Cancelled("Stopped.")

    with pytest.raises(Cancelled):
        line_evidence(ruled(0.0)[0], 4.0, stop)
