"""The list of layers and the 3D view agree: what is chosen in one is chosen in the other."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.app.handlers import persistent

from ..core.ownership import is_made
from .sheet_object import sheet_names, sheets_of, show_layers


class Listener:
    """What Blender knows the subscription by."""


_listener = Listener()


def choose_sheet(scene: Any) -> None:
    """Make the active layer's sheet the active object and select it instead of other sheets."""
    state = scene.sheetstack
    show_layers(scene)
    if state.being_filled or not 0 <= state.active_layer < len(state.layers):
        return
    if bpy.context.scene != scene or bpy.context.mode != "OBJECT":
        return
    sheets = sheets_of(scene)
    mine = [sheets[n] for n in sheet_names(state.layers[state.active_layer]) if n in sheets]
    seen = [sheet for sheet in mine if sheet.visible_get()]
    active = bpy.context.view_layer.objects.active
    if not seen or active in seen:
        return
    for sheet in sheets.values():
        if sheet.visible_get():
            sheet.select_set(sheet is seen[0])
    bpy.context.view_layer.objects.active = seen[0]


def choose_layer(scene: Any, thing: Any) -> None:
    """Make the layer active whose sheet is the active object."""
    if thing is None or thing.sheetstack.kind != "SHEET" or not is_made(scene, thing):
        return
    state = scene.sheetstack
    for number, row in enumerate(state.layers):
        if thing.sheetstack.layer in sheet_names(row) and number != state.active_layer:
            state.active_layer = number


def _active_object_changed() -> None:
    layer = bpy.context.view_layer
    if layer is not None:
        choose_layer(bpy.context.scene, layer.objects.active)


@persistent  # type: ignore[untyped-decorator]
def _listen(*_: Any) -> None:
    bpy.msgbus.clear_by_owner(_listener)
    bpy.msgbus.subscribe_rna(
        key=(bpy.types.LayerObjects, "active"),
        owner=_listener,
        args=(),
        notify=_active_object_changed,
    )


CLASSES = ()


def register() -> None:
    """Listen to the active object; a file that is loaded ends it."""
    _listen()
    bpy.app.handlers.load_post.append(_listen)


def unregister() -> None:
    """Listen no more."""
    bpy.app.handlers.load_post.remove(_listen)
    bpy.msgbus.clear_by_owner(_listener)
