"""Labels with leaders: each sheet's number, name and thickness beside it."""

from typing import Any

import bpy

from ..core.conversion import metres, shader_colour
from ..core.look import join
from ..core.ownership import made, owning, remove_made
from ..sheets.sheet_object import collection_of, has_sheets, sheets_of

#: Role of what is made here.
ROLE = "LABEL"
#: Colour of letters and leaders.
INK = "#e6ecee"


class SHEETSTACK_OT_label_sheets(bpy.types.Operator):
    """Put each sheet's number, name and thickness beside it, with a leader"""

    bl_idname = "sheetstack.label_sheets"
    bl_label = "Label Sheets"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        return has_sheets(cls, context)

    def execute(self, context: Any) -> set[str]:
        label_sheets(context.scene)
        return {"FINISHED"}


def label_sheets(scene: bpy.types.Scene) -> None:
    """Make labels anew; they hang on their sheets and move with them."""
    remove_made(scene, ROLE)
    with owning(scene, ROLE):
        _make_labels(scene)
    join(scene, made(scene, ROLE).values())


def _make_labels(scene: bpy.types.Scene) -> None:
    held = collection_of(scene)
    sheet = scene.sheetstack.sheet
    size = 0.035 * max(sheet.width_mm, sheet.height_mm)
    ink = bpy.data.materials.new("Sheet label")
    ink.diffuse_color = shader_colour(INK)
    for number, (name, thing) in enumerate(sheets_of(scene).items(), 1):
        # Leaders end at different heights, so that labels of a closed stack stay apart.
        y = sheet.height_mm - (2.2 * number - 1.2) * size
        start, bend = sheet.width_mm, sheet.width_mm + 2.0 * size
        thickness = float(thing.sheetstack.thickness_mm)
        line = bpy.data.curves.new(f"Leader {name}", "CURVE")
        line.dimensions = "3D"
        line.bevel_depth = float(metres(0.035 * size))
        spline = line.splines.new("POLY")
        spline.points.add(1)
        for point, x in zip(spline.points, (start, bend), strict=True):
            point.co = (*metres((x, y, thickness)).tolist(), 1.0)
        text = bpy.data.curves.new(f"Label {name}", "FONT")
        text.body = f"{number}  {name}, {thickness:g} mm"
        text.size = float(metres(size))
        text.align_y = "CENTER"
        for data in (line, text):
            data.materials.append(ink)
            made = bpy.data.objects.new(data.name, data)
            made.parent = thing
            held.objects.link(made)
        made.location = metres((bend + 0.5 * size, y, thickness)).tolist()


CLASSES = (SHEETSTACK_OT_label_sheets,)
