"""Properties: a settings dataclass of geometry as a Blender property group.

Names, tooltips, limits and units come from the dataclass' fields, so that the job file and the
panels cannot disagree. Blender keeps 32-bit floats: each group also keeps the exact values it was
given, and gives them back as long as the property has not been changed. Lists are rows.
"""

from __future__ import annotations

import dataclasses
import json
import typing
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

import bpy
from bpy.props import (
    BoolProperty,
    EnumProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    StringProperty,
)

from .blender_versions import RELATIVE_PATH
from .conversion import display_colour, hexadecimal
from .list_rows import (
    ROWS,
    draw_list,
    exact_number,
    list_properties,
    list_value,
    put_list,
    rows_name,
)

Update = Callable[[Any, Any], None]
#: From a field's name to the value that it has while none is given, as text.
InForce = Callable[[str], str]
#: From a group, the context and what was typed so far to the texts to choose from.
Choose = Callable[[Any, Any, str], Iterable[str]]

#: Endings of field names that say a unit which Blender has no type for.
UNIT_NAMES = {
    "_g_cm3": "g/cm³",
    "_mpa": "MPa",
    "_mm2": "mm²",
    "_mm_s": "mm/s",
    "_mm_s2": "mm/s²",
    "_min": "min",
    "_ml_m2": "ml/m²",
    "_deg": "°",
    "_percent": "%",
    "_um": "µm",
    "_g": "g",
    "_n": "N",
    "_s": "s",
}
#: Labels in place of those that the field names give.
LABELS = {
    "handling_load_n": "Push of the hand (N)",
    "most_per_island": "Most per island",
    "let_go": "Let small islands go",
    "keep_free_mm": "Boxes free of bridges",
    "keep_free_areas_mm": "Areas free of bridges",
    "bridges_mm": "Bridges drawn by hand",
    "bridges_group": "Bridges from group",
    "mend_mm": "Places to be mended",
    "keep_mm": "Islands to be held",
    "holes_mm": "Own holes",
    "background": "Background left to the wall",
    "focus_mm": "Boxes in focus",
    "price_m2": "Price per m² (low, high)",
    "thicknesses_mm": "Thicknesses sold",
    "power_on_cost_h": "Cost per hour switched on",
    "sheet_price_m2": "Sheet price per m²",
    "filament_price_kg": "Filament price per kg",
    "paint_price_l": "Paint price per litre",
    "turn_deg": "Turn (°)",
    "tile_min": "Minutes for a tile",
    "fit_mm": "Fit to size",
    "from_deg": "Can leans to (°)",
}
#: A label with more letters than this stands above its field: beside it there is no room in a
#: sidebar of the width that Blender gives it.
LONGEST_BESIDE = 9
LISTS = tuple(ROWS)
#: Texts that name a file.
FILES = ("artwork", "font", "background_mask", "focus_mask")


def fields_of(section: type) -> Iterator[tuple[dataclasses.Field[Any], Any]]:
    """Yield the setting fields of a section with their resolved type."""
    hints = typing.get_type_hints(section)
    for field in dataclasses.fields(section):
        if field.metadata:
            yield field, hints[field.name]


def switch_name(name: str) -> str:
    """Return the name of the check box that says whether an optional value is given."""
    return f"use_{name}"


