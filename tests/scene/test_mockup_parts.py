"""What mock-ups are made of: bricks, figure and rule, camera, the frame of a face, sections."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, box

from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.job.sections import MockupSettings
from sheetstack.geometry.paint.drift import drifted_corner
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.scene.brickwork import COURSE, JOINT, LENGTH, brickwork
from sheetstack.geometry.scene.camera import camera_place, look_axes
from sheetstack.geometry.scene.scale_objects import RULE_WIDTH, figure, rule_length, rule_picture
from sheetstack.geometry.scene.section import behind, cut_through
from sheetstack.geometry.scene.wall_face import face_frame, face_size

from ..random_sheets import random_shape


def test_bricks_cover_the_wall_and_nowhere_overlap():
    mesh, brick = brickwork(1500, 800)
    x, y, z = mesh.vertices.T
    assert x.min() < -750 < 750 < x.max()
    assert y.min() < -400 < 400 < y.max()
    assert z.max() < 5
    corners = mesh.vertices.reshape(-1, 12, 3)
    low, high = corners[..., :2].min(axis=1), corners[..., :2].max(axis=1)
    bricks = shapely.box(*low.T, *high.T)
    first, second = shapely.STRtree(bricks).query(bricks)
    assert (first == second).all()
    assert np.median(high - low, axis=0) == pytest.approx([LENGTH, COURSE], abs=0.5)
    # Courses of 75 mm, each shifted by half a brick.
    starts = {round(float(v)) for v in low[:, 1]}
    assert len(starts) >= 800 / (COURSE + JOINT)
    assert np.bincount(brick).tolist() == [18] * len(bricks)


def test_fronts_of_bricks_face_the_viewer():
    mesh, _ = brickwork(400, 200)
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    # Fronts and their chamfers look at the viewer, the sides away from the brick's middle.
    outward = (a + b + c) / 3 - np.repeat(mesh.vertices.reshape(-1, 12, 3).mean(axis=1), 18, axis=0)
    assert (np.einsum("ni,ni->n", normal, outward) > 0).all()
    fronts = normal[:, 2] > 0.97 * np.linalg.norm(normal, axis=1)
    assert fronts.sum() == len(mesh.faces) / 18 * 2


def test_the_figure_is_one_piece_of_its_height():
    person = figure(1700)
    assert len(person.geoms) == 1
    assert person.bounds[3] - person.bounds[1] == pytest.approx(1700)
    # Eight heads high at most, seven at least: drawing manuals' rule of thumb, no source.
    head = person.intersection(box(-200, 1480, 200, 1700))
    assert 120 < head.bounds[2] - head.bounds[0] < 300


def test_the_rule_counts_true_millimetres():
    scale = 8.0
    face = rule_picture(200, scale).astype(int)
    assert face.shape == (1600, round(RULE_WIDTH * scale), 3)
    dark = face[:, 2, :].sum(axis=1) < 300  # along its edge, where every tick begins
    begins = np.flatnonzero(dark[1:] & ~dark[:-1])
    assert len(begins) == 199
    assert np.diff(begins).mean() == pytest.approx(scale, rel=0.01)
    assert rule_length(520) == 500


@pytest.mark.parametrize("look", [(0, 0), (17, -3), (-40, 20)])
def test_the_camera_sees_all_and_is_no_farther_than_it_must(look):
    points = np.random.default_rng(5).uniform(-1, 1, (40, 3)) * (3, 1, 0.4)
    axes, tangents, margin = look_axes(*look), (0.36, 0.27), 0.1
    place = camera_place(points, axes, tangents, margin)
    seen = (points - place) @ axes.T
    share = np.abs(seen[:, :2]) / -seen[:, 2:] / tangents
    assert share.max() == pytest.approx(1 - margin)
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_a_face_frame_lies_in_its_face(seed):
    rng = np.random.default_rng(seed)
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    flat = np.array([(0, 0, 0), (4, 0, 0), (4, 3, 0), (0, 3, 0)], float)
    corners = flat @ turn.T + rng.normal(size=3)
    middle, axes = face_frame(corners)
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-9)
    assert (corners - middle) @ axes[2] == pytest.approx(np.zeros(4), abs=1e-9)
    assert axes[1, 2] >= 0, "upright"
    assert abs(axes[0, 2]) < 1e-9, "level"
    width, height = face_size(corners, axes)
    assert width * height >= 12 - 1e-9


def test_a_picture_on_a_floor_points_along_y():
    _, axes = face_frame([(0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0)])
    assert axes.tolist() == np.eye(3).tolist()


def test_a_face_without_area_is_refused():
    with pytest.raises(GeometryError, match="no area"):
        face_frame([(0, 0, 0), (1, 0, 0), (2, 0, 0)])


def test_large_pictures_get_a_figure_small_ones_a_rule():
    assert MockupSettings().scale_for(300) == "rule"
    assert MockupSettings().scale_for(3000) == "figure"
    assert MockupSettings(scale="none").scale_for(3000) == "none"


@pytest.mark.parametrize("seed", range(6))
def test_a_section_has_the_length_that_the_shape_has_there(seed):
    """By Cavalieri: section lengths add up to the area."""
    shape = as_multipolygon(random_shape(np.random.default_rng(seed)))
    _, y0, _, y1 = shape.bounds
    steps = 2000
    heights = y0 + (np.arange(steps) + 0.5) * (y1 - y0) / steps
    lengths = [np.diff(cut_through(shape, y), axis=1).sum() for y in heights]
    assert np.sum(lengths) * (y1 - y0) / steps == pytest.approx(shape.area, rel=2e-3)
    middle = (y0 + y1) / 2
    below = shape.area - behind(shape, middle).area
    assert below == pytest.approx(shape.intersection(box(-1e4, -1e4, 1e4, middle)).area, rel=1e-9)


def test_a_section_beside_the_shape_is_empty():
    shape = MultiPolygon([Point(0, 0).buffer(5)])
    assert len(cut_through(shape, 6)) == 0
    assert behind(shape, 6).is_empty
    assert behind(shape, -6).area == shape.area


def test_a_drifted_sheet_turns_about_its_centre():
    size, shift, turn = (400.0, 300.0), (3.0, -2.0), 12.0
    corner = np.array(drifted_corner((200.0, 150.0), shift, turn))
    sheet = shapely.affinity.rotate(box(0, 0, *size), turn, origin=(0, 0))
    moved = shapely.affinity.translate(sheet, *corner)
    assert (moved.centroid.x, moved.centroid.y) == pytest.approx((203, 148))
