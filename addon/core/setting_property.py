"""Properties: a settings dataclass of geometry as a Blender property group.

Names, tooltips, limits and units come from the dataclass' fields, so that the job file and the
panels cannot disagree. Blender keeps 32-bit floats and no lists: each group also keeps the exact
values it was given, and gives them back as long as the property has not been changed.
"""

from __future__ import annotations

import dataclasses
import json
import typing
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

import bpy
import numpy as np
from bpy.props import (
    BoolProperty,
    EnumProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    StringProperty,
)

from ...geometry.errors import JobError
from .conversion import display_colour, hexadecimal

Update = Callable[[Any, Any], None]
#: From a group, the context and what was typed so far to the texts to choose from.
Choose = Callable[[Any, Any, str], Iterable[str]]

#: Endings of field names that say a unit which Blender has no type for.
UNIT_NAMES = {
    "_g_cm3": "g/cm³",
    "_mpa": "MPa",
    "_mm2": "mm²",
    "_mm_s": "mm/s",
    "_ml_m2": "ml/m²",
    "_deg": "°",
    "_percent": "%",
    "_um": "µm",
    "_g": "g",
    "_n": "N",
    "_s": "s",
}
#: Labels in place of those that the field names give, where these are too long for a sidebar of the
#: width that Blender gives it; the tooltip says all.
SHORT_LABELS = {
    "handling_load_n": "Push (N)",
    "most_per_island": "Per island",
    "seam_overlap_mm": "Overlap",
    "tolerance_deg": "Toler. (°)",
    "bridge_angle_deg": "Br. angle",
    "bridge_direction": "Br. way",
    "keep_free_mm": "Free boxes",
    "keep_free_areas_mm": "Free areas",
    "hole_diameter_mm": "Hole size",
    "layer_height_mm": "Layer",
    "speed_mm_s": "Speed",
    "travel_mm_s": "Travel",
    "power_on_cost_h": "Cost per h",
    "rib_clearance_mm": "Rib gap",
    "peg_diameter_mm": "Peg size",
    "peg_clearance_mm": "Peg gap",
    "sheet_price_m2": "Sheet / m²",
    "filament_price_kg": "Fila. / kg",
    "paint_price_l": "Paint / l",
    "paint_loss_percent": "Loss (%)",
    "bridges_group": "From group",
    "local_contrast": "Local con.",
    "colour_contrast": "Colour con.",
    "sheet_width_mm": "Width",
    "sheet_height_mm": "Height",
    "background": "Backgr.",
    "background_mask": "Back mask",
    "flood_difference": "Flood diff.",
    "focus_mask": "Foc. mask",
}
LISTS = ("colours", "numbers", "point", "points", "lines", "boxes", "box")
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
        if _optional(hint):
            annotations[switch_name(field.name)] = BoolProperty(
                name=f"Set {_label(field.name).lower()}",
                description=f"Give it here instead: {field.metadata['about']}",
                update=update,
            )
        search = (choose or {}).get(field.name)
        annotations[field.name] = _property(field, hint, default, update, search)
    annotations["exact"] = StringProperty(default="{}", options={"HIDDEN"})
    annotations.update(more or {})
    members = {"__annotations__": annotations, "__doc__": section.__doc__, "section": section}
    return type(name, (bpy.types.PropertyGroup,), members)


def put_values(group: Any, values: Any) -> None:
    """Set a group's properties from an instance of its section."""
    exact = {}
    for field, hint in fields_of(type(values)):
        name, value = field.name, getattr(values, field.name)
        if _optional(hint):
            setattr(group, switch_name(name), value is not None)
            if value is None:
                group.property_unset(name)
                continue
        kind = field.metadata["kind"]
        if kind == "colour":
            setattr(group, name, display_colour(value))
        elif kind in LISTS:
            setattr(group, name, json.dumps(value))
        else:
            setattr(group, name, value)
            if isinstance(value, float):
                exact[name] = value
    group.exact = json.dumps(exact)


