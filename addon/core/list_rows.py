"""Lists as rows: swatches, numbers, places, boxes and lines that are edited one by one.

A list of the job is kept as a collection of rows. Its value as a whole, the JSON text of the list,
is a property that is worked out from the rows, for all who read or set a list at once. A row keeps
the exact numbers it was set from and gives them back until one of its properties is changed.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import bpy
import numpy as np
from bpy.props import (
    CollectionProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

from .conversion import display_colour, hexadecimal, metres_per_unit, millimetres

#: Digits (mm) of what comes from the 3D cursor: a micrometre.
DIGITS = 3
#: Side (mm) of a new box where there is no other to take it from.
SIDE = 20.0
#: The same of a box in a picture, in pixels.
PIXELS = 100


def rows_name(name: str) -> str:
    """Return the name of the rows that a list is kept in.

    >>> rows_name("holes_mm")
    'holes_mm_rows'
    """
    return f"{name}_rows"


def exact_number(value: float, exact: float | None) -> float:
    """Return the number that a 32-bit property stands for.

    The exact one that it was set from, if it still fits, else the shortest decimal.
    """
    if exact is not None and float(np.float32(exact)) == value:
        return exact
    return float(str(np.float32(value)))


def _row_changed(row: Any, context: Any) -> None:
    """Tell the settings that a row belongs to; Blender calls it after one was changed."""
    path: str = row.path_from_id()
    owner: Any = None
    while "." in path and not hasattr(owner, "section"):
        path = path.rpartition(".")[0]
        owner = row.id_data.path_resolve(path)
    if hasattr(owner, "section"):
        type(owner).changed(owner, context)


def _length(name: str, about: str, **limits: Any) -> Any:
    return FloatProperty(
        name=name,
        description=about,
        unit="CAMERA",  # shown in mm, whatever the scene's units are
        precision=2,
        step=100,
        update=_row_changed,
        **limits,
    )


def _pixels(name: str, about: str, default: int = 0) -> Any:
    about = f"{about}, in pixels"
    return FloatProperty(
        name=name, description=about, min=0.0, default=default, precision=0, update=_row_changed
    )


class _Numbers:
    """What rows of numbers have in common: the properties named in ``keys`` are the value."""

    exact: StringProperty(default="[]", options={"HIDDEN"})
    keys: tuple[str, ...] = ()

    def get_value(self: Any) -> Any:
        """Return the row's numbers as a list."""
        known = json.loads(self.exact) or [None] * len(self.keys)
        return [
            exact_number(getattr(self, key), exact)
            for key, exact in zip(self.keys, known, strict=True)
        ]

    def set_value(self: Any, value: Any) -> None:
        """Set the row from a list of numbers."""
        for key, number in zip(self.keys, value, strict=True):
            setattr(self, key, number)
        self.exact = json.dumps(value)

    def draw_value(self: Any, layout: Any) -> None:
        """Draw the row's fields beside each other."""
        for key in self.keys:
            layout.prop(self, key, text="")


def _draw_in_two_lines(box: Any, layout: Any) -> None:
    """Draw a box's fields in two lines: there is no room for four in one."""
    column = layout.column(align=True)
    for keys in (box.keys[:2], box.keys[2:]):
        row = column.row(align=True)
        for key in keys:
            row.prop(box, key, text="")


class SHEETSTACK_PG_colour_row(bpy.types.PropertyGroup):
    """A colour of a list"""

    colour: FloatVectorProperty(
        name="Colour",
        description="One colour of the list",
        min=0,
        max=1,
        size=3,
        subtype="COLOR_GAMMA",
        update=_row_changed,
    )

    def get_value(self) -> Any:
        """Return the colour like '#a0522d'."""
        return hexadecimal(self.colour)

    def set_value(self, value: Any) -> None:
        """Set the row from a colour like '#a0522d'."""
        self.colour = display_colour(value)

    def draw_value(self, layout: Any) -> None:
        """Draw the swatch."""
        layout.prop(self, "colour", text="")


class SHEETSTACK_PG_number_row(_Numbers, bpy.types.PropertyGroup):
    """A number of a list"""

    number: FloatProperty(
        name="", description="One number of the list", precision=3, update=_row_changed
    )
    keys = ("number",)

    def get_value(self) -> Any:
        """Return the number."""
        return super().get_value()[0]

    def set_value(self, value: Any) -> None:
        """Set the row from a number."""
        super().set_value([value])


class SHEETSTACK_PG_point_row(_Numbers, bpy.types.PropertyGroup):
    """A place of a list"""

    x_mm: _length("X", "From the sheet's left edge")
    y_mm: _length("Y", "From the sheet's lower edge")
    source: PointerProperty(
        type=bpy.types.Object, name="Object", description="The object that the place follows"
    )
    keys = ("x_mm", "y_mm")


