import io

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from shapely import MultiPolygon, Point, Polygon, box

from sheetstack.geometry.colour import linear_from_srgb
from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.planar.raster import (
    coverage,
    edge_coverage,
    pixel_shape,
    srgb_bytes,
    thinned,
)


def test_coverage_of_named_shapes_adds_up_to_their_area(shape):
    # Reference: the shape's area within the frame by Shapely. The brief asks for 0.1 %.
    x0, y0, x1, y1 = shape.bounds
    shape = shapely.transform(shape, lambda xy: xy - (x0 - 1, y0 - 1))
    frame = (x1 - x0 + 2, y1 - y0 + 2)
    scale = 700 / max(frame)
    picture = coverage(shape, frame, scale)
    seen = box(0, frame[1] - picture.shape[0] / scale, picture.shape[1] / scale, frame[1])
    expected = shapely.area(shapely.intersection(shape, seen))
    assert picture.sum(dtype=float) / scale**2 == pytest.approx(expected, rel=1e-4, abs=1e-6)
    assert picture.max() <= 1 + 1e-6


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**31))
def test_every_pixel_has_the_area_that_shapely_finds_in_it(seed):
    rng = np.random.default_rng(seed)
    spots = rng.uniform(-2, 12, (6, 2))
    shape = shapely.union_all(
        shapely.buffer(shapely.points(spots), rng.uniform(0.2, 4, 6), quad_segs=3)
    )
    shape = shape.difference(Point(5, 5).buffer(1.7, quad_segs=4))
    picture = coverage(shape, (10, 8), 1)
    for row in range(8):
        for column in range(10):
            pixel = box(column, 7 - row, column + 1, 8 - row)
            assert picture[row, column] == pytest.approx(
                shapely.intersection(pixel, shape).area, abs=2e-6
            )


def test_ring_directions_do_not_matter():
    hole = [(3, 3), (7, 3), (7, 7), (3, 7)]
    shell = [(1, 1), (9, 1), (9, 9), (1, 9)]
    pictures = [
        coverage(Polygon(a, [b]), (10, 10), 2)
        for a in (shell, shell[::-1])
        for b in (hole, hole[::-1])
    ]
    assert all((p == pictures[0]).all() for p in pictures)
    assert pictures[0].sum() == 4 * (64 - 16)


def test_island_in_an_opening_is_filled():
    nested = MultiPolygon([box(0, 0, 9, 9).difference(box(1, 1, 8, 8)), box(3, 3, 6, 6)])
    picture = coverage(nested, (9, 9), 1)
    assert picture[4, 4] == 1
    assert picture[2, 2] == 0
    assert picture[0, 0] == 1


def test_what_lies_beyond_the_frame_is_cut_off():
    assert (coverage(box(-1e6, -1e6, 1e6, 1e6), (4, 3), 2) == 1).all()
    assert (coverage(box(10, 10, 20, 20), (4, 3), 2) == 0).all()
    left = coverage(box(-50, 0, 1.5, 3), (4, 3), 1)
    assert left[0].tolist() == [1, 0.5, 0, 0]


def test_empty_shape_covers_nothing():
    assert (coverage(MultiPolygon(), (4, 3), 2) == 0).all()
    assert (coverage(Polygon(), (4, 3), 2) == 0).all()


def test_top_row_is_the_top_of_the_sheet():
    picture = coverage(box(0, 2, 4, 3), (4, 3), 1)
    assert picture[:, 0].tolist() == [1, 0, 0]


def test_coverage_agrees_with_an_independent_renderer():
    # Reference: resvg, an SVG renderer of its own; its edges are sampled, ours are exact.
    resvg = pytest.importorskip("resvg_py")
    t = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    petal = 40 * (1 + 0.3 * np.sin(7 * t))
    points = np.column_stack([50 + petal * np.cos(t), 50 + petal * np.sin(t)])
    points /= points.max() / 95
    shape = Polygon(points).difference(Point(45, 50).buffer(12))
    rings = [shape.exterior, *shape.interiors]
    path = "".join("M" + " ".join(f"{x},{100 - y}" for x, y in ring.coords) + "Z" for ring in rings)
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="300" height="300" viewBox="0 0 100 100">'
        f'<path fill-rule="evenodd" d="{path}"/></svg>'
    )
    drawn = Image.open(io.BytesIO(bytes(resvg.svg_to_bytes(svg_string=svg)))).getchannel("A")
    difference = np.abs(np.asarray(drawn) / 255 - coverage(shape, (100, 100), 3))
    assert difference.max() < 0.15
    assert difference.mean() < 0.001
    assert np.asarray(drawn).sum() / 255 / 9 == pytest.approx(shape.area, rel=5e-3)


def test_weights_scale_loops():
    start = np.array([[1.0, 1], [1, 3], [3, 3], [3, 1]])  # counter-clockwise as seen, y down
    end = np.roll(start, -1, axis=0)
    assert edge_coverage(start, end, 0.25, 4, 4)[1:3, 1:3].tolist() == [[0.25] * 2] * 2
    assert (edge_coverage(end, start, 1.0, 4, 4) == 0).all()
    # Several weights an edge are several pictures at once.
    several = edge_coverage(start, end, np.tile([0.25, 0.0, 1.0], (4, 1)), 4, 4)
    for number, weight in enumerate((0.25, 0.0, 1.0)):
        assert (several[..., number] == edge_coverage(start, end, weight, 4, 4)).all()


def test_every_srgb_byte_survives_linear_light():
    steps = np.arange(256)
    assert (srgb_bytes(linear_from_srgb(steps / 255)) == steps).all()


def test_thinned_keeps_within_the_tolerance_and_keeps_holes():
    plate = box(0, 0, 100, 100)
    for x in range(10, 100, 20):
        plate = plate.difference(Point(x, 50).buffer(8, quad_segs=64))
    thin = thinned(plate, 0.1)
    assert len(thin.geoms[0].interiors) == 5
    assert shapely.hausdorff_distance(thin, MultiPolygon([plate])) <= 0.1
    assert shapely.get_num_coordinates(thin) < shapely.get_num_coordinates(plate) / 5


def test_thinned_drops_what_is_too_small_to_see():
    plate = box(0, 0, 10, 10).difference(box(4, 4, 4.01, 4.01))
    specks = MultiPolygon([plate, box(20, 0, 20.01, 1e-3)])
    thin = thinned(specks, 0.5)
    assert thin.equals(MultiPolygon([box(0, 0, 10, 10)]))
    assert thinned(MultiPolygon(), 0.5).is_empty


@pytest.mark.parametrize(
    ("frame", "scale"), [((0, 5), 1), ((5, float("nan")), 1), ((5, 5), -1), ((5e6, 5e6), 10)]
)
def test_absurd_pictures_are_refused(frame, scale):
    with pytest.raises(GeometryError, match="picture"):
        pixel_shape(frame, scale)