def property_group(
    name: str,
    section: type,
    *,
    needed: Mapping[str, Any],
    update: Update,
    choose: Mapping[str, Choose] | None = None,
    more: Mapping[str, Any] | None = None,
) -> type:
    """Make the property group of a section.

    Parameters
    ----------
    name : str
        Name of the class in ``bpy.types``.
    section : type
        Dataclass of ``setting`` fields.
    needed : mapping
        First values of fields that have no default.
    update : callable
        Called by Blender after a value was changed.
    choose : mapping, optional
        For texts that name one of several things: what there is to choose from.
    more : mapping, optional
        Further properties, as annotations.
    """
    annotations: dict[str, Any] = {}
    for field, hint in fields_of(section):
        default = needed[field.name] if field.default is dataclasses.MISSING else field.default
        if field.metadata["kind"] in LISTS:
            annotations.update(
                list_properties(
                    field.name, field.metadata["kind"], label_of(field.name), _about(field)
                )
            )
            continue
        if _optional(hint):
            annotations[switch_name(field.name)] = BoolProperty(
                name=f"Set {label_of(field.name).lower()}",
                description=f"Give it here instead: {field.metadata['about']}",
                update=update,
            )
        search = (choose or {}).get(field.name)
        annotations[field.name] = _property(field, hint, default, update, search)
    annotations["exact"] = StringProperty(default="{}", options={"HIDDEN"})
    annotations.update(more or {})
    members: dict[str, Any] = {
        "__annotations__": annotations,
        "__doc__": section.__doc__,
        "section": section,
        "changed": staticmethod(update),
    }
    return type(name, (bpy.types.PropertyGroup,), members)


def put_values(group: Any, values: Any) -> None:
    """Set a group's properties from an instance of its section."""
    exact = {}
    for field, hint in fields_of(type(values)):
        name, value = field.name, getattr(values, field.name)
        kind = field.metadata["kind"]
        if kind in LISTS:
            put_list(group, name, value)
            continue
        if _optional(hint):
            setattr(group, switch_name(name), value is not None)
            if value is None:
                group.property_unset(name)
                continue
        if kind == "colour":
            setattr(group, name, display_colour(value))
        else:
            setattr(group, name, value)
            if isinstance(value, float):
                exact[name] = value
    group.exact = json.dumps(exact)


def table_of(group: Any, section: type) -> dict[str, Any]:
    """Return a group's values as the plain table that ``read_section`` checks."""
    exact = json.loads(group.exact)
    table: dict[str, Any] = {}
    for field, hint in fields_of(section):
        name, kind = field.name, field.metadata["kind"]
        if kind not in LISTS and _optional(hint) and not getattr(group, switch_name(name)):
            continue
        value = list_value(group, name) if kind in LISTS else getattr(group, name)
        if value is None:
            continue
        if kind == "colour":
            value = hexadecimal(value)
        elif isinstance(value, float):
            value = exact_number(value, exact.get(name))
        if field.default is not dataclasses.MISSING and _same(value, field.default):
            continue
        table[name] = value
    return table


def draw_section(
    layout: Any,
    group: Any,
    section: type,
    leave_out: tuple[str, ...] = (),
    in_force: InForce | None = None,
) -> None:
    """Draw all properties of a group, an optional one behind its check box.

    Parameters
    ----------
    layout : bpy.types.UILayout
    group : bpy.types.PropertyGroup
    section : type
        What the group was made from.
    leave_out : tuple of str
        Fields that are not drawn.
    in_force : callable, optional
        Gives the value that an optional field has while its box is not ticked.
    """
    for field, _ in fields_of(section):
        if field.name not in leave_out:
            draw_setting(layout, group, field.name, in_force)


def draw_setting(layout: Any, group: Any, name: str, in_force: InForce | None = None) -> None:
    """Draw one property: a list as rows, an optional one behind its check box.

    A label that has no room beside its field stands above it.

    Parameters
    ----------
    layout : UILayout
    group : PropertyGroup
    name : str
        Of the property.
    in_force : callable, optional
        Gives the value that holds where an optional one is off.
    """
    label = label_of(name)
    if hasattr(group, rows_name(name)):
        draw_list(layout, group, name, label)
        return
    optional = hasattr(group, switch_name(name))
    if not layout.use_property_split and not optional:
        layout.prop(group, name)
        return
    is_switch = isinstance(getattr(group, name), bool)
    if len(label) > LONGEST_BESIDE and layout.use_property_split and not is_switch:
        above = layout.column(align=True)
        above.use_property_split = False
        row = above.row(align=True)
        if optional:
            row.prop(group, switch_name(name), text=label)
        else:
            row.label(text=label)
        _draw_value(above.row(align=True), group, name, optional, in_force)
        return
    if is_switch:
        row = layout.row()
        row.use_property_split = False
        row.prop(group, name, text=label)
        return
    if not optional:
        layout.prop(group, name)
        return
    split = layout.use_property_split
    row = layout.row(heading=label) if split else layout.row()
    row.prop(group, switch_name(name), text="")
    _draw_value(row.row(), group, name, optional, in_force, text="" if split else label)


