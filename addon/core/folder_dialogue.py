"""Operators that write into a folder: it is asked for first, then Blender calls ``execute``."""

from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, StringProperty

from ...geometry.errors import WriteError
from .long_work import LongWork, may_begin
from .preferences import folder_to_begin_in


class FolderDialogue:
    """What an operator that asks for a folder inherits beside ``bpy.types.Operator``."""

    directory: StringProperty(
        name="Folder", description="Folder that the files go to", subtype="DIR_PATH"
    )
    filter_folder: BoolProperty(default=True, options={"HIDDEN"})

    def invoke(self: Any, context: Any, event: Any) -> set[str]:
        """Ask for the folder."""
        if not self.directory:
            self.directory = folder_to_begin_in("files")
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def folder(self: Any) -> Path:
        """Return the folder; raises WriteError where none was chosen."""
        if not self.directory:
            raise WriteError("Expected a folder to write to, found none.")
        return Path(bpy.path.abspath(self.directory))


class FolderWork(FolderDialogue, LongWork):
    """The same with long work that builds the job's sheets."""

    @classmethod
    def poll(cls: Any, context: Any) -> bool:
        """Return whether there is a job, and no work under way."""
        if not context.scene.sheetstack.layers:
            cls.poll_message_set("There is no job yet: add a layer or open a job")
            return False
        return may_begin(cls)

    def execute(self: Any, context: Any) -> set[str]:
        """Begin the work, in a thread where there is a window."""
        if bpy.app.background:
            return LongWork.execute(self, context)
        return LongWork.invoke(self, context, None)
