"""Areas of the sheet by a group of a drawing or a grey picture: what bridges make of them."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from shapely import box

from sheetstack.geometry.artwork.care import with_drawn_areas
from sheetstack.geometry.build import build
from sheetstack.geometry.errors import ArtworkError, JobError
from sheetstack.geometry.job.edit import rebased
from sheetstack.geometry.job.load import job_text, parse_job

#: One island in a frame; the opening is equally wide all round.
DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">
<path id="ink" fill-rule="evenodd" d="M10,10H50V50H10ZM20,20H40V40H20Z"/>
<g id="weight" display="none"><rect x="5" y="5" width="50" height="14"/>
<rect x="5" y="5" width="14" height="50"/><rect x="41" y="5" width="14" height="50"/></g></svg>"""
JOB = """
title = "Area"
[sheet]
width_mm = 100
height_mm = 80
material = "polyester"
thickness_mm = 0.35
{sheet}
[bridges]
deflection_mm = 1000
let_go = false
alike = "off"
{bridges}
[[layers]]
name = "Ink"
colour = "#000000"
artwork = "a.svg"
group = "ink"
[[area]]
drawing = "{drawing}"
{area}
"""


def job(folder, drawing, area, sheet="", bridges=""):
    (folder / "a.svg").write_text(DRAWING)
    text = JOB.format(drawing=drawing, area=area, sheet=sheet, bridges=bridges)
    return parse_job(text, folder=folder)


def places(job):
    (layer,) = build(job).layers
    assert layer.islands_left == ()
    return [b.place for b in layer.bridges if b.kind == "bridge"]


@pytest.mark.parametrize("area", ["keep_free = true", "care = 20"])
def test_a_group_of_the_drawing_keeps_bridges_out_or_makes_them_dear(tmp_path, area):
    # All but the side below is weighed. The page stands in the middle of the sheet: x by 20, y by
    # 10; in the drawing y runs down.
    (place,) = places(job(tmp_path, "a.svg#weight", area))
    assert place[1] < 30
    assert 40 < place[0] < 60


def test_a_group_goes_with_artwork_that_is_fitted(tmp_path):
    large = job(tmp_path, "a.svg#weight", "keep_free = true", "fit_mm = [75.0]\nmargin_mm = 0")
    (place,) = places(large)
    middle = 40.0
    assert place[1] < middle - 15


def test_a_picture_weighs_in_greys_and_holds_where_it_is_light(tmp_path):
    grey = np.zeros((60, 60), np.uint8)
    grey[:, :19] = 140
    grey[:, 41:] = 140
    grey[:19] = 255
    Image.fromarray(grey).save(tmp_path / "weight.png")
    stated = job(tmp_path, "weight.png", "care = 40")
    (place,) = places(stated)
    assert place[1] < 30
    made = with_drawn_areas(stated, (60.0, 60.0), (20.0, 10.0), 1.0).areas
    # Between two greys a picture has thin edges of those in between.
    by_care = {a.care: a.shape for a in made if a.care > 1 and a.shape.buffer(-1).area > 9}
    assert sorted(by_care) == [20.0, 40.0]  # half of white counts half as much
    assert by_care[40.0].symmetric_difference(box(20, 51, 80, 70)).area < 40
    (held,) = [area.shape for area in made if area.care == 1]
    assert held.area == pytest.approx(60 * 19 + 2 * 19 * 41, rel=0.05)
    (place,) = places(job(tmp_path, "weight.png", "keep_free = true"))
    assert place[1] < 30


def test_bridges_run_in_a_direction_of_their_own_in_a_group(tmp_path):
    area = 'direction = "angle"\nangle_deg = 70'
    drawn = job(tmp_path, "a.svg#weight", area, bridges="most_per_island = 1")
    (layer,) = build(drawn).layers
    inside = with_drawn_areas(drawn, None, (20.0, 10.0), 1.0).areas[0].shape
    for bridge in layer.bridges:
        middle = bridge.path[1:3].mean(axis=0)
        x, y = bridge.path[2] - bridge.path[1]
        if inside.contains_properly(box(*(middle - 0.01), *(middle + 0.01))):
            assert np.degrees(np.arctan2(y, x)) % 180 == pytest.approx(70, abs=0.1)


def test_what_is_wrong_with_a_drawn_area_is_told(tmp_path):
    with pytest.raises(ArtworkError, match=r"area.* number 1: .*nothing-here"):
        build(job(tmp_path, "a.svg#nothing-here", "keep_free = true"))
    with pytest.raises(ArtworkError, match=r"number 1: .*none\.png"):
        build(job(tmp_path, "none.png", "keep_free = true"))
    with pytest.raises(JobError, match="expected one of box_mm"):
        job(tmp_path, "a.svg#weight", "box_mm = [0, 0, 9, 9]")


def test_a_drawn_area_is_saved_as_it_was_given_and_found_from_another_folder(tmp_path):
    stated = job(tmp_path, "a.svg#weight", "care = 3")
    assert build(stated).job.areas == stated.areas
    again = parse_job(job_text(stated), folder=tmp_path)
    assert again.areas == stated.areas
    (tmp_path / "deeper").mkdir()
    moved = rebased(stated, tmp_path / "deeper")
    assert moved.areas[0].drawing == "../a.svg#weight"
