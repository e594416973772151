"""Where sheets stand, and the marks drawn over them."""

import numpy as np
import pytest
import shapely

from sheetstack.geometry.build import build
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.scene.marks import marks_of
from sheetstack.geometry.scene.stack import sheet_places


def test_sheets_half_way_aside_stand_half_as_high():
    full, half = sheet_places([3, 3], 100, 20), sheet_places([3, 3], 100, 20, aside=0.5)
    assert half[1].tolist() == pytest.approx([55.0, 0.0, full[1, 2] / 2])


def test_sheets_side_by_side_do_not_overlap():
    places = sheet_places([3, 3, 3], 100, 20, aside=1.0)
    assert (np.diff(places[:, 0]) > 100).all()
    assert (places[:, 2] == 0).all()


def test_marks_outline_the_islands_and_the_strips(tmp_path):
    (tmp_path / "o.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">'
        '<path fill-rule="evenodd" d="M10 10h40v40h-40zM20 20h20v20h-20z"/></svg>'
    )
    job = parse_job(
        'title="O"\n[sheet]\nwidth_mm=80\nheight_mm=80\nmargin_mm=5\n'
        '[[layers]]\nname="Base"\ncolour="#000000"\nartwork="o.svg"\n',
        folder=tmp_path,
    )
    layer = build(job).layers[0]
    marks = marks_of(layer)
    islands = [m for m in marks if m.kind == "island"]
    assert [shapely.Polygon(m.outline).area for m in islands] == pytest.approx([400.0])
    assert islands[0].label == "1: 400 mm²"
    strips = [m for m in marks if m.kind != "island"]
    assert len(strips) == len(layer.bridges) >= 1
    for mark in strips:
        strip = shapely.Polygon(mark.outline)
        assert strip.distance(shapely.Point(mark.place)) == 0
