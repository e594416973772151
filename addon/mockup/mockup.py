"""Mock-ups: operators for the client scene, the exploded stack, and the user's own wall."""

from typing import Any

import bpy
import numpy as np
from bpy.props import BoolProperty, EnumProperty, IntProperty, PointerProperty
from numpy.typing import NDArray

from ...geometry.build import Build
from ...geometry.job.sections import MockupSettings
from ...geometry.paint.compositing import painted_picture
from ...geometry.progress import Progress
from ..core.blender_versions import show_scene
from ..core.long_work import THROUGHOUT, LongWork, Work
from ..core.look import give_back, show
from ..core.ownership import (
    is_made,
    is_own,
    key_of,
    owning,
    remove_made,
    remove_unused,
    scene_of,
)
from ..job.scene_job import job_of
from ..sheets.last_build import builder
from .mockup_scene import mockup_scene, render_settings
from .picture_on_face import face_of, put_picture
from .stack_scene import stack_scene, turn_by_frames

#: Pixels along the long side of the picture in a scene.
PICTURE_PIXELS = 2048
#: First names of the scenes; they are found again by pointer.
NAMES = {"PICTURE": "Mock-up", "STACK": "Exploded stack"}
#: Where the job's scene keeps them.
PLACES = {"PICTURE": "picture_scene", "STACK": "stack_scene"}
ROLE = "MOCKUP"


class MockupProperties:
    """What a scene keeps of the mock-ups of its job, or of the job that it is a mock-up of."""

    picture_scene: PointerProperty(
        type=bpy.types.Scene, name="Mock-up", description="Scene of the painted picture"
    )
    stack_scene: PointerProperty(
        type=bpy.types.Scene, name="Exploded stack", description="Scene of the exploded stack"
    )
    home: PointerProperty(
        type=bpy.types.Scene, name="Job", description="Scene of the job that this one shows"
    )
    wall: PointerProperty(
        type=bpy.types.Object, name="Wall", description="Wall that the picture is put on"
    )


class SHEETSTACK_OT_mockup(LongWork, bpy.types.Operator):
    """Build a scene of its own, ready to render by Cycles: the painted picture at true size on \
its wall, board or canvas, or the exploded stack of sheets in their material"""

    bl_idname = "sheetstack.mockup"
    bl_label = "Build Mock-Up Scene"
    bl_options = {"REGISTER", "UNDO"}
    harmless_until = THROUGHOUT

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
        self._scene = key_of(context.scene)
        build = builder(context.scene, self._job)

        def paint(progress: Progress) -> tuple[Build, NDArray[np.uint8]]:
            built = build(progress.part(0.0, 0.8))
            progress(0.8, "Painting")
            return built, painted_picture(built, PICTURE_PIXELS)

        return paint

    def done(self, context: Any, result: Any) -> set[str]:
        built, picture = result
        home = scene_of(self._scene)
        if home is None:
            return {"CANCELLED"}
        state = home.sheetstack
        scene = make_scene(
            self.kind,
            built,
            picture,
            self._job.mockup,
            (self.width, self.height),
            self.frames,
            getattr(state, PLACES[self.kind]),
        )
        setattr(state, PLACES[self.kind], scene)
        scene.sheetstack.home = home
        render_settings(scene, self.samples)
        if self.go_there and context.window is not None:
            show_scene(context, scene)
            # The picture is laid on by nodes, which the solid view does not show.
            show(scene, ROLE, view_perspective="CAMERA", type="RENDERED")
        self.report({"INFO"}, f"Scene '{scene.name}' is ready to render.")
        return {"FINISHED"}


def make_scene(
    kind: str,
    build: Build,
    picture: NDArray[np.uint8],
    settings: MockupSettings,
    pixels: tuple[int, int],
    frames: int = 0,
    scene: Any = None,
) -> Any:
    """Fill a scene of its own of a kind.

    Parameters
    ----------
    kind : {'PICTURE', 'STACK'}
    build : Build
    picture : uint8 array (rows, columns, 3)
    settings : MockupSettings
    pixels : tuple of int
    frames : int
        Of a turntable of the stack; 0 for a still.
    scene : bpy.types.Scene, optional
        One that was made before. What the add-on put there is made anew; what the user put there,
        camera and world included, stays.

    Returns
    -------
    bpy.types.Scene
    """
    if scene is None:
        scene = bpy.data.scenes.new(NAMES[kind])
    camera, world = _emptied(scene)
    with owning(scene, ROLE):
        if kind == "PICTURE":
            sheet = build.job.sheet
            size = (sheet.width_mm, sheet.height_mm)
            mockup_scene(scene, picture, size, build.job.ground, settings, pixels)
        else:
            stand = stack_scene(scene, build, picture, pixels, turning=frames > 0)
            if frames:
                turn_by_frames(scene, stand, frames)
    if camera is not None:
        scene.camera = camera
    if world is not None:
        ours, scene.world = scene.world, world
        remove_unused([ours])
    return scene


def _emptied(scene: Any) -> tuple[Any, Any]:
    """Remove what the add-on put into a scene; return the user's own camera and world."""
    camera = None if scene.camera is None or is_made(scene, scene.camera) else scene.camera
    world = None if scene.world is None or is_own(scene.world) else scene.world
    if world is None and scene.world is not None:
        ours, scene.world = scene.world, None
        remove_unused([ours])
    remove_made(scene, ROLE)
    return camera, world


class SHEETSTACK_OT_back_to_job(bpy.types.Operator):
    """Show the scene of the job again"""

    bl_idname = "sheetstack.back_to_job"
    bl_label = "Back to the Job"

    @classmethod
    def poll(cls, context: Any) -> bool:
        if context.scene.sheetstack.home is None:
            cls.poll_message_set("This scene is no mock-up of a job")
            return False
        return context.window is not None

    def execute(self, context: Any) -> set[str]:
        give_back(ROLE)
        show_scene(context, context.scene.sheetstack.home)
        return {"FINISHED"}


class SHEETSTACK_OT_picture_on_face(LongWork, bpy.types.Operator):
    """Put the painted picture at true size on the selected face of a wall of your own"""

    bl_idname = "sheetstack.picture_on_face"
    bl_label = "Picture on Selected Face"
    bl_options = {"REGISTER", "UNDO"}
    harmless_until = THROUGHOUT

    @classmethod
    def poll(cls, context: Any) -> bool:
        thing = context.active_object
        if thing is None or thing.type != "MESH":
            cls.poll_message_set("Select a face of a mesh first.")
            return False
        return bool(bpy.ops.sheetstack.build.poll())

    def work(self, context: Any) -> Work:
        self._job = job_of(context.scene)
        context.scene.sheetstack.wall = context.active_object
        self._scene = key_of(context.scene)
        self._face = face_of(context.active_object)
        build = builder(context.scene, self._job)
        return lambda progress: painted_picture(build(progress), PICTURE_PIXELS)

    def done(self, context: Any, result: Any) -> set[str]:
        scene = scene_of(self._scene)
        wall = None if scene is None else scene.sheetstack.wall
        if wall is None:
            return {"CANCELLED"}
        sheet = self._job.sheet
        size = (sheet.width_mm, sheet.height_mm)
        fits = put_picture(scene, wall, self._face, result, size)
        if not fits:
            self.report({"WARNING"}, "The picture is larger than the face and hangs over its edge.")
        return {"FINISHED"}


CLASSES = (SHEETSTACK_OT_mockup, SHEETSTACK_OT_back_to_job, SHEETSTACK_OT_picture_on_face)
