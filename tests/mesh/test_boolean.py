"""Solids shaped by others, and what rounding leaves of them."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import MultiPolygon, box

from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.mesh.boolean import block, mesh_of, solid_of, without_slivers
from sheetstack.geometry.mesh.check import volume
from sheetstack.geometry.mesh.solid import Mesh, extrude


def test_a_block_stands_between_its_heights():
    solid = block(box(0, 0, 4, 3), 1.0, 3.5)
    assert solid.volume() == pytest.approx(4 * 3 * 2.5)
    heights = np.unique(mesh_of(solid).vertices[:, 2])
    assert heights.tolist() == [1.0, 3.5]
    assert block(MultiPolygon(), 0.0, 1.0).is_empty()


def test_corners_near_a_plane_are_put_on_it_and_no_others():
    mesh = extrude(box(0, 0, 4, 3), 2.0)
    moved = mesh.vertices.copy()
    moved[:, 2] += np.where(moved[:, 2] > 1, 3e-7, 0.0)
    near = mesh_of(solid_of(Mesh(moved, mesh.faces.copy())), (2.0,))
    assert np.unique(near.vertices[:, 2]).tolist() == [0.0, 2.0]
    assert np.unique(near.vertices[:, 0]).tolist() == [0.0, 4.0]
    far = mesh_of(solid_of(Mesh(moved + [0, 0, 1e-3], mesh.faces.copy())), (0.0, 2.0))
    assert not np.isin(far.vertices[:, 2], [0.0, 2.0]).any()


def test_a_sliver_goes_and_a_small_piece_stays():
    plate = block(box(0, 0, 2, 3), 0.0, 0.5)
    sliver, crumb = block(box(5, 0, 5.000001, 1), 0.0, 0.5), block(box(7, 0, 7.1, 0.1), 0.0, 0.5)
    kept = mesh_of(without_slivers(plate + sliver + crumb))
    assert volume(kept) == pytest.approx(3.0 + 0.005)


def test_an_open_mesh_cannot_be_shaped():
    mesh = extrude(box(0, 0, 4, 3), 2.0)
    with pytest.raises(GeometryError, match="not closed"):
        solid_of(Mesh(mesh.vertices.copy(), mesh.faces[1:].copy()))