class SHEETSTACK_PG_box_row(_Numbers, bpy.types.PropertyGroup):
    """A box of a list"""

    x_mm: _length("X", "Left side, from the sheet's left edge")
    y_mm: _length("Y", "Lower side, from the sheet's lower edge")
    width_mm: _length("W", "Width of the box", min=0.0, default=SIDE)
    height_mm: _length("H", "Height of the box", min=0.0, default=SIDE)
    source: PointerProperty(
        type=bpy.types.Object, name="Object", description="The object that the box follows"
    )
    keys = ("x_mm", "y_mm", "width_mm", "height_mm")

    draw_value = _draw_in_two_lines


class SHEETSTACK_PG_pixel_box_row(_Numbers, bpy.types.PropertyGroup):
    """A box in a picture"""

    x: _pixels("X", "Left side, from the picture's left edge")
    y: _pixels("Y", "Upper side, from the picture's upper edge")
    width: _pixels("W", "Width of the box", default=PIXELS)
    height: _pixels("H", "Height of the box", default=PIXELS)
    keys = ("x", "y", "width", "height")

    draw_value = _draw_in_two_lines


class SHEETSTACK_PG_line_row(bpy.types.PropertyGroup):
    """A line, or an area by its corners, of a list"""

    points: CollectionProperty(type=SHEETSTACK_PG_point_row, description="The line's points")

    def get_value(self) -> Any:
        """Return the line as a list of [x, y]."""
        return [point.get_value() for point in self.points]

    def set_value(self, value: Any) -> None:
        """Set the row from a list of [x, y]."""
        self.points.clear()
        for place in value:
            self.points.add().set_value(place)

    def draw_value(self, layout: Any) -> None:
        """Draw the points below each other."""
        column = layout.column(align=True)
        for point in self.points:
            point.draw_value(column.row(align=True))


#: The rows of each kind of list.
ROWS: dict[str, type] = {
    "colours": SHEETSTACK_PG_colour_row,
    "numbers": SHEETSTACK_PG_number_row,
    "point": SHEETSTACK_PG_point_row,
    "points": SHEETSTACK_PG_point_row,
    "box": SHEETSTACK_PG_box_row,
    "boxes": SHEETSTACK_PG_box_row,
    "lines": SHEETSTACK_PG_line_row,
}


#: Kinds of which there is one at most: a list of one row, or of none.
SINGLE = ("point", "box")


def row_type(name: str, kind: str) -> type:
    """Return the rows of a list, by its name and kind: boxes of a picture are not in mm."""
    if kind == "boxes" and not name.endswith("_mm"):
        return SHEETSTACK_PG_pixel_box_row
    return ROWS[kind]


def list_value(group: Any, name: str) -> Any:
    """Return the value of a list; of a single place or box itself, None where there is none."""
    values = [row.get_value() for row in getattr(group, rows_name(name))]
    if _is_single(group, name):
        return values[0] if values else None
    return values


def put_list(group: Any, name: str, value: Any) -> None:
    """Set a list, as one change; rows whose value stays the same keep the object they follow.

    Parameters
    ----------
    group : PropertyGroup
    name : str
        Of the list.
    value : list or tuple
        As a job file holds it; a single value, or None, where the list is for one.
    """
    rows = getattr(group, rows_name(name))
    value = json.loads(json.dumps(value))  # tuples as lists
    if _is_single(group, name):
        value = [] if value is None else [value]
    if [row.get_value() for row in rows] == value:
        return
    while len(rows) > len(value):
        # The first that is gone, so that those behind it keep what they follow.
        gone = next(
            (i for i, row in enumerate(rows) if i >= len(value) or row.get_value() != value[i]),
            len(rows) - 1,
        )
        rows.remove(gone)
    for number, one in enumerate(value):
        row = rows[number] if number < len(rows) else rows.add()
        if row.get_value() != one:
            row.set_value(one)
            if getattr(row, "source", None) is not None:
                row.source = None
    type(group).changed(group, bpy.context)


def _is_single(group: Any, name: str) -> bool:
    kind: str = type(group).section.__dataclass_fields__[name].metadata["kind"]
    return kind in SINGLE


def list_properties(name: str, kind: str, label: str, about: str) -> dict[str, Any]:
    """Return the properties of a list: its rows, and the text that stands for all of them.

    Parameters
    ----------
    name : str
        Of the list.
    kind : str
        Of its rows.
    label, about : str
        What the panel and its tooltip say.
    """

    def get(group: Any) -> str:
        return json.dumps(list_value(group, name))

    def put(group: Any, text: str) -> None:
        put_list(group, name, json.loads(text))

    return {
        rows_name(name): CollectionProperty(
            type=row_type(name, kind), name=label, description=about
        ),
        name: StringProperty(
            name=label, description=about, get=get, set=put, options={"HIDDEN", "SKIP_SAVE"}
        ),
    }


