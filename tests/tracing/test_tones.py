import numpy as np
import pytest
from skimage import data
from skimage.color import deltaE_ciede2000
from skimage.filters import threshold_multiotsu

from sheetstack.geometry.colour import lab_from_srgb
from sheetstack.geometry.errors import JobError
from sheetstack.geometry.tracing.tones import assign_cans, otsu_cuts


def lightness(name):
    pixels = getattr(data, name)()
    if pixels.ndim == 2:
        pixels = np.repeat(pixels[..., None], 3, axis=2)
    return lab_from_srgb(pixels / 255)[..., 0]


# Reference: scikit-image, skimage.filters.threshold_multiotsu, which tries all cuts.
@pytest.mark.parametrize("classes", [2, 3, 4])
@pytest.mark.parametrize("name", ["chelsea", "coffee", "coins", "clock", "cell", "brick"])
def test_cuts_equal_those_of_scikit_image(name, classes):
    tones = lightness(name)
    wanted = threshold_multiotsu(tones, classes)
    assert otsu_cuts(tones, classes) == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("classes", [2, 3, 4, 5])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_cuts_of_random_tones_equal_those_of_scikit_image(seed, classes):
    random = np.random.default_rng(seed)
    middles = random.uniform(0, 100, 6)
    tones = random.normal(middles[random.integers(0, 6, 5000)], 4)
    wanted = threshold_multiotsu(tones, classes, nbins=64)
    assert otsu_cuts(tones, classes, bins=64) == pytest.approx(wanted, abs=1e-9)


def test_cuts_part_the_plain_case():
    tones = np.repeat([10.0, 50.0, 90.0], 100)
    low, high = otsu_cuts(tones, 3)
    assert 10 < low < 50 < high < 90


def test_too_few_tones_get_a_sentence():
    with pytest.raises(JobError, match="2 different tones; expected at least 4"):
        otsu_cuts(np.repeat([0.0, 1.0], 50), 4)


# Reference: skimage.color.deltaE_ciede2000.
def test_each_colour_takes_the_nearest_can():
    random = np.random.default_rng(4)
    cans = np.column_stack(
        [random.uniform(0, 100, 30), random.uniform(-80, 80, 30), random.uniform(-80, 80, 30)]
    )
    for _ in range(20):
        wanted = cans[random.choice(30, 4, replace=False)] + random.normal(0, 1, (4, 3))
        nearest = deltaE_ciede2000(wanted[:, None], cans[None]).argmin(axis=1)
        if len(set(nearest)) == 4:
            assert assign_cans(wanted, cans) == tuple(nearest)


def test_no_can_serves_twice_while_there_are_enough():
    # Reference: scipy.optimize.linear_sum_assignment, exact least total cost.
    from scipy.optimize import linear_sum_assignment

    random = np.random.default_rng(5)
    for _ in range(30):
        wanted = random.normal([50, 0, 0], 15, (4, 3))
        cans = random.normal([50, 0, 0], 25, (6, 3))
        chosen = assign_cans(wanted, cans)
        assert len(set(chosen)) == 4
        cost = deltaE_ciede2000(wanted[:, None], cans[None])
        rows, columns = linear_sum_assignment(cost)
        alone = cost.argmin(axis=1)
        if len(set(alone)) < 4:
            assert cost[np.arange(4), chosen].sum() == pytest.approx(cost[rows, columns].sum())


def test_with_too_few_cans_one_serves_twice():
    assert assign_cans([[20, 0, 0], [30, 0, 0], [90, 0, 0]], [[25, 0, 0], [95, 0, 0]]) == (0, 0, 1)
