"""Artwork fitted to a stated size: no factor is worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from PIL import Image

from sheetstack.geometry import build_job
from sheetstack.geometry.artwork.read import read_all, size_of
from sheetstack.geometry.errors import JobError
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.job.resize import job_on_sheets

#: An icon of 24 px: at 96 px an inch (CSS 2.1, 4.3.2) it is 6.35 mm wide.
ICON = """<svg xmlns="http://www.w3.org/2000/svg" width="24" height="12" viewBox="0 0 24 12">
<circle cx="6" cy="6" r="4"/><rect x="14" y="2" width="8" height="8"/></svg>"""


def _job(folder, sheet, artwork="icon.svg", more=""):
    text = (
        f'title = "t"\n[sheet]\nwidth_mm = 300\nheight_mm = 200\n{sheet}\n'
        f'[[layers]]\nname = "a"\ncolour = "#000000"\nartwork = "{artwork}"\n{more}'
    )
    return parse_job(text, folder=folder)


@pytest.fixture
def icons(tmp_path):
    (tmp_path / "icon.svg").write_text(ICON)
    grey = np.full((20, 40), 255, np.uint8)
    grey[5:15, 10:30] = 0
    Image.fromarray(grey).save(tmp_path / "icon.png")  # states no resolution
    (tmp_path / "icon.dxf").write_bytes(_dxf())
    return tmp_path


def _dxf():
    import io

    import ezdxf

    drawing = ezdxf.new()
    drawing.modelspace().add_lwpolyline([(3, 3), (7, 3), (7, 5), (3, 5)], close=True)
    out = io.StringIO()
    drawing.write(out)
    return out.getvalue().encode()


def _bounds(job):
    return np.round(read_all(job)[0].artwork.shape.bounds, 6).tolist()


def test_as_drawn_an_icon_is_tiny(icons):
    assert size_of(_job(icons, "")) == pytest.approx((6.35, 3.175))


@pytest.mark.parametrize(
    ("sheet", "width"),
    [
        ('fit = "sheet"', 260.0),  # 300 less margins of 20
        ("fit_mm = [120.0]", 120.0),
        ("fit_mm = [500.0, 50.0]", 100.0),  # the height binds
        ('fit = "sheet"\nfit_mm = [60.0]', 60.0),  # a stated size comes first
    ],
)
def test_a_drawing_is_fitted_by_its_page_in_its_shape(icons, sheet, width):
    drawing = read_all(_job(icons, sheet))[0].artwork
    assert drawing.page == pytest.approx((width, width / 2))
    assert drawing.shape.bounds == pytest.approx([width * v / 24 for v in (2, 2, 22, 10)], abs=0.05)
    # Curves are cut into chords for the size that is made: within 0.05 mm of the circle's area.
    circle = min(drawing.shape.geoms, key=lambda p: p.bounds[0])
    radius = width * 4 / 24
    away = shapely.distance(shapely.points(shapely.get_coordinates(circle)), circle.centroid)
    assert away == pytest.approx(np.full(len(away), radius), abs=0.06)
    assert circle.area == pytest.approx(np.pi * radius**2, rel=2e-3)


def test_a_mask_without_resolution_is_fitted_by_its_pixels(icons):
    assert _bounds(_job(icons, "fit_mm = [120.0]", "icon.png")) == pytest.approx(
        [30, 15, 90, 45], abs=0.01
    )


def test_a_drawing_without_a_page_is_fitted_by_its_bounds(icons):
    low_x, low_y, high_x, high_y = _bounds(_job(icons, "fit_mm = [120.0]", "icon.dxf"))
    assert (high_x - low_x, high_y - low_y) == pytest.approx((120.0, 60.0))


def test_a_sheet_follows_the_artworks_shape(icons):
    job = _job(icons, "")
    resized = job_on_sheets(job, size_of(job), 540.0, None)
    assert (resized.sheet.width_mm, resized.sheet.height_mm) == (540.0, 290.0)
    built = build_job(resized)
    assert built.layers[0].artwork.shape.bounds[2] - built.layers[0].artwork.shape.bounds[
        0
    ] == pytest.approx(500 * 20 / 24, abs=0.05)


def test_places_on_the_sheet_are_not_moved_in_silence(icons):
    job = _job(icons, "", more="keep_mm = [[150.0, 100.0]]\n")
    with pytest.raises(JobError, match="keep_mm names places on sheets of 300 x 200 mm"):
        job_on_sheets(job, (24, 12), 600.0, None)
    with pytest.raises(JobError, match="fit_mm"):
        _job(icons, "fit_mm = [1.0, 2.0, 3.0]")
