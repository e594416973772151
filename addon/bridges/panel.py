"""Panels of support: bridges by hand, what is marked in the view, and how bridges are chosen."""

from typing import Any

import bpy

from ..core.setting_property import draw_setting
from ..core.tab import TabPanel, section_panel
from ..job.in_force import values_in_force
from .bridge_tool import tool_is_on
from .places_from_selected import draw_from_selected


class SHEETSTACK_PT_support(TabPanel, bpy.types.Panel):
    """Islands and the bridges that hold them"""

    bl_label = "Support"

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack
        layout.use_property_split = True
        layout.use_property_decorate = False
        if state.bridges_by_hand:
            row = layout.row()
            row.template_list(
                "SHEETSTACK_UL_bridges",
                "",
                state,
                "bridges_by_hand",
                state,
                "active_bridge",
                rows=3,
            )
            row.operator("sheetstack.free_bridge", text="", icon="REMOVE")
            bridge = state.bridges_by_hand[min(state.active_bridge, len(state.bridges_by_hand) - 1)]
            draw_setting(layout, bridge, "width_mm", values_in_force(context.scene))
            layout.prop(bridge, "state")
        column = layout.column(align=True)
        is_on = tool_is_on(context)
        column.operator("sheetstack.edit_bridges", icon="GREASEPENCIL", depress=is_on)
        column.operator("sheetstack.choose_bridges_anew", icon="FILE_REFRESH")
        column.operator("sheetstack.find_islands", icon="VIEWZOOM")
        layout.label(text="Show in the view")
        grid = layout.grid_flow(columns=2, align=True, even_columns=True)
        grid.use_property_split = False
        grid.prop(state, "show_islands", toggle=True, icon="X")
        grid.prop(state, "show_bridges", toggle=True, icon="MESH_PLANE")
        grid.prop(state, "show_necks", toggle=True, icon="KEYFRAME")
        grid.prop(state, "show_findings", toggle=True, icon="ERROR")
        row = layout.row(align=True)
        row.use_property_split = False
        row.prop(state, "show_labels")
        row.prop(state, "show_all_layers")
        column = layout.column(align=True)
        column.use_property_split = False
        column.prop(state, "show_outlines")
        column.prop(state, "solo")


def _draw_boxes(layout: Any) -> None:
    draw_from_selected(layout, "KEEP_FREE", "Free Boxes from Selected")


SHEETSTACK_PT_bridges_settings = section_panel(
    "bridges", "SHEETSTACK_PT_support", more=_draw_boxes, in_force=values_in_force
)

CLASSES = (SHEETSTACK_PT_support, SHEETSTACK_PT_bridges_settings)
