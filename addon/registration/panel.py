"""The panel of what keeps the sheets in register."""

from typing import Any

import bpy

from ...geometry.job.sections import SECTIONS
from ..bridges.places_from_selected import draw_from_selected
from ..core.setting_property import draw_section
from ..core.tab import ClosedPanel


class SHEETSTACK_PT_register(ClosedPanel, bpy.types.Panel):
    """Keeping the sheets in register"""

    bl_label = "Register"

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack
        layout.use_property_split = True
        layout.use_property_decorate = False
        draw_section(layout, state.registration, SECTIONS["registration"])
        draw_from_selected(layout, "HOLES", "Holes from Selected")
        layout.prop(state, "show_overlay")
        column = layout.column()
        column.active = state.show_overlay
        column.prop_search(state, "overlay_first", state, "layers")
        column.prop_search(state, "overlay_second", state, "layers")


CLASSES = (SHEETSTACK_PT_register,)
