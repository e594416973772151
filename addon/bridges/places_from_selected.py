"""Places from selected objects: boxes that bridges keep out of, and centres of holes."""

from typing import Any

import bpy
import numpy as np
from bpy.props import BoolProperty, EnumProperty
from mathutils import Vector

from ...geometry.arrays import Floats
from ...geometry.errors import SheetstackError
from ..core.conversion import metres_per_unit, millimetres
from ..core.list_rows import list_value, put_list, rows_name
from ..core.ownership import is_made
from ..job.layer_list import active_layer
from ..job.scene_job import job_of
from ..sheets.sheet_object import sheet_names, sheets_of

#: Digits (mm) that places are kept with: a micrometre.
DIGITS = 3
#: For each target the section and key that it fills.
TARGETS = {
    "KEEP_FREE": ("bridges", "keep_free_mm"),
    "HOLES": ("registration", "holes_mm"),
}


class SHEETSTACK_OT_places_from_selected(bpy.types.Operator):
    """Take places on the sheet from the selected objects: the boxes round them, which bridges \
keep out of, or their origins as centres of holes"""

    bl_idname = "sheetstack.places_from_selected"
    bl_label = "From Selected Objects"
    bl_options = {"REGISTER", "UNDO"}

    target: EnumProperty(
        name="As",
        description="What the objects stand for",
        items=[
            ("KEEP_FREE", "Areas free of bridges", "The upright box round each object"),
            ("HOLES", "Holes", "The origin of each object is the centre of a hole"),
        ],
    )
    replace: BoolProperty(name="Replace", description="Put them in place of those that there are")

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        if properties.target == "HOLES":
            return "Add a hole at the origin of each selected object, an empty for example"
        return "Add the box round each selected object to those that bridges keep out of"

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not _chosen(context):
            cls.poll_message_set("Select an object that is no sheet first: an empty, a plane")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        scene = context.scene
        section, key = TARGETS[self.target]
        group = getattr(scene.sheetstack, section)
        before = list_value(group, key)
        value_of = place_on_sheet if self.target == "HOLES" else box_on_sheet
        found = [value_of(thing, scene) for thing in _chosen(context)]
        if self.target == "KEEP_FREE" and not all(box[2] > 0 and box[3] > 0 for box in found):
            self.report({"ERROR"}, "Expected objects with an area seen from above, found none.")
            return {"CANCELLED"}
        put_list(group, key, [*([] if self.replace else before), *found])
        if scene.sheetstack.layers:
            try:
                job_of(scene)
            except SheetstackError as error:
                put_list(group, key, before)
                self.report({"ERROR"}, str(error))
                return {"CANCELLED"}
        # From now on the places follow what they were taken from.
        rows = getattr(group, rows_name(key))
        for row, thing in zip(rows[-len(found) :], _chosen(context), strict=True):
            row.source = thing
        return {"FINISHED"}


def draw_from_selected(layout: Any, target: str, text: str) -> None:
    """Draw the button that takes places of a target from the selected objects.

    Parameters
    ----------
    layout : UILayout
    target : str
        The list that takes the places.
    text : str
        On the button.
    """
    button = layout.operator(
        SHEETSTACK_OT_places_from_selected.bl_idname, text=text, icon="RESTRICT_SELECT_OFF"
    )
    button.target = target


def box_on_sheet(thing: bpy.types.Object, scene: Any) -> list[float]:
    """Return x, y, width and height of the upright box round an object on the sheet, in mm."""
    corners = _corners_on_sheet(thing, scene)
    return _rounded([*corners.min(axis=0), *np.ptp(corners, axis=0)])


def place_on_sheet(thing: bpy.types.Object, scene: Any) -> list[float]:
    """Return x, y of an object's origin on the sheet, in mm."""
    return _rounded(_on_sheet(thing.matrix_world.translation, scene))


def _corners_on_sheet(thing: bpy.types.Object, scene: Any) -> Floats:
    """Return the corners (8, 2) of an object's bounding box on the sheet, in mm."""
    empty = thing.type == "EMPTY"
    size = thing.empty_display_size
    corners = (
        [(x, y, 0.0) for x in (-size, size) for y in (-size, size)] if empty else thing.bound_box
    )
    return np.array([_on_sheet(thing.matrix_world @ Vector(c), scene) for c in corners])


def _on_sheet(point: Vector, scene: Any) -> Floats:
    """Return a place of the scene on the active layer's sheet, or without one on the floor."""
    sheets, layer = sheets_of(scene), active_layer(scene)
    names = sheet_names(layer) if layer else ()
    sheet = next((sheets[name] for name in names if name in sheets), None)
    if sheet is not None:
        inside = sheet.matrix_world.inverted() @ point
    else:
        inside = point * metres_per_unit(scene)
    flat: Floats = millimetres(inside)[:2]
    return flat


def _rounded(values: Any) -> list[float]:
    return [round(float(v), DIGITS) for v in values]


def _chosen(context: Any) -> list[bpy.types.Object]:
    return [t for t in context.selected_objects if not is_made(context.scene, t)]


CLASSES = (SHEETSTACK_OT_places_from_selected,)
