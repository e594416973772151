"""What is seen of a drawing: colours cell by cell, against an independent renderer."""

from __future__ import annotations

import io

import numpy as np
import pytest
import resvg_py
import shapely
from PIL import Image

from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.artwork.svg.coloured import read_svg_colours
from sheetstack.geometry.artwork.svg.flattening import Flattening
from sheetstack.geometry.separation.flat_picture import embedded_picture
from sheetstack.geometry.separation.seen import seen_of
from tests.separation.drawings import BOAT, VEILED, written

SIDE = 1000


def _seen(path, steps=3):
    drawing = read_svg_colours(
        ArtworkSource(path),
        lambda page: 100 / max(page),
        flattening=Flattening(steps, embedded_picture),
    )
    return seen_of(drawing)


def _rendered(text):
    """What resvg, a renderer of its own, shows of a drawing: rows from the top, RGBA."""
    picture = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(text, width=SIDE))))
    return np.asarray(picture.convert("RGBA")).astype(float) / 255


@pytest.mark.parametrize("text", [BOAT, VEILED])
def test_each_cell_has_the_colour_that_resvg_renders_there(tmp_path, text):
    seen = _seen(written(tmp_path, "drawing.svg", text))
    picture = _rendered(text)
    compared = 0
    for cell, colour in zip(seen.cells.cells, seen.colours, strict=True):
        inner = shapely.maximum_inscribed_circle(cell, 0.05)
        if inner.length < 0.3:  # radius in mm; a pixel is 0.1 mm
            continue
        x, y = inner.coords[0]
        rgba = picture[int((seen.drawing.page[1] - y) * SIDE / 100), int(x * SIDE / 100)]
        assert rgba[3] == pytest.approx(colour[3], abs=0.01)
        if rgba[3] > 0:
            assert rgba[:3] == pytest.approx(colour[:3], abs=0.012)
        compared += 1
    assert compared >= 10


def test_a_gradient_becomes_steps_that_fill_its_shape_and_lie_in_its_order(tmp_path):
    text = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 50"><defs>'
        '<linearGradient id="a"><stop stop-color="#000"/><stop offset="1" stop-color="#fff"/>'
        '</linearGradient><radialGradient id="b" href="#a"/></defs>'
        '<rect width="50" height="50" fill="url(#a)"/>'
        '<rect x="50" width="50" height="50" fill="url(#b)"/></svg>'
    )
    drawing = read_svg_colours(
        ArtworkSource(written(tmp_path, "g.svg", text)),
        lambda page: 100 / max(page),
        flattening=Flattening(3),
    )
    assert [len(drawing.shapes), drawing.gradients] == [6, True]
    greys = [s.rgb[0] for s in drawing.shapes]
    for steps in (drawing.shapes[:3], drawing.shapes[3:]):
        assert sum(s.shape.area for s in steps) == pytest.approx(2500, rel=1e-6)
    assert greys[:3] == sorted(greys[:3])
    assert greys[3:] == sorted(greys[3:])
    # Linear: from left to right. Radial: from the middle outwards, each step round the last.
    assert [s.shape.centroid.x for s in drawing.shapes[:3]] == sorted(
        s.shape.centroid.x for s in drawing.shapes[:3]
    )
    assert shapely.Point(75, 25).within(drawing.shapes[3].shape)


def test_cells_fill_the_page_once(tmp_path):
    seen = _seen(written(tmp_path, "drawing.svg", VEILED))
    assert seen.cells.areas.sum() == pytest.approx(100 * 100, rel=1e-9)


def test_a_backdrop_is_known(tmp_path):
    boat = _seen(written(tmp_path, "boat.svg", BOAT))
    assert boat.backdrop == pytest.approx((0xBF / 255, 0xE3 / 255, 0xF2 / 255))
    assert _seen(written(tmp_path, "veiled.svg", VEILED)).backdrop is None
