"""Layers that were drawn in Blender follow their objects: the next build takes them as they are."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.app.handlers import persistent
from bpy.props import BoolProperty, CollectionProperty, PointerProperty

from ...geometry.files.artwork_svg import artwork_svg
from ..core.ownership import stands_in
from .job_property import job_changed


class SHEETSTACK_PG_drawn(bpy.types.PropertyGroup):
    """An object that a layer was drawn with."""

    thing: PointerProperty(type=bpy.types.Object, name="Object", description="The object")


#: What a layer keeps of the objects that it was drawn with.
DRAWN_PROPERTIES = {
    "drawn": CollectionProperty(
        type=SHEETSTACK_PG_drawn, description="Objects that the layer was drawn with"
    ),
    "is_redrawn": BoolProperty(
        description="An object was changed since the layer was taken from it", options={"HIDDEN"}
    ),
}


def draw_with(row: Any, things: list[Any]) -> None:
    """Let a layer follow objects."""
    row.drawn.clear()
    for thing in things:
        row.drawn.add().thing = thing


def renew_drawn(context: Any) -> None:
    """Take the layers anew whose objects were changed.

    Raises
    ------
    ArtworkError
        An object has nothing with an area any more.
    """
    # Imported late: that module takes layers from objects, by this one.
    from .artwork_from_objects import parts_of

    scene = context.scene
    sheet = scene.sheetstack.sheet
    for row in scene.sheetstack.layers:
        things = [d.thing for d in row.drawn if d.thing and stands_in(scene, d.thing)]
        if not row.is_redrawn or not things or row.kept is None:
            continue
        parts = [part for thing in things for part in parts_of(thing, context)]
        row.kept.from_string(artwork_svg(parts, (sheet.width_mm, sheet.height_mm)))
        row.is_redrawn = False


@persistent  # type: ignore[untyped-decorator]
def _note(scene: Any, depsgraph: Any) -> None:
    drawn = {
        block: row
        for row in scene.sheetstack.layers
        for one in row.drawn
        if one.thing is not None
        for block in (one.thing, one.thing.data)
    }
    if not drawn:
        return
    for update in depsgraph.updates:
        row = drawn.get(update.id.original)
        if row is None or not (update.is_updated_geometry or update.is_updated_transform):
            continue
        if not row.is_redrawn:
            row.is_redrawn = True
            job_changed(row, None)


CLASSES = (SHEETSTACK_PG_drawn,)


def register() -> None:
    """Listen to objects being changed."""
    bpy.app.handlers.depsgraph_update_post.append(_note)


def unregister() -> None:
    """Listen no more."""
    bpy.app.handlers.depsgraph_update_post.remove(_note)
