"""A scene on a photo of the client's wall: its camera, a wall that catches shadows, four corners.

The four empties stand at the corners of a rectangle of known size. Seen through the camera they are
dragged onto that rectangle in the photo; fitting then moves the camera so that the wall lies on the
photo. The render is transparent where nothing stands, to be laid over the photo.
"""

from pathlib import Path
from typing import Any

import bpy
import numpy as np
from bpy.props import FloatProperty
from bpy_extras.object_utils import world_to_camera_view
from mathutils import Matrix

from ...geometry.arrays import Floats
from ...geometry.errors import SheetstackError
from ...geometry.paint.compositing import painted_picture
from ...geometry.photo.focal_length import exif_focal
from ...geometry.photo.wall_view import WallView, rectangle_corners, view_from_rectangle
from ...geometry.progress import Progress
from ...geometry.tracing.picture import read_picture
from ..core.blender_versions import CAN_DENOISE, HAS_FILE_HANDLERS, show_scene
from ..core.conversion import metres
from ..core.dropped_file import file_given
from ..core.long_work import THROUGHOUT, LongWork, Work
from ..core.ownership import key_of, scene_of
from ..job.scene_job import job_of
from ..sheets.last_build import builder
from .mockup import PICTURE_PIXELS
from .mockup_material import Nodes, image_of

CORNERS = ("Corner upper left", "Corner upper right", "Corner lower right", "Corner lower left")
#: What a scene keeps of its photo: the rectangle in mm, the focal length in pixels or 0.
RECTANGLE, FOCAL = "sheetstack_rectangle_mm", "sheetstack_focal_px"
#: The wall that catches shadows, beside the rectangle, as a multiple of it.
_AROUND = 3.0
#: From the wall's x, y, out of it to Blender's x, z, -y; from a camera's y down to Blender's y up.
_UPRIGHT = np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]], float)
_TURNED = np.diag([1.0, -1.0, -1.0])


def photo_scene(
    photo: Path, picture: Any, size_mm: tuple[float, float], rectangle_mm: tuple[float, float]
) -> Any:
    """Return a new scene on a photo.

    Parameters
    ----------
    photo : Path
    picture : uint8 array (rows, columns, 3)
        The painted picture; it hangs in the rectangle's middle.
    size_mm : tuple of float
        Its true size.
    rectangle_mm : tuple of float
        Size of the rectangle that the corners are dragged onto.
    """
    pixels = read_picture(photo, lambda full: (64, 64)).full
    scene = bpy.data.scenes.new("Photo of the wall")
    scene.render.engine = "CYCLES"
    scene.cycles.use_denoising = CAN_DENOISE
    # The photo's colours are as they are to be seen; the paint's beside them, too.
    scene.view_settings.view_transform = "Standard"
    scene.render.resolution_x, scene.render.resolution_y = pixels
    scene.render.resolution_percentage = 100
    scene.render.film_transparent = True
    scene[RECTANGLE] = rectangle_mm
    scene[FOCAL] = exif_focal(photo) or 0.0
    data = bpy.data.cameras.new("Photo camera")
    camera = bpy.data.objects.new("Photo camera", data)
    scene.collection.objects.link(camera)
    scene.camera = camera
    behind = data.background_images.new()
    behind.image = bpy.data.images.load(str(photo), check_existing=True)
    behind.alpha = 1.0
    data.show_background_images = True
    for name in CORNERS:
        corner = bpy.data.objects.new(name, None)
        corner.empty_display_type = "SPHERE"
        corner.show_in_front = True
        scene.collection.objects.link(corner)
    width, height = rectangle_mm
    middle = np.array([width, height]) / 2
    catcher = _plane(scene, "Wall", middle, _AROUND * max(width, height) * np.ones(2), 0.0)
    catcher.is_shadow_catcher = True
    catcher.display_type = "WIRE"  # the photo is to be seen through it
    shown = _plane(scene, "Painted picture", middle, np.array(size_mm), 1.0)
    shown.visible_shadow = False  # paint is no plate
    nodes = Nodes("Painted picture")
    texture = nodes.add("ShaderNodeTexImage", image=image_of("Painted picture", picture))
    nodes.surface(texture.outputs["Color"], 0.9)
    shown.data.materials.append(nodes.material)
    sun = bpy.data.objects.new("Sun, turn it by hand", bpy.data.lights.new("Sun", "SUN"))
    sun.data.energy = 3.0
    sun.rotation_euler = np.radians([50.0, 0.0, 30.0])
    scene.collection.objects.link(sun)
    # To begin with the rectangle lies in the photo's middle, as large as fits in half of it.
    scale = 0.5 * min(pixels[0] / width, pixels[1] / height)
    seen = (rectangle_corners(width, height) - middle) * (scale, -scale) + np.array(pixels) / 2
    set_view(scene, _view(scene, seen))
    return scene


