"""Loading files: properties of older add-ons are brought up to the present ones."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import bpy
from bpy.app.handlers import persistent

from ...geometry.job.sections import SECTIONS
from ..core.blender_versions import stored_properties
from ..core.list_rows import put_list
from ..core.ownership import add_made, own
from ..core.setting_property import LISTS, fields_of
from .job_property import FORMAT
from .scene_job import being_filled


def _list_made(state: Any) -> None:
    """Format 1 knew the stack's objects by their kind alone, and tagged materials otherwise."""
    for material in bpy.data.materials:
        if material.library is None and "sheetstack" in material:
            del material["sheetstack"]
            own(material)
    if state.collection is None:
        return
    for thing in state.collection.objects:
        kind = thing.sheetstack.kind
        if kind in ("STACK", "SHEET", "PICTURE"):
            add_made(state.id_data, kind, thing, thing.sheetstack.layer)


def _lists_to_rows(state: Any) -> None:
    """Format 2 kept a list as one text."""
    groups = [getattr(state, key) for key in SECTIONS]
    groups += [*state.layers, *state.bridges_by_hand, *state.own_materials]
    for group in groups:
        kept = stored_properties(group)
        for field, _ in fields_of(group.section):
            if isinstance(kept.get(field.name), str) and field.metadata["kind"] in LISTS:
                put_list(group, field.name, json.loads(kept[field.name]))


#: For each format the step that brings a scene's properties up to the next.
STEPS: dict[int, Callable[[Any], None]] = {1: _list_made, 2: _lists_to_rows}


def upgrade(state: Any) -> None:
    """Bring a scene's properties up to the present format, step by step."""
    if not state.format:  # a scene that never held a job
        return
    with being_filled(state):
        for version in range(state.format, FORMAT):
            STEPS[version](state)
        state.format = max(state.format, FORMAT)


@persistent  # type: ignore[untyped-decorator]
def _upgrade_all(*_: Any) -> None:
    for scene in bpy.data.scenes:
        # A linked scene belongs to its own file.
        if scene.library is None:
            upgrade(scene.sheetstack)


CLASSES = ()


def register() -> None:
    """Look at each file that is loaded."""
    bpy.app.handlers.load_post.append(_upgrade_all)


def unregister() -> None:
    """Look no more."""
    bpy.app.handlers.load_post.remove(_upgrade_all)
