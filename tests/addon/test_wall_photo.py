"""A wall rendered by Cycles with a camera that is known: what the photo code makes of it."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import MultiPolygon, box

from sheetstack.geometry.photo.painted_photo import PlacedPicture, painted_photo
from sheetstack.geometry.photo.wall_view import view_from_lines, view_from_rectangle

from ..small_builds import built

bpy = pytest.importorskip("bpy")
measure = pytest.importorskip("skimage.measure")

PIXELS = (320, 240)
#: Lower left corner and size in mm, on the wall: one is marked, the other one measured.
KNOWN, OTHER = ((-900, -350), (800, 700)), ((300, -100), (500, 400))


def corners(rectangle):
    (x, y), (w, h) = rectangle
    return np.array([(x, y + h), (x + w, y + h), (x + w, y), (x, y)], float)


def emission(name, strength):
    material = bpy.data.materials.new(name)
    material.use_nodes = True
    tree = material.node_tree
    tree.nodes.clear()
    light = tree.nodes.new("ShaderNodeEmission")
    light.inputs["Strength"].default_value = strength
    out = tree.nodes.new("ShaderNodeOutputMaterial")
    tree.links.new(light.outputs[0], out.inputs["Surface"])
    return material


def quad(name, points_mm, out_mm, material):
    mesh = bpy.data.meshes.new(name)
    # The wall's x, y, out of it are Blender's x, z, -y.
    mesh.from_pydata([(x / 1e3, -out_mm / 1e3, y / 1e3) for x, y in points_mm], [], [(0, 1, 2, 3)])
    mesh.materials.append(material)
    bpy.context.scene.collection.objects.link(bpy.data.objects.new(name, mesh))


@pytest.fixture(scope="module")
def render(tmp_path_factory):
    """The picture, grey 0 to 1, and the true place in pixels of points of the wall."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    quad("wall", corners(((-9000, -9000), (18000, 18000))), 0.0, emission("dark", 0.1))
    for name, rectangle in (("known", KNOWN), ("other", OTHER)):
        quad(name, corners(rectangle), 0.01, emission(name, 0.8))
    data = bpy.data.cameras.new("camera")
    data.lens, data.sensor_width, data.sensor_fit = 30.0, 36.0, "HORIZONTAL"
    camera = bpy.data.objects.new("camera", data)
    camera.location = (1.1, -2.4, 0.9)
    camera.rotation_euler = np.radians([72.0, 3.0, 26.0])
    scene.collection.objects.link(camera)
    scene.camera = camera
    scene.render.engine = "CYCLES"
    scene.cycles.samples, scene.cycles.use_denoising = 64, False
    scene.cycles.device = "CPU"
    scene.render.resolution_x, scene.render.resolution_y = PIXELS
    scene.render.resolution_percentage = 100
    scene.view_settings.view_transform = "Raw"
    scene.render.image_settings.file_format = "PNG"
    scene.render.filepath = str(tmp_path_factory.mktemp("render") / "wall.png")
    bpy.ops.render.render(write_still=True)
    image = bpy.data.images.load(scene.render.filepath)
    image.colorspace_settings.name = "Non-Color"
    values = np.array(image.pixels[:]).reshape(PIXELS[1], PIXELS[0], 4)[::-1, :, 0]
    bpy.context.view_layer.update()
    matrix = np.array(camera.matrix_world.inverted())

    def true(points_mm):
        points = np.array([(x / 1e3, 0.0, y / 1e3, 1.0) for x, y in points_mm]) @ matrix.T
        focal = 30.0 / 36.0 * PIXELS[0]
        seen = focal * points[:, :2] / -points[:, 2:3] * (1, -1)
        return seen + np.array(PIXELS) / 2

    place = np.array(camera.location) * 1e3
    return values, true, np.array([place[0], place[2], -place[1]])


