"""Cut paths seen through two independent rasterisers, CairoSVG and resvg, and our own reader."""

import io

import cairosvg
import numpy as np
import pytest
import resvg_py
from PIL import Image
from shapely import MultiPolygon, Point, Polygon, box

from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.fabricate.cut_sheet import CutSheet
from sheetstack.geometry.fabricate.kerf import cut_paths
from sheetstack.geometry.files.cut_svg import cut_svg

SIZE = (100.0, 80.0)
PIXELS_PER_MM = 20


@pytest.fixture
def openings():
    leaf = Polygon([(60, 10), (95, 20), (88, 55), (70, 70), (64, 40)])
    return MultiPolygon([Point(30, 40).buffer(20, 64), leaf])


def drawn(openings):
    """Return the cut file of a plate with these openings."""
    plate = box(0, 0, *SIZE).difference(openings)
    return cut_svg(CutSheet("Base", SIZE, cut_paths(plate, 0.0)))


def by_cairo(text):
    return cairosvg.svg2png(
        text.encode(),
        output_width=int(SIZE[0] * PIXELS_PER_MM),
        output_height=int(SIZE[1] * PIXELS_PER_MM),
    )


def by_resvg(text):
    # By resolution, not by width: resvg rounds the size to whole pixels before it scales.
    return bytes(resvg_py.svg_to_bytes(svg_string=text, dpi=25.4 * PIXELS_PER_MM))


def covered(png):
    image = np.asarray(Image.open(io.BytesIO(png)).convert("RGBA"), dtype=float)
    assert image.shape[:2] == (SIZE[1] * PIXELS_PER_MM, SIZE[0] * PIXELS_PER_MM)
    return image[..., 3] / 255


def filled(text):
    """Return the same file with its paths filled instead of stroked, outline left out."""
    return (
        text[: text.index('<g id="cut-outline"')]
        .replace('fill="none"', 'fill="black"')
        .replace('stroke="#ff0000"', 'stroke="none"')
        + "</svg>"
    )


@pytest.mark.parametrize("render", [by_cairo, by_resvg])
def test_area_and_place_of_openings(render, openings):
    coverage = covered(render(filled(drawn(openings))))
    assert coverage.sum() / PIXELS_PER_MM**2 == pytest.approx(openings.area, rel=0.005)
    # The centre of mass finds a flipped or shifted picture, which the area does not.
    y, x = np.indices(coverage.shape) + 0.5
    centre = (coverage * x).sum() / coverage.sum(), (coverage * y).sum() / coverage.sum()
    assert centre[0] / PIXELS_PER_MM == pytest.approx(openings.centroid.x, abs=0.01)
    assert SIZE[1] - centre[1] / PIXELS_PER_MM == pytest.approx(openings.centroid.y, abs=0.01)


@pytest.mark.parametrize("render", [by_cairo, by_resvg])
def test_bounding_box_of_openings(render, openings):
    coverage = covered(render(filled(drawn(openings))))
    # Coverage of the outermost pixels places the edge within the pixel on straight sides; the
    # leaf's corners and the circle's tops are points, so a pixel (0.05 mm) is the limit there.
    columns = np.flatnonzero(coverage.max(axis=0) > 0.02)
    rows = np.flatnonzero(coverage.max(axis=1) > 0.02)
    found = (
        columns[0] / PIXELS_PER_MM,
        SIZE[1] - (rows[-1] + 1) / PIXELS_PER_MM,
        (columns[-1] + 1) / PIXELS_PER_MM,
        SIZE[1] - rows[0] / PIXELS_PER_MM,
    )
    assert found == pytest.approx(openings.bounds, abs=0.06)


@pytest.mark.parametrize("render", [by_cairo, by_resvg])
def test_bounding_box_of_a_straight_opening_within_a_hundredth(render):
    bounds = (10.013, 20.027, 60.034, 70.041)
    coverage = covered(render(filled(drawn(box(*bounds)))))
    across = coverage[int(40 * PIXELS_PER_MM)].sum() / PIXELS_PER_MM
    left = np.flatnonzero(coverage[int(40 * PIXELS_PER_MM)])
    x0 = (left[0] + 1 - coverage[int(40 * PIXELS_PER_MM), left[0]]) / PIXELS_PER_MM
    column = coverage[:, int(40 * PIXELS_PER_MM)]
    rows = np.flatnonzero(column)
    y1 = SIZE[1] - (rows[0] + 1 - column[rows[0]]) / PIXELS_PER_MM
    found = (x0, y1 - column.sum() / PIXELS_PER_MM, x0 + across, y1)
    assert found == pytest.approx(bounds, abs=0.01)


def test_our_own_reader_gives_the_openings_back(openings, tmp_path):
    text = drawn(openings)
    (tmp_path / "a.svg").write_text(filled(text))
    artwork = read_artwork(ArtworkSource(tmp_path / "a.svg"))
    assert artwork.page == SIZE
    assert artwork.shape.area == pytest.approx(openings.area, rel=1e-5)
    assert artwork.shape.bounds == pytest.approx(openings.bounds, abs=1e-4)
    assert artwork.shape.symmetric_difference(openings).area < 1e-3 * openings.length


def test_our_own_reader_sees_the_hairlines_as_they_are(openings, tmp_path):
    (tmp_path / "a.svg").write_text(drawn(openings))
    for group, area in (("cut-openings", openings), ("cut-outline", box(0, 0, *SIZE))):
        artwork = read_artwork(ArtworkSource(tmp_path / "a.svg", group=group))
        # A line of 0.1 mm along every loop.
        assert artwork.shape.area == pytest.approx(0.1 * area.length, rel=0.01)
