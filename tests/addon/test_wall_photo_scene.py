"""The scene on a photo of the wall: its camera puts the wall where the corners were dragged."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from bpy_extras.object_utils import world_to_camera_view  # noqa: E402
from mathutils import Vector  # noqa: E402

from sheetstack.addon.mockup.wall_photo import CORNERS, corner_of, corners_seen  # noqa: E402
from sheetstack.geometry.photo.focal_length import focal_from_35  # noqa: E402
from sheetstack.geometry.photo.wall_view import rectangle_corners  # noqa: E402

SIZE = (640, 480)
FOCAL = focal_from_35(28, *SIZE)


def seen_by_a_known_camera():
    """The corners of 800 x 600 mm, from a camera that looks at it from the right and above."""
    turn, nod = np.radians([25.0, -8.0])
    y = np.array([[np.cos(turn), 0, np.sin(turn)], [0, 1, 0], [-np.sin(turn), 0, np.cos(turn)]])
    x = np.array([[1, 0, 0], [0, np.cos(nod), -np.sin(nod)], [0, np.sin(nod), np.cos(nod)]])
    at = np.column_stack([rectangle_corners(800, 600), np.zeros(4)])
    placed = at @ (x @ y @ np.diag([1.0, -1.0, -1.0])).T + (-380.0, 310.0, 1300.0)
    return FOCAL * placed[:, :2] / placed[:, 2:] + np.array(SIZE) / 2


DRAGGED = seen_by_a_known_camera()


def drag(scene, corner, pixel):
    """Move a corner in the plane of the view, as dragging does, until it is seen at a pixel."""
    at = corner.matrix_world.translation
    seen = world_to_camera_view(scene, scene.camera, at)
    frame = [
        scene.camera.matrix_world.to_3x3() @ v for v in scene.camera.data.view_frame(scene=scene)
    ]
    right, up = (frame[0] - frame[3]), (frame[0] - frame[1])
    depth = seen.z / -scene.camera.data.view_frame(scene=scene)[0].z
    x, y = pixel[0] / SIZE[0], 1 - pixel[1] / SIZE[1]
    corner.location = at + (right * (x - seen.x) + up * (y - seen.y)) * depth


def test_corners_are_dragged_and_the_camera_follows(opened, tmp_path):
    exif = Image.Exif()
    exif[0x8769] = {0xA405: 28}
    Image.new("RGB", SIZE, "#808080").save(tmp_path / "wall.jpg", exif=exif)
    options = {"filepath": str(tmp_path / "wall.jpg"), "width_mm": 800.0, "height_mm": 600.0}
    assert bpy.ops.sheetstack.wall_photo(**options) == {"FINISHED"}
    scene = next(s for s in bpy.data.scenes if s.name.startswith("Photo of the wall"))
    assert scene.sheetstack.home is opened
    assert (scene.render.resolution_x, scene.render.resolution_y) == SIZE
    corners_seen(scene)
    for name, pixel in zip(CORNERS, DRAGGED, strict=True):
        drag(scene, corner_of(scene, name), pixel)
    assert np.abs(corners_seen(scene) - DRAGGED).max() < 0.05
    with bpy.context.temp_override(scene=scene):
        assert bpy.ops.sheetstack.fit_wall_photo() == {"FINISHED"}
    # The corners are back on the wall, and are seen where they were dragged.
    flat = [corner_of(scene, name).location.y for name in CORNERS]
    assert np.abs(flat).max() < 1e-6
    assert np.abs(corners_seen(scene) - DRAGGED).max() < 0.1
    wall, picture = (scene.objects[n] for n in ("Wall", "Painted picture"))
    assert wall.is_shadow_catcher
    assert scene.view_settings.view_transform == "Standard"
    # The photo and the corners are seen through it.
    assert wall.display_type == "WIRE"
    assert all(corner_of(scene, name).show_in_front for name in CORNERS)
    # The picture is of true size: 100 x 120.125 mm, square before the wall.
    assert tuple(picture.dimensions) == pytest.approx((0.1, 0.0, 0.120125), abs=1e-6)
    # The wall lies before the camera.
    assert world_to_camera_view(scene, scene.camera, Vector((0.4, 0, 0.3))).z > 0


def test_a_file_that_is_no_photo_is_a_report(opened, tmp_path):
    (tmp_path / "wall.jpg").write_text("no photo")
    with pytest.raises(RuntimeError, match="PNG, JPEG or TIFF"):
        bpy.ops.sheetstack.wall_photo(filepath=str(tmp_path / "wall.jpg"))
