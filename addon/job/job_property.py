"""The job as properties: its sections, materials and bridges by hand."""

from typing import Any

from bpy.props import (
    BoolProperty,
    CollectionProperty,
    FloatVectorProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

from ...geometry.job.materials import Material
from ...geometry.job.sections import SECTIONS, BridgeArea, BridgeByHand, StockSheet
from ..core.blender_versions import RELATIVE_PATH
from ..core.conversion import display_colour
from ..core.setting_property import property_group
from ..core.viewport import draw_anew

#: Version of the properties' meaning; ``file_upgrade`` brings older files up to it.
FORMAT = 3

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

SHEETSTACK_PG_stock = property_group(
    "SHEETSTACK_PG_stock",
    StockSheet,
    needed={"width_mm": 1220.0, "height_mm": 610.0},
    update=job_changed,
)
SHEETSTACK_PG_area = property_group("SHEETSTACK_PG_area", BridgeArea, needed={}, update=job_changed)


class JobProperties:
    """What a scene keeps of the job itself; its layers are added in ``scene_property``."""

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
        options=RELATIVE_PATH,
        update=job_changed,
    )
    file: StringProperty(
        name="Job file",
        description="File the job was opened from or saved to",
        subtype="FILE_PATH",
        options=RELATIVE_PATH,
    )
    text: StringProperty(
        description="The job file as it was, so that saving keeps its comments", options={"HIDDEN"}
    )
    bridges_by_hand: CollectionProperty(
        type=SHEETSTACK_PG_bridge, description="Bridges set by hand"
    )
    active_bridge: IntProperty(
        name="Active bridge", description="Bridge that is shown", min=0, update=draw_anew
    )
    settled: StringProperty(
        description="Automatic bridges of the last build, which stay while they hold",
        options={"HIDDEN"},
    )
    stock: CollectionProperty(
        type=SHEETSTACK_PG_stock, description="Sheets that pieces are nested on"
    )
    areas: CollectionProperty(
        type=SHEETSTACK_PG_area, description="Parts of the sheet and what bridges do there"
    )
    own_materials: CollectionProperty(
        type=SHEETSTACK_PG_material, description="The job's own rows of the material table"
    )
    active_material: IntProperty(
        name="Active material", description="Own material that is shown", min=0
    )


for _key, _group in SECTION_GROUPS.items():
    JobProperties.__annotations__[_key] = PointerProperty(
        type=_group, description=f"Settings of the job file's [{_key}] table"
    )

CLASSES = (
    *SECTION_GROUPS.values(),
    SHEETSTACK_PG_material,
    SHEETSTACK_PG_bridge,
    SHEETSTACK_PG_area,
    SHEETSTACK_PG_stock,
)
