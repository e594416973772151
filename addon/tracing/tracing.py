"""From a picture to layers: sliders with a live preview, and the full tracing on request."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import bpy
import bpy.utils.previews
import numpy as np
from bpy.props import BoolProperty, PointerProperty, StringProperty
from numpy.typing import NDArray

from ...geometry.errors import Cancelled, SheetstackError
from ...geometry.job.fields import read_section
from ...geometry.job.load import load_job
from ...geometry.progress import Progress
from ...geometry.tracing.settings import TracingSettings
from ...geometry.tracing.trace import PREVIEW_PIXELS, Tracing, read_and_trace
from ...geometry.tracing.write import JOB, write_tracing
from ..core.long_work import LongWork, Work, may_begin
from ..core.setting_property import draw_section, property_group, table_of
from ..core.viewport import redraw_panels, wrapped
from ..job.scene_job import put_job

#: Seconds from the last change of a slider to the new preview, and between looks.
PAUSE, LOOK = 0.3, 0.15
IMAGE = "Tracing preview"
#: Sliders that stand above all others.
MAIN = ("layers", "detail", "local_contrast")
#: Paths in the settings, which Blender may keep relative to its file.
PATHS = ("background_mask", "focus_mask")


@dataclass
class Preview:
    """A tracing at reduced size in its thread."""

    path: Path
    settings: TracingSettings
    stop: threading.Event = field(default_factory=threading.Event)
    result: Tracing | None = None
    failure: BaseException | None = None
    thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin in a new thread."""
        self.thread = threading.Thread(target=self.run, name=IMAGE, daemon=True)
        self.thread.start()

    def run(self) -> None:
        """Trace; the main thread looks at what came of it."""

        def report(share: float, what: str) -> None:
            if self.stop.is_set():
                raise Cancelled("The preview was stopped.")

        try:
            self.result = read_and_trace(self.path, self.settings, Progress(report), PREVIEW_PIXELS)
        except BaseException as error:  # handed to the main thread, which raises it
            self.failure = error


@dataclass
class Live:
    """What the live preview knows: when a slider moved last, and what is under way."""

    changed: float | None = None
    preview: Preview | None = None
    told: str = ""
    icons: Any = None


_live = Live()


def _moved(group: Any, context: Any) -> None:
    _live.changed = time.monotonic()


SHEETSTACK_PG_tracing = property_group(
    "SHEETSTACK_PG_tracing",
    TracingSettings,
    needed={},
    update=_moved,
    more={
        "picture": StringProperty(
            name="Picture",
            description="Photograph or painting to trace: PNG, JPEG or TIFF",
            subtype="FILE_PATH",
            update=_moved,
        ),
        "live": BoolProperty(
            name="Live preview",
            description="Draw the preview anew whenever a setting changes",
            default=True,
            update=_moved,
        ),
    },
)


def picture_of(scene: bpy.types.Scene) -> Path:
    """Return the path of the scene's picture."""
    return Path(bpy.path.abspath(scene.sheetstack_tracing.picture))


def settings_of(scene: bpy.types.Scene) -> TracingSettings:
    """Return the scene's settings of a tracing.

    Raises
    ------
    JobError
        A list cannot be read or a value is out of its limits.
    """
    table = table_of(scene.sheetstack_tracing, TracingSettings, "tracing")
    for key in PATHS:
        if table.get(key):
            table[key] = bpy.path.abspath(table[key])
    return read_section(TracingSettings, table, "tracing")


class SHEETSTACK_OT_trace_picture(LongWork, bpy.types.Operator):
    """Trace the picture at full size into a folder beside it, and open the job that comes of it"""

    bl_idname = "sheetstack.trace_picture"
    bl_label = "Trace Picture"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not context.scene.sheetstack_tracing.picture:
            cls.poll_message_set("Choose a picture first")
            return False
        return may_begin(cls)

    def work(self, context: Any) -> Work:
        self._scene = context.scene.name
        path, settings = picture_of(context.scene), settings_of(context.scene)

        def traced(progress: Progress) -> Path:
            tracing = read_and_trace(path, settings, progress.part(0.0, 0.9))
            folder = path.with_name(f"{path.stem}-layers")
            write_tracing(tracing, folder, path.stem, progress=progress.part(0.9, 1.0))
            return folder / JOB

        return traced

    def done(self, context: Any, result: Path) -> set[str]:
        scene = bpy.data.scenes.get(self._scene)
        if scene is None:
            return {"CANCELLED"}
        job = load_job(result)
        put_job(scene, job, file=str(result), text=result.read_text(encoding="utf-8"))
        self.report({"INFO"}, f"Traced {len(job.layers)} layers into {result.parent}.")
        return {"FINISHED"}


