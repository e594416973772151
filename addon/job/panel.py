"""Panels of the artwork: its layers in spray order, and the active one's settings."""

from typing import Any

import bpy

from ...geometry.artwork.parts import ENDINGS
from ...geometry.job.sections import LayerSettings
from ..core.setting_property import draw_section, draw_setting
from ..core.tab import ClosedPanel, TabPanel
from .layer_list import MASK_ENDINGS, active_layer
from .sources import is_missing

#: Settings of a layer that only masks have.
MASK_KEYS = ("pixel_mm", "painted", "threshold", "smooth_mm", "simplify_mm")
#: Settings that the layer panel draws itself; others that geometry adds are drawn below them.
LAYER_KEYS = ("name", "colour", "artwork", "role", "group", "scale", *MASK_KEYS)

#: Settings of a layer that only text has.
TEXT_KEYS = (
    "text",
    "font",
    "text_size_mm",
    "text_size_is",
    "text_align",
    "text_at_mm",
    "tracking_mm",
    "leading_mm",
)


class SHEETSTACK_PT_artwork(TabPanel, bpy.types.Panel):
    """Artwork and its layers in spray order"""

    bl_label = "Artwork"

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack
        first = layout.row()
        first.scale_y = 1.0 if state.layers else 1.4
        first.operator("sheetstack.import_drawing", icon="IMPORT")
        row = layout.row(align=True)
        row.operator("sheetstack.open_job", text="Open Job", icon="FILE_FOLDER")
        row.operator("sheetstack.save_job", text="Save", icon="FILE_TICK")
        column = layout.column()
        column.use_property_split = True
        column.use_property_decorate = False
        column.prop(state, "title")
        row = layout.row()
        row.template_list(
            "SHEETSTACK_UL_layers", "", state, "layers", state, "active_layer", rows=5
        )
        side = row.column(align=True)
        side.operator("sheetstack.add_layer", text="", icon="ADD")
        side.operator("sheetstack.remove_layer", text="", icon="REMOVE")
        side.operator("sheetstack.duplicate_layer", text="", icon="DUPLICATE")
        side.separator()
        up = side.operator("sheetstack.move_layer", text="", icon="TRIA_UP")
        up.direction = "UP"
        down = side.operator("sheetstack.move_layer", text="", icon="TRIA_DOWN")
        down.direction = "DOWN"
        layout.operator(
            "sheetstack.artwork_from_objects", text="Layer from Selected", icon="OUTLINER_OB_CURVE"
        )


class SHEETSTACK_PT_layer(TabPanel, bpy.types.Panel):
    """Settings of the active layer"""

    bl_label = "Layer"
    bl_parent_id = "SHEETSTACK_PT_artwork"

    @classmethod
    def poll(cls, context: Any) -> bool:
        return active_layer(context.scene) is not None

    def draw(self, context: Any) -> None:
        layout, layer = self.layout, active_layer(context.scene)
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(layer, "colour")
        row = layout.row(align=True)
        row.prop(layer, "role")
        row.menu("SHEETSTACK_MT_role", text="", icon="DOWNARROW_HLT")
        layout.prop(layer, "artwork")
        if is_missing(context.scene, layer):
            missing = layout.column(align=True)
            missing.alert = True
            missing.label(text="The file is not found", icon="ERROR")
            if layer.kept:
                missing.label(text="Its copy in the .blend is used")
            missing.prop(context.scene.sheetstack, "folder")
        elif layer.kept:
            kept = layout.row()
            kept.active = False
            kept.label(text="A copy is kept in this .blend", icon="PACKAGE")
        ending = "." + layer.artwork.rpartition(".")[2].lower()
        if ending in ENDINGS:
            layout.prop(layer, "group")
        layout.prop(layer, "scale")
        if ending in MASK_ENDINGS:
            draw_setting(layout, layer, "pixel_mm")
            for key in MASK_KEYS[1:]:
                layout.prop(layer, key)
        draw_section(layout, layer, LayerSettings, leave_out=(*LAYER_KEYS, *TEXT_KEYS))


class SHEETSTACK_PT_text(ClosedPanel, bpy.types.Panel):
    """Text that is set in a font file and cut, in place of a drawing"""

    bl_label = "Text"
    bl_parent_id = "SHEETSTACK_PT_layer"

    @classmethod
    def poll(cls, context: Any) -> bool:
        return active_layer(context.scene) is not None

    def draw(self, context: Any) -> None:
        layout, layer = self.layout, active_layer(context.scene)
        layout.use_property_split = True
        layout.use_property_decorate = False
        for key in TEXT_KEYS:
            draw_setting(layout, layer, key)


CLASSES = (SHEETSTACK_PT_artwork, SHEETSTACK_PT_layer, SHEETSTACK_PT_text)