def _plane(scene: Any, name: str, middle: Floats, size: Floats, out_mm: float) -> Any:
    mesh = bpy.data.meshes.new(name)
    corners = rectangle_corners(*size)[::-1] - size / 2 + middle
    at = [(float(metres(x)), -float(metres(out_mm)), float(metres(y))) for x, y in corners]
    mesh.from_pydata([at[0], at[3], at[2], at[1]][::-1], [], [(0, 1, 2, 3)])
    layer = mesh.uv_layers.new()
    low = corners.min(axis=0)
    for loop in mesh.loops:
        x, _, y = mesh.vertices[loop.vertex_index].co
        layer.data[loop.index].uv = ((x * 1e3 - low[0]) / size[0], (y * 1e3 - low[1]) / size[1])
    thing = bpy.data.objects.new(name, mesh)
    scene.collection.objects.link(thing)
    return thing


def _view(scene: Any, corners_px: Floats) -> WallView:
    pixels = (scene.render.resolution_x, scene.render.resolution_y)
    width, height = scene[RECTANGLE]
    return view_from_rectangle(corners_px, (width, height), pixels, scene[FOCAL] or None)


def set_view(scene: Any, view: WallView) -> None:
    """Move a scene's camera to where a photo was taken, and the corners onto the wall."""
    camera = scene.camera
    rotation = _UPRIGHT @ view.rotation.T @ _TURNED
    place = _UPRIGHT @ view.camera_mm
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = rotation, metres(place)
    camera.matrix_world = Matrix(matrix.tolist())
    camera.data.sensor_fit = "HORIZONTAL"
    camera.data.lens = view.focal_px / view.pixels[0] * camera.data.sensor_width
    camera.data.clip_end = max(100.0, 10 * float(metres(np.linalg.norm(view.camera_mm))))
    for name, (x, y) in zip(CORNERS, rectangle_corners(*scene[RECTANGLE]), strict=True):
        corner = corner_of(scene, name)
        corner.location = (float(metres(x)), 0.0, float(metres(y)))
        corner.empty_display_size = 0.025 * float(metres(max(scene[RECTANGLE])))


def corner_of(scene: Any, name: str) -> Any:
    """Return one of a scene's corners, None where it was removed; copies have a number behind."""
    return next((o for o in scene.objects if o.name.split(".")[0] == name), None)


def corners_seen(scene: Any) -> Floats:
    """Return where the camera sees the four corners, in pixels of the photo."""
    scene.view_layers[0].update()
    size = np.array([scene.render.resolution_x, scene.render.resolution_y])
    seen = []
    for name in CORNERS:
        # Where it was put, not where it was evaluated: a scene that no window has shown is not.
        corner = corner_of(scene, name)
        put = corner.matrix_world if corner.parent else corner.matrix_basis
        at = world_to_camera_view(scene, scene.camera, put.translation)
        seen.append((at.x * size[0], (1 - at.y) * size[1]))
    return np.array(seen)


