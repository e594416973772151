import numpy as np
import pytest
from skimage import data
from skimage.metrics import structural_similarity as reference

from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.tracing.structural_similarity import structural_similarity


# Reference: skimage.metrics with the settings that its documentation gives for Wang et al. 2004.
@pytest.mark.parametrize("noise", [0, 5, 40])
def test_similarity_equals_that_of_scikit_image(noise):
    first = data.coins().astype(float)
    second = first + np.random.default_rng(1).normal(0, noise, first.shape)
    wanted = reference(
        first,
        second,
        data_range=255,
        gaussian_weights=True,
        sigma=1.5,
        use_sample_covariance=False,
    )
    assert structural_similarity(first, second, 255) == pytest.approx(wanted, abs=1e-9)


def test_pictures_of_different_shape_are_refused():
    with pytest.raises(GeometryError, match="cannot be compared"):
        structural_similarity(np.zeros((20, 20)), np.zeros((20, 21)))
