import io

import numpy as np
import pytest

from sheetstack.geometry.errors import ArtworkError, GeometryError, WriteError
from sheetstack.geometry.files.stl import FACET, HEADER, read_stl, stl_bytes, write_stl

TETRAHEDRON = (
    np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float),
    np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]),
)


def directed_edges(faces):
    return sorted(
        map(tuple, np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]))
    )


def is_closed(faces):
    edges = directed_edges(faces)
    return edges == sorted((b, a) for a, b in edges)


def test_header_text_is_kept_and_never_reads_as_ascii():
    assert stl_bytes(*TETRAHEDRON, header="Shadow")[:80] == b"Shadow".ljust(80)
    assert stl_bytes(*TETRAHEDRON, header="Solid fox")[:10] == b"STL of fox"
    assert stl_bytes(*TETRAHEDRON, header="é" * 100)[:80] == b"?" * 80


def test_normals_point_outwards_and_have_unit_length():
    records = np.frombuffer(stl_bytes(*TETRAHEDRON), FACET, 4, HEADER.itemsize)
    expected = [[0, 0, -1], [0, -1, 0], [3**-0.5] * 3, [-1, 0, 0]]
    np.testing.assert_allclose(records["normal"], expected, atol=1e-7)


def test_a_sliver_keeps_the_normal_that_it_has_before_rounding():
    # 1e-6 mm high at x = 400: in 32-bit floats there the step is 3e-5, the facet has no area.
    points = [[400, 0, 0], [400.000001, 200, 0], [400, 400, 0]]
    record = np.frombuffer(stl_bytes(points, [[0, 1, 2]]), FACET, 1, HEADER.itemsize)
    np.testing.assert_allclose(record["normal"][0], [0, 0, 1])


def test_facets_collapsed_by_rounding_go_and_the_mesh_stays_closed(tmp_path):
    # An octahedron whose two neighbouring corners lie 1e-6 mm apart, far from the origin.
    x = 400.0
    points = np.array(
        [[x, 0, 0], [x + 1e-6, 0, 0], [x, 5, 0], [x, -5, 0], [x, 0, 5], [x, 0, -5]], dtype=float
    )
    faces = np.array(
        [[1, 2, 4], [2, 0, 4], [0, 3, 4], [3, 1, 4], [2, 1, 5], [0, 2, 5], [3, 0, 5], [1, 3, 5]]
    )
    extra = np.array([[0, 1, 2], [1, 0, 2]])  # a fin on the short edge
    assert is_closed(faces)
    write_stl(tmp_path / "a.stl", points, np.vstack([faces, extra]))
    _, welded = read_stl(tmp_path / "a.stl")
    assert len(welded) == 8
    assert is_closed(welded)


def test_round_trip_keeps_order_and_coordinates(tmp_path):
    write_stl(tmp_path / "a.stl", *TETRAHEDRON)
    vertices, faces = read_stl(tmp_path / "a.stl")
    np.testing.assert_array_equal(vertices[faces], TETRAHEDRON[0][TETRAHEDRON[1]])
    assert vertices.shape == (4, 3)
    assert vertices.dtype == np.float64
    assert faces.dtype == np.int64


def test_negative_zero_is_the_same_corner(tmp_path):
    write_stl(
        tmp_path / "a.stl", [[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [-0.0, 0, 0]], [[3, 1, 2]] * 2
    )
    assert len(read_stl(tmp_path / "a.stl")[0]) == 3


def test_a_file_object_gets_the_same_bytes(tmp_path):
    memory = io.BytesIO()
    write_stl(memory, *TETRAHEDRON)
    write_stl(str(tmp_path / "a.stl"), *TETRAHEDRON)
    assert memory.getvalue() == (tmp_path / "a.stl").read_bytes()


def test_an_empty_mesh_is_a_header_alone(tmp_path):
    write_stl(tmp_path / "a.stl", np.zeros((0, 3)), np.zeros((0, 3), int))
    assert (tmp_path / "a.stl").stat().st_size == 84
    vertices, faces = read_stl(tmp_path / "a.stl")
    assert vertices.shape == faces.shape == (0, 3)


ASCII = """solid plate of glass
 facet normal 0 0 1
  outer loop
   vertex 0 0 0
   VERTEX 1.5e1 0 0
   vertex 0 -2 0
  endloop
 endfacet
endsolid plate of glass
"""


def test_ascii_is_read(tmp_path):
    (tmp_path / "a.stl").write_text(ASCII)
    vertices, faces = read_stl(tmp_path / "a.stl")
    np.testing.assert_array_equal(vertices[faces[0]], [[0, 0, 0], [15, 0, 0], [0, -2, 0]])


def test_a_binary_file_that_begins_with_solid_is_read_as_binary(tmp_path):
    content = b"solid".ljust(80) + stl_bytes(*TETRAHEDRON)[80:]
    (tmp_path / "a.stl").write_bytes(content)
    assert len(read_stl(tmp_path / "a.stl")[1]) == 4


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "at least 84 bytes, found 0"),
        (stl_bytes(*TETRAHEDRON)[:-1], "4 facets need 284 bytes, found 283"),
        (stl_bytes(*TETRAHEDRON) + b"x", "4 facets need 284 bytes, found 285"),
        (b"\x89PNG" + bytes(100), "not a whole STL file"),
        (ASCII.encode()[:-30], "cut short after 3 corners"),
        (ASCII.replace("vertex 0 0 0\n", "").encode(), "cut short after 2 corners"),
        (ASCII.replace("1.5e1", "wide").encode(), "line 5: expected 'vertex x y z'"),
        (ASCII.replace("1.5e1", "nan").encode(), "not a finite number"),
    ],
)
def test_broken_files_are_one_sentence(tmp_path, content, message):
    (tmp_path / "a.stl").write_bytes(content)
    with pytest.raises(ArtworkError, match=message) as caught:
        read_stl(tmp_path / "a.stl")
    assert str(tmp_path / "a.stl") in str(caught.value)


def test_a_missing_file_is_one_sentence(tmp_path):
    with pytest.raises(ArtworkError, match=r"a\.stl: cannot be read: No such file"):
        read_stl(tmp_path / "a.stl")


@pytest.mark.parametrize("value", [np.nan, np.inf, 1e39])
def test_what_32_bits_cannot_hold_is_refused(value):
    with pytest.raises(GeometryError, match="not a finite number"):
        stl_bytes([[0, 0, value], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])


@pytest.mark.parametrize("index", [-1, 3])
def test_a_face_without_vertex_is_refused(index):
    with pytest.raises(GeometryError, match=f"names vertex {index}; the mesh has 3"):
        stl_bytes([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, index]])


def test_a_mesh_that_cannot_be_written_leaves_nothing(tmp_path):
    with pytest.raises(WriteError):
        write_stl(tmp_path / "none" / "a.stl", *TETRAHEDRON)
    assert list(tmp_path.iterdir()) == []
