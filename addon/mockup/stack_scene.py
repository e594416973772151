"""The exploded stack: rigid sheets in their material, standing one behind the other."""

from __future__ import annotations

import math
from typing import Any

import bpy
import numpy as np
import shapely
from numpy.typing import NDArray

from ...geometry.arrays import Floats
from ...geometry.build import Build
from ...geometry.mesh.solid import Mesh, extrude
from ..core.blender_versions import curves_of
from ..core.conversion import metres
from . import mockup_material
from .mockup_scene import camera_object, lamp, put_mesh, sky

#: Free space between sheets, as a share of their width.
SPACING = 0.56
#: Thickness of the panel at the back that shows the finished picture, in mm.
PANEL = 9.0
#: The camera's degrees to the right of square, and above.
LOOK = (44.0, 16.0)


def stack_scene(
    scene: Any,
    build: Build,
    picture: NDArray[np.uint8],
    pixels: tuple[int, int],
    turning: bool = False,
) -> Any:
    """Fill a scene so that it shows the sheets of a job, exploded, at true size.

    Parameters
    ----------
    scene : bpy.types.Scene
    build : Build
    picture : uint8 array (rows, columns, 3)
        The painted picture.
    pixels : tuple of int
        Width and height of the render.
    turning : bool
        Leave room for the stack to turn.

    Returns
    -------
    bpy.types.Object
        An empty that everything but floor and lights hangs on: turn it for a turntable.
    """
    sheet = build.job.sheet
    width, height = sheet.width_mm, sheet.height_mm
    count = len(build.layers)
    spacing = SPACING * width
    depth = count * spacing
    stand = bpy.data.objects.new("Stand", None)
    scene.collection.objects.link(stand)
    _panel(scene, stand, build, picture, -depth / 2)
    for number, layer in enumerate(build.layers, 1):
        z = -depth / 2 + number * spacing
        centred = Mesh(layer.mesh.vertices - (width / 2, 0, 0), layer.mesh.faces.copy())
        openings = layer.sheet.openings
        x0, y0, x1, y1 = openings.bounds if not openings.is_empty else (0.0, 0.0, width, height)
        bounds = metres((x0 - width / 2, y0, x1 - width / 2, y1)).tolist()
        made = mockup_material.rigid_sheet(
            sheet.material, build.job.material, layer.settings.colour, bounds
        )
        # The mesh keeps its own frame, so that paint finds its face.
        plate = put_mesh(scene, f"Sheet {layer.sheet.layer}", centred, made, upright=False)
        plate.rotation_euler = (math.pi / 2, 0, 0)
        plate.location = (0, float(metres(-z)), 0)
        plate.parent = stand
        _label(scene, stand, f"{number}  {layer.settings.name}", width, height, z)
    _backdrop(scene, max(width, height, depth))
    corners = [
        (x, y, z)
        for x in (-width / 2, width / 2)
        for y in (-0.03 * height, height)
        for z in (-depth / 2, depth / 2 + 0.2 * spacing)
    ]
    seen = turning_corners(build) if turning else np.array(corners)
    camera_object(scene, seen, LOOK, pixels, margin=0.07, field=30.0)
    _studio(scene, float(metres(max(width, height, depth))))
    return stand


def turning_corners(build: Build) -> Floats:
    """Return points round the space that a turning stack sweeps, in mm."""
    sheet = build.job.sheet
    depth = len(build.layers) * SPACING * sheet.width_mm
    radius = math.hypot(sheet.width_mm / 2, depth / 2)
    turn = np.linspace(0, 2 * math.pi, 24, endpoint=False)
    ring = np.stack([radius * np.cos(turn), np.zeros(24), radius * np.sin(turn)], axis=1)
    return np.concatenate([ring, ring + (0, sheet.height_mm, 0)])


