from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box

from sheetstack.geometry.errors import Cancelled, GeometryError
from sheetstack.geometry.mesh.triangulate import _cut_lines, triangulate
from sheetstack.geometry.progress import Progress


def doubled_areas(points, triangles):
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])


def check_is_a_triangulation(region, slab_vertices=None):
    flat = triangulate(region, slab_vertices=slab_vertices)
    # Every inner edge twice in opposite directions, every ring edge once: the definition.
    a = flat.triangles.ravel()
    b = flat.triangles[:, [1, 2, 0]].ravel()
    directed = set(zip(a.tolist(), b.tolist(), strict=True))
    assert len(directed) == len(a), "an edge is used twice in one direction"
    border = {e for e in directed if e[::-1] not in directed}
    ring = set(zip(range(len(flat.points)), flat.following.tolist(), strict=True))
    assert border == ring
    area = doubled_areas(flat.points, flat.triangles)
    scale = abs(area).sum()
    assert area.min() >= -1e-12 * scale
    assert area.sum() / 2 == pytest.approx(region.area, rel=1e-12)
    return flat


def test_named_shapes_are_triangulated_whole(shape):
    check_is_a_triangulation(shape)


@pytest.mark.parametrize("slab_vertices", [3, 5, 17])
def test_named_shapes_are_triangulated_whole_in_many_slabs(shape, slab_vertices):
    check_is_a_triangulation(shape, slab_vertices)


@pytest.mark.parametrize("seed", range(40))
def test_random_sheets_are_triangulated_whole_in_slabs(sheet_of_seed, seed):
    check_is_a_triangulation(sheet_of_seed(seed), slab_vertices=20)


def test_a_cap_without_cut_lines_has_v_plus_2h_minus_2_triangles(shape):
    # Source: Euler's formula; the count that shapely.constrained_delaunay_triangles gives too.
    for part in shapely.get_parts(shape):
        corners = sum(len(r.coords) - 1 for r in shapely.get_rings(part))
        expected = corners + 2 * len(part.interiors) - 2
        assert len(triangulate(part, slab_vertices=10**9).triangles) == expected
        points = shapely.get_coordinates(part)
        rings_touch = len(np.unique(points, axis=0)) < corners
        if not rings_touch:
            assert len(shapely.constrained_delaunay_triangles(part).geoms) == expected


def test_every_ring_point_stays_and_added_points_lie_on_the_rings(plate_of_rounds):
    plate = plate_of_rounds(49)
    flat = triangulate(plate, slab_vertices=100)
    given_points = {tuple(p) for p in shapely.get_coordinates(plate)}
    found = {tuple(p) for p in flat.points}
    assert given_points <= found
    added = np.array(sorted(found - given_points))
    assert len(added) > 0
    assert shapely.distance(plate.boundary, shapely.points(added)).max() < 1e-12


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(*[st.integers(0, 30)] * 2, *[st.integers(1, 12)] * 2), min_size=1, max_size=12
    ),
    st.sampled_from([None, 3, 7]),
)
def test_grid_aligned_shapes_are_triangulated_whole(rectangles, slab_vertices):
    region = box(-5, -5, 50, 50)
    for x, y, w, h in rectangles:
        region = region.symmetric_difference(box(x, y, x + w, y + h))
    check_is_a_triangulation(region, slab_vertices)


def test_an_empty_region_has_no_triangles():
    assert triangulate(Polygon()).triangles.shape == (0, 3)


def test_an_outline_that_crosses_itself_is_refused():
    bow_tie = Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
    with pytest.raises(GeometryError, match="crosses itself"):
        triangulate(bow_tie)


def test_triangulating_can_be_cancelled(plate_of_rounds):
    def stop(share: float, what: str) -> None:
        raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        triangulate(plate_of_rounds(4), Progress(stop))


def test_a_cut_line_takes_the_widest_gap_thereabouts_the_last_and_the_first_too():
    crowd = np.linspace(0, 1, 30)
    (line,) = _cut_lines(np.append(crowd, 9.0), 20)
    assert line == 5.0
    (line,) = _cut_lines(np.append(-8.0, crowd), 20)
    assert line == -4.0


def test_cut_lines_part_the_vertices_into_about_equal_shares():
    x = np.sort(np.random.default_rng(3).normal(0, 40, 20_000))
    lines = _cut_lines(x, 2000)
    shares = np.diff(np.concatenate([[0], np.searchsorted(x, lines), [len(x)]]))
    assert len(lines) == 10
    assert shares.min() > 1700  # the widest gap thereabouts is taken
    assert shares.max() < 2000
    assert not np.isin(lines, x).any()
