"""Files: opening and saving a job, from the panel, from the File menu and by drag and drop."""

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, StringProperty
from bpy_extras.io_utils import ExportHelper, ImportHelper

from ...geometry.artwork.source import source_of
from ...geometry.errors import JobError, SheetstackError
from ...geometry.files.atomic import atomic
from ...geometry.job.edit import edited_job_text, rebased
from ...geometry.job.job import Job
from ...geometry.job.load import load_job
from ..core.blender_versions import HAS_FILE_HANDLERS
from ..core.dropped_file import file_given
from . import kept_artwork
from .scene_job import job_of, put_job


class SHEETSTACK_OT_open_job(bpy.types.Operator, ImportHelper):
    """Open a stencil job: title, sheet, layers and settings from a TOML file"""

    bl_idname = "sheetstack.open_job"
    bl_label = "Open Stencil Job"
    bl_options = {"REGISTER", "UNDO"}

    filename_ext = ".toml"
    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})
    filepath: file_given("Job file", "The TOML file to open")
    build: BoolProperty(
        name="Build sheets", description="Build the sheets as soon as the job is open"
    )

    def invoke(self, context: Any, event: Any) -> set[str]:
        if self.filepath:
            return self.execute(context)
        result: set[str] = super().invoke(context, event)
        return result

    def execute(self, context: Any) -> set[str]:
        path = Path(bpy.path.abspath(self.filepath))
        try:
            job = load_job(path)
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        put_job(context.scene, job, file=str(path), text=path.read_text(encoding="utf-8"))
        self.report({"INFO"}, f"Opened '{job.title}' with {len(job.layers)} layers.")
        if self.build:
            bpy.ops.sheetstack.build("INVOKE_DEFAULT")
        return {"FINISHED"}


class SHEETSTACK_OT_save_job(bpy.types.Operator, ExportHelper):
    """Save the scene's stencil job as a TOML file; comments of the file it came from stay"""

    bl_idname = "sheetstack.save_job"
    bl_label = "Save Stencil Job"
    bl_options = {"REGISTER"}

    filename_ext = ".toml"
    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not context.scene.sheetstack.layers:
            cls.poll_message_set("There is no job yet: add a layer or open a job")
            return False
        return True

    def invoke(self, context: Any, event: Any) -> set[str]:
        if context.scene.sheetstack.file:
            self.filepath: str = bpy.path.abspath(context.scene.sheetstack.file)
        result: set[str] = super().invoke(context, event)
        return result

    def execute(self, context: Any) -> set[str]:
        path = Path(bpy.path.abspath(self.filepath))
        state = context.scene.sheetstack
        try:
            job = job_of(context.scene)
            job = restored_beside(path, job, kept_artwork.copies_of(context.scene))
            text = edited_job_text(state.text, rebased(job, path.parent))
            with atomic(path) as file:
                file.write(text.encode("utf-8"))
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        state.file, state.text = str(path), text
        self.report({"INFO"}, f"Saved {path}.")
        return {"FINISHED"}


def restored_beside(path: Path, job: Job, copies: dict[str, tuple[str, str]]) -> Job:
    """Write kept copies of missing artwork files beside a job file and point the job at them.

    Parameters
    ----------
    path : Path
        Of the job file.
    job : Job
    copies : dict of str to tuple of str
        Name and content of the file that was kept for a layer.

    Raises
    ------
    JobError
        A file of that name holds something else.
    """

    layers = []
    for layer in job.layers:
        if layer.name in copies and not source_of(job, layer).path.exists():
            name, text = copies[layer.name]
            target = path.parent / Path(layer.artwork).name
            content = kept_artwork.bytes_from_text(text, name)
            if target.exists() and target.read_bytes() != content:
                raise JobError(
                    f"{target}: holds another artwork than the copy kept for layer "
                    f"'{layer.name}'; save the job in another folder."
                )
            with atomic(target) as file:
                file.write(content)
            layer = replace(layer, artwork=os.path.abspath(target))
        layers.append(layer)
    return replace(job, layers=tuple(layers))


def _import_entry(menu: Any, context: Any) -> None:
    menu.layout.operator(SHEETSTACK_OT_open_job.bl_idname, text="Stencil Job (.toml)")


def _export_entry(menu: Any, context: Any) -> None:
    menu.layout.operator(SHEETSTACK_OT_save_job.bl_idname, text="Stencil Job (.toml)")


CLASSES = [SHEETSTACK_OT_open_job, SHEETSTACK_OT_save_job]

if HAS_FILE_HANDLERS:

    class SHEETSTACK_FH_job(bpy.types.FileHandler):
        """Opens job files that are dropped on a 3D view"""

        bl_idname = "SHEETSTACK_FH_job"
        bl_label = "Stencil job"
        bl_import_operator = "sheetstack.open_job"
        bl_file_extensions = ".toml"

        @classmethod
        def poll_drop(cls, context: Any) -> bool:
            return context.area is not None and context.area.type == "VIEW_3D"

    CLASSES.append(SHEETSTACK_FH_job)


def register() -> None:
    """Add the entries of File > Import and File > Export."""
    bpy.types.TOPBAR_MT_file_import.append(_import_entry)
    bpy.types.TOPBAR_MT_file_export.append(_export_entry)


def unregister() -> None:
    """Take them out again."""
    bpy.types.TOPBAR_MT_file_import.remove(_import_entry)
    bpy.types.TOPBAR_MT_file_export.remove(_export_entry)
