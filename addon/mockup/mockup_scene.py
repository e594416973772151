"""The client scene: the painted picture at true size on its surface, in its light."""

from __future__ import annotations

import math
from typing import Any

import bpy
import numpy as np
import shapely
from mathutils import Matrix, Vector
from numpy.typing import NDArray

from ...geometry.arrays import Floats
from ...geometry.job.sections import MockupSettings
from ...geometry.mesh.solid import Mesh, extrude
from ...geometry.scene.brickwork import brickwork
from ...geometry.scene.camera import camera_place, look_axes
from ...geometry.scene.scale_objects import HEIGHT, RULE_WIDTH, figure, rule_length, rule_picture
from ..core.blender_versions import CAN_DENOISE, use_nodes
from ..core.conversion import fill_mesh, metres
from . import mockup_material
from .mockup_material import PaintedPicture

#: Height over the ground, in mm, that the middle of a small picture hangs at: eyes of a grown
#: person (galleries use 1450 to 1550: common practice, no source).
EYES = 1500.0
#: Painted ground round the picture on a wall, in mm; thickness of board and canvas.
BORDER, BOARD_THICKNESS, CANVAS_THICKNESS = 25.0, 18.0, 30.0
#: Field of view across, in degrees: about a 50 mm lens on full frame.
FIELD = 39.6
#: Samples of each pixel in a 3D view, which is to come to rest soon.
PREVIEW_SAMPLES = 16


def mockup_scene(
    scene: Any,
    picture: NDArray[np.uint8],
    size_mm: tuple[float, float],
    ground: str,
    settings: MockupSettings,
    pixels: tuple[int, int],
) -> None:
    """Fill a scene so that it shows a picture as a client would see it.

    It gets a camera; the wall is the plane y = 0, z points up.

    Parameters
    ----------
    scene : bpy.types.Scene
    picture : uint8 array (rows, columns, 3)
        The painted picture with its ground.
    size_mm : tuple of float
        Its true width and height.
    ground : str
        Colour that wall, board or canvas was painted in first.
    settings : MockupSettings
    pixels : tuple of int
        Width and height of the render.
    """
    width, height = size_mm
    beside = settings.scale_for(height)
    loose = settings.surface in ("board", "canvas")
    # Large pictures stand low on the wall, small ones hang before the eyes.
    middle = EYES if height < 2 * EYES - 600 else height / 2 + 300
    image = mockup_material.image_of(f"{scene.name} picture", picture)
    shown = PaintedPicture(
        image,
        float(metres(width)),
        float(metres(height)),
        (0.0, float(metres(middle))),
        ground,
        0.2 if loose else float(metres(BORDER)),
    )
    around = max(width, height, 900.0)
    span = (4.0 * around + width, 2.6 * around + height)
    _surface(scene, settings.surface, shown, span, middle)
    front = 0.0
    if loose:
        front = _panel(scene, settings.surface, shown, size_mm, middle)
    points = _corners(width + 2 * BORDER, height + 2 * BORDER, middle, front)
    if beside == "rule":
        points = np.concatenate([points, _rule(scene, size_mm, middle, loose)])
    elif beside == "figure":
        points = np.concatenate([points, _figure(scene, width)])
    if beside == "figure" or middle - height / 2 < 700:
        _floor(scene, span)
    camera_object(scene, points, (17.0, -2.5), pixels, margin=0.1)
    _light(scene, settings.light, size_mm, middle)


def put_mesh(scene: Any, name: str, mesh: Mesh, material: Any, upright: bool = True) -> Any:
    """Put a mesh of geometry into a scene.

    Parameters
    ----------
    scene : bpy.types.Scene
    name : str
    mesh : Mesh
        In mm, x to the right, y up, z towards the viewer.
    material : bpy.types.Material
    upright : bool
        Turn y to the scene's z, so that the mesh stands against a wall at y = 0.
    """
    data = bpy.data.meshes.new(name)
    if upright:
        x, y, z = mesh.vertices.T
        mesh = Mesh(np.stack([x, -z, y], axis=1), mesh.faces.copy())
    fill_mesh(data, mesh)
    data.materials.append(material)
    thing = bpy.data.objects.new(name, data)
    scene.collection.objects.link(thing)
    return thing


def _corners(width: float, height: float, middle: float, front: float) -> Floats:
    signs = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) / 2
    flat = signs * (width, height) + (0, middle)
    return np.column_stack([flat, np.full(4, front)])


def _plane(width: float, height: float, middle: float, depth: float) -> Mesh:
    points = _corners(width, height, middle, depth)
    return Mesh(points, np.array([[0, 1, 2], [0, 2, 3]]))


