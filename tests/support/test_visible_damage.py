import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, box
from skimage import color

from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.support.visible_damage import Coat, DamageMap

from ..random_sheets import random_shape

GROUND, RED, BLUE, CREAM = "#2f8f83", "#d0342c", "#1f3a93", "#fff0cf"


def coat(shape, colour):
    return Coat(as_multipolygon(shape), colour)


def difference(first, second):
    """Return CIEDE2000 by scikit-image."""
    rgb = np.array([[int(c[k : k + 2], 16) / 255 for k in (1, 3, 5)] for c in (first, second)])
    lab = color.rgb2lab(rgb)
    return float(color.deltaE_ciede2000(lab[0], lab[1]))


def test_a_strip_on_the_bare_ground_counts_its_area_times_the_difference():
    spoilt = DamageMap(coat(box(0, 0, 50, 50), RED), (), (), GROUND).of([box(10, 10, 30, 12)])
    assert spoilt.area == pytest.approx([40])
    assert spoilt.damage == pytest.approx([40 * difference(RED, GROUND)], rel=1e-3)


def test_what_a_later_layer_paints_over_does_not_count():
    layer = coat(box(0, 0, 50, 50), RED)
    above = (coat(box(0, 0, 20, 50), BLUE), coat(box(45, 0, 50, 50), CREAM))
    spoilt = DamageMap(layer, (), above, GROUND).of([box(10, 10, 30, 12), box(1, 1, 9, 9)])
    assert spoilt.area == pytest.approx([20, 0])
    assert spoilt.damage[1] == 0


def test_the_topmost_layer_below_shows():
    below = (coat(box(0, 0, 50, 50), BLUE), coat(box(0, 0, 20, 50), CREAM))
    spoilt = DamageMap(coat(box(0, 0, 50, 50), RED), below, (), GROUND).of([box(10, 10, 30, 12)])
    expected = 20 * difference(RED, CREAM) + 20 * difference(RED, BLUE)
    assert spoilt.damage == pytest.approx([expected], rel=1e-3)


def test_a_strip_over_what_has_the_same_colour_spoils_nothing():
    below = (coat(box(0, 0, 50, 50), RED),)
    assert (
        DamageMap(coat(box(0, 0, 9, 9), RED), below, (), GROUND).of([box(1, 1, 3, 3)]).damage == 0
    )


def test_what_lies_in_the_sheet_spoils_nothing():
    spoilt = DamageMap(coat(box(0, 0, 10, 10), RED), (), (), GROUND).of([box(10, 0, 20, 10)])
    assert spoilt.damage == 0
    assert spoilt.area == 0


@pytest.mark.parametrize("seed", range(15))
def test_damage_equals_that_of_a_fine_raster(seed):
    # The outside check: each pixel of a raster composited by itself, as a painter would.
    rng = np.random.default_rng(seed)
    shapes = [as_multipolygon(random_shape(seed * 3 + k)) for k in range(3)]
    colours = [RED, BLUE, CREAM]
    x, y = rng.uniform(20, 120, 2)
    strip = shapely.affinity.rotate(box(x, y, x + 60, y + 12), rng.uniform(0, 90))
    layer = seed % 3
    coats = [Coat(s, c) for s, c in zip(shapes, colours, strict=True)]
    spoilt = DamageMap(coats[layer], coats[:layer], coats[layer + 1 :], GROUND).of([strip])
    step = 0.1
    x0, y0, x1, y1 = strip.bounds
    xx, yy = np.meshgrid(np.arange(x0, x1, step), np.arange(y0, y1, step))
    wanted = np.full(xx.shape, -1)
    shown = np.full(xx.shape, -1)
    kept = shapely.contains_xy(strip, xx, yy)
    for k, shape in enumerate(shapes):
        inside = shapely.contains_xy(shape, xx, yy)
        wanted[inside] = k
        shown[inside & ~(kept & (k == layer))] = k
    palette = [GROUND, *colours]
    total = sum(
        difference(palette[a + 1], palette[b + 1]) * ((wanted == a) & (shown == b)).sum()
        for a in range(-1, 3)
        for b in range(-1, 3)
        if a != b
    )
    assert spoilt.damage[0] == pytest.approx(total * step * step, rel=0.02, abs=5.0)


