from dataclasses import replace

import numpy as np
import pytest
import shapely
from PIL import Image

from sheetstack.geometry.artwork.care import read_care
from sheetstack.geometry.errors import ArtworkError
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.support.visible_damage import Coat, DamageMap

JOB = """
title = "Care"
[sheet]
width_mm = 100
height_mm = 80
material = "card"
thickness_mm = 0.4
[bridges]
care = "{care}"
[[layers]]
name = "Shadow"
colour = "#000000"
artwork = "a.svg"
"""


def job(folder, care):
    return replace(parse_job(JOB.format(care=care), "job.toml"), folder=folder)


def test_a_white_place_counts_eight_times_and_a_grey_one_less(tmp_path):
    grey = np.zeros((80, 100), np.uint8)
    grey[20:40, 10:30] = 255
    grey[50:70, 60:90] = 110
    Image.fromarray(grey).save(tmp_path / "care.png")
    areas = read_care(job(tmp_path, "care.png"), (100.0, 80.0))
    by_factor = {area.factor: area.shape for area in areas}
    # The line of nine tenths of white runs 0.4 pixel inside a hard edge: 19.2 mm a side.
    assert by_factor[8.0].area == pytest.approx(19.2**2, abs=1)
    assert by_factor[8.0].centroid.coords[0] == pytest.approx((20, 50), abs=0.1)
    assert by_factor[4.0].covers(shapely.Point(75, 20))
    both = [(a, b) for a in areas for b in areas if a is not b]
    assert all(a.shape.intersection(b.shape).area < 1e-6 for a, b in both)


def test_a_group_of_a_drawing_counts_eight_times(tmp_path):
    (tmp_path / "layers.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="80mm" viewBox="0 0 100 80">'
        '<g id="care"><rect x="10" y="10" width="20" height="20"/></g></svg>'
    )
    (area,) = read_care(job(tmp_path, "layers.svg#care"), (100.0, 80.0))
    assert area.factor == 8.0
    assert area.shape.area == pytest.approx(400)


def test_without_care_there_is_none_and_a_missing_file_is_told_of(tmp_path):
    assert read_care(job(tmp_path, ""), (100.0, 80.0)) == ()
    with pytest.raises(ArtworkError, match=r"care: .*none\.png"):
        read_care(job(tmp_path, "none.png"), (100.0, 80.0))


def test_damage_is_multiplied_where_care_is_asked_for():
    square = as_multipolygon(shapely.box(0, 0, 10, 10))
    eye = as_multipolygon(shapely.box(0, 0, 5, 10))
    strips = [shapely.box(1, 0, 2, 10), shapely.box(7, 0, 8, 10), shapely.box(4, 0, 6, 1)]
    plain = DamageMap(Coat(square, "#000000"), (), (), "#ffffff").of(strips)
    careful = DamageMap(Coat(square, "#000000"), (), (), "#ffffff", [(eye, 8.0)]).of(strips)
    np.testing.assert_allclose(careful.price / plain.price, [8, 1, 4.5])
    np.testing.assert_allclose(careful.damage, plain.damage)
    np.testing.assert_allclose(careful.area, plain.area)