def _surface(
    scene: Any, kind: str, picture: PaintedPicture, span: tuple[float, float], middle: float
) -> None:
    if kind == "brick":
        mesh, number = brickwork(*span)
        mesh = Mesh(mesh.vertices + (0, middle, 0), mesh.faces.copy())
        wall = put_mesh(scene, "Wall", mesh, mockup_material.brick(picture))
        tones = np.random.default_rng(11).random(int(number.max()) + 1).astype(np.float32)
        attribute = wall.data.attributes.new("tone", "FLOAT", "FACE")
        attribute.data.foreach_set("value", tones[number])
        joints = _plane(*span, middle, -6.5)
        put_mesh(scene, "Joints", joints, mockup_material.mortar(picture))
        return
    surface = {
        "plaster": lambda: mockup_material.plaster(picture),
        "concrete": lambda: mockup_material.concrete(picture),
        "board": lambda: mockup_material.plaster(None, "#b9b2a6"),
        "canvas": lambda: mockup_material.plaster(None, "#e6e3dc"),
    }[kind]()
    put_mesh(scene, "Wall", _plane(*span, middle, 0.0), surface)


def _panel(
    scene: Any, kind: str, picture: PaintedPicture, size_mm: tuple[float, float], middle: float
) -> float:
    """Hang a board or a stretched canvas; return how far its face stands out, in mm."""
    width, height = size_mm
    thickness = BOARD_THICKNESS if kind == "board" else CANVAS_THICKNESS
    gap = 6.0
    face = shapely.box(-width / 2, middle - height / 2, width / 2, middle + height / 2)
    mesh = extrude(face.buffer(-3).buffer(3, quad_segs=4), thickness)
    mesh = Mesh(mesh.vertices + (0, 0, gap), mesh.faces.copy())
    made = mockup_material.board(picture) if kind == "board" else mockup_material.canvas(picture)
    panel = put_mesh(scene, kind.capitalize(), mesh, made)
    soften = panel.modifiers.new("Worn edges", "BEVEL")
    soften.width = float(metres(1.5 if kind == "board" else 3.0))
    soften.segments, soften.limit_method = 3, "ANGLE"
    return gap + thickness


def _rule(scene: Any, size_mm: tuple[float, float], middle: float, loose: bool) -> Floats:
    """Hang a rule from a nail left of the picture; return its corners."""
    width, height = size_mm
    length = rule_length(height)
    right = -width / 2 - (45.0 if loose else BORDER + 45.0)
    low = middle - height / 2
    box = shapely.box(right - RULE_WIDTH, low, right, low + length + 14)
    nail = shapely.Point(right - RULE_WIDTH / 2, low + length + 7).buffer(2.6)
    mesh = extrude(box.difference(nail), 3.0)
    lean = 4.0
    mesh = Mesh(mesh.vertices + (0, 0, lean), mesh.faces.copy())
    image = mockup_material.image_of("Rule", rule_picture(length))
    rule = put_mesh(scene, "Rule", mesh, mockup_material.textured("rule", image, 0.5))
    layer = rule.data.uv_layers.new(name="UVMap")
    corner = mesh.vertices[mesh.faces.ravel()]
    flat = (corner[:, :2] - (right - RULE_WIDTH, low)) / (RULE_WIDTH, length)
    flat[:, 1] = np.minimum(flat[:, 1], 0.999)
    layer.data.foreach_set("uv", flat.astype(np.float32).ravel())
    pin = extrude(nail.buffer(-0.4), 9.0)
    put_mesh(scene, "Nail", pin, mockup_material.plain("nail", "#77787a", 0.35, 1.0))
    x0, y0, x1, y1 = box.bounds
    return np.array([(x0, y0, lean), (x0, y1, lean), (x1, y0, lean)])


def _figure(scene: Any, width: float) -> Floats:
    """Stand a figure of card left of the picture; return its corners."""
    away = 420.0
    shape = shapely.transform(figure(), lambda xy: xy - (width / 2 + 620, 0))
    mesh = extrude(shape, 8.0)
    mesh = Mesh(mesh.vertices + (0, 0, away), mesh.faces.copy())
    put_mesh(scene, "Figure", mesh, mockup_material.plain("figure", "#4c5358", 0.8))
    x0, _, x1, _ = shape.bounds
    return np.array([(x0, -60, away), (x1, -60, away), (x0, HEIGHT, away), (x1, HEIGHT, away)])


def _floor(scene: Any, span: tuple[float, float]) -> None:
    deep = 2.5 * max(span)
    half = max(span)
    points = np.array([(-half, 0, 0), (half, 0, 0), (half, 0, deep), (-half, 0, deep)], float)
    mesh = Mesh(points, np.array([[0, 2, 1], [0, 3, 2]]))
    nodes = mockup_material.Nodes("Mock-up pavement")
    place = nodes.place()
    stain = nodes.ramp(nodes.noise(place, 1.4, 7.0), 0.3, 0.7)
    colour = nodes.mix(stain, (0.16, 0.155, 0.15, 1), (0.26, 0.255, 0.25, 1))
    nodes.surface(colour, 0.9, nodes.bump(nodes.noise(place, 220.0, 5.0), 0.003))
    put_mesh(scene, "Floor", mesh, nodes.material)