def draw_list(layout: Any, group: Any, name: str, label: str) -> None:
    """Draw a list: its name, a row for each entry with a button that takes it away, one to add.

    Parameters
    ----------
    layout : UILayout
    group : PropertyGroup
    name : str
        Of the list.
    label : str
    """
    rows = getattr(group, rows_name(name))
    column = layout.column(align=True)
    column.use_property_split = False
    head = column.row()
    head.label(text=f"{label}: {len(rows)}" if len(rows) else label)
    if not (len(rows) and _is_single(group, name)):
        _aim(head.operator("sheetstack.add_list_row", text="", icon="ADD"), group, name)
    swatches = column.row(align=True) if _are_swatches(rows) else None
    for number, row in enumerate(rows):
        line = swatches or column.row(align=True)
        row.draw_value(line)
        if getattr(row, "source", None) is not None:
            line.label(text="", icon="OBJECT_DATA")
        if swatches is None or number == len(rows) - 1:
            button = line.operator("sheetstack.remove_list_row", text="", icon="X")
            _aim(button, group, name)
            button.index = number


def _are_swatches(rows: Any) -> bool:
    """Return whether rows are colours, which stand beside each other."""
    return len(rows) > 0 and isinstance(rows[0], SHEETSTACK_PG_colour_row)


def _aim(button: Any, group: Any, name: str) -> None:
    button.path, button.name = group.path_from_id(), name


class ListWork:
    """What the operators on a list of the scene have in common."""

    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    path: StringProperty(description="Path of the settings in the scene", options={"HIDDEN"})
    name: StringProperty(description="Name of the list", options={"HIDDEN"})

    def owner(self: Any, context: Any) -> Any:
        """Return the settings that hold the list; None where they are gone."""
        try:
            return context.scene.path_resolve(self.path)
        except ValueError:
            self.report({"ERROR"}, "The settings that held this list are gone.")
            return None


class SHEETSTACK_OT_add_list_row(ListWork, bpy.types.Operator):
    """Add an entry; a place, box or line comes to the 3D cursor"""

    bl_idname = "sheetstack.add_list_row"
    bl_label = "Add Entry"

    def execute(self, context: Any) -> set[str]:
        group = self.owner(context)
        if group is None:
            return {"CANCELLED"}
        rows = getattr(group, rows_name(self.name))
        scene = context.scene
        cursor = millimetres(scene.cursor.location)[:2] * metres_per_unit(scene)
        here = [round(float(c), DIGITS) for c in cursor]
        kind = type(rows.add())
        rows[len(rows) - 1].set_value(_first_value(kind, rows, here))
        type(group).changed(group, context)
        return {"FINISHED"}


class SHEETSTACK_OT_remove_list_row(ListWork, bpy.types.Operator):
    """Take this entry out of the list"""

    bl_idname = "sheetstack.remove_list_row"
    bl_label = "Remove Entry"

    index: IntProperty(name="Entry", description="Its place in the list", options={"HIDDEN"})

    def execute(self, context: Any) -> set[str]:
        group = self.owner(context)
        if group is None:
            return {"CANCELLED"}
        rows = getattr(group, rows_name(self.name))
        if not 0 <= self.index < len(rows):
            return {"CANCELLED"}
        rows.remove(self.index)
        type(group).changed(group, context)
        return {"FINISHED"}


def _first_value(kind: type, rows: Any, here: list[float]) -> Any:
    """Return what a new row begins with: the last one's value, moved to the 3D cursor."""
    last = rows[len(rows) - 2].get_value() if len(rows) > 1 else None
    begin: dict[type, Callable[[], Any]] = {
        SHEETSTACK_PG_colour_row: lambda: last or "#808080",
        SHEETSTACK_PG_number_row: lambda: 0.0 if last is None else last,
        SHEETSTACK_PG_point_row: lambda: here,
        SHEETSTACK_PG_box_row: lambda: [*here, *(last[2:] if last else (SIDE, SIDE))],
        SHEETSTACK_PG_pixel_box_row: lambda: last or [0.0, 0.0, float(PIXELS), float(PIXELS)],
        SHEETSTACK_PG_line_row: lambda: [here, [here[0] + SIDE, here[1]]],
    }
    return begin[kind]()


CLASSES = (
    SHEETSTACK_PG_colour_row,
    SHEETSTACK_PG_number_row,
    SHEETSTACK_PG_point_row,
    SHEETSTACK_PG_box_row,
    SHEETSTACK_PG_pixel_box_row,
    SHEETSTACK_PG_line_row,
    SHEETSTACK_OT_add_list_row,
    SHEETSTACK_OT_remove_list_row,
)
