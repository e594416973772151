"""Panels of the sheets: size, material and thickness, how they are built and shown."""

from typing import Any

import bpy

from ...geometry.job.materials import Material
from ...geometry.job.sections import SECTIONS
from ..core.blender_versions import HAS_PROGRESS_BAR
from ..core.long_work import running
from ..core.setting_property import draw_section
from ..core.tab import ClosedPanel, TabPanel, section_panel
from ..job.in_force import values_in_force
from ..job.material_preset import material_of, own_material


class SHEETSTACK_PT_sheets(TabPanel, bpy.types.Panel):
    """The plates: size, material, thickness, and how they are shown"""

    bl_label = "Sheets"

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack
        layout.use_property_split = True
        layout.use_property_decorate = False
        sheet = state.sheet
        column = layout.column(align=True)
        column.prop(sheet, "width_mm")
        column.prop(sheet, "height_mm")
        column.prop(sheet, "margin_mm")
        layout.prop(sheet, "placement")
        draw_section(
            layout,
            sheet,
            SECTIONS["sheet"],
            leave_out=(
                "width_mm",
                "height_mm",
                "margin_mm",
                "placement",
                "material",
                "thickness_mm",
            ),
        )
        material = material_of(context.scene)
        row = layout.row(align=True)
        row.menu("SHEETSTACK_MT_material", text=material.title if material else sheet.material)
        row.operator("sheetstack.add_material_preset", text="", icon="ADD")
        remove = row.operator("sheetstack.add_material_preset", text="", icon="REMOVE")
        remove.remove_active = True
        layout.prop(sheet, "thickness_mm")
        if material and material.thicknesses_mm:
            row = layout.row(align=True)
            for thickness in material.thicknesses_mm:
                button = row.operator("sheetstack.set_thickness", text=f"{thickness:g}")
                button.thickness_mm = thickness
        layout.separator()
        _draw_build(layout, state)
        layout.separator()
        column = layout.column(align=True)
        column.prop(state, "spacing_mm", slider=True)
        column.prop(state, "aside", slider=True)
        if context.space_data is not None and context.space_data.local_view is not None:
            layout.operator("view3d.localview", text="Show Whole Scene", icon="LOOP_BACK")


def _draw_build(layout: Any, state: Any) -> None:
    work = running()
    if work is not None:
        if HAS_PROGRESS_BAR:
            layout.progress(factor=work.share, text=work.what, type="BAR")
        else:
            layout.label(text=f"{work.share:.0%}  {work.what}", icon="SORTTIME")
        layout.label(text="Esc: stop", icon="EVENT_ESC")
        return
    row = layout.row()
    row.scale_y = 1.4
    row.operator("sheetstack.build", icon="MOD_BUILD")
    if state.is_stale and state.collection is not None:
        layout.label(text="Changed since the last build", icon="INFO")
        if state.changed_sources:
            layout.label(text=f"New on disk: {state.changed_sources}", icon="FILE_REFRESH")
    row = layout.row()
    row.use_property_split = False
    row.prop(state, "follow")


class SHEETSTACK_PT_own_material(ClosedPanel, bpy.types.Panel):
    """Values of a material of your own"""

    bl_label = "Own Material"
    bl_parent_id = "SHEETSTACK_PT_sheets"

    def draw(self, context: Any) -> None:
        layout, own = self.layout, own_material(context.scene)
        layout.use_property_split = True
        layout.use_property_decorate = False
        row = layout.row(align=True)
        row.operator("sheetstack.own_material", icon="ADD", text="New")
        row.operator("sheetstack.remove_own_material", icon="REMOVE", text="Remove")
        if own is not None:
            layout.prop(own, "name")
            told = values_in_force(context.scene)
            draw_section(layout, own, Material, in_force=told)


SHEETSTACK_PT_process_settings = section_panel(
    "process", "SHEETSTACK_PT_sheets", in_force=values_in_force
)

CLASSES = (SHEETSTACK_PT_sheets, SHEETSTACK_PT_own_material, SHEETSTACK_PT_process_settings)
