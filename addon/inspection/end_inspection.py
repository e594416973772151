"""Ending an inspection: what it added goes, the sheets are shown as they were."""

from typing import Any

import bpy

from ..sheets.sheet_object import has_sheets, sheets_of
from .added import emptied
from .labels import LABELS
from .section import SECTION


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
        for name in (LABELS, SECTION):
            if name in bpy.data.collections:
                bpy.data.collections.remove(emptied(scene, name))
        state = scene.sheetstack_inspection
        state.drift, state.overlay = 0.0, False
        for thing in sheets_of(scene).values():
            thing.animation_data_clear()
            thing.hide_viewport = False
        return {"FINISHED"}


CLASSES = (SHEETSTACK_OT_end_inspection,)
