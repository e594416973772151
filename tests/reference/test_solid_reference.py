"""Solids against reference libraries: manifold3d, trimesh and the arithmetic of prisms."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
import shapely
import trimesh
from shapely import box

from sheetstack.geometry.mesh.check import soundness, volume
from sheetstack.geometry.mesh.solid import extrude


def cross_section(shape) -> manifold3d.CrossSection:
    rings = [
        np.asarray(r.coords)[:-1]
        for r in shapely.get_rings(shapely.get_parts(shapely.orient_polygons(shape)))
    ]
    return manifold3d.CrossSection(rings, manifold3d.FillRule.EvenOdd)


def plate_with(openings: int):
    plate = box(0, 0, 100, 100)
    for k in range(openings):
        x, y = 5 + 30 * (k % 3), 5 + 30 * (k // 3)
        plate = plate.difference(box(x, y, x + 10, y + 20))
    return plate


@pytest.mark.parametrize(("openings", "euler"), [(0, 2), (1, 0), (4, -6), (9, -16)])
def test_euler_characteristic_of_a_plate_is_2_minus_2h(openings, euler):
    # Euler-Poincare formula; genus by manifold3d's extrusion of the same plate.
    plate = plate_with(openings)
    assert soundness(extrude(plate, 0.25)).euler == euler
    assert manifold3d.Manifold.extrude(cross_section(plate), 0.25).genus() == openings


def test_grid_aligned_plate_has_the_volume_and_surface_of_a_prism():
    # V = A t and S = 2 A + P t; both numbers also from manifold3d.
    plate = box(0, 0, 210, 297)
    for x, y in [(20, 30), (80, 30), (140, 30), (20, 110)]:
        plate = plate.difference(box(x, y, x + 10, y + 20))
    mesh = extrude(plate, 0.25)
    assert volume(mesh) == pytest.approx(15392.5, rel=1e-12)
    reference = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert reference.area == pytest.approx(123453.5, rel=1e-12)
    assert soundness(mesh).euler == -6
    walls = mesh.faces[len(mesh.faces) - 2 * len(mesh.vertices) // 2 :]
    a, b, c = (mesh.vertices[walls[:, k]] for k in range(3))
    wall_area = np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2
    assert wall_area == pytest.approx(313.5, rel=1e-12)


@pytest.mark.parametrize("seed", range(20))
def test_volume_equals_manifold3d(sheet_of_seed, seed):
    sheet = sheet_of_seed(seed)
    mesh = extrude(sheet, 0.35)
    reference = manifold3d.Manifold.extrude(cross_section(sheet), 0.35)
    assert volume(mesh) == pytest.approx(sheet.area * 0.35, rel=1e-9)
    assert volume(mesh) == pytest.approx(reference.volume(), rel=1e-9)


def test_trimesh_agrees_that_the_solid_is_closed(shape):
    mesh = extrude(shape, 1.0)
    other = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert other.is_watertight
    assert other.is_winding_consistent
    assert other.volume == pytest.approx(shape.area, rel=1e-6)