def camera_object(
    scene: Any,
    points: Floats,
    look: tuple[float, float],
    pixels: tuple[int, int],
    margin: float = 0.08,
    field: float = FIELD,
) -> Any:
    """Put a camera into a scene so that it sees all points, and make it the scene's.

    Parameters
    ----------
    scene : bpy.types.Scene
    points : float64 array (n, 3)
        In mm, in the wall's frame: x to the right, y up, z towards the viewer.
    look : tuple of float
        Degrees to the right of square, and above.
    pixels : tuple of int
    margin : float
    field : float
        Field of view across, in degrees.
    """
    across = math.tan(math.radians(field / 2))
    up = across * pixels[1] / pixels[0]
    axes = look_axes(*look)
    place = camera_place(points, axes, (across, up), margin)
    data = bpy.data.cameras.new("Camera")
    data.sensor_fit, data.angle = "HORIZONTAL", math.radians(field)
    data.clip_end = 1000.0
    camera = bpy.data.objects.new("Camera", data)
    turn = np.eye(4)
    # Columns are the camera's axes; the wall's y is the scene's z, its z the scene's -y.
    to_scene = np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]], float)
    turn[:3, :3] = to_scene @ axes.T
    turn[:3, 3] = to_scene @ metres(place)
    camera.matrix_world = Matrix(turn.tolist())
    scene.collection.objects.link(camera)
    scene.camera = camera
    scene.render.resolution_x, scene.render.resolution_y = pixels
    scene.render.resolution_percentage = 100
    return camera


def lamp(
    scene: Any, name: str, kind: str, place: tuple[float, float, float], target: Any, **more: Any
) -> Any:
    """Put a light into a scene, pointing at a target; places in Blender units.

    Parameters
    ----------
    scene : Scene
    name : str
    kind : str
        ``AREA``, ``SUN``, ``POINT`` or ``SPOT``.
    place, target : sequence of float
        Where it stands, and what it points at.
    **more
        Further properties of the light.
    """
    data = bpy.data.lights.new(name, kind)
    for key, value in more.items():
        setattr(data, key, value)
    thing = bpy.data.objects.new(name, data)
    thing.location = place
    way = Vector(target) - Vector(place)
    thing.rotation_euler = way.to_track_quat("-Z", "Y").to_euler()
    scene.collection.objects.link(thing)
    return thing


def sky(scene: Any, colour: tuple[float, float, float], strength: float) -> None:
    """Give a scene an even sky.

    Parameters
    ----------
    scene : Scene
    colour : tuple of float
        Red, green, blue in linear light.
    strength : float
    """
    world = bpy.data.worlds.new(f"{scene.name} sky")
    use_nodes(world)
    for node in world.node_tree.nodes:
        if node.type == "BACKGROUND":
            node.inputs["Color"].default_value = (*colour, 1.0)
            node.inputs["Strength"].default_value = strength
    scene.world = world


def _light(scene: Any, kind: str, size_mm: tuple[float, float], middle: float) -> None:
    height = float(metres(middle))
    reach = float(metres(max(size_mm)))
    target = (0.0, 0.0, height)
    if kind == "daylight":
        lamp(
            scene,
            "Sun",
            "SUN",
            (-3.0, -4.2, height + 4.4),
            target,
            energy=3.3,
            angle=math.radians(1.2),
            color=(1.0, 0.95, 0.87),
        )
        sky(scene, (0.66, 0.79, 1.0), 0.5)
        return
    # A lamp over the picture, far enough to light it whole; dusk fills the shadows.
    away = 0.55 + 0.6 * reach
    above = 0.5 + 0.75 * reach
    lamp(
        scene,
        "Lamp",
        "SPOT",
        (0.15 * reach, -away, height + above),
        (0.0, 0.0, height - 0.08 * reach),
        energy=46.0 * (away**2 + above**2),
        spot_size=math.radians(74),
        spot_blend=0.75,
        shadow_soft_size=0.04,
        color=(1.0, 0.78, 0.52),
    )
    sky(scene, (0.22, 0.34, 0.62), 0.16)


def render_settings(scene: Any, samples: int) -> None:
    """Set a scene up for Cycles on the processor, the same noise in every run."""
    scene.render.engine = "CYCLES"
    cycles = scene.cycles
    cycles.device = "CPU"
    cycles.samples, cycles.seed = samples, 1
    cycles.preview_samples = min(samples, PREVIEW_SAMPLES)
    cycles.use_adaptive_sampling, cycles.adaptive_threshold = True, 0.02
    cycles.use_denoising = CAN_DENOISE
    cycles.max_bounces, cycles.diffuse_bounces = 6, 2
    cycles.caustics_reflective = cycles.caustics_refractive = False
    scene.view_settings.view_transform = "Standard"
    scene.view_settings.look = "None"
    scene.render.image_settings.file_format = "PNG"
    scene.render.image_settings.color_mode = "RGB"