class SHEETSTACK_OT_wall_photo(LongWork, bpy.types.Operator):
    """Build a scene on a photo of the wall: drag its four corners onto a rectangle of known size"""

    bl_idname = "sheetstack.wall_photo"
    bl_label = "Scene on a Photo"
    bl_options = {"REGISTER", "UNDO"}
    harmless_until = THROUGHOUT

    filepath: file_given("Photo", "Photo of the wall")
    filter_image: bpy.props.BoolProperty(default=True, options={"HIDDEN"})
    width_mm: FloatProperty(
        name="Width", description="Of the rectangle in mm; 0 for the picture's", min=0, default=0
    )
    height_mm: FloatProperty(
        name="Height", description="Of the rectangle in mm; 0 for the picture's", min=0, default=0
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        return bool(bpy.ops.sheetstack.build.poll())

    def invoke(self, context: Any, event: Any) -> set[str]:
        if self.filepath:
            return self.execute(context)
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> set[str]:
        if bpy.app.background:
            return LongWork.execute(self, context)
        return LongWork.invoke(self, context, None)

    def work(self, context: Any) -> Work:
        job = job_of(context.scene)
        self._size = (job.sheet.width_mm, job.sheet.height_mm)
        self._scene = key_of(context.scene)
        self._photo = Path(bpy.path.abspath(self.filepath))
        read_picture(self._photo, lambda full: (64, 64))  # refused before the work begins
        build = builder(context.scene, job)

        def paint(progress: Progress) -> Any:
            return painted_picture(build(progress), PICTURE_PIXELS)

        return paint

    def done(self, context: Any, result: Any) -> set[str]:
        home = scene_of(self._scene)
        if home is None:
            return {"CANCELLED"}
        rectangle = (self.width_mm or self._size[0], self.height_mm or self._size[1])
        scene = photo_scene(self._photo, result, self._size, rectangle)
        scene.sheetstack.home = home
        if context.window is not None:
            show_scene(context, scene)
            for area in context.window.screen.areas:
                if area.type == "VIEW_3D":
                    area.spaces.active.region_3d.view_perspective = "CAMERA"
                    # The picture in its colours, not as a grey plate.
                    area.spaces.active.shading.color_type = "TEXTURE"
        self.report({"INFO"}, "Drag the four corners in the camera's view, then fit the camera.")
        return {"FINISHED"}


class SHEETSTACK_OT_fit_wall_photo(bpy.types.Operator):
    """Move the camera so that the wall's rectangle lies where its four corners were dragged"""

    bl_idname = "sheetstack.fit_wall_photo"
    bl_label = "Fit Camera to Corners"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        scene = context.scene
        if RECTANGLE not in scene or scene.camera is None:
            cls.poll_message_set("This scene stands on no photo of a wall")
            return False
        if any(corner_of(scene, name) is None for name in CORNERS):
            cls.poll_message_set("A corner of the wall's rectangle was removed")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        scene = context.scene
        try:
            view = _view(scene, corners_seen(scene))
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        set_view(scene, view)
        for note in view.notes:
            self.report({"WARNING"}, note)
        return {"FINISHED"}


CLASSES = [SHEETSTACK_OT_wall_photo, SHEETSTACK_OT_fit_wall_photo]

if HAS_FILE_HANDLERS:

    class SHEETSTACK_FH_wall_photo(bpy.types.FileHandler):
        """Builds a scene on a photo of the wall that is dropped on a 3D view"""

        bl_idname = "SHEETSTACK_FH_wall_photo"
        bl_label = "Photo of the wall"
        bl_import_operator = "sheetstack.wall_photo"
        bl_file_extensions = ".jpg;.jpeg;.png;.tif;.tiff"

        @classmethod
        def poll_drop(cls, context: Any) -> bool:
            in_view = context.area is not None and context.area.type == "VIEW_3D"
            return in_view and bool(bpy.ops.sheetstack.wall_photo.poll())

    CLASSES.append(SHEETSTACK_FH_wall_photo)
