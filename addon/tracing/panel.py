"""Panels of a tracing: its picture, the sliders with the preview, and all further settings."""

from typing import Any

import bpy

from ...geometry.tracing.settings import TracingSettings
from ..core.setting_property import draw_section, draw_setting
from ..core.tab import ClosedPanel
from ..core.viewport import wrapped
from .mark_handles import shown_subject
from .preview import IMAGE, live

#: Sliders that stand above all others.
MAIN = ("layers", "detail", "face_detail", "local_contrast")


class SHEETSTACK_PT_tracing(ClosedPanel, bpy.types.Panel):
    """A picture becomes layers: an editable drawing and its job"""

    bl_label = "Trace a Picture"

    def draw(self, context: Any) -> None:
        layout, group = self.layout, context.scene.sheetstack_tracing
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(group, "picture")
        layout.operator("sheetstack.mark_picture", icon="IMAGE_REFERENCE")
        column = layout.column()
        column.active = bool(group.picture)
        column.prop(group, "layers", slider=True)
        column.prop(group, "detail", slider=True)
        draw_setting(column, group, "face_detail")
        column.prop(group, "local_contrast", slider=True)
        if live.icons is not None and IMAGE in live.icons:
            layout.template_icon(live.icons[IMAGE].icon_id, scale=9)
        told = layout.column(align=True)
        for sentence in live.told.splitlines():
            for line in wrapped(sentence, context.region.width):
                told.label(text=line)
        row = layout.row(align=True)
        row.use_property_split = False
        row.prop(group, "live", text="Live")
        row.operator("sheetstack.preview_tracing", icon="FILE_REFRESH")
        row = layout.row()
        row.scale_y = 1.4
        row.operator("sheetstack.trace_picture", icon="IMAGE_DATA")


class SHEETSTACK_PT_marks(ClosedPanel, bpy.types.Panel):
    """Faces and outline of the picture"""

    bl_label = "Faces and Outline"
    bl_parent_id = "SHEETSTACK_PT_tracing"

    def draw(self, context: Any) -> None:
        layout, group = self.layout, context.scene.sheetstack_tracing
        row = layout.row(align=True)
        row.prop(group, "show_marks", toggle=True)
        row.prop(group, "every_point", toggle=True)
        known = shown_subject(context.scene) if group.picture else None
        faces = known.faces if known is not None else ()
        column = layout.column(align=True)
        for number, face in enumerate(faces):
            row = column.row(align=True)
            row.label(text=f"Face {number + 1}: eyes {face.eye_distance:.0f} px apart")
            row.operator("sheetstack.remove_face", text="", icon="X").number = number
        column.operator("sheetstack.add_face", icon="ADD")
        row = layout.row(align=True)
        row.operator("sheetstack.draw_outline", icon="GREASEPENCIL")
        row.operator("sheetstack.clear_outline", text="", icon="X")
        row = layout.row(align=True)
        row.operator("sheetstack.mark_picture", text="Look Again", icon="VIEWZOOM").again = True
        row.operator("sheetstack.hide_picture", text="", icon="HIDE_ON")


class SHEETSTACK_PT_tracing_more(ClosedPanel, bpy.types.Panel):
    """Colours, sheet, focus and background of a tracing"""

    bl_label = "More Settings"
    bl_parent_id = "SHEETSTACK_PT_tracing"

    def draw(self, context: Any) -> None:
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        draw_section(layout, context.scene.sheetstack_tracing, TracingSettings, leave_out=MAIN)


CLASSES = (SHEETSTACK_PT_tracing, SHEETSTACK_PT_marks, SHEETSTACK_PT_tracing_more)
