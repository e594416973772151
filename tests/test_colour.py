import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from skimage import color

from sheetstack.geometry.colour import (
    ciede2000,
    hex_from_srgb,
    hides,
    lab_from_srgb,
    linear_from_srgb,
    source_over,
    srgb_from_hex,
    srgb_from_linear,
)
from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.planar.raster import to_bytes

# Sharma, Wu, Dalal 2005, table 1 (as carried in the tests of PyPI colour-science and scikit-image):
# the rows that decide between right and wrong implementations: mean hue across 0 degrees, greys,
# the blue turn, large differences.
SHARMA = [
    ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
    ((50, 3.1571, -77.2803), (50, 0, -82.7485), 2.8615),
    ((50, 2.8361, -74.0200), (50, 0, -82.7485), 3.4412),
    ((50, -1.3802, -84.2814), (50, 0, -82.7485), 1.0000),
    ((50, 0, 0), (50, -1, 2), 2.3669),
    ((50, 2.49, -0.001), (50, -2.49, 0.0009), 7.1792),
    ((50, 2.49, -0.001), (50, -2.49, 0.0010), 7.1792),
    ((50, 2.49, -0.001), (50, -2.49, 0.0011), 7.2195),
    ((50, -0.001, 2.49), (50, 0.0009, -2.49), 4.8045),
    ((50, -0.001, 2.49), (50, 0.0011, -2.49), 4.7461),
    ((50, 2.5, 0), (50, 0, -2.5), 4.3065),
    ((50, 2.5, 0), (73, 25, -18), 27.1492),
    ((50, 2.5, 0), (61, -5, 29), 22.8977),
    ((50, 2.5, 0), (56, -27, -3), 31.9030),
    ((50, 2.5, 0), (58, 24, 15), 19.4535),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((90.8027, -2.0831, 1.4410), (91.1528, -1.6435, 0.0447), 1.4441),
    ((6.7747, -0.2908, -2.4247), (5.8714, -0.0985, -2.2286), 0.6377),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
]


@pytest.mark.parametrize(("first", "second", "expected"), SHARMA)
def test_published_pairs_come_out_to_four_places(first, second, expected):
    assert ciede2000(first, second) == pytest.approx(expected, abs=1e-4)
    assert ciede2000(second, first) == pytest.approx(expected, abs=1e-4)


def test_difference_equals_that_of_scikit_image_on_many_colours():
    rng = np.random.default_rng(5)
    lab = rng.uniform((0, -120, -120), (100, 120, 120), (2, 4000, 3))
    expected = color.deltaE_ciede2000(lab[0], lab[1])
    np.testing.assert_allclose(ciede2000(lab[0], lab[1]), expected, rtol=1e-9, atol=1e-9)


def test_a_table_of_colours_against_itself_broadcasts():
    lab = np.array([[50, 0, 0], [60, 10, 5], [20, -30, 4]], float)
    table = ciede2000(lab[:, None], lab[None])
    assert table.shape == (3, 3)
    assert (np.diag(table) == 0).all()
    assert table[0, 1] == ciede2000(lab[0], lab[1])


def test_lab_equals_that_of_scikit_image():
    srgb = np.random.default_rng(2).random((3000, 3))
    # 0.01: scikit-image takes the matrix to six places and the white as (0.95047, 1, 1.08883).
    np.testing.assert_allclose(lab_from_srgb(srgb), color.rgb2lab(srgb), atol=0.02)


def test_greys_have_no_colour():
    grey = np.linspace(0, 1, 256)[:, None].repeat(3, axis=1)
    lab = lab_from_srgb(grey)
    assert np.abs(lab[:, 1:]).max() < 1e-12
    assert lab[0, 0] == pytest.approx(0, abs=1e-12)
    assert lab[-1, 0] == pytest.approx(100)


@given(st.lists(st.floats(0, 1), min_size=3, max_size=3))
def test_linear_light_comes_back(srgb):
    np.testing.assert_allclose(srgb_from_linear(linear_from_srgb(srgb)), srgb, atol=2e-7)


def test_linear_light_of_half_grey_is_the_standards():
    # IEC 61966-2-1: ((0.5 + 0.055) / 1.055) ^ 2.4; below 0.04045 a straight line.
    assert linear_from_srgb(0.5) == pytest.approx(0.21404114)
    assert linear_from_srgb(0.04) == pytest.approx(0.04 / 12.92)


@given(st.integers(0, 0xFFFFFF))
def test_hex_comes_back(number):
    text = f"#{number:06x}"
    assert hex_from_srgb(srgb_from_hex(text)) == text


@pytest.mark.parametrize(
    "text", ["", "red", "#12345", "#1234567", "#12345g", "123456", "#123456\n"]
)
def test_no_colour_is_refused(text):
    with pytest.raises(GeometryError, match="expected a colour"):
        srgb_from_hex(text)


def test_source_over_follows_the_w3c_formula():
    # W3C Compositing and Blending Level 1, 5.1: co = cs as + cb ab (1 - as), written out by hand.
    rng = np.random.default_rng(1)
    below = rng.random((5, 6, 3), np.float32)
    colour, alpha = rng.random(3), rng.random((5, 6))
    result = source_over(below, colour, alpha)
    for row in range(5):
        for column in range(6):
            for channel in range(3):
                a = alpha[row, column]
                expected = colour[channel] * a + below[row, column, channel] * 1 * (1 - a)
                assert result[row, column, channel] == pytest.approx(expected, abs=1e-6)


def test_source_over_agrees_with_pillow():
    # Reference: Pillow's alpha_composite, which works in bytes: within one step of 255.
    rng = np.random.default_rng(2)
    below = rng.integers(0, 256, (20, 30, 3), np.uint8)
    above = rng.integers(0, 256, (20, 30, 4), np.uint8)
    pillow = Image.alpha_composite(
        Image.fromarray(below).convert("RGBA"), Image.fromarray(above, "RGBA")
    ).convert("RGB")
    ours = to_bytes(
        source_over((below / 255).astype(np.float32), above[..., :3] / 255, above[..., 3] / 255)
    )
    assert np.abs(ours.astype(int) - np.asarray(pillow)).max() <= 1


def test_opaque_colour_replaces_what_is_below():
    result = source_over(np.tile([0.2, 0.4, 0.6], (2, 2, 1)), (1, 0, 0.5), 1.0)
    assert result.reshape(-1, 3).tolist() == [[1, 0, 0.5]] * 4


def test_source_over_is_exact_at_both_ends():
    rng = np.random.default_rng(3)
    below, above = rng.random((50, 3)), rng.random((50, 3))
    assert (source_over(below, above, 1.0) == above).all()
    assert (source_over(below, above, np.zeros(50)) == below).all()


def test_a_paint_that_hides_is_one_for_all():
    assert hides(1.0)
    assert hides(0.95)
    assert not hides(0.9)