def turn_by_frames(scene: Any, stand: Any, frames: int) -> None:
    """Let the stand turn once round in so many frames.

    Parameters
    ----------
    scene : Scene
    stand : Object
        Parent of what turns.
    frames : int
    """
    scene.frame_start, scene.frame_end = 1, frames
    for frame, angle in ((1, 0.0), (frames + 1, 2 * math.pi)):
        stand.rotation_euler[2] = angle
        stand.keyframe_insert("rotation_euler", index=2, frame=frame)
    stand.rotation_euler[2] = 0.0
    for curve in curves_of(stand):
        for key in curve.keyframe_points:
            key.interpolation = "LINEAR"


def _panel(scene: Any, stand: Any, build: Build, pixels: NDArray[np.uint8], z: float) -> None:
    sheet = build.job.sheet
    width, height = sheet.width_mm, sheet.height_mm
    image = mockup_material.image_of("Stack picture", pixels)
    box = shapely.box(-width / 2, 0, width / 2, height)
    mesh = extrude(box, PANEL)
    faces = Mesh(mesh.vertices - (0, 0, PANEL), mesh.faces.copy())
    made = mockup_material.textured("panel", image, 0.55)
    panel = put_mesh(scene, "Painted panel", faces, made, upright=False)
    layer = panel.data.uv_layers.new(name="UVMap")
    corner = faces.vertices[faces.faces.ravel()]
    flat = (corner[:, :2] + (width / 2, 0)) / (width, height)
    # Sides take the picture's rim.
    layer.data.foreach_set("uv", np.clip(flat, 0.001, 0.999).astype(np.float32).ravel())
    panel.rotation_euler = (math.pi / 2, 0, 0)
    panel.location = (0, float(metres(-z)), 0)
    panel.parent = stand


def _label(scene: Any, stand: Any, text: str, width: float, height: float, z: float) -> None:
    """Lay a layer's name on the floor before its sheet."""
    data = bpy.data.curves.new(f"Label {text}", "FONT")
    data.body = text
    data.size = float(metres(0.07 * max(width, height)))
    data.align_x, data.align_y = "RIGHT", "TOP"
    data.materials.append(mockup_material.plain("label", "#3a3f43", 0.9))
    label = bpy.data.objects.new(data.name, data)
    label.location = (float(metres(width / 2)), float(metres(-z - 0.012 * width)), 0.0006)
    label.parent = stand
    scene.collection.objects.link(label)


def _backdrop(scene: Any, size: float) -> None:
    """Put a floor that bends up into a back wall."""
    half, back, bend = 8 * size, -3.2 * size, 1.2 * size
    turn = np.linspace(0, math.pi / 2, 17)
    # Along the profile: floor, bend, wall, as (depth, height).
    curve = np.stack([back + bend - bend * np.sin(turn), bend - bend * np.cos(turn)], axis=1)
    profile = np.concatenate([[(7 * size, 0.0)], curve, [(back, 6 * size)]])
    steps = len(profile)
    points = np.zeros((2 * steps, 3))
    points[:steps, 0], points[steps:, 0] = -half, half
    points[:, 2], points[:, 1] = np.tile(profile[:, 0], 2), np.tile(profile[:, 1], 2)
    k = np.arange(steps - 1)
    faces = np.concatenate(
        [
            np.stack([k, k + steps, k + steps + 1], axis=1),
            np.stack([k, k + steps + 1, k + 1], axis=1),
        ]
    )
    made = mockup_material.plain("backdrop", "#d8dad8", 0.95)
    floor = put_mesh(scene, "Backdrop", Mesh(points, faces), made)
    floor.data.polygons.foreach_set("use_smooth", np.ones(len(faces), bool))


def _studio(scene: Any, size: float) -> None:
    target = (0.0, 0.0, 0.4 * size)
    lamp(
        scene,
        "Key",
        "AREA",
        (-1.6 * size, -2.4 * size, 2.6 * size),
        target,
        energy=76.0 * size**2,
        size=1.1 * size,
        color=(1.0, 0.97, 0.93),
    )
    lamp(
        scene,
        "Fill",
        "AREA",
        (2.6 * size, -1.2 * size, 1.3 * size),
        target,
        energy=26.0 * size**2,
        size=2.0 * size,
        color=(0.9, 0.95, 1.0),
    )
    sky(scene, (0.95, 0.97, 1.0), 0.6)
