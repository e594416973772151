import numpy as np
import pytest
from skimage import data
from skimage.restoration import denoise_tv_chambolle

from sheetstack.geometry.tracing.blur import blur, blur_within
from sheetstack.geometry.tracing.total_variation import flatten


def cost(u, f, weight):
    """What is minimised: the length of outlines plus the distance from the picture."""
    u = u.astype(float)
    along, across = np.zeros_like(u), np.zeros_like(u)
    along[:, :-1] = u[:, 1:] - u[:, :-1]
    across[:-1] = u[1:] - u[:-1]
    return np.hypot(along, across).sum() + weight / 2 * ((u - f) ** 2).sum()


# Reference: skimage.restoration.denoise_tv_chambolle, which minimises the same with 1 / weight, run
# until it has converged.
@pytest.mark.parametrize("weight", [20, 5, 2])
def test_the_least_cost_is_that_of_scikit_image(weight):
    f = (data.coins() / 255).astype(np.float32)[:200, :250]
    wanted = cost(
        denoise_tv_chambolle(f, weight=1 / weight, eps=1e-7, max_num_iter=1500), f, weight
    )
    found = cost(flatten(f, np.full_like(f, weight)), f, weight)
    assert found == pytest.approx(wanted, rel=0.02)


def test_a_disc_loses_what_theory_says():
    # A disc of radius r and contrast c keeps c - 2 / (w r): Strong and Chan, "Edge-preserving and
    # scale-dependent properties of total variation regularization", Inverse Problems 19, 2003.
    y, x = np.mgrid[:160, :160] - 79.5
    disc = (np.hypot(x, y) < 30).astype(np.float32)
    for weight in (0.2, 0.5):
        middle = flatten(disc, np.full_like(disc, weight))[78:82, 78:82].mean()
        assert middle == pytest.approx(1 - 2 / (weight * 30), abs=0.05)


def test_small_things_melt_and_big_ones_stay():
    picture = np.zeros((120, 200), np.float32)
    picture[30:90, 20:80] = 30
    picture[58:62, 148:152] = 30
    flat = flatten(picture, np.full_like(picture, 2 / (15 * 6)))
    assert flat[60, 50] > 20
    assert flat[60, 150] < 8


def test_cheap_outlines_keep_what_dear_ones_lose():
    picture = np.zeros((100, 100), np.float32)
    picture[46:54, 46:54] = 30
    weight = np.full_like(picture, 2 / (15 * 6))
    cheap = np.full_like(picture, 0.25)
    assert flatten(picture, weight, cheap)[50, 50] > flatten(picture, weight)[50, 50] + 5


def test_work_can_be_stopped():
    class Stopped(Exception):
        pass

    def stop():
        raise Stopped

    with pytest.raises(Stopped):
        flatten(np.zeros((60, 60), np.float32), np.ones((60, 60), np.float32), None, stop)


# Reference: scipy.ndimage.gaussian_filter.
@pytest.mark.parametrize("sigma", [1.2, 3.0, 9.0])
def test_a_blur_is_nearly_gaussian(sigma):
    from scipy.ndimage import gaussian_filter

    f = (data.coins() / 255).astype(np.float32)
    inner = slice(round(4 * sigma), -round(4 * sigma))  # at the edge each takes its own way on
    off = np.abs(blur(f, sigma) - gaussian_filter(f, sigma, mode="nearest"))[inner, inner]
    assert off.max() < 0.03


def test_a_blur_within_a_mask_does_not_see_beyond_it():
    f = np.zeros((50, 80), np.float32)
    f[:, 40:] = 100
    share = np.zeros_like(f)
    share[:, :40] = 1
    assert blur_within(f, share, 5).max() < 1
