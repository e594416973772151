"""All that a scene keeps, on one group ``scene.sheetstack``, put together from the features."""

import bpy
from bpy.props import CollectionProperty, PointerProperty

from ..geometry.job.sections import LayerSettings
from .bridges.live_drag import end_drag
from .core.ownership import OwnershipProperties
from .core.setting_property import property_group
from .findings.finding_list import FindingProperties
from .job.drawn_objects import DRAWN_PROPERTIES
from .job.import_drawing import groups_to_choose
from .job.job_property import JobProperties, job_changed
from .job.material_preset import PresetProperty
from .job.sources import SourceProperties
from .mockup.mockup import MockupProperties
from .sheets.view_property import LAYER_PROPERTIES, ViewProperties

SHEETSTACK_PG_layer = property_group(
    "SHEETSTACK_PG_layer",
    LayerSettings,
    needed={"name": "Layer", "colour": "#808080", "artwork": ""},
    update=job_changed,
    choose={"group": groups_to_choose, "bridges_group": groups_to_choose},
    more={
        "kept": PointerProperty(
            type=bpy.types.Text,
            name="Kept artwork",
            description="Copy of the artwork in this .blend, used where the file is missing",
        ),
        **LAYER_PROPERTIES,
        **DRAWN_PROPERTIES,
    },
)


class SHEETSTACK_PG_scene(
    OwnershipProperties,
    JobProperties,
    PresetProperty,
    SourceProperties,
    ViewProperties,
    FindingProperties,
    MockupProperties,
    bpy.types.PropertyGroup,
):
    """Everything that a scene keeps of Sheetstack."""

    layers: CollectionProperty(type=SHEETSTACK_PG_layer, description="Layers in spray order")


CLASSES = (SHEETSTACK_PG_layer, SHEETSTACK_PG_scene)


def register() -> None:
    """Hang the group on scenes."""
    bpy.types.Scene.sheetstack = PointerProperty(type=SHEETSTACK_PG_scene)


def unregister() -> None:
    """Take it off again; a drag that is under way still needs it, and ends before."""
    end_drag(keep=False)
    del bpy.types.Scene.sheetstack
