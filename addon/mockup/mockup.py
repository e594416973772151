"""Mock-ups: operators for the client scene, the exploded stack, and the user's own wall."""

from typing import Any

import bpy
import numpy as np
from bpy.props import BoolProperty, EnumProperty, IntProperty
from numpy.typing import NDArray

from ...geometry.build import Build
from ...geometry.job.sections import MockupSettings
from ...geometry.paint.compositing import painted_picture
from ...geometry.progress import Progress
from ..core.long_work import LongWork, Work
from ..job.scene_job import job_of
from ..sheets.last_build import builder
from .mockup_scene import mockup_scene, render_settings
from .picture_on_face import face_of, put_picture
from .stack_scene import stack_scene, turn_by_frames

#: Pixels along the long side of the picture in a scene.
PICTURE_PIXELS = 2048
SCENES = {"PICTURE": "Mock-up", "STACK": "Exploded stack"}


class SHEETSTACK_OT_mockup(LongWork, bpy.types.Operator):
    """Build a scene of its own, ready to render by Cycles: the painted picture at true size on \
its wall, board or canvas, or the exploded stack of sheets in their material"""

    bl_idname = "sheetstack.mockup"
    bl_label = "Build Mock-Up Scene"
    bl_options = {"REGISTER", "UNDO"}

    kind: EnumProperty(
        name="Scene",
        description="What the scene shows",
        items=[
            ("PICTURE", "Picture", "The painted picture on its surface"),
            ("STACK", "Exploded stack", "The rigid sheets, one behind the other"),
        ],
    )
    frames: IntProperty(
        name="Turntable",
        description="Frames of one turn of the stack; 0 for a still",
        min=0,
        max=2000,
    )
    samples: IntProperty(name="Samples", description="Of each pixel", default=64, min=1, max=4096)
    width: IntProperty(name="Width", description="Pixels of the render", default=1600, min=64)
    height: IntProperty(name="Height", description="Pixels of the render", default=1200, min=64)
    go_there: BoolProperty(
        name="Show", description="Show the new scene in this window", default=True
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        return bool(bpy.ops.sheetstack.build.poll())

    def work(self, context: Any) -> Work:
        self._job = job_of(context.scene)
        build = builder(context.scene, self._job)

        def paint(progress: Progress) -> tuple[Build, NDArray[np.uint8]]:
            built = build(progress.part(0.0, 0.8))
            progress(0.8, "Painting")
            return built, painted_picture(built, PICTURE_PIXELS)

        return paint

    def done(self, context: Any, result: Any) -> set[str]:
        built, picture = result
        scene = make_scene(
            self.kind, built, picture, self._job.mockup, (self.width, self.height), self.frames
        )
        render_settings(scene, self.samples)
        if self.go_there and context.window is not None:
            context.window.scene = scene
        self.report({"INFO"}, f"Scene '{scene.name}' is ready to render.")
        return {"FINISHED"}


def make_scene(
    kind: str,
    build: Build,
    picture: NDArray[np.uint8],
    settings: MockupSettings,
    pixels: tuple[int, int],
    frames: int = 0,
) -> Any:
    """Make the scene of a kind, in place of an older one.

    Parameters
    ----------
    kind : {'PICTURE', 'STACK'}
    build : Build
    picture : uint8 array (rows, columns, 3)
    settings : MockupSettings
    pixels : tuple of int
    frames : int
        Of a turntable of the stack; 0 for a still.
    """
    name = SCENES[kind]
    _remove(name)
    if kind == "PICTURE":
        sheet = build.job.sheet
        size = (sheet.width_mm, sheet.height_mm)
        return mockup_scene(name, picture, size, build.job.ground, settings, pixels)
    scene, stand = stack_scene(name, build, picture, pixels, turning=frames > 0)
    if frames:
        turn_by_frames(scene, stand, frames)
    return scene


def _remove(name: str) -> None:
    old = bpy.data.scenes.get(name)
    if old is None or len(bpy.data.scenes) == 1:
        return
    for thing in list(old.collection.all_objects):
        bpy.data.objects.remove(thing)
    bpy.data.scenes.remove(old)
    bpy.data.orphans_purge()


class SHEETSTACK_OT_picture_on_face(LongWork, bpy.types.Operator):
    """Put the painted picture at true size on the selected face of a wall of your own"""

    bl_idname = "sheetstack.picture_on_face"
    bl_label = "Picture on Selected Face"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        thing = context.active_object
        if thing is None or thing.type != "MESH":
            cls.poll_message_set("Select a face of a mesh first.")
            return False
        return bool(bpy.ops.sheetstack.build.poll())

    def work(self, context: Any) -> Work:
        self._job = job_of(context.scene)
        self._wall = context.active_object.name
        self._scene = context.scene.name
        self._face = face_of(context.active_object)
        build = builder(context.scene, self._job)
        return lambda progress: painted_picture(build(progress), PICTURE_PIXELS)

    def done(self, context: Any, result: Any) -> set[str]:
        wall, scene = bpy.data.objects.get(self._wall), bpy.data.scenes.get(self._scene)
        if wall is None or scene is None:
            return {"CANCELLED"}
        sheet = self._job.sheet
        size = (sheet.width_mm, sheet.height_mm)
        fits = put_picture(scene, wall, self._face, result, size)
        if not fits:
            self.report({"WARNING"}, "The picture is larger than the face and hangs over its edge.")
        return {"FINISHED"}


CLASSES = (SHEETSTACK_OT_mockup, SHEETSTACK_OT_picture_on_face)
