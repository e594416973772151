"""Panels of the sidebar's tab, in the order of the work: artwork, sheets, support and so on."""

from typing import Any

import bpy

from ...geometry.cautions import WORKS, cautions_for
from ...geometry.job.materials import Material
from ...geometry.job.sections import SECTIONS, LayerSettings
from ..job.layer_list import ARTWORK_ENDINGS, active_layer
from ..job.material_preset import material_of, own_material
from ..sheets.finding_list import active_finding, is_accepted, offers_mending
from .blender_versions import HAS_PROGRESS_BAR
from .long_work import running
from .setting_property import draw_section, draw_setting
from .viewport import wrapped

TAB = "Stencil"
#: Settings of a layer that only masks have.
MASK_KEYS = ("pixel_mm", "painted", "threshold", "smooth_mm", "simplify_mm")
#: Settings that the layer panel draws itself; others that geometry adds are drawn below them.
LAYER_KEYS = ("name", "colour", "artwork", "role", "group", "scale", *MASK_KEYS)


class TabPanel:
    """What the panels have in common."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = TAB


class ClosedPanel(TabPanel):
    """A panel that is closed at first."""

    bl_options = {"DEFAULT_CLOSED"}


class SHEETSTACK_PT_artwork(TabPanel, bpy.types.Panel):
    """Artwork and its layers in spray order"""

    bl_label = "Artwork"

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack
        row = layout.row(align=True)
        row.operator("sheetstack.open_job", text="Open", icon="FILE_FOLDER")
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
        if layer.kept:
            kept = layout.row()
            kept.active = False
            kept.label(text="A copy is kept in this .blend", icon="PACKAGE")
        ending = "." + layer.artwork.rpartition(".")[2].lower()
        if ending in ARTWORK_ENDINGS[:2]:
            layout.prop(layer, "group")
        layout.prop(layer, "scale")
        if ending in ARTWORK_ENDINGS[2:]:
            draw_setting(layout, layer, "pixel_mm", optional=True)
            for key in MASK_KEYS[1:]:
                layout.prop(layer, key)
        draw_section(layout, layer, LayerSettings, leave_out=LAYER_KEYS)


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
            # Its long labels have room within the fields only.
            layout.use_property_split = False
            layout.prop(own, "name")
            draw_section(layout, own, Material)


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
            draw_setting(layout, bridge, "width_mm", optional=True)
            layout.prop(bridge, "state")
        column = layout.column(align=True)
        column.operator("sheetstack.edit_bridges", icon="GREASEPENCIL")
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


class SHEETSTACK_PT_register(TabPanel, bpy.types.Panel):
    """Keeping the sheets in register"""

    bl_label = "Register"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack
        layout.use_property_split = True
        layout.use_property_decorate = False
        draw_section(layout, state.registration, SECTIONS["registration"])
        _draw_from_selected(layout, "HOLES", "Holes from Selected")
        layout.prop(state, "show_overlay")
        column = layout.column()
        column.active = state.show_overlay
        column.prop_search(state, "overlay_first", state, "layers")
        column.prop_search(state, "overlay_second", state, "layers")


class SHEETSTACK_PT_paint(ClosedPanel, bpy.types.Panel):
    """The picture that is sprayed"""

    bl_label = "Paint"

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(state, "ground")
        layout.operator("sheetstack.show_painted", icon="IMAGE_DATA")


class SHEETSTACK_PT_export(ClosedPanel, bpy.types.Panel):
    """Files for making the sheets"""

    bl_label = "Export"

    def draw(self, context: Any) -> None:
        layout = self.layout
        row = layout.row()
        row.scale_y = 1.4
        row.operator("sheetstack.write_files", icon="EXPORT")
        column = layout.column(align=True)
        column.operator("sheetstack.export_for_machine", icon="MOD_EXPLODE")
        column.operator("sheetstack.export_stl", icon="MESH_DATA")


class SHEETSTACK_PT_cautions(ClosedPanel, bpy.types.Panel):
    """What can hurt on the way from these files to the painted wall"""

    bl_label = "Cautions"
    bl_parent_id = "SHEETSTACK_PT_export"

    def draw_header(self, context: Any) -> None:
        self.layout.label(text="", icon="ERROR")

    def draw(self, context: Any) -> None:
        for caution in cautions_for(*_works(context.scene)):
            column = self.layout.column(align=True)
            column.label(text=caution.title)
            text = column.column(align=True)
            text.active = False
            text.scale_y = 0.8
            for line in wrapped(caution.text, context.region.width):
                text.label(text=line)


def _works(scene: bpy.types.Scene) -> tuple[str, ...]:
    """Return the kinds of work ahead: how the sheets are made, then paint and wall."""
    kind = scene.sheetstack.process.kind
    if kind not in WORKS:
        material = material_of(scene)
        kind = material.process if material else ""
    return (kind if kind in WORKS else "knife", "paint", "wall")


class SHEETSTACK_PT_findings(TabPanel, bpy.types.Panel):
    """What the last build has to say; a click flies to the place"""

    bl_label = "Findings"

    @classmethod
    def poll(cls, context: Any) -> bool:
        return bool(context.scene.sheetstack.findings)

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack
        layout.template_list(
            "SHEETSTACK_UL_findings", "", state, "findings", state, "active_finding", rows=4
        )
        finding = active_finding(context.scene)
        if finding is not None:
            box = layout.box().column(align=True)
            if finding.layer:
                box.label(text=finding.layer, icon="RENDERLAYERS")
            for line in wrapped(finding.message, context.region.width):
                box.label(text=line)
            if finding.has_place:
                x, y = finding.place_mm
                box.label(text=f"At {x:.1f}, {y:.1f} mm", icon="CURSOR")
                column = layout.column(align=True)
                column.operator("sheetstack.go_to_finding", icon="VIEW_CAMERA")
                if offers_mending(context.scene, finding):
                    mended = is_accepted(context.scene, finding)
                    column.operator(
                        "sheetstack.mend_place",
                        text="Leave as It Is" if mended else "Mend Place",
                        icon="CHECKBOX_HLT" if mended else "CHECKBOX_DEHLT",
                    ).index = -1


def _draw_from_selected(layout: Any, target: str, text: str) -> None:
    button = layout.operator(
        "sheetstack.places_from_selected", text=text, icon="RESTRICT_SELECT_OFF"
    )
    button.target = target


def _section_panel(key: str, label: str, parent: str) -> type:
    """Make the panel of a section of the job, under the panel of the work that it belongs to."""

    def draw(self: Any, context: Any) -> None:
        self.layout.use_property_split = True
        self.layout.use_property_decorate = False
        draw_section(self.layout, getattr(context.scene.sheetstack, key), SECTIONS[key])
        if key == "bridges":
            _draw_from_selected(self.layout, "KEEP_FREE", "Free Boxes from Selected")

    return type(
        f"SHEETSTACK_PT_{key}_settings",
        (ClosedPanel, bpy.types.Panel),
        {"bl_label": label, "bl_parent_id": parent, "draw": draw, "__doc__": SECTIONS[key].__doc__},
    )


#: Sections that a panel draws itself.
DRAWN = {"sheet", "registration", "mockup"}
#: The panel that each section belongs to; a section that geometry adds goes to the export.
PARENTS = {
    "bridges": "SHEETSTACK_PT_support",
    "process": "SHEETSTACK_PT_sheets",
    "spray": "SHEETSTACK_PT_paint",
}
SECTION_PANELS = [
    _section_panel(
        key, key.replace("_", " ").capitalize(), PARENTS.get(key, "SHEETSTACK_PT_export")
    )
    for key in SECTIONS
    if key not in DRAWN
]

CLASSES = (
    SHEETSTACK_PT_artwork,
    SHEETSTACK_PT_layer,
    SHEETSTACK_PT_sheets,
    SHEETSTACK_PT_own_material,
    SHEETSTACK_PT_support,
    SHEETSTACK_PT_register,
    SHEETSTACK_PT_paint,
    SHEETSTACK_PT_export,
    SHEETSTACK_PT_cautions,
    SHEETSTACK_PT_findings,
    *SECTION_PANELS,
)