def table_of(group: Any, section: type, where: str) -> dict[str, Any]:
    """Return a group's values as the plain table that ``read_section`` checks.

    Raises
    ------
    JobError
        The text of a list cannot be read.
    """
    exact = json.loads(group.exact)
    table: dict[str, Any] = {}
    for field, hint in fields_of(section):
        name, kind = field.name, field.metadata["kind"]
        if _optional(hint) and not getattr(group, switch_name(name)):
            continue
        value = getattr(group, name)
        if kind == "colour":
            value = hexadecimal(value)
        elif kind in LISTS:
            try:
                value = json.loads(value)
            except json.JSONDecodeError as error:
                raise JobError(
                    f"{where}: {name} = {value[:60]!r}: expected a list like [[10, 20], [30, 20]], "
                    f"found a fault at character {error.pos + 1}."
                ) from None
        elif isinstance(value, float):
            value = _exact_number(value, exact.get(name))
        if field.default is not dataclasses.MISSING and _same(value, field.default):
            continue
        table[name] = value
    return table


def list_of(group: Any, name: str) -> list[Any]:
    """Return the value of a list; an empty one where its text is half typed."""
    try:
        value = json.loads(getattr(group, name))
    except json.JSONDecodeError:
        return []
    return value if isinstance(value, list) else []


def draw_section(layout: Any, group: Any, section: type, leave_out: tuple[str, ...] = ()) -> None:
    """Draw all properties of a group, an optional one behind its check box."""
    for field, hint in fields_of(section):
        if field.name not in leave_out:
            draw_setting(layout, group, field.name, _optional(hint))


def draw_setting(layout: Any, group: Any, name: str, optional: bool = False) -> None:
    """Draw one property, an optional one behind its check box."""
    if not optional:
        layout.prop(group, name)
        return
    split = layout.use_property_split
    row = layout.row(heading=_label(name)) if split else layout.row()
    row.prop(group, switch_name(name), text="")
    value = row.row()
    value.active = getattr(group, switch_name(name))
    if split:
        value.prop(group, name, text="")
    else:
        value.prop(group, name)


def _optional(hint: Any) -> bool:
    return type(None) in typing.get_args(hint)


def _same(value: Any, default: Any) -> bool:
    if isinstance(default, tuple) and isinstance(value, list):
        return json.dumps(value) == json.dumps(default)
    return bool(value == default)


def _exact_number(value: float, exact: float | None) -> float:
    """Return the number that a 32-bit property stands for.

    The exact one that it was set from, if it still fits, else the shortest decimal.
    """
    if exact is not None and float(np.float32(exact)) == value:
        return exact
    return float(str(np.float32(value)))


def _unit(name: str) -> tuple[str, str]:
    """Return a field's name without its unit, and the unit."""
    if name.endswith("_mm"):
        return name[: -len("_mm")], "mm"
    for ending, unit in UNIT_NAMES.items():
        if name.endswith(ending):
            return name[: -len(ending)], unit
    return name, ""


def _label(name: str) -> str:
    if name in SHORT_LABELS:
        return SHORT_LABELS[name]
    bare, unit = _unit(name)
    text = bare.replace("_", " ").capitalize()
    return f"{text} ({unit})" if unit not in ("", "mm") else text


def _property(
    field: dataclasses.Field[Any],
    hint: Any,
    default: Any,
    update: Update,
    search: Choose | None = None,
) -> Any:
    meta = field.metadata
    kind, choices = meta["kind"], meta["choices"]
    about = meta["about"][0].upper() + meta["about"][1:]
    _, unit = _unit(field.name)
    if unit and unit not in about and unit not in _label(field.name) and unit != "mm":
        about += f", in {unit}"
    given: dict[str, Any] = {
        "name": _label(field.name),
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
    if kind in LISTS:
        given["description"] += ". A list in brackets"
        return StringProperty(**given, default=json.dumps(default))
    if choices:
        items = [(key, key.capitalize(), about) for key in choices]
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
    return StringProperty(**given, default=default, subtype=subtype)