def seen_corners(grey, near, level):
    """The corners of the bright quadrilateral about some places, by lines fitted to its sides."""
    loops = measure.find_contours(grey, level)
    loop = min(loops, key=lambda p: np.abs(p[:, ::-1].mean(axis=0) + 0.5 - near.mean(axis=0)).sum())
    points = loop[:, ::-1] + 0.5  # pixels' middles lie at halves
    lines = []
    for start, end in zip(near, np.roll(near, -1, axis=0), strict=True):
        along = end - start
        share = (points - start) @ along / (along @ along)
        off = np.abs((points - start) @ (-along[1], along[0])) / np.hypot(*along)
        side = points[(share > 0.1) & (share < 0.9) & (off < 3)]
        middle = side.mean(axis=0)
        way = np.linalg.svd(side - middle)[2][0]
        normal = np.array([-way[1], way[0]])
        lines.append((*normal, -normal @ middle))
    found = [np.cross(lines[k - 1], lines[k]) for k in range(4)]
    return np.array([p[:2] / p[2] for p in found])


@pytest.fixture(scope="module")
def marks(render):
    grey, true, _ = render
    known = seen_corners(grey, true(corners(KNOWN)), 0.45)
    other = seen_corners(grey, true(corners(OTHER)), 0.45)
    # The marks themselves are good to a tenth of a pixel.
    assert np.abs(known - true(corners(KNOWN))).max() < 0.15
    return known, other


def sides(points):
    return np.hypot(*(np.roll(points, -1, axis=0) - points).T)


@pytest.mark.parametrize("focal", [30 / 36 * 320, None])
def test_four_corners_put_the_rest_of_the_wall_in_its_place(render, marks, focal):
    _, true, place = render
    known, other = marks
    view = view_from_rectangle(known, KNOWN[1], PIXELS, focal)
    shift = np.subtract(OTHER[0], KNOWN[0])
    there = view.pixels_at(corners((shift, OTHER[1])))
    assert np.abs(there - true(corners(OTHER))).max() < 0.5
    assert sides(view.wall_at(other)) == pytest.approx([500, 400, 500, 400], rel=0.005)
    assert view.focal_px == pytest.approx(30 / 36 * 320, rel=0.02)
    assert view.camera_mm + (*KNOWN[0], 0) == pytest.approx(place, rel=0.02)


def test_lines_and_one_length_measure_it_as_well(marks):
    known, other = marks
    level = [(known[0], known[1]), (known[3], known[2]), (other[0], other[1]), (other[3], other[2])]
    upright = [(known[0], known[3]), (known[1], known[2]), (other[0], other[3])]
    view = view_from_lines(level, upright, (known[3], known[2]), 800.0, PIXELS, 30 / 36 * 320)
    assert sides(view.wall_at(other)) == pytest.approx([500, 400, 500, 400], rel=0.005)
    assert sides(view.wall_at(known)) == pytest.approx([800, 700, 800, 700], rel=0.005)


def test_the_paint_lands_where_the_wall_has_its_place(render, marks):
    grey, true, _ = render
    view = view_from_rectangle(marks[0], KNOWN[1], PIXELS)
    photo = np.repeat((grey * 255).astype(np.uint8)[..., None], 3, axis=2)
    job = built({"All": box(20, 20, 380, 280)}, size=(400, 300), colours=("#ffffff",), hole=0)
    opening = MultiPolygon(job.layers[0].sheet.openings)
    x0, y0, x1, y1 = opening.bounds
    at = (1000.0, 750.0)  # from the known rectangle's lower left corner, above the other one
    out = painted_photo(photo, view, [PlacedPicture(job, at, ground=False)])
    where = np.add(KNOWN[0], at)
    wanted = true(corners(((where[0] + x0, where[1] + y0), (x1 - x0, y1 - y0))))
    painted = np.abs(out[..., 0].astype(float) - photo[..., 0])
    found = seen_corners(painted, wanted, painted.max() / 2)
    assert np.abs(found - wanted).max() < 0.5
