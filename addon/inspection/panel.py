"""The panel of inspection."""

from typing import Any

import bpy

from ..core.tab import ClosedPanel
from ..sheets.sheet_object import sheets_of


class SHEETSTACK_PT_inspection(ClosedPanel, bpy.types.Panel):
    """Look at the stack before it is cut: overlay, drift, labels, section"""

    bl_label = "Inspection"

    @classmethod
    def poll(cls, context: Any) -> bool:
        return bool(sheets_of(context.scene))

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack_inspection
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(state, "overlay")
        column = layout.column(align=True)
        column.prop(state, "drifting")
        column.prop(state, "drift", slider=True)
        column.prop(state, "direction")
        column.prop(state, "times")
        layout.operator("sheetstack.animate_drift", icon="ANIM")
        layout.operator("sheetstack.label_sheets", icon="FONT_DATA")
        row = layout.row(align=True)
        row.prop(state, "section_mm")
        layout.operator("sheetstack.section", icon="MOD_BOOLEAN")
        layout.operator("sheetstack.end_inspection", icon="X")


CLASSES = (SHEETSTACK_PT_inspection,)
