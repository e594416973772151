"""Outlines of a mesh's top against Shapely's boundary of the region it was extruded from."""

import numpy as np
import pytest
import shapely

from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.mesh.outline import cap_outline, dashed, flat_shape, shape_outline
from sheetstack.geometry.mesh.solid import Mesh, extrude

REGIONS = {
    "plate": shapely.box(0, 0, 30, 20),
    "ring": shapely.Point(10, 10).buffer(9).difference(shapely.Point(10, 10).buffer(4)),
    "nested": shapely.box(0, 0, 9, 9)
    .difference(shapely.box(2, 2, 7, 7))
    .union(shapely.box(4, 4, 5, 5)),
}


@pytest.mark.parametrize("name", REGIONS)
def test_outline_is_the_boundary_of_the_region(name):
    segments = cap_outline(extrude(REGIONS[name], 2.0))
    lines = shapely.linestrings(segments)
    # Reference: the boundary that Shapely (GEOS) gives.
    assert shapely.union_all(lines).length == pytest.approx(
        REGIONS[name].boundary.length, rel=1e-12
    )
    assert shapely.hausdorff_distance(shapely.union_all(lines), REGIONS[name].boundary) < 1e-9


@pytest.mark.parametrize("name", REGIONS)
def test_outline_of_a_shape_is_that_of_its_extrusion(name):
    def lines(segments):
        return {tuple(sorted(map(tuple, ends))) for ends in np.round(segments, 9).tolist()}

    shape = REGIONS[name]
    assert lines(shape_outline(shape)) == lines(cap_outline(extrude(shape, 2.0)))


@pytest.mark.parametrize("name", REGIONS)
def test_flat_shape_is_the_region(name):
    assert flat_shape(extrude(REGIONS[name], 2.0)).symmetric_difference(REGIONS[name]).area < 1e-9


def test_a_mesh_on_edge_covers_nothing():
    mesh = Mesh(np.array([[0.0, 0, 0], [4, 0, 0], [0, 0, 3]]), np.array([[0, 2, 1]]))
    with pytest.raises(GeometryError, match="covers no area"):
        flat_shape(mesh)


def test_dashes_cover_about_half_of_a_circle_and_lie_on_it():
    circle = shapely.get_coordinates(shapely.Point(0, 0).buffer(50).exterior)
    segments = np.stack([circle[:-1], circle[1:]], axis=1)
    cut = dashed(segments, 3.0)
    length = np.linalg.norm(cut[:, 1] - cut[:, 0], axis=1).sum()
    whole = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1).sum()
    assert 0.4 < length / whole < 0.6
    ring = shapely.linearrings(circle)
    assert shapely.distance(shapely.points(cut.reshape(-1, 2)), ring).max() < 1e-9


@pytest.mark.parametrize("turned", [False, True])
def test_flat_shape_of_an_open_plate_is_its_area_whichever_way_it_is_turned(turned):
    face = [0, 2, 1] if turned else [0, 1, 2]
    mesh = Mesh(np.array([[0.0, 0, 0], [4, 0, 0], [0, 3, 0]]), np.array([face]))
    assert flat_shape(mesh).area == 6.0
