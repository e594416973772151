from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh
from shapely import box

from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.mesh.check import as_written, soundness, volume
from sheetstack.geometry.mesh.solid import Mesh, extrude


def openings_and_parts(shape):
    parts = shapely.get_parts(shape)
    return sum(len(p.interiors) for p in parts), len(parts)


def check_solid(shape, thickness):
    mesh = extrude(shape, thickness)
    found = soundness(mesh)
    openings, parts = openings_and_parts(shape)
    assert found.watertight
    assert found.oriented
    # A volume or watertight check alone lets a broken sheet through, so all together.
    assert found.euler == 2 * parts - 2 * openings
    assert set(np.unique(mesh.vertices[:, 2])) == {0.0, thickness}
    assert volume(mesh) == pytest.approx(shape.area * thickness, rel=1e-9)
    wanted = 2 * shape.area + shape.length * thickness
    reference = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert reference.area == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("thickness", [0.25, 3.0, 0.1])
def test_named_shapes_become_closed_solids(shape, thickness):
    check_solid(shape, thickness)


@pytest.mark.parametrize("seed", range(30))
def test_random_sheets_become_closed_solids(sheet_of_seed, seed):
    check_solid(sheet_of_seed(seed), 0.4)


def test_a_plate_of_many_openings_becomes_a_closed_solid(plate_of_rounds):
    check_solid(plate_of_rounds(400), 0.35)


def test_normals_point_outwards():
    mesh = extrude(box(0, 0, 10, 10).difference(box(4, 4, 6, 6)), 2.0)
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    middle = (a + b + c) / 3
    outside = middle + 1e-3 * normal / np.linalg.norm(normal, axis=1, keepdims=True)
    flat = box(0, 0, 10, 10).difference(box(4, 4, 6, 6))
    inside = shapely.contains_xy(flat, outside[:, 0], outside[:, 1])
    assert not (inside & (outside[:, 2] > 0) & (outside[:, 2] < 2)).any()


@pytest.mark.parametrize("thickness", [0.0, -1.0, float("nan"), float("inf")])
def test_a_thickness_that_is_none_is_refused(thickness):
    with pytest.raises(GeometryError, match="above 0 mm"):
        extrude(box(0, 0, 1, 1), thickness)


def test_soundness_sees_a_hole_and_a_flipped_face():
    mesh = extrude(box(0, 0, 1, 1), 1.0)
    assert not soundness(Mesh(mesh.vertices.copy(), mesh.faces[1:].copy())).watertight
    flipped = mesh.faces.copy()
    flipped[0] = flipped[0, ::-1]
    assert not soundness(Mesh(mesh.vertices.copy(), flipped)).oriented


def test_a_mesh_cannot_be_changed_behind_its_back():
    mesh = extrude(box(0, 0, 1, 1), 1.0)
    with pytest.raises(ValueError, match="read-only"):
        mesh.vertices[0, 0] = 5.0


def test_points_that_32_bits_cannot_tell_apart_are_one_as_written():
    near = np.float64(np.float32(1.0)) + 1e-9
    corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, near, 0], [0, 0, -0.0]]
    written = as_written(Mesh(np.array(corners), np.array([[0, 1, 2], [4, 1, 3], [0, 2, 3]])))
    assert len(written.vertices) == 3
    # The third face has lost a side, the first two are one.
    assert len(written.faces) == 2
    assert (np.sort(written.faces, axis=1) == [0, 1, 2]).all()
    assert (written.vertices == written.vertices.astype(np.float32)).all()


@pytest.mark.parametrize("bad", [np.nan, np.inf, 1e39])
def test_a_coordinate_beyond_32_bits_is_refused(bad):
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, bad, 0]])
    with pytest.raises(GeometryError, match="not a finite number"):
        as_written(Mesh(corners, np.array([[0, 1, 2]])))
