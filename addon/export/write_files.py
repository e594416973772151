"""Writing all files of a job from Blender: solids, cut paths, pictures, report."""

from typing import Any

import bpy

from ...geometry.mesh.check import leak_finding
from ...geometry.progress import Progress
from ...geometry.report.build_files import Outputs, write_outputs
from ..core.folder_dialogue import FolderWork
from ..core.long_work import Work
from ..job.scene_job import job_of
from ..sheets.last_build import builder
from ..sheets.sheet_object import is_hand_edited, sheets_of


class SHEETSTACK_OT_write_files(FolderWork, bpy.types.Operator):
    """Write all files of the job to a folder: solids, cut paths, pictures and the report"""

    bl_idname = "sheetstack.write_files"
    bl_label = "Write Files"
    bl_options = {"REGISTER"}

    def work(self, context: Any) -> Work:
        folder = self.folder()
        build = builder(context.scene, job_of(context.scene))
        self._edited = [n for n, s in sheets_of(context.scene).items() if is_hand_edited(s)]

        def write(progress: Progress) -> Outputs:
            return write_outputs(build(progress.part(0.0, 0.6)), folder, progress.part(0.6, 1.0))

        return write

    def done(self, context: Any, result: Outputs) -> set[str]:
        self.report({"INFO"}, f"Wrote {len(result.files)} files to {result.files[0].parent}.")
        for layer in result.build.layers:
            if layer.fault:
                told = leak_finding(layer.fault, layer.settings.name).sentence()
                self.report({"WARNING"}, told)
        if self._edited:
            self.report(
                {"WARNING"},
                f"Edits by hand of {', '.join(self._edited)} are not in these files; export the "
                "sheets for the machine for them.",
            )
        return {"FINISHED"}


CLASSES = (SHEETSTACK_OT_write_files,)
