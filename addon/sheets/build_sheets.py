"""Building the scene's job: the sheets as objects, in the background, renewed when it changes."""

from collections.abc import Iterator
from contextlib import nullcontext
from typing import Any

import bpy

from ...geometry.build import Build
from ...geometry.errors import SheetstackError
from ..core.long_work import THROUGHOUT, LongWork, Work, may_begin
from ..core.look import frame, isolate, join
from ..core.ownership import key_of, scene_of
from ..job import kept_artwork
from ..job.drawn_objects import renew_drawn
from ..job.scene_job import job_of, put_settled
from ..job.sources import missing_files, states_of
from ..tracing.picture_under import picture_object
from .last_build import builder
from .ready_layer import ready_build
from .sheet_object import fill_sheet, sheets_of, show_build

#: Seconds from the last change of a property to the new build.
PAUSE = 0.6


class SHEETSTACK_OT_build(LongWork, bpy.types.Operator):
    """Build all sheets of the job at true size: openings cut, islands held, thickness exact"""

    bl_idname = "sheetstack.build"
    bl_label = "Build Sheets"
    bl_options = {"REGISTER", "UNDO"}
    harmless_until = THROUGHOUT

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not context.scene.sheetstack.layers:
            cls.poll_message_set("There is no job yet: add a layer or open a job")
            return False
        if context.mode != "OBJECT":
            cls.poll_message_set("Leave edit mode first")
            return False
        return may_begin(cls)

    def work(self, context: Any) -> Work:
        self._scene = key_of(context.scene)
        renew_drawn(context)
        self._job = job_of(context.scene)
        self._sources, self._missing = states_of(context.scene), missing_files(context.scene)
        built = builder(context.scene, self._job)
        return lambda progress: ready_build(built(progress))

    def parts(self, result: Any) -> Iterator[None]:
        scene = scene_of(self._scene)
        self._is_first = scene is not None and not sheets_of(scene)
        for layer in result.layers:
            scene = scene_of(self._scene)
            if scene is not None:
                fill_sheet(scene, layer)
            yield

    def done(self, context: Any, result: Any) -> set[str]:
        scene = scene_of(self._scene)
        if scene is None:
            self.report({"WARNING"}, "The scene was removed while its sheets were built.")
            return {"CANCELLED"}
        try:
            unchanged = job_of(scene) == self._job
        except SheetstackError:  # changed meanwhile to what is no job
            unchanged = False
        edited = show_build(scene, result)
        put_settled(scene, result.build.job.settled)
        if self._is_first:
            show_whole_stack(scene)
        join(scene, sheets_of(scene).values())
        if unchanged:
            kept_artwork.keep(scene, self._job)
        scene.sheetstack.is_stale = not unchanged
        scene.sheetstack.sources, scene.sheetstack.changed_sources = self._sources, ""
        self.report(*_summary(result.build))
        if self._missing:
            self.report(
                {"WARNING"},
                f"{', '.join(self._missing)}: not found; built from the copy in this .blend.",
            )
        if edited:
            self.report({"WARNING"}, f"Edits by hand were kept in {', '.join(edited)}.")
        return {"FINISHED"}


def show_whole_stack(scene: Any) -> None:
    """Let the sheets be seen: alone where something stands in their way, and as large as can be."""
    bpy.context.view_layer.update()
    sheets = list(sheets_of(scene).values())
    isolate(scene, sheets)
    photo = picture_object(scene)
    join(scene, [] if photo is None else [photo])
    frame(scene, sheets)


def _summary(result: Build) -> tuple[set[str], str]:
    islands = sum(len(layer.islands) for layer in result.layers)
    bridges = sum(len(layer.bridges) for layer in result.layers)
    left = sum(len(layer.islands_left) for layer in result.layers)
    text = f"Built {len(result.layers)} sheets: {islands} islands, {bridges} bridges"
    if result.spoilt:
        return {"WARNING"}, f"{text}, {left} islands left; see the findings."
    return {"INFO"}, f"{text}, nothing falls out."


_seen: dict[str, int] = {}


def _follow() -> float:
    """Build again where a scene's job has changed and then rested; Blender's timer calls it."""
    scene = bpy.context.scene
    state = scene.sheetstack
    changes = state.changes
    key = key_of(scene)
    rested = _seen.get(key) == changes
    _seen[key] = changes
    window = next(iter(bpy.context.window_manager.windows), None)
    if state.follow and state.is_stale and rested and window and _seen.get("tried") != changes:
        # Blender 3.4 looks an override up without Python's lock, which a thread of ours may hold.
        context = bpy.context
        override = context.temp_override(window=window, scene=scene)
        with override if context.window is None else nullcontext():
            if bpy.ops.sheetstack.build.poll():
                _seen["tried"] = changes
                bpy.ops.sheetstack.build("INVOKE_DEFAULT")
    return PAUSE


CLASSES = (SHEETSTACK_OT_build,)


def register() -> None:
    """Begin to look for changes, where there is a window."""
    if not bpy.app.background:
        bpy.app.timers.register(_follow, first_interval=PAUSE, persistent=True)


def unregister() -> None:
    """End looking."""
    if bpy.app.timers.is_registered(_follow):
        bpy.app.timers.unregister(_follow)
    _seen.clear()
