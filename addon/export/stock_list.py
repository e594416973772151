"""Stock as rows: sheets at hand and to be bought, added and taken away one by one."""

from typing import Any

import bpy
from bpy.props import IntProperty

from ...geometry.job.sections import StockSheet
from ..core.setting_property import draw_section
from ..core.tab import ClosedPanel
from ..job.job_property import job_changed


class SHEETSTACK_OT_add_stock(bpy.types.Operator):
    """Add a kind of sheet that pieces are nested on"""

    bl_idname = "sheetstack.add_stock"
    bl_label = "Add Stock"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: Any) -> set[str]:
        state = context.scene.sheetstack
        state.stock.add()
        job_changed(state, context)
        return {"FINISHED"}


class SHEETSTACK_OT_remove_stock(bpy.types.Operator):
    """Take this kind of sheet away"""

    bl_idname = "sheetstack.remove_stock"
    bl_label = "Remove Stock"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    index: IntProperty(description="Number of the row, from 0", options={"HIDDEN"})

    def execute(self, context: Any) -> set[str]:
        state = context.scene.sheetstack
        if not 0 <= self.index < len(state.stock):
            self.report({"ERROR"}, f"Stock {self.index + 1}: there are {len(state.stock)}.")
            return {"CANCELLED"}
        state.stock.remove(self.index)
        job_changed(state, context)
        return {"FINISHED"}


class SHEETSTACK_PT_stock(ClosedPanel, bpy.types.Panel):
    """Sheets that pieces are nested on; without any, sheets of the bed's size"""

    bl_label = "Stock"
    bl_parent_id = "SHEETSTACK_PT_export"

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack
        layout.use_property_split = True
        layout.use_property_decorate = False
        for number, row in enumerate(state.stock):
            box = layout.box()
            head = box.row()
            head.label(text=row.name or f"Stock {number + 1}")
            head.operator("sheetstack.remove_stock", text="", icon="X").index = number
            draw_section(box, row, StockSheet)
        layout.operator("sheetstack.add_stock", icon="ADD")


CLASSES = (SHEETSTACK_OT_add_stock, SHEETSTACK_OT_remove_stock, SHEETSTACK_PT_stock)