class SHEETSTACK_OT_preview_tracing(bpy.types.Operator):
    """Draw the preview now, at reduced size"""

    bl_idname = "sheetstack.preview_tracing"
    bl_label = "Preview"
    bl_options = {"REGISTER"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not context.scene.sheetstack_tracing.picture:
            cls.poll_message_set("Choose a picture first")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        try:
            preview = Preview(picture_of(context.scene), settings_of(context.scene))
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        preview.run()
        try:
            _take(preview)
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        return {"FINISHED"}


class SHEETSTACK_PT_tracing(bpy.types.Panel):
    """A picture becomes layers: an editable drawing and its job"""

    bl_label = "Trace a Picture"
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = "Stencil"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, group = self.layout, context.scene.sheetstack_tracing
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(group, "picture")
        column = layout.column()
        column.active = bool(group.picture)
        column.prop(group, "layers", slider=True)
        column.prop(group, "detail", slider=True)
        column.prop(group, "local_contrast", slider=True)
        if _live.icons is not None and IMAGE in _live.icons:
            layout.template_icon(_live.icons[IMAGE].icon_id, scale=12)
        told = layout.column(align=True)
        for sentence in _live.told.splitlines():
            for line in wrapped(sentence, context.region.width):
                told.label(text=line)
        row = layout.row(align=True)
        row.use_property_split = False
        row.prop(group, "live", text="Live")
        row.operator("sheetstack.preview_tracing", icon="FILE_REFRESH")
        row = layout.row()
        row.scale_y = 1.4
        row.operator("sheetstack.trace_picture", icon="IMAGE_DATA")


class SHEETSTACK_PT_tracing_more(bpy.types.Panel):
    """Colours, sheet, focus and background of a tracing"""

    bl_label = "More Settings"
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = "Stencil"
    bl_parent_id = "SHEETSTACK_PT_tracing"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        draw_section(layout, context.scene.sheetstack_tracing, TracingSettings, leave_out=MAIN)


def _take(preview: Preview) -> None:
    """Show a finished preview; raises what its thread raised, but for having been stopped."""
    if preview.failure is not None:
        _live.told = str(preview.failure) if isinstance(preview.failure, SheetstackError) else ""
        if isinstance(preview.failure, Cancelled):
            return
        raise preview.failure
    tracing = preview.result
    if tracing is None:
        return
    score = tracing.score
    _live.told = (
        f"Difference {score.difference:.1f}, structure {score.structure:.2f}\n"
        f"{score.islands} islands, {score.cut_mm / 1000:.1f} m of cuts, {score.nodes} nodes"
    )
    rows, columns = tracing.painted.shape[:2]
    pixels: NDArray[np.float32] = np.ones((rows, columns, 4), np.float32)
    pixels[:, :, :3] = tracing.painted[::-1]
    image = bpy.data.images.get(IMAGE)
    if image is None:
        image = bpy.data.images.new(IMAGE, columns, rows)
    if tuple(image.size) != (columns, rows):
        image.scale(columns, rows)
    image.pixels.foreach_set(pixels.ravel())
    image.update()
    if _live.icons is not None:
        icon = _live.icons[IMAGE] if IMAGE in _live.icons else _live.icons.new(IMAGE)
        icon.image_size = (columns, rows)
        icon.image_pixels_float.foreach_set(pixels.ravel())
    redraw_panels()


def _look() -> float:
    """Begin a preview where a slider moved and rested, take one that is through."""
    preview = _live.preview
    if preview is not None and preview.thread is not None and not preview.thread.is_alive():
        _live.preview = None
        try:
            _take(preview)
        except SheetstackError:  # told in the panel: half-typed settings are no fault
            redraw_panels()
    scene = bpy.context.scene
    group = scene.sheetstack_tracing
    if _live.changed is None or time.monotonic() - _live.changed < PAUSE:
        return LOOK
    if _live.preview is not None:
        _live.preview.stop.set()  # of settings that are no longer those
        return LOOK
    _live.changed = None
    if not (group.live and group.picture):
        return LOOK
    try:
        _live.preview = Preview(picture_of(scene), settings_of(scene))
    except SheetstackError as error:
        _live.told = str(error)
        redraw_panels()
        return LOOK
    _live.preview.start()
    return LOOK


CLASSES = (
    SHEETSTACK_PG_tracing,
    SHEETSTACK_OT_trace_picture,
    SHEETSTACK_OT_preview_tracing,
    SHEETSTACK_PT_tracing,
    SHEETSTACK_PT_tracing_more,
)


def register() -> None:
    """Hang the settings on scenes and begin to look for changes, where there is a window."""
    bpy.types.Scene.sheetstack_tracing = PointerProperty(type=SHEETSTACK_PG_tracing)
    _live.icons = bpy.utils.previews.new()
    if not bpy.app.background:
        bpy.app.timers.register(_look, first_interval=LOOK, persistent=True)


def unregister() -> None:
    """Undo it."""
    if bpy.app.timers.is_registered(_look):
        bpy.app.timers.unregister(_look)
    if _live.preview is not None:
        _live.preview.stop.set()
    if _live.icons is not None:
        bpy.utils.previews.remove(_live.icons)
    _live.changed, _live.preview, _live.told, _live.icons = None, None, "", None
    del bpy.types.Scene.sheetstack_tracing
