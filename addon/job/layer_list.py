"""The list of layers: one row a layer in spray order; adding, removing, doubling and moving."""

from pathlib import Path
from typing import Any

import bpy
from bpy.props import EnumProperty, StringProperty

from ...geometry.artwork.parts import COLOURS
from ...geometry.artwork.parts import ENDINGS as DRAWING_ENDINGS
from ...geometry.job.sections import ROLES, LayerSettings
from ..core.blender_versions import HAS_FILE_HANDLERS
from ..core.conversion import display_colour
from ..core.setting_property import fields_of, switch_name
from ..core.viewport import NARROW
from .job_property import FORMAT, job_changed

MASK_ENDINGS = (".png", ".jpg", ".jpeg")
ARTWORK_ENDINGS = (*DRAWING_ENDINGS, *MASK_ENDINGS)


class SHEETSTACK_UL_layers(bpy.types.UIList):
    """Layers in spray order: what is sprayed first stands first"""

    def draw_item(
        self,
        context: Any,
        layout: Any,
        data: Any,
        item: Any,
        icon: int,
        active_data: Any,
        active_property: str,
        index: int,
    ) -> None:
        row = layout.row(align=True)
        swatch = row.row()
        swatch.ui_units_x = 1.2
        swatch.prop(item, "colour", text="")
        row.prop(item, "name", text="", emboss=False)
        # A sidebar of Blender's first width has room for the name only.
        wide = context.region.width > NARROW * context.preferences.system.ui_scale
        if wide and item.role.lower() != item.name.lower():
            role = row.row()
            role.active = False
            role.label(text=item.role)
        eye = "HIDE_OFF" if item.is_shown else "HIDE_ON"
        row.prop(item, "is_shown", text="", icon=eye, emboss=False)


class LayerWork:
    """What the operators on the active layer have in common."""

    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not active_layer(context.scene):
            cls.poll_message_set("There is no layer yet: add one or open a job")  # type: ignore[attr-defined]
            return False
        return True


class SHEETSTACK_OT_add_layer(bpy.types.Operator):
    """Add a layer at the end of the spray order"""

    bl_idname = "sheetstack.add_layer"
    bl_label = "Add Layer"
    bl_options = {"REGISTER", "UNDO"}

    filepath: StringProperty(
        name="Artwork", description="Drawing or mask of the new layer", options={"SKIP_SAVE"}
    )

    def execute(self, context: Any) -> set[str]:
        path = self.filepath
        if path and Path(path).suffix.lower() not in ARTWORK_ENDINGS:
            self.report(
                {"ERROR"},
                f"{path}: expected artwork ending in {', '.join(ARTWORK_ENDINGS)}.",
            )
            return {"CANCELLED"}
        add_layer(context.scene, Path(path).stem if path else "Layer", path)
        return {"FINISHED"}


class SHEETSTACK_OT_remove_layer(LayerWork, bpy.types.Operator):
    """Remove the active layer from the job"""

    bl_idname = "sheetstack.remove_layer"
    bl_label = "Remove Layer"

    def execute(self, context: Any) -> set[str]:
        state = context.scene.sheetstack
        state.layers.remove(state.active_layer)
        state.active_layer = max(0, min(state.active_layer, len(state.layers) - 1))
        job_changed(state, context)
        return {"FINISHED"}


class SHEETSTACK_OT_duplicate_layer(LayerWork, bpy.types.Operator):
    """Add a layer like the active one, next in the spray order"""

    bl_idname = "sheetstack.duplicate_layer"
    bl_label = "Duplicate Layer"

    def execute(self, context: Any) -> set[str]:
        state = context.scene.sheetstack
        source = state.active_layer
        copy = state.layers.add()
        name = free_name(state, state.layers[source].name)
        for key in layer_keys():
            setattr(copy, key, getattr(state.layers[source], key))
        copy.name = name
        state.layers.move(len(state.layers) - 1, source + 1)
        state.active_layer = source + 1
        job_changed(state, context)
        return {"FINISHED"}