def _draw_value(
    layout: Any,
    group: Any,
    name: str,
    optional: bool,
    in_force: InForce | None,
    text: str = "",
) -> None:
    """Draw the field of a value, or while it is not given the value that is in force."""
    if not optional or getattr(group, switch_name(name)):
        layout.prop(group, name, text=text)
        return
    layout.active = False
    layout.label(text=in_force(name) if in_force else "as usual")


def _optional(hint: Any) -> bool:
    return type(None) in typing.get_args(hint)


def _same(value: Any, default: Any) -> bool:
    if isinstance(default, tuple) and isinstance(value, list):
        return json.dumps(value) == json.dumps(default)
    return bool(value == default)


def _unit(name: str) -> tuple[str, str]:
    """Return a field's name without its unit, and the unit."""
    if name.endswith("_mm"):
        return name[: -len("_mm")], "mm"
    for ending, unit in UNIT_NAMES.items():
        if name.endswith(ending):
            return name[: -len(ending)], unit
    return name, ""


def label_of(name: str) -> str:
    """Return the label of a job's key."""
    if name in LABELS:
        return LABELS[name]
    bare, unit = _unit(name)
    text = bare.replace("_", " ").capitalize()
    return f"{text} ({unit})" if unit not in ("", "mm") else text


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:]


def _about(field: dataclasses.Field[Any]) -> str:
    """Return what a field means, as its tooltip says it."""
    about = _sentence(field.metadata["about"])
    _, unit = _unit(field.name)
    if unit and unit not in about and unit not in label_of(field.name) and unit != "mm":
        about += f", in {unit}"
    return about


def _property(
    field: dataclasses.Field[Any],
    hint: Any,
    default: Any,
    update: Update,
    search: Choose | None = None,
) -> Any:
    meta = field.metadata
    kind, choices = meta["kind"], meta["choices"]
    about = _about(field)
    given: dict[str, Any] = {
        "name": label_of(field.name),
        "description": about,
        "update": update,
    }
    types = typing.get_args(hint) or (hint,)
    if kind == "colour":
        return FloatVectorProperty(
            **given,
            default=display_colour(default or "#ffffff"),
            min=0,
            max=1,
            size=3,
            subtype="COLOR_GAMMA",
        )
    if choices:
        meanings = meta["meanings"]
        items = [(key, key.capitalize(), _sentence(meanings.get(key) or about)) for key in choices]
        return EnumProperty(**given, items=items, default=default)
    if bool in types:
        return BoolProperty(**given, default=bool(default))
    limits = {k: meta[m] for k, m in (("min", "least"), ("max", "most")) if meta[m] is not None}
    if default is None:
        default = meta["least"] or 0
    if float in types:
        if field.name.endswith("_mm"):
            # Blender shows and reads this unit in mm, whatever the scene's units are.
            limits.update(unit="CAMERA", step=10)
        return FloatProperty(**given, default=default, precision=3, **limits)
    if int in types:
        return IntProperty(**given, default=int(default), **limits)
    if search is not None:
        given.update(search=search, search_options={"SUGGESTION"})
    subtype = "FILE_PATH" if field.name in FILES else "NONE"
    if subtype == "FILE_PATH":
        given["options"] = {"ANIMATABLE", *RELATIVE_PATH}
    return StringProperty(**given, default=default, subtype=subtype)
