"""Ending an inspection: what it added goes, the sheets are shown as they were."""

from typing import Any

import bpy

from ..core.ownership import remove_made
from ..sheets.sheet_object import has_sheets, sheets_of
from . import labels, section
from .drift import end_animation
from .found import take_back


class SHEETSTACK_OT_end_inspection(bpy.types.Operator):
    """Take labels, section and drift away and show the sheets as they were"""

    bl_idname = "sheetstack.end_inspection"
    bl_label = "End Inspection"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        return has_sheets(cls, context)

    def execute(self, context: Any) -> set[str]:
        scene = context.scene
        for role in (labels.ROLE, section.ROLE):
            remove_made(scene, role)
        state = scene.sheetstack_inspection
        state.drift, state.overlay = 0.0, False
        end_animation(scene)
        for thing in sheets_of(scene).values():
            hidden = take_back(thing, "hidden")
            if hidden is not None:
                thing.hide_viewport = hidden
        return {"FINISHED"}


CLASSES = (SHEETSTACK_OT_end_inspection,)
