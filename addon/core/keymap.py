"""Keys of the add-on in the 3D views; they can be changed in the preferences."""

from __future__ import annotations

from typing import Any

import bpy

KEYMAP, SPACE = "3D View", "VIEW_3D"
#: Operators and the key of each, held with Ctrl and Alt: free in Blender's own keymaps.
KEYS = (
    ("sheetstack.build", "M"),
    ("sheetstack.show_painted", "P"),
    ("sheetstack.edit_bridges", "E"),
    ("sheetstack.import_drawing", "I"),
    ("sheetstack.export_for_machine", "X"),
    ("sheetstack.mockup", "W"),
)

#: What was added, to be taken out again.
_added: list[tuple[Any, Any]] = []


def draw_keys(layout: Any, context: Any) -> None:
    """Draw the keys, each to be changed or switched off."""
    import rna_keymap_ui

    manager = context.window_manager.keyconfigs.user
    keymap = manager.keymaps.get(KEYMAP)
    if keymap is None:
        return
    ours = {name for name, _ in KEYS}
    layout.label(text="Keys in the 3D view")
    column = layout.column()
    column.use_property_split = False
    for item in keymap.keymap_items:
        if item.idname in ours:
            rna_keymap_ui.draw_kmi([], manager, keymap, item, column, 0)


CLASSES = ()


def register() -> None:
    """Add the keys; there is no place for them where there is no window."""
    keys = bpy.context.window_manager.keyconfigs.addon if bpy.context.window_manager else None
    if keys is None:
        return
    keymap = keys.keymaps.new(name=KEYMAP, space_type=SPACE)
    for operator, key in KEYS:
        item = keymap.keymap_items.new(operator, key, "PRESS", ctrl=True, alt=True)
        _added.append((keymap, item))


def unregister() -> None:
    """Take the keys out again."""
    while _added:
        keymap, item = _added.pop()
        keymap.keymap_items.remove(item)
