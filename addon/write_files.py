"""Writing all files of a job from Blender: solids, cut paths, pictures, report."""

from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, StringProperty

from ..geometry.outputs import write_outputs
from ..geometry.progress import Progress
from .last_build import builder
from .long_work import LongWork, Work, running
from .scene_job import job_of
from .sheet_object import is_hand_edited, sheets_of


class SHEETSTACK_OT_write_files(LongWork, bpy.types.Operator):
    """Write all files of the job to a folder: solids, cut paths, pictures and the report"""

    bl_idname = "sheetstack.write_files"
    bl_label = "Write Files"
    bl_options = {"REGISTER"}

    directory: StringProperty(
        name="Folder", description="Folder that the files go to", subtype="DIR_PATH"
    )
    filter_folder: BoolProperty(default=True, options={"HIDDEN"})

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not context.scene.sheetstack.layers:
            cls.poll_message_set("There is no job yet: add a layer or open a job")
            return False
        if running():
            cls.poll_message_set("Other work is under way; Esc stops it")
            return False
        return True

    def invoke(self, context: Any, event: Any) -> set[str]:
        # The folder is asked for first; then Blender calls execute.
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> set[str]:
        if not self.directory:
            self.report({"ERROR"}, "Expected a folder to write to, found none.")
            return {"CANCELLED"}
        if bpy.app.background:
            return super().execute(context)
        return LongWork.invoke(self, context, None)

    def work(self, context: Any) -> Work:
        folder = Path(bpy.path.abspath(self.directory))
        build = builder(context.scene, job_of(context.scene))
        self._edited = [n for n, s in sheets_of(context.scene).items() if is_hand_edited(s)]

        def write(progress: Progress) -> tuple[Path, ...]:
            return write_outputs(build(progress.part(0.0, 0.6)), folder, progress.part(0.6, 1.0))

        return write

    def done(self, context: Any, result: tuple[Path, ...]) -> set[str]:
        self.report({"INFO"}, f"Wrote {len(result)} files to {result[0].parent}.")
        if self._edited:
            self.report(
                {"WARNING"},
                f"Edits by hand of {', '.join(self._edited)} are not in these files; export the "
                "sheets for the machine for them.",
            )
        return {"FINISHED"}


CLASSES = (SHEETSTACK_OT_write_files,)
