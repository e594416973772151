"""Places that were taken from objects follow them when they are moved."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.app.handlers import persistent

from ..core.list_rows import rows_name
from ..core.ownership import stands_in
from .places_from_selected import TARGETS, box_on_sheet, place_on_sheet


@persistent  # type: ignore[untyped-decorator]
def _follow(scene: Any, depsgraph: Any) -> None:
    moved = {
        update.id.original
        for update in depsgraph.updates
        if isinstance(update.id, bpy.types.Object) and update.is_updated_transform
    }
    if moved:
        follow(scene, moved)


def follow(scene: Any, moved: set[Any]) -> None:
    """Bring the places up to date that follow objects which were moved."""
    for target, (section, key) in TARGETS.items():
        group = getattr(scene.sheetstack, section)
        value_of = place_on_sheet if target == "HOLES" else box_on_sheet
        for row in getattr(group, rows_name(key)):
            if row.source not in moved or not stands_in(scene, row.source):
                continue
            value = value_of(row.source, scene)
            if row.get_value() != value:
                row.set_value(value)


CLASSES = ()


def register() -> None:
    """Listen to objects being moved."""
    bpy.app.handlers.depsgraph_update_post.append(_follow)


def unregister() -> None:
    """Listen no more."""
    bpy.app.handlers.depsgraph_update_post.remove(_follow)
