"""From a picture to layers: the full tracing on request, and a preview that follows the sliders."""

from pathlib import Path
from typing import Any

import bpy

from ...geometry.errors import SheetstackError
from ...geometry.job.load import load_job
from ...geometry.progress import Progress
from ...geometry.tracing.trace import Tracing, read_and_trace, shrunk
from ...geometry.tracing.write import JOB, write_tracing
from ..core.long_work import LongWork, Running, Work, may_begin
from ..core.ownership import key_of, scene_of
from ..core.viewport import redraw_panels
from ..job.scene_job import put_job
from .known_marks import known_of, picture_of, put_known
from .picture_under import lay_under
from .preview import live, preview_of, take
from .tracing_property import settings_of

#: Share of the work that is tracing; then files are written.
TRACED = 0.9
#: Pixels of the reference image's longer side.
SHOWN = 1024
#: Seconds between looks at the settings and at the preview.
LOOK = 0.15


def has_picture(cls: Any, context: Any) -> bool:
    """Return whether a picture is chosen; else the operator's poll says so."""
    if not context.scene.sheetstack_tracing.picture:
        cls.poll_message_set("Choose a picture first")
        return False
    return True


class SHEETSTACK_OT_trace_picture(LongWork, bpy.types.Operator):
    """Trace the picture at full size into a folder beside it, and open the job that comes of it"""

    bl_idname = "sheetstack.trace_picture"
    bl_label = "Trace Picture"
    bl_options = {"REGISTER", "UNDO"}
    harmless_until = TRACED

    @classmethod
    def poll(cls, context: Any) -> bool:
        return has_picture(cls, context) and may_begin(cls)

    def work(self, context: Any) -> Work:
        self._scene = key_of(context.scene)
        path, settings = picture_of(context.scene), settings_of(context.scene)
        known = known_of(context.scene)
        self._path = path

        def traced(progress: Progress) -> tuple[Path, Tracing]:
            tracing = read_and_trace(path, settings, progress.part(0.0, TRACED), subject=known)
            progress(TRACED, "writing")  # from here on Esc waits
            folder = path.with_name(f"{path.stem}-layers")
            write_tracing(tracing, folder, path.stem, progress=progress.part(TRACED, 1.0))
            return folder / JOB, tracing

        return traced

    def done(self, context: Any, result: tuple[Path, Tracing]) -> set[str]:
        scene = scene_of(self._scene)
        if scene is None:
            return {"CANCELLED"}
        file, tracing = result
        job = load_job(file)
        put_job(scene, job, file=str(file), text=file.read_text(encoding="utf-8"))
        picture = tracing.picture
        if picture_of(scene) == self._path:
            if known_of(scene) is None:
                put_known(scene, tracing.known, picture.full)
            scene.sheetstack_tracing.show_marks = False
            small = shrunk(picture.srgb, SHOWN)
            lay_under(scene, self._path, small, picture.full, tracing.settings)
        self.report({"INFO"}, f"Traced {len(job.layers)} layers into {file.parent}.")
        return {"FINISHED"}


class SHEETSTACK_OT_preview_tracing(bpy.types.Operator):
    """Draw the preview now, at reduced size"""

    bl_idname = "sheetstack.preview_tracing"
    bl_label = "Preview"
    bl_options = {"REGISTER"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        return has_picture(cls, context)

    def execute(self, context: Any) -> set[str]:
        try:
            work = _preview(context.scene)
            if bpy.app.background:
                work.run()
                take(work, context.scene)
                return {"FINISHED"}
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        live.stop()
        live.work, live.changed = work, None
        work.start()
        return {"FINISHED"}


def _preview(scene: Any) -> Running:
    return preview_of(picture_of(scene), settings_of(scene), known_of(scene))


def _look() -> float:
    """Begin a preview where a setting changed and rested, take one that is through."""
    if live.work is not None and live.work.ended:
        through, live.work = live.work, None
        try:
            take(through, bpy.context.scene)
        except SheetstackError:  # told in the panel: half-typed settings are no fault
            redraw_panels()
    if not live.rested():
        return LOOK
    if live.work is not None:
        live.stop()  # of settings that are no longer those
        return LOOK
    live.changed = None
    scene = bpy.context.scene
    group = scene.sheetstack_tracing
    if not (group.live and group.picture):
        return LOOK
    try:
        live.work = _preview(scene)
    except SheetstackError as error:
        live.told = str(error)
        redraw_panels()
        return LOOK
    live.work.start()
    return LOOK


CLASSES = (SHEETSTACK_OT_trace_picture, SHEETSTACK_OT_preview_tracing)


def register() -> None:
    """Begin to look for changes, where there is a window."""
    if not bpy.app.background:
        bpy.app.timers.register(_look, first_interval=LOOK, persistent=True)


def unregister() -> None:
    """End looking."""
    if bpy.app.timers.is_registered(_look):
        bpy.app.timers.unregister(_look)
