"""STL against independent programs: Debian's admesh 0.98 and trimesh."""

import re
import shutil
import struct
import subprocess

import manifold3d
import numpy as np
import pytest
import trimesh

from sheetstack.geometry.files.stl import read_stl, stl_bytes, write_stl


@pytest.fixture
def plate():
    """Plate 210 x 297 x 0.25 with four 10 x 20 holes, built by manifold3d, not by us."""
    section = manifold3d.CrossSection.square((210, 297))
    for x, y in ((20, 30), (80, 30), (140, 30), (20, 110)):
        section -= manifold3d.CrossSection.square((10, 20)).translate((x, y))
    mesh = section.extrude(0.25).to_mesh()
    return np.asarray(mesh.vert_properties, float)[:, :3], np.asarray(mesh.tri_verts, int)


def test_layout_of_the_bytes(plate):
    # Library of Congress, format description fdd000505: 80 bytes, UINT32 count, 50 bytes a facet,
    # little-endian.
    vertices, faces = plate
    content = stl_bytes(vertices, faces, "plate")
    assert len(content) == 84 + 50 * len(faces)
    assert struct.unpack_from("<I", content, 80) == (len(faces),)
    for row in (0, len(faces) - 1):
        values = struct.unpack_from("<12fH", content, 84 + 50 * row)
        np.testing.assert_array_equal(
            np.float32(values[3:12]), np.float32(vertices[faces[row]].ravel())
        )
        assert values[12] == 0


def test_corners_turn_counter_clockwise_seen_from_the_normals_side(plate):
    # The right-hand rule of the same description.
    content = stl_bytes(*plate)
    for row in range(len(plate[1])):
        values = np.array(struct.unpack_from("<12f", content, 84 + 50 * row))
        a, b, c = values[3:].reshape(3, 3)
        turned = np.cross(b - a, c - a)
        np.testing.assert_allclose(turned / np.linalg.norm(turned), values[:3], atol=1e-6)


@pytest.mark.skipif(shutil.which("admesh") is None, reason="admesh (Debian package) is not here")
def test_admesh_finds_nothing_to_mend(plate, tmp_path):
    # admesh 0.98: 92 facets, 0 disconnected, 1 part, 0 backwards edges, 15392.50 mm3.
    write_stl(tmp_path / "plate.stl", *plate, "plate")
    output = subprocess.run(
        ["admesh", str(tmp_path / "plate.stl")],
        capture_output=True,
        text=True,
        errors="replace",
        check=True,
    ).stdout
    # Each line reads 'what : as read  as mended'; the volume stands alone.
    found = {
        what.strip(): [float(n) for n in re.findall(r"-?\d+\.?\d*", rest)]
        for what, rest in re.findall(r"([A-Z][\w ]+?)\s*:\s*([-\d. ]+)", output)
    }
    assert found["Number of facets"] == [92, 92]
    assert found["Total disconnected facets"] == [0, 0]
    assert found["Number of parts"][0] == 1
    assert found["Volume"][0] == pytest.approx(15392.50, rel=1e-6)
    assert found["Degenerate facets"][0] == 0
    assert found["Backwards edges"][0] == 0
    assert found["Normals fixed"][0] == 0


def test_trimesh_reads_the_same_solid(plate, tmp_path):
    write_stl(tmp_path / "plate.stl", *plate)
    mesh = trimesh.load_mesh(tmp_path / "plate.stl")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.euler_number == -6  # 2 - 2 h, h = 4
    assert mesh.volume == pytest.approx(15392.5, rel=1e-6)
    assert mesh.area == pytest.approx(123453.5, rel=1e-6)


@pytest.mark.parametrize("file_type", ["stl", "stl_ascii"])
def test_we_read_what_trimesh_writes(file_type, tmp_path):
    ball = trimesh.creation.icosphere(subdivisions=2, radius=30)
    ball.export(tmp_path / "ball.stl", file_type=file_type)
    vertices, faces = read_stl(tmp_path / "ball.stl")
    assert vertices.shape == ball.vertices.shape
    np.testing.assert_allclose(vertices[faces], ball.triangles, atol=1e-5)
