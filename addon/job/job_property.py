"""The job as properties: all that a scene keeps, on one group ``scene.sheetstack``."""

from typing import Any

import bpy
from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

from ...geometry.finding import Severity
from ...geometry.job.materials import Material
from ...geometry.job.sections import SECTIONS, BridgeByHand, LayerSettings
from ..core.conversion import display_colour
from ..core.setting_property import property_group

#: Version of the properties' meaning; ``job_upgrade`` brings older files up to it.
FORMAT = 1

FIRST_VALUES: dict[str, dict[str, Any]] = {
    "sheet": {"width_mm": 400.0, "height_mm": 500.0},
}
MATERIAL_FIRST_VALUES = {
    "title": "Own material",
    "thicknesses_mm": (1.0,),
    "density_g_cm3": 1.0,
    "modulus_mpa": 3000.0,
    "strength_mpa": 30.0,
    "least_bridge_mm": 2.0,
    "least_opening_mm": 1.0,
    "colour": "#cccccc",
    "source": "own value",
}


def job_changed(group: Any, context: Any) -> None:
    """Note that the sheets are older than the job; Blender calls it after a property changed."""
    state = group.id_data.sheetstack
    if not state.being_filled:
        state.is_stale = True
        state.changes += 1


def arrangement_changed(group: Any, context: Any) -> None:
    """Move the sheets; Blender calls it while a slider is dragged."""
    from ..sheets.sheet_object import arrange

    arrange(group.id_data)


def layer_shown(group: Any, context: Any) -> None:
    """Show or hide a layer's sheet with its check box."""
    from ..sheets.sheet_object import show_layers

    show_layers(group.id_data)


def finding_chosen(group: Any, context: Any) -> None:
    """Fly to the finding that was clicked."""
    from ..sheets.finding_list import fly_to_active

    fly_to_active(context)


def _get_preset(group: Any) -> str:
    from .material_preset import preset_text

    return preset_text(group.id_data)


def _set_preset(group: Any, text: str) -> None:
    from .material_preset import apply_preset

    apply_preset(group.id_data, text)


def redraw(group: Any, context: Any) -> None:
    """Draw the 3D views anew after a display setting changed."""
    from ..core.viewport import redraw_views

    redraw_views()


SECTION_GROUPS = {
    key: property_group(
        f"SHEETSTACK_PG_{key}",
        section,
        needed=FIRST_VALUES.get(key, {}),
        update=job_changed,
    )
    for key, section in SECTIONS.items()
}

SHEETSTACK_PG_material = property_group(
    "SHEETSTACK_PG_material",
    Material,
    needed=MATERIAL_FIRST_VALUES,
    update=job_changed,
    more={"name": StringProperty(name="Key", description="Key of the material in the job file")},
)

SHEETSTACK_PG_bridge = property_group(
    "SHEETSTACK_PG_bridge",
    BridgeByHand,
    needed={"layer": "", "line_mm": ()},
    update=job_changed,
)

SHEETSTACK_PG_layer = property_group(
    "SHEETSTACK_PG_layer",
    LayerSettings,
    needed={"name": "Layer", "colour": "#808080", "artwork": ""},
    update=job_changed,
    more={
        "is_shown": BoolProperty(
            name="Visible",
            description="Show this layer's sheet in the 3D view; it stays part of the job",
            default=True,
            update=layer_shown,
        ),
        "kept": PointerProperty(
            type=bpy.types.Text,
            name="Kept artwork",
            description="Copy of the artwork in this .blend, used where the file is missing",
        ),
    },
)


class SHEETSTACK_PG_finding(bpy.types.PropertyGroup):
    """One finding of the last build."""

    code: StringProperty(name="Code", description="Stable name of the kind of finding")
    severity: EnumProperty(
        name="Severity",
        description="How much it matters",
        items=[
            (Severity.NOTE.name, "Note", "Done and told; nothing to do", "INFO", 0),
            (Severity.WARNING.name, "Warning", "Worth a look", "ERROR", 1),
            (Severity.SPOILS.name, "Spoils", "The stencil would fail", "CANCEL", 2),
        ],
    )
    message: StringProperty(name="Message", description="What was found")
    layer: StringProperty(name="Layer", description="Layer that it concerns")
    has_place: BoolProperty(description="Whether it has a place on the sheet")
    place_mm: FloatVectorProperty(size=2, description="Place on the sheet, in mm")


