"""The user's preferences: what a new job begins with, and where files are looked for and put."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.props import EnumProperty, StringProperty

from ...geometry.job.materials import load_materials
from .keymap import draw_keys

#: The add-on as Blender knows it, whatever name it was installed under.
ADD_ON = __package__.rpartition(".addon.")[0]


def _materials(group: Any, context: Any, typed: str) -> list[tuple[str, str]]:
    return [(key, material.title) for key, material in load_materials().items()]


class SHEETSTACK_AP_preferences(bpy.types.AddonPreferences):
    """Preferences of Sheetstack"""

    bl_idname = ADD_ON

    material: StringProperty(
        name="Material",
        description="Material of the sheets of a new job",
        default="card",
        search=_materials,
    )
    units: EnumProperty(
        name="Lengths",
        description="Unit that a scene shows lengths in once a drawing was imported into it",
        items=[
            ("KEEP", "As the scene has them", "Leave the scene's units as they are"),
            ("MILLIMETERS", "Millimetres", "Show the scene's lengths in mm"),
            ("CENTIMETERS", "Centimetres", "Show the scene's lengths in cm"),
            ("INCHES", "Inches", "Show the scene's lengths in inches"),
        ],
    )
    drawings: StringProperty(
        name="Drawings",
        description="Folder that drawings are first looked for in",
        subtype="DIR_PATH",
    )
    files: StringProperty(
        name="Files", description="Folder that files are first written to", subtype="DIR_PATH"
    )

    def draw(self, context: Any) -> None:
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        column = layout.column(heading="New Job")
        column.prop(self, "material")
        column.prop(self, "units")
        column = layout.column(heading="Folders")
        column.prop(self, "drawings")
        column.prop(self, "files")
        draw_keys(layout, context)


def preference(name: str) -> str:
    """Return one of the user's preferences; its default where the add-on is not installed."""
    installed = bpy.context.preferences.addons.get(ADD_ON)
    if installed is None or installed.preferences is None:
        default: str = SHEETSTACK_AP_preferences.bl_rna.properties[name].default
        return default
    return str(getattr(installed.preferences, name))


def folder_to_begin_in(name: str) -> str:
    """Return the folder of a preference as a dialogue wants it; empty where none is set."""
    folder = bpy.path.abspath(preference(name))
    return folder if not folder or folder.endswith(("/", "\\")) else f"{folder}/"


def show_units(scene: Any) -> None:
    """Let a scene show lengths as the preferences say."""
    units = preference("units")
    if units != "KEEP":
        scene.unit_settings.system = "IMPERIAL" if units == "INCHES" else "METRIC"
        scene.unit_settings.length_unit = units


CLASSES = (SHEETSTACK_AP_preferences,)
