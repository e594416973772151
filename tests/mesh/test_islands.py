from __future__ import annotations

import networkx
import numpy as np
import pytest
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from shapely import MultiPolygon, Polygon, box

from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.mesh.islands import face_labels, find_pieces
from sheetstack.geometry.mesh.solid import Mesh, extrude
from sheetstack.geometry.planar.polygons import as_multipolygon


def same_partition(a, b) -> bool:
    pairs = {(x, y) for x, y in zip(a.tolist(), b.tolist(), strict=True)}
    return len(pairs) == len(set(a.tolist())) == len(set(b.tolist()))


def adjacency(mesh: Mesh):
    """Faces that share an edge, the slow and plain way."""
    faces_of: dict[tuple[int, int], list[int]] = {}
    for number, (a, b, c) in enumerate(mesh.faces.tolist()):
        for edge in ((a, b), (b, c), (c, a)):
            faces_of.setdefault((min(edge), max(edge)), []).append(number)
    return [(f[0], other) for f in faces_of.values() for other in f[1:]]


def welded(mesh: Mesh) -> Mesh:
    vertices, place = np.unique(mesh.vertices, axis=0, return_inverse=True)
    return Mesh(vertices, place.reshape(-1)[mesh.faces])


def areas(pieces):
    return sorted([pieces.frame.area_mm2, *(i.area_mm2 for i in pieces.islands)])


@pytest.mark.parametrize("block", range(10))
def test_labels_equal_scipy_networkx_and_shapely_on_200_random_sheets(sheet_of_seed, block):
    for seed in range(20 * block, 20 * block + 20):
        sheet = sheet_of_seed(seed)
        mesh = extrude(sheet, 1.0)
        labels = face_labels(mesh)
        links = np.array(adjacency(mesh))
        count = len(mesh.faces)
        graph = coo_matrix((np.ones(len(links)), links.T), (count, count))
        assert same_partition(labels, connected_components(graph, directed=False)[1])
        network = networkx.Graph(links.tolist())
        assert labels.max() + 1 == networkx.number_connected_components(network)
        # Shapely: the piece of a face is the part of the sheet that its middle lies in.
        middle = mesh.vertices[mesh.faces].mean(axis=1)[:, :2]
        top = np.ptp(mesh.vertices[mesh.faces][:, :, 2], axis=1) == 0
        which, part = shapely.STRtree(sheet.geoms).query(
            shapely.points(middle[top]), predicate="intersects"
        )
        assert (which == np.arange(top.sum())).all()
        assert same_partition(labels[top], part)


@pytest.mark.parametrize("seed", range(40))
def test_pieces_of_a_welded_mesh_are_those_of_the_plain_one(sheet_of_seed, seed):
    mesh = extrude(sheet_of_seed(seed), 1.0)
    plain, close = find_pieces(mesh), find_pieces(welded(mesh))
    assert len(plain.islands) == len(close.islands)
    assert areas(plain) == pytest.approx(areas(close))


def test_islands_carry_area_volume_and_a_place_on_them():
    frame = box(0, 0, 100, 60).difference(box(10, 10, 90, 50))
    big, small = box(20, 20, 40, 40), box(60, 25, 65, 30)
    found = find_pieces(extrude(shapely.union_all([frame, big, small]), 3.0))
    assert found.frame.area_mm2 == pytest.approx(frame.area)
    assert [i.area_mm2 for i in found.islands] == pytest.approx([400, 25])
    assert [i.volume_mm3 for i in found.islands] == pytest.approx([1200, 75])
    assert [i.bounds for i in found.islands] == [(20, 20, 40, 40), (60, 25, 65, 30)]
    for island, piece in zip(found.islands, (big, small), strict=True):
        assert piece.contains(shapely.Point(island.place))


def test_an_island_in_an_opening_of_an_island_counts():
    picture = box(10, 10, 80, 80)
    for inner in (box(20, 20, 70, 70), box(30, 30, 60, 60), box(40, 40, 50, 50)):
        picture = picture.symmetric_difference(inner)
    found = find_pieces(extrude(box(0, 0, 90, 90).difference(picture), 1.0))
    assert [i.area_mm2 for i in found.islands] == pytest.approx([50 * 50 - 30 * 30, 10 * 10])


def test_an_island_touching_at_a_point_is_found():
    frame = box(0, 0, 30, 30).difference(box(5, 5, 25, 25))
    island = Polygon([(5, 15), (10, 10), (15, 15), (10, 20)])
    both = as_multipolygon(MultiPolygon([frame, island]))
    mesh = extrude(both, 1.0)
    for case in (mesh, welded(mesh)):
        assert [i.area_mm2 for i in find_pieces(case).islands] == pytest.approx([50])


def test_two_pieces_touching_along_an_upright_edge_are_two():
    shape = as_multipolygon(box(0, 0, 10, 10).union(box(10, 10, 15, 15)))
    mesh = welded(extrude(shape, 1.0))
    assert len(find_pieces(mesh).islands) == 1


def test_a_flat_mesh_without_thickness_is_checked_too():
    points = np.array(
        [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [5, 5, 0], [6, 5, 0], [5, 6, 0.0]]
    )
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6]])
    found = find_pieces(Mesh(points, faces))
    assert found.frame.area_mm2 == 1.0
    assert [i.area_mm2 for i in found.islands] == [0.5]


def test_a_fin_of_three_faces_at_one_edge_hangs_together():
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, -1, 0], [0.5, 0, 1.0]])
    faces = np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]])
    assert face_labels(Mesh(points, faces)).tolist() == [0, 0, 0]


def test_faces_that_share_a_vertex_only_are_apart():
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0.0]])
    assert face_labels(Mesh(points, np.array([[0, 1, 2], [0, 3, 4]]))).tolist() == [0, 1]


def test_a_mesh_without_faces_is_refused():
    with pytest.raises(GeometryError, match="no faces"):
        find_pieces(Mesh(np.zeros((3, 3)), np.empty((0, 3), np.int64)))


def test_a_mesh_with_a_vertex_that_is_not_a_number_is_refused():
    mesh = Mesh(np.array([[0, 0, 0], [1, 0, 0], [0, np.nan, 0]]), np.array([[0, 1, 2]]))
    with pytest.raises(GeometryError, match="not a number"):
        find_pieces(mesh)


def test_a_face_that_names_no_vertex_is_refused():
    with pytest.raises(GeometryError, match="does not exist"):
        find_pieces(Mesh(np.zeros((3, 3)), np.array([[0, 1, 7]])))
