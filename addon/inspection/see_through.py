"""See-through sheets, so that the openings of all are seen at once."""

from typing import Any

import bpy

from ..core.blender_versions import set_transparency, show_transparency, transparency_of
from ..core.ownership import is_own
from ..sheets.sheet_object import sheets_of
from .found import remember, take_back

#: How much of a see-through sheet is seen.
SEEN = 0.4


def see_through(scene: bpy.types.Scene, on: bool) -> None:
    """Show sheets see-through, in the solid view as in renders, or as they were found."""
    for thing in sheets_of(scene).values():
        if on:
            _begin(thing)
        else:
            _end(thing)


def _begin(thing: Any) -> None:
    remember(thing, "alpha", [thing.color[3], thing.show_transparent])
    thing.color[3], thing.show_transparent = SEEN, True
    for number, surface in enumerate(thing.data.materials):
        if not is_own(surface):
            continue
        inputs = [socket.default_value for socket in _alphas(surface)]
        found = [transparency_of(surface), surface.diffuse_color[3], inputs]
        remember(thing, f"material {number}", found)
        show_transparency(surface, True)
        surface.diffuse_color[3] = SEEN
        for socket in _alphas(surface):
            socket.default_value = SEEN


def _end(thing: Any) -> None:
    found = take_back(thing, "alpha")
    if found is not None:
        thing.color[3], thing.show_transparent = found
    for number, surface in enumerate(thing.data.materials):
        found = take_back(thing, f"material {number}")
        if found is None or not is_own(surface):
            continue
        method, surface.diffuse_color[3], inputs = found
        set_transparency(surface, method)
        for socket, value in zip(_alphas(surface), inputs, strict=False):
            socket.default_value = value


def _alphas(surface: Any) -> list[Any]:
    nodes = surface.node_tree.nodes if surface.node_tree else ()
    return [n.inputs["Alpha"] for n in nodes if n.type == "BSDF_PRINCIPLED"]