class SHEETSTACK_OT_move_layer(LayerWork, bpy.types.Operator):
    """Move the active layer in the spray order"""

    bl_idname = "sheetstack.move_layer"
    bl_label = "Move Layer"

    direction: EnumProperty(
        name="Direction",
        description="Earlier or later in the spray order",
        items=[
            ("UP", "Earlier", "Spray it one step earlier"),
            ("DOWN", "Later", "Spray it one step later"),
        ],
    )

    def execute(self, context: Any) -> set[str]:
        state = context.scene.sheetstack
        target = state.active_layer + (-1 if self.direction == "UP" else 1)
        if not 0 <= target < len(state.layers):
            return {"CANCELLED"}
        state.layers.move(state.active_layer, target)
        state.active_layer = target
        job_changed(state, context)
        return {"FINISHED"}


class SHEETSTACK_OT_set_role(LayerWork, bpy.types.Operator):
    """Set the role of the active layer"""

    bl_idname = "sheetstack.set_role"
    bl_label = "Role"

    role: StringProperty(name="Role", description="What the layer is for in the picture")

    def execute(self, context: Any) -> set[str]:
        active_layer(context.scene).role = self.role
        return {"FINISHED"}


class SHEETSTACK_MT_role(bpy.types.Menu):
    """Common roles of layers"""

    bl_idname = "SHEETSTACK_MT_role"
    bl_label = "Role"

    def draw(self, context: Any) -> None:
        for role in ROLES:
            name = role.capitalize()
            self.layout.operator(SHEETSTACK_OT_set_role.bl_idname, text=name).role = role


def active_layer(scene: bpy.types.Scene) -> Any:
    """Return the active layer's properties, None where there is no layer."""
    state = scene.sheetstack
    if not state.layers:
        return None
    return state.layers[min(state.active_layer, len(state.layers) - 1)]


def add_layer(scene: bpy.types.Scene, name: str, artwork: str = "") -> Any:
    """Add a layer at the end, make it active and return it.

    Parameters
    ----------
    scene : Scene
    name : str
        A number is added where another layer has it.
    artwork : str
        Path of its drawing.
    """
    state = scene.sheetstack
    if not state.format:
        state.format = FORMAT
    name = free_name(state, name)
    row = state.layers.add()
    row.name = name
    row.colour = display_colour(COLOURS[(len(state.layers) - 1) % len(COLOURS)])
    row.role = ROLES[len(state.layers) - 1] if len(state.layers) <= len(ROLES) else ""
    row.artwork = artwork
    state.active_layer = len(state.layers) - 1
    job_changed(state, None)
    return row


def free_name(state: Any, name: str) -> str:
    """Return a name that no layer has yet."""
    taken = {row.name.lower() for row in state.layers}
    number, free = 1, name
    while free.lower() in taken:
        number += 1
        free = f"{name} {number}"
    return free


def layer_keys() -> list[str]:
    """Return the names of all properties that make up a layer."""
    keys = ["exact", "is_shown", "kept"]
    for field, hint in fields_of(LayerSettings):
        keys.append(field.name)
        if type(None) in getattr(hint, "__args__", ()):
            keys.append(switch_name(field.name))
    return keys


CLASSES = [
    SHEETSTACK_UL_layers,
    SHEETSTACK_OT_add_layer,
    SHEETSTACK_OT_remove_layer,
    SHEETSTACK_OT_duplicate_layer,
    SHEETSTACK_OT_move_layer,
    SHEETSTACK_OT_set_role,
    SHEETSTACK_MT_role,
]

if HAS_FILE_HANDLERS:

    class SHEETSTACK_FH_artwork(bpy.types.FileHandler):
        """Adds a layer for a mask that is dropped on a 3D view"""

        bl_idname = "SHEETSTACK_FH_artwork"
        bl_label = "Stencil layer"
        bl_import_operator = "sheetstack.add_layer"
        bl_file_extensions = ";".join(MASK_ENDINGS)

        @classmethod
        def poll_drop(cls, context: Any) -> bool:
            return context.area is not None and context.area.type == "VIEW_3D"

    CLASSES.append(SHEETSTACK_FH_artwork)
