"""What inspection shows of a scene's sheets, on one group ``scene.sheetstack_inspection``."""

import math
from typing import Any

import bpy
from bpy.props import BoolProperty, EnumProperty, FloatProperty, IntProperty, PointerProperty

from ..sheets.sheet_object import sheets_of
from .drift import apply_drift
from .see_through import see_through


def _moved(group: Any, context: Any) -> None:
    apply_drift(group.id_data)


def _shown(group: Any, context: Any) -> None:
    see_through(group.id_data, group.overlay)


#: What the list of drifting sheets shows; Blender keeps no copy of its texts.
_choices: list[tuple[str, str, str, int]] = []


def _layers(group: Any, context: Any) -> list[tuple[str, str, str, int]]:
    names = list(sheets_of(context.scene)) if context is not None else []
    _choices[:] = [("ALL", "All sheets", "Each sheet drifts its own way", 0)]
    _choices.extend((name, name, "This sheet drifts", k) for k, name in enumerate(names, 1))
    return _choices


class SHEETSTACK_PG_inspection(bpy.types.PropertyGroup):
    """What inspection shows of a scene's sheets."""

    overlay: BoolProperty(
        name="See-through",
        description="Show sheets see-through, so that all openings are seen at once",
        update=_shown,
    )
    drifting: EnumProperty(
        name="Drifting", description="Which sheet drifts", items=_layers, update=_moved
    )
    drift: FloatProperty(
        name="Drift",
        description="How much of the drift that the job reckons with the sheet lies off its place",
        min=-1.0,
        max=1.0,
        subtype="FACTOR",
        update=_moved,
    )
    times: FloatProperty(
        name="Exaggerate",
        description="Show the drift so many times as large",
        default=1.0,
        min=1.0,
        max=50.0,
        update=_moved,
    )
    direction: FloatProperty(
        name="Direction",
        description="Way that the sheet drifts, counter-clockwise from the right",
        subtype="ANGLE",
        min=-2 * math.pi,
        max=2 * math.pi,
        update=_moved,
    )
    found_end: IntProperty(description="The scene's last frame before drift was animated")
    animated_end: IntProperty(description="The last frame that the animation asked for; 0: none")
    section_mm: FloatProperty(
        name="Section at",
        description="Height over the sheets' lower edge that they are cut through at",
        unit="CAMERA",
        min=0.0,
        default=100.0,
    )


CLASSES = (SHEETSTACK_PG_inspection,)


def register() -> None:
    """Hang the group on scenes."""
    bpy.types.Scene.sheetstack_inspection = PointerProperty(type=SHEETSTACK_PG_inspection)


def unregister() -> None:
    """Take it off again."""
    del bpy.types.Scene.sheetstack_inspection
