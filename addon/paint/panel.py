"""Panels of the picture that is sprayed."""

from typing import Any

import bpy

from ..core.tab import ClosedPanel, section_panel


class SHEETSTACK_PT_paint(ClosedPanel, bpy.types.Panel):
    """The picture that is sprayed"""

    bl_label = "Paint"

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(state, "ground")
        layout.operator("sheetstack.show_painted", icon="IMAGE_DATA")
        layout.operator("sheetstack.show_bridge_styles", icon="IMGDISPLAY")
        layout.operator("sheetstack.hide_painted", icon="X")


SHEETSTACK_PT_spray_settings = section_panel("spray", "SHEETSTACK_PT_paint")

CLASSES = (SHEETSTACK_PT_paint, SHEETSTACK_PT_spray_settings)
