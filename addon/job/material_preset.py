"""Presets of the sheet's material: the table that comes along, the job's own, and the user's."""

import json
from typing import Any

import bpy
from bl_operators.presets import AddPresetBase
from bpy.props import FloatProperty, StringProperty

from ...geometry.errors import SheetstackError
from ...geometry.job.fields import read_section, write_section
from ...geometry.job.materials import Material, load_materials
from ..core.setting_property import put_values, table_of
from .job_property import job_changed


def material_of(scene: bpy.types.Scene) -> Material | None:
    """Return the sheet's material, None where its key or its values say none."""
    return materials_of(scene).get(scene.sheetstack.sheet.material)


def materials_of(scene: bpy.types.Scene) -> dict[str, Material]:
    """Return all materials of a scene by key; own ones whose values are faulty are left out."""
    found = dict(load_materials())
    for row in scene.sheetstack.own_materials:
        try:
            found[row.name] = read_section(Material, table_of(row, Material), row.name)
        except SheetstackError:  # being edited; the build says what is wrong
            continue
    return found


def set_material(scene: bpy.types.Scene, key: str) -> None:
    """Make a material the sheet's, in a thickness that it is sold in."""
    sheet = scene.sheetstack.sheet
    sheet.material = key
    sold = materials_of(scene)[key].thicknesses_mm
    if sold and not any(abs(t - sheet.thickness_mm) < 1e-6 for t in sold):
        sheet.thickness_mm = sold[0]


def preset_text(scene: bpy.types.Scene) -> str:
    """Return the sheet's material, with all its values, and the thickness as JSON."""
    sheet, material = scene.sheetstack.sheet, material_of(scene)
    row = write_section(material) if material else None
    return json.dumps(
        {"key": sheet.material, "thickness_mm": round(sheet.thickness_mm, 6), "material": row}
    )


def apply_preset(scene: bpy.types.Scene, text: str) -> None:
    """Set material and thickness from ``preset_text``; one that the scene lacks is added."""
    state, preset = scene.sheetstack, json.loads(text)
    if preset["key"] not in materials_of(scene) and preset["material"]:
        row = state.own_materials.add()
        row.name = preset["key"]
        put_values(row, read_section(Material, preset["material"], preset["key"]))
    state.sheet.material = preset["key"]
    state.sheet.thickness_mm = preset["thickness_mm"]


class PresetProperty:
    """Material and thickness as one text, which Blender's presets keep."""

    material_preset: StringProperty(
        description="Material and thickness in one, for presets",
        get=lambda group: preset_text(group.id_data),
        set=lambda group, text: apply_preset(group.id_data, text),
        options={"HIDDEN", "SKIP_SAVE"},
    )


class SHEETSTACK_OT_set_material(bpy.types.Operator):
    """Cut all sheets from this material"""

    bl_idname = "sheetstack.set_material"
    bl_label = "Material"
    bl_options = {"REGISTER", "UNDO"}

    key: StringProperty(name="Material", description="Key of the material")

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        material = materials_of(context.scene).get(properties.key)
        if material is None:
            return "Cut all sheets from this material"
        return (
            f"Least bridge {material.least_bridge_mm:g} mm, least opening "
            f"{material.least_opening_mm:g} mm, {material.density_g_cm3:g} g/cm³"
        )

    def execute(self, context: Any) -> set[str]:
        if self.key not in materials_of(context.scene):
            known = ", ".join(sorted(materials_of(context.scene)))
            self.report({"ERROR"}, f"Material '{self.key}': expected one of {known}.")
            return {"CANCELLED"}
        set_material(context.scene, self.key)
        return {"FINISHED"}


class SHEETSTACK_OT_set_thickness(bpy.types.Operator):
    """Use a thickness that this material is sold in"""

    bl_idname = "sheetstack.set_thickness"
    bl_label = "Thickness"
    bl_options = {"REGISTER", "UNDO"}

    thickness_mm: FloatProperty(
        name="Thickness", description="Thickness of the sheets", unit="CAMERA", min=0.01, max=100
    )

    def execute(self, context: Any) -> set[str]:
        context.scene.sheetstack.sheet.thickness_mm = self.thickness_mm
        return {"FINISHED"}


class SHEETSTACK_OT_own_material(bpy.types.Operator):
    """Make a material of your own, beginning with the values of the present one"""

    bl_idname = "sheetstack.own_material"
    bl_label = "New Own Material"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: Any) -> set[str]:
        state = context.scene.sheetstack
        known = materials_of(context.scene)
        number, key = 1, "own"
        while key in known:
            number += 1
            key = f"own-{number}"
        base = material_of(context.scene) or next(iter(known.values()))
        row = state.own_materials.add()
        row.name = key
        put_values(row, base)
        row.title, row.source = f"{base.title}, own values", "own value"
        state.active_material = len(state.own_materials) - 1
        state.sheet.material = key
        return {"FINISHED"}


class SHEETSTACK_OT_remove_own_material(bpy.types.Operator):
    """Remove the sheet's own material; the sheet goes back to card"""

    bl_idname = "sheetstack.remove_own_material"
    bl_label = "Remove Own Material"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        if own_material(context.scene) is None:
            cls.poll_message_set("The sheet's material is not one of your own")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        state = context.scene.sheetstack
        keys = [row.name for row in state.own_materials]
        state.own_materials.remove(keys.index(state.sheet.material))
        set_material(context.scene, next(iter(load_materials())))
        job_changed(state, context)
        return {"FINISHED"}


def own_material(scene: bpy.types.Scene) -> Any:
    """Return the properties of the sheet's material where it is one of the job's own."""
    state = scene.sheetstack
    return next((row for row in state.own_materials if row.name == state.sheet.material), None)


class SHEETSTACK_MT_material(bpy.types.Menu):
    """Materials of the table, of the job and of your presets"""

    bl_idname = "SHEETSTACK_MT_material"
    bl_label = "Material"
    preset_subdir = "sheetstack/material"
    preset_operator = "script.execute_preset"

    def draw(self, context: Any) -> None:
        for key, material in materials_of(context.scene).items():
            button = self.layout.operator(SHEETSTACK_OT_set_material.bl_idname, text=material.title)
            button.key = key
        self.layout.separator()
        bpy.types.Menu.draw_preset(self, context)


class SHEETSTACK_OT_add_material_preset(AddPresetBase, bpy.types.Operator):
    """Keep material and thickness as a preset for other jobs, or remove the preset"""

    bl_idname = "sheetstack.add_material_preset"
    bl_label = "Add Material Preset"
    preset_menu = "SHEETSTACK_MT_material"
    preset_defines = ["state = bpy.context.scene.sheetstack"]
    preset_values = ["state.material_preset"]
    preset_subdir = "sheetstack/material"


CLASSES = (
    SHEETSTACK_OT_set_material,
    SHEETSTACK_OT_set_thickness,
    SHEETSTACK_OT_own_material,
    SHEETSTACK_OT_remove_own_material,
    SHEETSTACK_MT_material,
    SHEETSTACK_OT_add_material_preset,
)