def test_the_map_at_points():
    spoilt = DamageMap(coat(box(0, 0, 50, 50), RED), (), (coat(box(0, 0, 20, 50), BLUE),), GROUND)
    at = spoilt.at(np.array([[5.0, 5.0], [30.0, 5.0], [90.0, 5.0]]))
    assert at == pytest.approx([0, difference(RED, GROUND), 0], rel=1e-3)
    assert not spoilt.uniform
    assert DamageMap(coat(box(0, 0, 50, 50), RED), (), (), GROUND).uniform


def test_an_empty_layer_has_no_damage():
    spoilt = DamageMap(Coat(MultiPolygon(), RED), (), (), GROUND)
    assert spoilt.of([box(0, 0, 1, 1)]).damage == 0


def test_a_thin_coat_above_lets_the_gap_show_through():
    layer = coat(box(0, 0, 50, 50), "#ffffff")
    thin = Coat(as_multipolygon(box(0, 0, 50, 50)), "#000000", opacity=0.5)
    spoilt = DamageMap(layer, (), (thin,), "#000000").of([box(0, 0, 1, 1)])
    # White and black by halves, mixed as sRGB values; without the layer's white all is black.
    assert spoilt.damage == pytest.approx([difference("#808080", "#000000")], rel=1e-2)
    opaque = Coat(thin.shape, thin.colour)
    assert DamageMap(layer, (), (thin, opaque), "#000000").of([box(0, 0, 1, 1)]).damage == 0


def test_coats_are_seen_through_each_other_down_to_the_first_that_hides():
    square, right = box(0, 0, 10, 10), box(5, 0, 10, 10)
    below = (
        Coat(as_multipolygon(square), BLUE, 0.5),
        coat(right, RED),
        Coat(as_multipolygon(square), CREAM, 0.25),
    )
    layer = Coat(as_multipolygon(square), "#000000", 0.5)
    above = (Coat(as_multipolygon(box(0, 0, 10, 5)), "#000000", 0.5),)
    damage = DamageMap(layer, below, above, GROUND)
    places = np.array([[2.0, 8.0], [8.0, 8.0], [2.0, 2.0], [8.0, 2.0]])

    def painted(x, y, coats):
        srgb = np.array([int(GROUND[k : k + 2], 16) / 255 for k in (1, 3, 5)])
        for one in coats:
            if one.shape.intersects(shapely.Point(x, y)):
                srgb = one.over(srgb)
        return color.rgb2lab(srgb)

    expected = [
        color.deltaE_ciede2000(
            painted(x, y, (*below, layer, *above)), painted(x, y, (*below, *above))
        )
        for x, y in places
    ]
    assert damage.at(places) == pytest.approx(expected, rel=1e-3)


def test_care_makes_a_place_dearer_and_its_damage_is_told_as_it_is():
    square, strip = box(0, 0, 10, 10), box(3, 3, 7, 4)  # half in the place that is cared for
    plain = DamageMap(coat(square, RED), (), (), GROUND)
    careful = DamageMap(coat(square, RED), (), (), GROUND, [(as_multipolygon(box(0, 0, 5, 9)), 8)])
    seen, cared = plain.of([strip]), careful.of([strip])
    assert cared.damage == pytest.approx(seen.damage)
    assert seen.price == pytest.approx(seen.damage)
    assert cared.price == pytest.approx(seen.damage * (8 + 1) / 2)
    places = np.array([[2.0, 2.0], [8.0, 2.0]])
    assert careful.at(places) == pytest.approx(plain.at(places) * [8, 1])