class SHEETSTACK_PG_job(bpy.types.PropertyGroup):
    """Everything that a scene keeps of Sheetstack."""

    format: IntProperty(default=0, options={"HIDDEN"})
    being_filled: BoolProperty(default=False, options={"HIDDEN", "SKIP_SAVE"})
    changes: IntProperty(default=0, options={"HIDDEN"})
    is_stale: BoolProperty(
        name="Sheets are older than the job",
        description="Something was changed since the sheets were built",
    )
    title: StringProperty(
        name="Title", description="Title of the job", default="Untitled", update=job_changed
    )
    ground: FloatVectorProperty(
        name="Ground",
        description="Colour of the wall below the paint",
        default=display_colour("#ffffff"),
        min=0,
        max=1,
        size=3,
        subtype="COLOR_GAMMA",
        update=job_changed,
    )
    folder: StringProperty(
        name="Folder",
        description="Folder that relative artwork paths start from",
        subtype="DIR_PATH",
        update=job_changed,
    )
    file: StringProperty(
        name="Job file", description="File the job was opened from or saved to", subtype="FILE_PATH"
    )
    text: StringProperty(
        description="The job file as it was, so that saving keeps its comments", options={"HIDDEN"}
    )
    layers: CollectionProperty(type=SHEETSTACK_PG_layer, description="Layers in spray order")
    active_layer: IntProperty(
        name="Active layer",
        description="Layer whose settings and marks are shown",
        min=0,
        update=redraw,
    )
    bridges_by_hand: CollectionProperty(
        type=SHEETSTACK_PG_bridge, description="Bridges set by hand"
    )
    active_bridge: IntProperty(
        name="Active bridge", description="Bridge that is shown", min=0, update=redraw
    )
    own_materials: CollectionProperty(
        type=SHEETSTACK_PG_material, description="The job's own rows of the material table"
    )
    active_material: IntProperty(
        name="Active material", description="Own material that is shown", min=0
    )
    findings: CollectionProperty(
        type=SHEETSTACK_PG_finding, description="What the last build has to say"
    )
    active_finding: IntProperty(
        name="Finding",
        description="A click flies the 3D views to its place",
        min=-1,
        default=-1,
        update=finding_chosen,
    )
    material_preset: StringProperty(
        description="Material and thickness in one, for presets",
        get=_get_preset,
        set=_set_preset,
        options={"HIDDEN", "SKIP_SAVE"},
    )
    collection: PointerProperty(
        type=bpy.types.Collection, name="Sheets", description="Collection of the built sheets"
    )
    follow: BoolProperty(
        name="Follow changes",
        description="Build the sheets again by itself shortly after something was changed",
    )
    spacing_mm: FloatProperty(
        name="Spacing",
        description="Free height between the sheets of the stack; 0 closes it",
        default=30.0,
        min=0.0,
        soft_max=500.0,
        unit="CAMERA",
        precision=1,
        step=100,
        update=arrangement_changed,
    )
    aside: FloatProperty(
        name="Side by side",
        description="From one above the other (0) to side by side on the floor (1)",
        min=0.0,
        max=1.0,
        subtype="FACTOR",
        update=arrangement_changed,
    )
    show_all_layers: BoolProperty(
        name="All layers",
        description="Draw the marks of all layers, not of the active one only",
        update=redraw,
    )
    show_islands: BoolProperty(
        name="Islands",
        description="Draw islands as outlined circles with a cross",
        default=True,
        update=redraw,
    )
    show_bridges: BoolProperty(
        name="Bridges", description="Draw bridges as outlined strips", default=True, update=redraw
    )
    show_necks: BoolProperty(
        name="Necks",
        description="Draw mended and narrow places as diamonds",
        default=True,
        update=redraw,
    )
    show_findings: BoolProperty(
        name="Findings",
        description="Draw findings as triangles, the more serious the larger",
        default=True,
        update=redraw,
    )
    show_labels: BoolProperty(
        name="Labels", description="Write numbers and sizes beside marks", update=redraw
    )
    show_overlay: BoolProperty(
        name="Overlay",
        description="Draw the openings of two layers over each other, above the stack",
        update=redraw,
    )
    overlay_first: StringProperty(
        name="First", description="Layer drawn with solid lines", update=redraw
    )
    overlay_second: StringProperty(
        name="Second", description="Layer drawn with dashed lines", update=redraw
    )


def _with_sections(group: type) -> type:
    for key, section_group in SECTION_GROUPS.items():
        group.__annotations__[key] = PointerProperty(
            type=section_group, description=f"Settings of the job file's [{key}] table"
        )
    return group


_with_sections(SHEETSTACK_PG_job)

CLASSES = (
    *SECTION_GROUPS.values(),
    SHEETSTACK_PG_material,
    SHEETSTACK_PG_bridge,
    SHEETSTACK_PG_layer,
    SHEETSTACK_PG_finding,
    SHEETSTACK_PG_job,
)


def register() -> None:
    """Hang the group on scenes."""
    bpy.types.Scene.sheetstack = PointerProperty(type=SHEETSTACK_PG_job)


def unregister() -> None:
    """Take it off again."""
    del bpy.types.Scene.sheetstack
